"""Learn from one's own batches, and ask whether the tool is any good.

`material` says what counts; `kitchen`, `burn_laws` and `efficiency` refit kitchen, burn
law and c* efficiency; `checks` hold what was foreseen against what was measured,
`alarms` does so for motor and firing and names peaks that were too high; `learnt` is
all of it; `saving` writes it into the bench file, in place of what was written before.
"""
