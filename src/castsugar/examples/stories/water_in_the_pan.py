# %% [markdown]
# # Water in the pan
#
# Corn syrup is a fifth water. What the pan does not drive off is cast, and burns along:
# it takes heat from the flame. Driving off all of it takes an hour, browns the sugar
# and makes the mix too thick to pour. How much does it matter?

# %%
import castsugar as cs

recipe = {"KNO3": 60, "powdered sugar": 20, "corn syrup": 20}
base = cs.Mix.weigh(recipe, name="base")
print(f"{100 * base.water_as_weighed:.1f} % of what is weighed is water")

# %% [markdown]
# First without a kitchen: we say what share of the water leaves, and look at the flame.

# %%
drier = [base.with_water_lost(share) for share in (0.0, 0.25, 0.5, 0.75, 1.0)]
table = cs.evaluate(drier, pressure=3.45e6)
columns = [
    "water_as_cast_percent",
    "flame_temperature_K",
    "characteristic_velocity_m_s",
]
print(table[columns].round(1).to_string(index=False))
wet, dry = table.iloc[0], table.iloc[-1]
gain = dry["characteristic_velocity_m_s"] / wet["characteristic_velocity_m_s"] - 1
print(f"all water away: {100 * gain:.1f} % more c*")

# %% [markdown]
# That is little. Steam is light, so it gives back as a gas much of what it takes as
# heat. Now the pan itself, at 119 °C. The kitchen dries the mix as a usual small pan
# does; its numbers are estimates from before anybody measured yours: mind the bands.

# %%
for minutes in (4, 8, 16, 32):
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 60.0 * minutes))
    row = cs.kitchen_table(base, kitchen).iloc[0]
    print(
        f"{minutes:2d} min: {row['water_as_cast_percent']:.1f} % water left, "
        f"{row['pour_viscosity_Pa_s']:4.0f} Pa s, "
        f"{row['sugar_degraded_percent']:.1f} % of the sugar browned"
    )

# %% [markdown]
# Longer means drier, thicker and browner, until `inf`: the grains touch, and it jams.
# How long until one per cent is left?

# %%
kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0))
print(cs.kitchen.drying_time(base, kitchen, 0.01))

# %%
half = cs.Mix.weigh({"KNO3": 60, "powdered sugar": 30, "corn syrup": 10})
axes = cs.plot.cook({"base": base, "half the syrup": half}, kitchen)
axes.legend()
axes.figure.savefig("water_in_the_pan.png", bbox_inches="tight")

# %% [markdown]
# Weigh the pan before and after the cook, and the band narrows to your own pan:
# `cs.kitchen.pan_weight` takes that reading, `cs.kitchen.calibrate` learns from it.
# Believe the scale, not the clock.
#
# Hot mixes burn people and houses; local law decides. Electric heat with a thermostat,
# two thermometers, small batches, water at hand; no verdict here holds above 150 °C.
