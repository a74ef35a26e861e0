"""The keys of the kitchen table of a bench file, and of its measurements."""

from __future__ import annotations

from castsugar.kitchen.parameters import NAMES, OF_SYRUP
from castsugar.workshop.schema import Key, Keys

#: Parameters that the user may state; those of a syrup belong to its lot.
STATABLE = tuple(name for name in NAMES if name not in OF_SYRUP)

#: How a parameter is stated.
STATED: Keys = {
    "value": Key(kind="number", required=True, about="the value, in SI"),
    "spread": Key(
        kind="number",
        required=True,
        about="its standard uncertainty (of the logarithm for times and factors)",
    ),
    "origin": Key(kind="text", default="stated in the bench file"),
}

_COOK = Key(kind="text", about="a temperature or a profile, '119 C'")
_MINUTES = Key(kind="number", about="minutes at the temperature")

KITCHEN: Keys = {
    "altitude": Key(kind="length", about="height above the sea, '300 m'"),
    "air_pressure": Key(kind="pressure", about="pressure of the air, '980 mbar'"),
    "syrup": Key(kind="text", default="corn syrup"),
    "cook": _COOK,
    "minutes": _MINUTES,
    "degradation_limit": Key(kind="fraction", about="largest share of browned sugar"),
    **{name: Key(kind="table") for name in STATABLE},
    "measured": Key(kind="table"),
}

_MEASURED: Keys = {
    "kind": Key(kind="text", required=True),
    "date": Key(kind="text", default=""),
    "note": Key(kind="text", default=""),
}

_POT: Keys = {
    "recipe": Key(kind="text", required=True, about="what was in the pan"),
    "cook": Key(kind="text", required=True, about=_COOK.about),
    "minutes": _MINUTES,
}

_SALT = Key(
    kind="choice",
    default="potassium nitrate",
    choices=("potassium nitrate", "potassium chloride"),
)

#: Kind of measurement -> its keys.
MEASUREMENTS: dict[str, Keys] = {
    "pan weight": {
        **_MEASURED,
        **_POT,
        "batch": Key(kind="mass", required=True, about="mass of the mix, '200 g'"),
        "lost": Key(kind="mass", required=True, about="mass that left, '1.4 g'"),
        "scale": Key(kind="mass", default=1e-4),
    },
    "bulk density": {
        **_MEASURED,
        "mass": Key(kind="mass", required=True, about="mass of the tapped powder"),
        "volume": Key(kind="volume", required=True, about="volume of the cup"),
        "salt": _SALT,
    },
    "ball fall": {
        **_MEASURED,
        "syrup": Key(kind="text", default="corn syrup"),
        "ball": Key(kind="length", required=True, about="diameter of the ball"),
        "cup": Key(kind="length", required=True, about="diameter of the cup"),
        "fall": Key(kind="length", required=True, about="distance of the fall"),
        "time": Key(kind="time", required=True, about="time of the fall"),
        "temperature": Key(kind="temperature", required=True, about="of the syrup"),
        "ball_density": Key(kind="density", default=7800.0),
    },
    "flow-out": {
        **_MEASURED,
        **_POT,
        "tube_diameter": Key(kind="length", required=True, about="inner diameter"),
        "tube_length": Key(kind="length", required=True, about="length of the tube"),
        "head": Key(kind="length", required=True, about="mean height above the outlet"),
        "volume": Key(kind="volume", required=True, about="volume that ran out"),
        "time": Key(kind="time", required=True, about="time it took"),
        "salt": _SALT,
    },
}
