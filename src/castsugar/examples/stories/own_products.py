# %% [markdown]
# # A product species of your own
#
# What comes out of a flame is sought among the species of a file, and what is not in
# the file cannot come out. Did somebody leave out one that matters? The default set has
# no vapour of potassium carbonate; a newer evaluation has. Copy the shipped file, add
# the entry, and see.

# %%
from pathlib import Path

import castsugar as cs

data = cs.load_database().folder
newer = (data / "products-2002.yaml").read_text("utf-8")
vapour = newer.split('- name: "K2CO3"\n')[1].split("- name:")[0]
print(vapour)

# %% [markdown]
# An entry is a formula and two polynomials of heat capacity, with enthalpy and entropy:
# the form in which such data are published. Say with `source` where yours come from.

# %%
text = (data / "products.yaml").read_text("utf-8")
text = text.replace("gases:\n", f'gases:\n- name: "K2CO3"\n{vapour}', 1)
own = Path("own-products.yaml")
own.write_text(text.replace("data-set: ", "data-set: mine, after ", 1), "utf-8")
species = cs.species_file(own)

# %% [markdown]
# The file is checked as it is read: fits that do not join, or a standard pressure other
# than 1 bar, are refused with file, line and species. Then it is one more option.

# %%
for nitrate in (60, 65, 70):
    mix = cs.Mix.weigh({"KNO3": nitrate, "sucrose": 100 - nitrate})
    before = cs.equilibrium(mix)
    after = cs.equilibrium(mix, species=species)
    share = 1e6 * after.mole_fraction("K2CO3")
    print(
        f"{nitrate} % nitrate: {before.temperature:.2f} K without, "
        f"{after.temperature:.2f} K with {share:.0f} ppm of carbonate vapour"
    )

# %% [markdown]
# So it was left out with good reason: at these temperatures carbonate is a liquid, and
# what evaporates costs a tenth of a kelvin. Now you know, and need not believe it.
