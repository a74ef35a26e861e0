"""The first route: a batched minimiser of the Gibbs function, in numpy.

A thousand mixes are solved in the time of a few: every array has the mixes on its
first axis. Unknowns are the element potentials, the amount of gas, the temperature
and the amounts of the condensed phases that are present; the amounts of gas species
follow from the potentials, so that traces need no floor and no special case.

Read in this order: ``model`` (what the solver must know of species), ``iterate`` (the
unknowns), ``linear`` (residuals and the bordered matrix), ``phases`` (which are
present), ``newton`` (the iteration), ``starts``, ``chamber``, ``expansion``.

Conditions and iteration after White, Johnson & Dantzig, J. Chem. Phys. 28 (1958) 751,
and Smith & Missen, Chemical Reaction Equilibrium Analysis (Wiley, 1982), both from
memory; the logarithmic gas constraint and the phase rules are derived in the modules.
"""
