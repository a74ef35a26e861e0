# %% [markdown]
# # Why the hottest flame is not the best propellant
#
# A story for a classroom, on fuels of the textbook: hydrogen and methane with oxygen.
# A rocket throws gas. It goes further the faster the gas leaves, and gas is fast if it
# is hot *and light*: c\* goes with the root of T / M. What makes a flame hottest burns
# all the hydrogen to water, which is nine times as heavy. So the best mixture has fuel
# left over. Nothing here is mixed by anybody: these are numbers.

# %%
import numpy as np
import pandas as pd
from matplotlib.figure import Figure

import castsugar as cs

# Liquids at their boiling points, J/mol; from memory of the usual tables.
hydrogen = cs.Ingredient(name="H2", formula="H2", enthalpy_of_formation=-9.0e3)
methane = cs.Ingredient(name="CH4", formula="CH4", enthalpy_of_formation=-89.2e3)
oxygen = cs.Ingredient(
    name="O2", formula="O2", enthalpy_of_formation=-13.0e3, role="oxidizer"
)


def burnt(fuel: cs.Ingredient, ratios: np.ndarray, water: float = 0.0) -> pd.DataFrame:
    """Return the table of mixtures of one part of fuel, at 1000 psi."""
    wet = {"water": water} if water else {}
    mixes = [cs.Mix.weigh({oxygen: ratio, fuel: 1.0, **wet}) for ratio in ratios]
    return cs.evaluate(mixes, pressure=6.894757e6, flow="equilibrium")


# %%
ratios = {hydrogen: np.linspace(2, 10, 33), methane: np.linspace(2, 5, 31)}
for fuel, ratio in ratios.items():
    table = burnt(fuel, ratio)
    hot = int(table["flame_temperature_K"].idxmax())
    fast = int(table["characteristic_velocity_m_s"].idxmax())
    for what, row in (("hottest", hot), ("fastest", fast)):
        one = table.iloc[row]
        print(
            f"{fuel.name}, {what}: oxygen to fuel {ratio[row]:.2f}, "
            f"{one['flame_temperature_K']:.0f} K, "
            f"{one['effective_molar_mass_g_mol']:.1f} g/mol, "
            f"c* {one['characteristic_velocity_m_s']:.0f} m/s"
        )

# %% [markdown]
# The stoichiometric mixtures are at 7.94 and 3.99. The hottest flames lie near them
# (heat breaks some water apart, so not quite there), the fastest gas lies below: by
# more than half for hydrogen, which has the most to gain from being light.
#
# Anything light will do? Put water into the hottest hydrogen flame: it cools, too.

# %%
for water in (0.0, 2.0, 4.0):
    one = burnt(hydrogen, np.array([7.94]), water).iloc[0]
    print(
        f"{water:.0f} kg water a kg of hydrogen: {one['flame_temperature_K']:.0f} K, "
        f"c* {one['characteristic_velocity_m_s']:.0f} m/s"
    )

# %% [markdown]
# No: cooling alone only costs. Leftover hydrogen wins because it makes the gas lighter
# faster than it makes it cooler; water is no lighter than what is there already.

# %%
table = burnt(hydrogen, ratios[hydrogen])
figure = Figure(figsize=(6.4, 8.0))
panels = figure.subplots(2, sharex=True)
for axes, column in zip(panels, ("flame_temperature_K", "characteristic_velocity_m_s")):
    cs.plot.sweep(table, ratios[hydrogen], column, ax=axes)
    axes.plot(ratios[hydrogen][table[column].idxmax()], table[column].max(), "o")
axes.set_xlabel("mass of oxygen over mass of hydrogen")
figure.savefig("hottest_flame.png", bbox_inches="tight")
