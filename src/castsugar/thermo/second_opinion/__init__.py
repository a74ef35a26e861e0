"""The second route: Cantera finds the composition at every temperature.

Independent of :mod:`castsugar.thermo.gibbs` in everything but the species data: the
composition comes from Cantera's multiphase solver, the temperature of given enthalpy
or entropy from a bracketed search, the throat from a search for the largest mass
flux. Slow, and therefore used for what is shown as an answer.
"""
