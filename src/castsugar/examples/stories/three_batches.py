# %% [markdown]
# # Three batches and what they teach
#
# You may burn nine strands. Nine of one pot, or three of each of three pots? All of
# them are of one recipe, so it should not matter. It does, and this story says why.
#
# All readings here are invented: a recipe that burns 6 mm/s at 3 MPa, pots that differ
# by 6 % (what is assumed until you cook a mix twice), strands that scatter by 2 %.

# %%
import numpy as np

import castsugar as cs

RECIPE = {"potassium nitrate": 0.6, "sucrose": 0.2, "light corn syrup": 0.2}
PRESSURES = np.array([1e6, 3e6, 7e6])
rng = np.random.default_rng(7)


def pot(name: str, strands: int) -> cs.motor.Burned:
    """Cook a pot and burn strands of it, on paper."""
    pressure = np.resize(PRESSURES, strands)
    law = 6e-3 * (pressure / 3e6) ** 0.28 * np.exp(0.06 * rng.standard_normal())
    rate = law * np.exp(0.02 * rng.standard_normal(strands))
    return cs.motor.Burned(
        name="60/20/20", fractions=RECIPE, pressure=pressure, rate=rate, batch=name
    )


# %% [markdown]
# One model holds all that was burned: the recipe, the pot, the strand. Ask it for the
# recipe itself ("mix") or for the pot that you cook next ("next batch").


# %%
def tell(burned: list[cs.motor.Burned], what: str) -> dict[str, float]:
    """Print both bands, and return how wide they are. [%]"""
    model = cs.motor.BurnModel(burned)
    width = {}
    for of in ("mix", "next batch"):
        asked = cs.motor.Asked(of=of, motor=False)
        rates = model.rates([list(RECIPE.values())], list(RECIPE), 3e6, asked)
        low, high = (1e3 * np.exp(end) for end in rates.band())
        width[of] = 100 * (high / low - 1)
        print(f"{what:16s} {of:10s} {low:.2f} to {high:.2f} mm/s at 3 MPa")
    return width


nothing = tell([], "nothing burned")
one = tell([pot("one", 9)], "one pot of nine")
three = tell([pot(name, 3) for name in ("a", "b", "c")], "three pots")

# %% [markdown]
# Nine strands of one pot know that pot very well, and the recipe hardly better than the
# one pot allows: it may have been a quick one. Three pots saw three of the recipe's
# days. And no number of strands makes the next pot surer than pots are alike.

# %%
print(f"band of the recipe: {one['mix']:.0f} % wide after one pot of nine,")
print(f"{three['mix']:.0f} % after three pots of three")
print(f"band of the next pot: {one['next batch']:.0f} % wide after the one pot,")
print(f"{three['next batch']:.0f} % after the three")

# %% [markdown]
# What to do with it: cook small, cook twice, burn a few strands of each. In a bench
# file each pot has a `batch` of its own, `castsugar batch` keeps them, `castsugar
# learn` asks the same model as this story.
#
# Hot mixes burn people and houses; local law decides.
