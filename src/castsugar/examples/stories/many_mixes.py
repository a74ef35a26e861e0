# %% [markdown]
# # A hundred thousand mixes on a cluster
#
# One core solves some five thousand mixes a second. A fine map, or a study with a
# hundred thousand of them, is nicer with all the cores there are. `executor=` takes any
# `concurrent.futures.Executor`; that of a dask cluster is one, and so the same line
# runs on a laptop and on a room full of machines (same castsugar and data on each).
#
# dask comes with `pip install "castsugar[cluster]"`. How many mixes is the first word
# behind the script's name, or the variable STORY_MIXES: 100,000 without.

# %%
import os
import sys
import time

import numpy as np

import castsugar as cs


def mixes_of(count: int) -> cs.Blends:
    """Throw so many mixes of nitrate, sugar and syrup, 50 to 75 % nitrate."""
    rng = np.random.default_rng(1)
    nitrate = rng.uniform(0.50, 0.75, count)
    sugar = (1 - nitrate) * rng.uniform(0.0, 1.0, count)
    shares = np.column_stack([nitrate, sugar, 1 - nitrate - sugar])
    return cs.blend(("KNO3", "sucrose", "corn syrup"), shares)


# %% [markdown]
# Two processes here. Work is cut by the index of a mix alone, so who computes it does
# not change it; the check at the end holds the first mixes against this process.


# %%
def main(count: int) -> None:
    """Solve them on two processes, and say what came out."""
    from distributed import Client, LocalCluster

    mixes = mixes_of(count)
    quiet = {"dashboard_address": None, "threads_per_worker": 1}
    with (
        LocalCluster(n_workers=2, processes=True, **quiet) as cluster,
        Client(cluster) as client,
    ):
        start = time.perf_counter()
        table = cs.evaluate(mixes, executor=client.get_executor())
        took = time.perf_counter() - start
    print(f"{len(table)} mixes in {took:.1f} s on two processes")
    fine = table[table["status"] == "ok"]
    key = "characteristic_velocity_m_s"
    print(
        f"{len(fine)} of them burn, c* {fine[key].min():.0f} to "
        f"{fine[key].max():.0f} m/s"
    )
    best = fine[key].idxmax()
    print(f"highest c* of {table['name'][best]}")

    alone = cs.evaluate(mixes.take(slice(0, 100)))
    off = (alone[key] / table[key][:100] - 1).abs().max()
    print(f"computed here again: the same to {off:.0e}")


# %% [markdown]
# The last line is needed where workers are processes of their own: each reads this file
# as it starts, and must not start a cluster, too.

# %%
if __name__ == "__main__":
    words = [word for word in sys.argv[1:] if word.isdigit()]
    main(int(words[0] if words else os.environ.get("STORY_MIXES", "100000")))
