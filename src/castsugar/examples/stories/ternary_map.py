# %% [markdown]
# # A map with limits of your own
#
# Three ingredients make a triangle. Syrup helps a mix to pour and brings water; sugar
# gives it body; nitrate burns both. We want a mix that a flame of ours does not make
# too hot, that pours, and that still sets. On a map the three wishes are three lines,
# and what is left between them is the place to look.

# %%
import numpy as np

import castsugar as cs

items = ("KNO3", "powdered sugar", "corn syrup")
shares = np.array(
    [
        (nitrate, sugar, 100 - nitrate - sugar)
        for nitrate in range(44, 77, 2)
        for sugar in range(0, 57, 2)
        if nitrate + sugar <= 100
    ]
)
mixes = cs.blend(items, shares / 100)
print(f"{len(mixes)} mixes")

# %% [markdown]
# The kitchen is the pan: eight minutes at 119 °C (392.15 K) after which it is poured.
# It says what water leaves and how thick the rest is. No measured viscosity of such a
# mix was found in the open literature: until you measure your own, a pour viscosity is
# known to a factor of 4 or worse. Read the line as a guess at where to begin.

# %%
kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0))
table = cs.evaluate(mixes, pressure=3.45e6, kitchen=kitchen, windows=False)

# %% [markdown]
# A limit is a distance: above zero where it is kept. These three are invented; yours
# depend on your mould, your patience and your case.

# %%
limits = {
    "flame 1600 K": 1600 - table["flame_temperature_K"],
    "pours": np.log10(20 / np.minimum(table["pour_viscosity_Pa_s"], 1e4)),
    "sets": table["relative_solids_20C"] - 0.9,
}
kept = np.all([slack >= 0 for slack in limits.values()], axis=0)
print(f"{kept.sum()} of them keep all three limits")

# %% [markdown]
# Among those the differences of performance are small. Here is the best one.

# %%
velocity = table["characteristic_velocity_m_s"].where(kept)
best = int(velocity.idxmax())
print(f"highest c* among them: {velocity[best]:.0f} m/s, lowest {velocity.min():.0f}")
print("at", ", ".join(f"{s:.0f} % {i}" for s, i in zip(shares[best], items)))

# %%
axes = cs.plot.ternary(
    shares / 100,
    table["characteristic_velocity_m_s"],
    corners=items,
    label="c*, m/s",
    contours=(840, 860, 880, 900, 920),
    limits={name: np.asarray(slack) for name, slack in limits.items()},
    marks={"best": tuple(shares[best] / 100)},
    zoom=((0.44, 0.76), (0.0, 0.56), (0.0, 0.56)),
)
axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.15), ncols=5)
axes.figure.savefig("ternary_map.png", bbox_inches="tight")

# %% [markdown]
# The best place lies where limits meet, as it nearly always does: on an edge, where a
# little less care breaks a promise. A search (see *The best mix for a case*) says what
# each limit costs.
#
# Hot mixes burn people and houses; local law decides.
