"""Sorbitol, erythritol and dextrose: their constants, and why others have no model."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from castsugar.arrays import BoolArray, FloatArray
from castsugar.kitchen.validity import ICE_POINT


@dataclass(frozen=True, slots=True, kw_only=True)
class Sugar:
    """What the pot knows of a sugar beside sucrose and syrup.

    Attributes
    ----------
    molar_mass : float
        [kg/mol]
    density : float
        Of the crystal. [kg/m3]
    volume, expansion : float
        Dissolved or molten: specific volume at 20 C [m3/kg], and how it grows [1/K].
    glass : float
        Glass transition, dry. [K]
    norrish, damped : float
        Norrish constant of the activity of water, and which part of the damping of
        sucrose belongs to it.
    activity : float
        Of water over its saturated solution, 25 C.
    spread : float
        Standard deviation of ln of the viscosity of its liquid.
    """

    molar_mass: float
    density: float
    volume: float
    expansion: float
    glass: float
    norrish: float
    damped: float
    activity: float
    spread: float


#: Densities of crystals: those of the catalogue. Norrish: sorbitol and glucose as
#: quoted in an open food-science code base (sorbitol undamped: it gives the humidities
#: of its amorphous solids), erythritol from memory. Activities: the middle of 69-73,
#: 94-97, 89-91 % (from memory). Glasses: open collections; erythritol from memory.
#: Volumes: glass 1.47 g/cm3 with 4.5e-4/K; molten erythritol 1.30 g/cm3 at 120 C (from
#: memory); dextrose as syrup solids. Spreads: sorbitol, between fragilities in print
#: and the series glycerol, erythritol; dextrose, measured at 60 % only (estimated).
SUGARS = {
    "dextrose": Sugar(
        molar_mass=0.18016,
        density=1562.0,
        volume=0.640e-3,
        expansion=3.0e-4,
        glass=31.0 + ICE_POINT,
        norrish=2.25,
        damped=1.0,
        activity=0.90,
        spread=0.7,
    ),
    "sorbitol": Sugar(
        molar_mass=0.18217,
        density=1489.0,
        volume=1.0 / 1470.0,
        expansion=4.5e-4,
        glass=-3.0 + ICE_POINT,
        norrish=1.65,
        damped=0.0,
        activity=0.71,
        spread=0.7,
    ),
    "erythritol": Sugar(
        molar_mass=0.12212,
        density=1450.0,
        volume=0.736e-3,
        expansion=4.5e-4,
        glass=-44.0 + ICE_POINT,
        norrish=1.34,
        damped=0.0,
        activity=0.955,
        spread=0.35,
    ),
}

#: Those that melt in the pot: no reducing end, no browning below 200 C alone (from
#: memory).
MELTS = ("sorbitol", "erythritol")

#: Nitrate that a molten sugar takes, per mass, times the parameter
#: `nitrate_dissolved`: about 0.05, 0 to 0.15 (guess, no data).
IN_MELT = 0.11

#: The pour window of a sugar that melts starts so far above its freezing [K], and
#: ends here [K].
MARGIN, HOTTEST = 5.0, 130.0 + ICE_POINT

#: Sugars without a model -> why.
WITHOUT = {
    "xylitol": "its viscosity is known to a factor of 6 only and it may stay liquid "
    "for weeks",
    "mannitol": "it melts at 165 C, above the 150 C where no verdict is given",
    "isomalt": "no viscosity data",
}

#: Water below which dextrose counts as dry, as a share of it, and why it has no model.
DRY = 0.05
DRY_DEXTROSE = (
    "no model for dry dextrose: with nitrate 50 to 350 Pa s where it melts, 146 C, too "
    "stiff to pour and above the 130 C caution; add water or syrup"
)


def dry_dextrose(masses: Mapping[str, FloatArray], solids: FloatArray) -> BoolArray:
    """Say in which rows the sugar is mostly dextrose, with next to no water."""
    dextrose, syrup = masses["dextrose"], masses["syrup"]
    wet = masses["water"] + syrup * (1.0 - solids)
    rest = masses["sucrose"] + syrup * solids + sum(masses[name] for name in MELTS)
    return (dextrose > rest) & (wet < DRY * dextrose)


#: From this share of the sugars on other sugars decide how the grain sets.
MAJOR = 0.5

#: What stands in front of how a grain sets for which no solids over packing are told.
SETTING = "setting: "

#: Sugar -> how its grain sets.
_SETS = {
    "sorbitol": "firm enough to handle when cold, hard by its own crystals in 1 to 3 "
    "days (0.3 to 7), colder is not quicker, more than 1 % water or other sugars delay "
    "it, keep sealed meanwhile",
    "erythritol": "starts to freeze 20 to 50 K below 119 C, then hard in minutes",
    "dextrose": "cannot be told, dextrose crystallises slowly",
}

#: Sorbitol whose glass lies deeper below the room than this [K].
_SOFT = "stays soft: too much water for sorbitol, its glass is 40 K below the room"
_SHAPE, _ROOM = 40.0, 20.0 + ICE_POINT

#: What to mind of erythritol in the mould, from which share of the sugars on.
SHRINKS = (
    "erythritol shrinks by 10 to 14 % as it freezes, 5 to 6 % of a 65/35 grain: sink "
    "holes and cracks, fill a hot mould slowly, top up, weigh"
)
_SOME = 0.2


def setting_words(
    shares: Mapping[str, FloatArray], glass: FloatArray
) -> tuple[tuple[str, ...], ...]:
    """Return how other sugars set, and what to mind, for rows of a pot.

    Parameters
    ----------
    shares : mapping
        Sugar to its share of all sugars, (n,).
    glass : ndarray, shape (n,)
        Glass transition of the binder as cast. [K]
    """
    if not any(shares[name].any() for name in SUGARS):
        return ((),) * len(glass)
    found = []
    for row, transition in enumerate(glass):
        own = {name: float(shares[name][row]) for name in SUGARS}
        words = []
        if sum(own.values()) >= MAJOR:
            most = max(own, key=lambda name: own[name])
            soft = most == "sorbitol" and transition + _SHAPE < _ROOM
            words.append(SETTING + (_SOFT if soft else _SETS[most]))
        words += [SHRINKS] if own["erythritol"] >= _SOME else []
        found.append(tuple(words))
    return tuple(found)
