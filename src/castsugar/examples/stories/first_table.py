# %% [markdown]
# # A first table
#
# Saltpetre and sugar: which sugar, and how much of it? People argue about that a good
# deal. Let us make six mixes on paper and look. `KNO3` and `sucrose` are names of the
# catalogue (`castsugar ingredients` lists it); the numbers are parts by mass.

# %%
import castsugar as cs

mixes = [
    cs.Mix.weigh({"KNO3": nitrate, sugar: 100 - nitrate}, name=f"{sugar} {nitrate}")
    for sugar in ("sucrose", "sorbitol")
    for nitrate in (60, 65, 70)
]

# %% [markdown]
# A table has one row a mix. Inside Python everything is SI, so the pressure is in
# pascals (6.9 MPa is about 1000 psi); every column says its unit in its name. These are
# ideal numbers, without losses: a small motor delivers clearly less.

# %%
table = cs.evaluate(mixes, pressure=6.9e6, exit_pressure=101325.0)
columns = [
    "flame_temperature_K",
    "characteristic_velocity_m_s",
    "specific_impulse_s",
    "condensed_mass_fraction",
]
print(table.set_index("name")[columns].round(2).to_string())

# %% [markdown]
# `characteristic_velocity_m_s` is c\*: chamber pressure times throat area over mass
# flow, what the propellant alone gives to a motor. Every column has its meaning:

# %%
meanings = {column.key: column.meaning for column in cs.COLUMNS}
print(meanings["condensed_mass_fraction"])

# %% [markdown]
# Now the surprise. From the coolest of these flames to the hottest is a long way, from
# the lowest c\* to the highest hardly a step. Part of the reason stands in the last
# column: two fifths of what comes out is liquid carbonate, which pushes nothing.

# %%
flame = table["flame_temperature_K"]
velocity = table["characteristic_velocity_m_s"]
print(f"flame: {flame.min():.0f} to {flame.max():.0f} K")
print(f"c*: {velocity.min():.0f} to {velocity.max():.0f} m/s,")
print(f"so {100 * (velocity.max() / velocity.min() - 1):.1f} % from worst to best")

# %% [markdown]
# A curve shows it at one glance. The drawing takes matplotlib Axes, or makes its own,
# and gives them back to go on with. The corner at 74 % is where nitrate could burn all
# of the sugar: what is more than that only cools.

# %%
shares = [0.5 + 0.01 * step for step in range(31)]
line = cs.evaluate([{"KNO3": x, "sucrose": 1 - x} for x in shares])
percent = [100 * x for x in shares]
axes = cs.plot.sweep(line, percent, "characteristic_velocity_m_s")
axes.set_xlabel("potassium nitrate, %, the rest sucrose")
axes.figure.savefig("first_table.png", bbox_inches="tight")

# %% [markdown]
# So performance hardly chooses the ratio. What does? How it cooks and pours, and what
# pressure it makes: the next stories.
