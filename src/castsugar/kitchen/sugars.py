"""Sorbitol, erythritol and dextrose: their constants, and why others have no model."""

from __future__ import annotations

from collections.abc import Mapping

from castsugar.arrays import BoolArray, FloatArray
from castsugar.constants import ICE_POINT
from castsugar.frozen import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Sugar:
    """What the pot knows of a sugar beside sucrose and syrup."""

    molar_mass: float  # [kg/mol]
    density: float  # of the crystal [kg/m3]
    #: Dissolved or molten: specific volume at 20 C [m3/kg], and how it grows. [1/K]
    volume: float
    expansion: float
    glass: float  # glass transition, dry [K]
    #: Norrish constant of the activity of water, and which part of the damping of
    #: sucrose belongs to it.
    norrish: float
    damped: float
    activity: float  # of water over its saturated solution, 25 C
    spread: float  # standard deviation of ln of the viscosity of its liquid


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
    "stiff to pour and above the 130 C caution, add water or syrup"
)


def dry_dextrose(masses: Mapping[str, FloatArray], solids: FloatArray) -> BoolArray:
    """Say in which rows the sugar is mostly dextrose, with next to no water."""
    dextrose, syrup = masses["dextrose"], masses["syrup"]
    wet = masses["water"] + syrup * (1.0 - solids)
    rest = masses["sucrose"] + syrup * solids + sum(masses[name] for name in MELTS)
    return (dextrose > rest) & (wet < DRY * dextrose)


#: From this share of the sugars on other sugars decide how the grain sets.
MAJOR = 0.5

#: Sugar -> how its grain sets, and why no solids over packing are told.
_SETS = {
    "sorbitol": (
        "firm enough to handle when cold, hard in 1 to 3 days (0.3 to 7), colder is "
        "not quicker, water above 1 % or other sugars delay it",
        "sorbitol sets by its own crystals",
    ),
    "erythritol": (
        "starts to freeze 20 to 50 K below 119 C, then hard in minutes",
        "erythritol sets as it freezes and shrinks, the grain by 5 to 6 %: top up",
    ),
    "dextrose": (
        "cannot be told: dextrose crystallises slowly",
        "dextrose crystallises slowly",
    ),
}

#: Sorbitol whose glass lies deeper below the room than this [K].
_SOFT = "stays soft: so much water in sorbitol, its glass is 40 K below the room"
_SHAPE, _ROOM = 40.0, 20.0 + ICE_POINT

#: What to mind of erythritol in the mould, from which share of the sugars on.
SHRINKS = "erythritol shrinks "
MIND = (
    "by 10 to 14 % as it freezes, a 65/35 grain by 5 to 6 %: sink holes and cracks, so "
    "fill a hot mould slowly, top up, weigh"
)
SOME = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """How a grain of other sugars sets."""

    how: str = ""  # in words; empty where solids over packing say it
    why: str = ""  # why no solids over packing are told
    mind: str = ""  # what to mind in the mould

    def flags(self) -> list[str]:
        """Return them as flags of a row."""
        told = [f"{SETS}{self.how}", f"{NO_RATIO}{self.why}"] if self.how else []
        return told + ([self.mind] if self.mind else [])


#: What stands in front of how it sets, and of why no solids over packing are told.
SETS, NO_RATIO = "setting: ", "no relative solids at 20 C: "

_PLAIN = Setting()


def settings(
    shares: Mapping[str, FloatArray], glass: FloatArray
) -> tuple[Setting, ...]:
    """Return how other sugars set, for rows of a pot.

    Parameters
    ----------
    shares : mapping
        Sugar to its share of all sugars, (n,).
    glass : ndarray, shape (n,)
        Glass transition of the binder as cast. [K]
    """
    if not any(shares[name].any() for name in SUGARS):
        return (_PLAIN,) * len(glass)
    return tuple(
        setting({name: float(shares[name][row]) for name in SUGARS}, float(one))
        for row, one in enumerate(glass)
    )


def setting(shares: Mapping[str, float], glass: float) -> Setting:
    """Return how one grain sets; see :func:`settings`."""
    mind = SHRINKS + MIND if shares["erythritol"] >= SOME else ""
    if sum(shares.values()) < MAJOR:
        return Setting(mind=mind)
    most = max(shares, key=lambda name: shares[name])
    how, why = _SETS[most]
    if most == "sorbitol" and glass + _SHAPE < _ROOM:
        how = _SOFT
    return Setting(how=how, why=why, mind=mind)
