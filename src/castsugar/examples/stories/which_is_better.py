# %% [markdown]
# # Which mix is better, honestly
#
# A table ranks everything: 898.4 is more than 897.9. But scales have steps, bags are
# damp, data have doubts. The honest question is whether a difference is larger than
# all that. What two mixes share, the same bag, the same data, cancels: so the draws are
# made for both at once, in pairs.

# %%
import castsugar as cs

mixes = [
    cs.Mix.weigh({"KNO3": 60, "powdered sugar": 20, "corn syrup": 20}, name="base"),
    cs.Mix.weigh({"KNO3": 60.3, "powdered sugar": 19.7, "corn syrup": 20}, name="hair"),
    cs.Mix.weigh({"KNO3": 65, "powdered sugar": 20, "corn syrup": 15}, name="step"),
]
table = cs.evaluate(mixes, pressure=3.45e6)
print(table.set_index("name")["characteristic_velocity_m_s"].round(1).to_string())

# %% [markdown]
# The table has a winner. Now with a scale of 1 g in a batch of 200 g, a bag that may
# have drawn damp, a chamber pressure that nobody sets to the last digit.

# %%
found = cs.compare(
    mixes,
    conditions=cs.Conditions(pressure=3.45e6),
    doubts=cs.Doubts(weighing=5e-4, batch=0.2, moisture=0.004),
)
columns = (
    "flame_temperature_K",
    "characteristic_velocity_m_s",
    "density_impulse_kg_s_m3",
)
for name, cells in zip(found.names[1:], found.cells[1:]):
    for column in columns:
        low, high = cells[column].difference.interval
        said = f"{name} less base: {low:+.1f} to {high:+.1f}"
        print(f"{column:28s} {said:38s} {cells[column].verdict}")

# %% [markdown]
# "Cannot tell" is an answer. It says: do not change the recipe for this, or measure
# better. What would help most? The cell knows which doubt is the largest.

# %%
for part in found.cells[1]["characteristic_velocity_m_s"].parts[:3]:
    print(f"{100 * part.share:3.0f} % of the doubt: {part.input.label}")

# %%
axes = cs.plot.differences(found, columns=columns)
axes.legend(loc="upper center", bbox_to_anchor=(0.5, 0.0))
axes.figure.savefig("which_is_better.png", bbox_inches="tight")

# %% [markdown]
# Filled marks have a verdict, hollow ones have none. With a kitchen and a motor in
# `cs.Conditions` the same is asked of how it pours and what pressure it makes; there
# "cannot tell" comes even more often, because two pots of one recipe already differ.
