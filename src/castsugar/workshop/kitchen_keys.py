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
_MINUTES = Key(kind="number", range="minutes", about="minutes at the temperature")

KITCHEN: Keys = {
    "altitude": Key(range="altitude", about="height above the sea, '300 m'"),
    "air_pressure": Key(range="air pressure", about="pressure of the air, '980 mbar'"),
    "syrup": Key(kind="text", default="corn syrup"),
    "cook": _COOK,
    "minutes": _MINUTES,
    "degradation_limit": Key(
        range="degraded sugar", about="largest share of browned sugar"
    ),
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
        "batch": Key(range="batch", required=True, about="mass of the mix, '200 g'"),
        "lost": Key(range="mass lost", required=True, about="mass that left, '1.4 g'"),
        "scale": Key(range="uncertainty of weighing", default=1e-4),
    },
    "bulk density": {
        **_MEASURED,
        "mass": Key(
            range="mass of powder", required=True, about="mass of the tapped powder"
        ),
        "volume": Key(
            range="volume of a cup", required=True, about="volume of the cup"
        ),
        "salt": _SALT,
    },
    "ball fall": {
        **_MEASURED,
        "syrup": Key(kind="text", default="corn syrup"),
        "ball": Key(range="ball diameter", required=True, about="diameter of the ball"),
        "cup": Key(range="cup diameter", required=True, about="diameter of the cup"),
        "fall": Key(range="height", required=True, about="distance of the fall"),
        "time": Key(range="measured time", required=True, about="time of the fall"),
        "temperature": Key(
            range="syrup temperature", required=True, about="of the syrup"
        ),
        "ball_density": Key(range="ball density", default=7800.0),
    },
    "flow-out": {
        **_MEASURED,
        **_POT,
        "tube_diameter": Key(
            range="tube diameter", required=True, about="inner diameter"
        ),
        "tube_length": Key(
            range="tube length", required=True, about="length of the tube"
        ),
        "head": Key(
            range="height", required=True, about="mean height above the outlet"
        ),
        "volume": Key(
            range="volume of a cup", required=True, about="volume that ran out"
        ),
        "time": Key(range="measured time", required=True, about="time it took"),
        "salt": _SALT,
    },
}
