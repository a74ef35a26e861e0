# %% [markdown]
# # Parts of your own
#
# Where else castsugar can be extended, one short cell each. (An ingredient of your own
# and a product have stories to themselves.) The burn law below is invented.

# %%
from collections.abc import Callable
from concurrent.futures import Executor, Future
from typing import Any

import numpy as np

import castsugar as cs

mix = cs.Mix.weigh({"KNO3": 65, "sucrose": 35}, name="65/35")

# %% [markdown]
# **A burn law.** State rates at two pressures and how unsure they are; the model of
# burn rates holds them with all else that burned, and lets a motor burn 4 % faster than
# strands (assumed). A motor needs grain and throat.

# %%
law = cs.motor.Burned(
    name="a law that I state",
    kind="stated",
    fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
    pressure=np.array([1e6, 7e6]),
    rate=np.array([8e-3, 13e-3]),
    log_rate_u=0.1,
    invented=("the law of this story",),
)
motor = cs.Hardware(
    grain=cs.motor.HollowCylinder(
        outer_diameter=36e-3, core_diameter=14e-3, segment_length=62e-3, segments=3
    ),
    throat_diameter=9e-3,
    burning=cs.motor.BurnModel([law]),
)
row = cs.evaluate(mix, motor=motor).iloc[0]
print(f"peak {row['peak_pressure_MPa']:.1f} MPa, {row['burn_law_origin']}")

# %% [markdown]
# **A limit and an objective.** Any column of the table can be either, or a sum of
# columns with weights. A function of your own cannot: evaluate, and choose in pandas.

# %%
found = cs.search(
    {"KNO3": (0.55, 0.72), "sucrose": "balance"},
    objective="weighted sum",
    weights={"characteristic_velocity_m_s": 1.0, "flame_temperature_K": -0.05},
    limits=[cs.Requirement(column="flame_temperature_K", at_most=1750.0)],
)
print({name: round(share, 3) for name, share in found.recipe.items()})

# %% [markdown]
# **An executor.** Whoever has `submit` can do the work: a queue, a cluster, this toy.


# %%
class Counting(Executor):
    """Does the work at once, and counts."""

    jobs = 0

    def submit(self, fn: Callable[..., Any], /, *args: Any, **more: Any) -> Future[Any]:
        self.jobs += 1
        done: Future[Any] = Future()
        done.set_result(fn(*args, **more))
        return done


executor = Counting()
line = cs.evaluate([mix] * 9, executor=executor)
print(f"{len(line)} mixes in {executor.jobs} job")

# %% [markdown]
# **What cannot be put in**: equations of kitchen or motor, columns of the table, other
# elements, and an ingredient of your own in a comparison, a search or on a weigh sheet.
