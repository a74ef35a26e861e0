# %% [markdown]
# # From strands to a law
#
# How fast a mix burns never comes out of thermochemistry: it is measured. Cast a few
# small sticks (strands), burn them under pressure, note length, time and pressure.
# The Tarnholt rocket club has done so; it does not exist, and its numbers are invented.

# %%
from pathlib import Path

import castsugar as cs

club = Path("invented-club")
if not club.exists():
    cs.bench.write_example(club)
strands = cs.strands.read_strands(club / "strands.csv")
print(f"{len(strands)} strands of {len({s.mix for s in strands})} mixes, for example")
print(f"{1e3 * strands[4].rate:.2f} mm/s at {strands[4].pressure / 1e6:.1f} MPa")

# %% [markdown]
# On logarithmic axes a law r = a pⁿ is a straight line. The fit says how steep it is,
# and how much single strands scatter about it.

# %%
found = cs.strands.analyse(strands)
print(found)

# %% [markdown]
# Two bands belong to a law. The narrow one says where the law lies: it shrinks with
# every strand. The wide one says where the next strand will lie: it does not. Rings
# mark strands that a law misses: look at those lines again. (Here it was chance.)

# %%
axes = cs.plot.strands(found)
axes.legend()
axes.figure.savefig("strands_to_law.png", bbox_inches="tight")

# %% [markdown]
# The exponent decides how touchy a motor is. In equilibrium its pressure goes with the
# burning surface to the power 1/(1 - n): at n = 0.28 a surface 10 % larger makes 14 %
# more pressure, at n = 0.7 it makes 37 %.

# %%
for mix in found.mixes:
    exponent = mix.law.bands[-1].exponent
    rise = 100 * (1.1 ** (1 / (1 - exponent)) - 1)
    print(
        f"{mix.mix}: n = {exponent:.2f}; 10 % more surface: {rise:.0f} % more pressure"
    )

# %% [markdown]
# No strands of your own yet? Published laws can be borrowed. They were measured on
# other people's nitrate, sugar and pans, so their bands are wide.

# %%
for law in cs.motor.borrowed_laws(cs.load_database())[:3]:
    rate = 1e3 * float(cs.motor.burn_rate(law, 3.45e6))
    known = 100 * law.log_rate_u
    print(f"{law.name}: {rate:.1f} mm/s at 3.45 MPa, known to {known:.0f} %")

# %% [markdown]
# One warning. All strands of a mix here came out of one pot. Two pots of one recipe
# differ by more than the scatter in this picture: see *Three batches*.
#
# Hot mixes burn people and houses; local law decides.
