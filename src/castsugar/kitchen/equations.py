"""Whose equations the kitchen goes by, as keys of ``sources.csv``."""

from __future__ import annotations

#: Of every mix with a kitchen model: viscosity of sugar in water, activity of water,
#: what dissolves, glass and storage, crowding, browning.
EQUATIONS = (
    "genotelle-1995",
    "baeza-2010",
    "ross-1975",
    "mohos-2010",
    "koehler-1897",
    "roos-1993",
    "roos-karel-1991",
    "greenspan-1977",
    "suspension-laws",
    "simkovic",
)
