# %% [markdown]
# # The best mix for a case
#
# The case decides. It may hold so much pressure, and the mix must pour and set; under
# these limits we look for the most impulse from the volume there is. Case, nozzle,
# grain, strands and pan are those of a club that does not exist: invented, all of them.

# %%
from pathlib import Path

from matplotlib.figure import Figure

import castsugar as cs

club = Path("invented-club")
if not club.exists():
    cs.bench.write_example(club)
world = cs.bench.read(club / "bench.toml")
rating = world.motor.case.rated_pressure
print(f"The case is rated at {rating / 1e6:.2f} MPa by its owner; nothing proves it.")

# %% [markdown]
# A limit may ask for a share of the draws: in 95 of 100 next batches the peak stays
# below the rating. That is held against what the next pot may do, not against the best
# guess. Search the whole triangle that the ingredients allow:

# %%
outcome = cs.search(
    {
        "KNO3": (0.55, 0.60),
        "powdered sugar": (0.05, 0.35),
        "corn syrup": (0.10, 0.35),
    },
    objective="density_impulse_kg_s_m3",
    limits=[
        cs.Requirement(column="pour_viscosity_Pa_s", at_most=10.0, probability=0.85),
        cs.Requirement(
            column="peak_pressure_MPa", at_most=rating / 1e6, probability=0.95
        ),
        cs.Requirement(column="relative_solids_20C", at_least=0.95, probability=0.6),
    ],
    tried={"base": "KNO3:60 powdered sugar:20 corn syrup:20"},
    kitchen=world.kitchen,
    motor=world.motor,
    lots=world.lots,
    batch=0.2,
    scale_step=1e-4,
    **world.conditions,
)
print(outcome)

# %% [markdown]
# The rows of the answer and of what was made before, side by side:

# %%
table = outcome.to_frame().set_index("name")
columns = ["density_impulse_kg_s_m3", "peak_pressure_p95_MPa", "pour_viscosity_Pa_s"]
print(table[columns].round(2).to_string())

# %% [markdown]
# Which limit holds it back? The picture moves one ingredient at a time away from the
# best mix: thick where all limits are kept.

# %%
axes = cs.plot.responses(outcome, ax=Figure(figsize=(9, 6)).subplots())
axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.12))
axes.figure.savefig("best_for_a_case.png", bbox_inches="tight")

# %% [markdown]
# `base` has a hair more impulse, and breaks the pour limit: the search found no wonder
# but a mix that can be cast. A margin of pressure is an estimate about a case that
# nobody has proved: test yours with water, cold, from a distance.
#
# Hot mixes burn people and houses; local law decides.
