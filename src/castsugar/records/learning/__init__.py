"""Learn from one's own batches, and ask whether the tool is any good.

`material` says what counts; `kitchen` refits the kitchen, `burn_laws` collects strands,
`firings` what firings showed; `checks` hold what was foreseen against what was
measured, `alarms` does so for motor and firing and names peaks that were too high;
`learnt` is all of it; `saving` writes it into the bench file, in place of what was
written before.
"""
