# %% [markdown]
# # An ingredient of your own, and the second data set
#
# Suppose that fruit sugar, fructose, were not in the catalogue. Python takes it all the
# same, under a name of its own: a formula, an enthalpy of formation, a density. Such a
# row carries the flag "reference only", because nobody checked it: evaluate,
# performance and equilibrium take it; sensitivities, comparison, search, weigh sheet,
# commands and bench files not. The two numbers below are from memory of the usual
# handbooks: look them up before you lean on them.

# %%
import castsugar as cs

fructose = cs.Ingredient(
    name="my fructose",
    formula="C6H12O6",
    enthalpy_of_formation=-1265.6e3,  # J/mol, of the solid at 298.15 K
    enthalpy_uncertainty=2.0e3,
    density=1690.0,  # kg/m3
    role="fuel",
    source="from memory",
)
mixes = [
    cs.Mix.weigh({"KNO3": 65, fructose: 35}, name="fructose"),
    cs.Mix.weigh({"KNO3": 65, "dextrose": 35}, name="dextrose"),
    cs.Mix.weigh({"KNO3": 65, "sucrose": 35}, name="sucrose"),
]

# %% [markdown]
# Fructose and dextrose have the same atoms; only their heats of formation differ, and
# by little. How sure is such a number? `data_uncertainty` moves the enthalpies of the
# ingredients by their doubt, and the products from one published data set to another.

# %%
table = cs.evaluate(mixes, pressure=6.9e6, data_uncertainty=True).set_index("name")
columns = ["flame_temperature_K", "flame_temperature_u_K", "flags"]
print(table[columns].round(1).to_string())

# %% [markdown]
# The second set by hand: newer evaluations of the potassium species. If a conclusion of
# yours changes between the two, it was a conclusion about data.

# %%
columns = ["flame_temperature_K", "characteristic_velocity_m_s"]
for name in ("nasa-1993", "nasa-2002"):
    other = cs.evaluate(mixes, pressure=6.9e6, species=cs.species_set(name))
    print(f"{name}:")
    print(other.set_index("name")[columns].round(1).to_string(header=False))

# %% [markdown]
# What would a wrong heat of formation do? 10 kJ/mol, a likely slip of the pen:

# %%
slip = cs.Ingredient(
    name="my fructose, slip",
    formula="C6H12O6",
    enthalpy_of_formation=-1255.6e3,
    density=1690.0,
)
wrong = cs.evaluate({"KNO3": 65, slip: 35}, pressure=6.9e6)
moved = wrong["flame_temperature_K"][0] - table["flame_temperature_K"]["fructose"]
print(f"10 kJ/mol move the flame by {moved:.1f} K")

# %%
products = [cs.equilibrium(mix, pressure=6.9e6) for mix in mixes[:2]]
for mix, state in zip(mixes, products):
    main = ", ".join(f"{k} {v:.1f}" for k, v in state.main_species(1.0).items())
    print(f"{mix.name}, mol/kg: {main}")

# %% [markdown]
# Other elements than those of the family (C H O N K Na Fe) are refused, own ingredient
# or not: castsugar is for nitrate and sugar.
#
# Hot mixes burn people and houses; local law decides. Fructose browns early in a pan,
# and castsugar has no kitchen for it.
