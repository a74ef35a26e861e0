"""Learn from one's own batches, and ask whether the tool is any good.

`material` says what counts; `combine` puts numbers together; `cooked`, `burned` and
`fired` refit kitchen, burn law and c* efficiency; `moved` shows what that changes;
`checks`, `checks_motor` and `checks_firing` hold what was foreseen against what was
measured, `tally` counts, `alarms` names peaks that were too high; `learnt` is all of
it. `earlier` says what learn wrote into the bench file before; `lesson`, `save`,
`save_laws` and `edits` write it anew.
"""
