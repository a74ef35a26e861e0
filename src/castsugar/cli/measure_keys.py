"""The options of the kitchen measurements: name, whether required, help.

Kept apart from the schema of the bench file so that ``--help`` loads nothing else; a
test holds the two together.
"""

from __future__ import annotations

Option = tuple[str, bool, str]

_COMMON: tuple[Option, ...] = (
    ("date", False, "when it was measured, for the record"),
    ("note", False, "a remark for the record"),
)
_POT: tuple[Option, ...] = (
    ("recipe", True, "what was in the pan"),
    ("cook", True, "bulk temperature, '119 C', or a profile of time and temperature"),
    ("minutes", False, "how long the one temperature was held"),
)
_SALT: Option = ("salt", False, "potassium nitrate (default) or potassium chloride")

OPTIONS: dict[str, tuple[Option, ...]] = {
    "pan weight": (
        *_POT,
        ("batch", True, "mass of the mix as weighed, '200 g'"),
        ("lost", True, "mass of pan and mix before less after, '1.4 g'"),
        ("scale", False, "standard uncertainty of one weighing (default '0.1 g')"),
        *_COMMON,
    ),
    "bulk density": (
        ("mass", True, "mass of the tapped powder, '63 g'"),
        ("volume", True, "volume of the cup, '50 ml'"),
        _SALT,
        *_COMMON,
    ),
    "ball fall": (
        ("ball", True, "diameter of the ball, '3 mm'"),
        ("cup", True, "inner diameter of the cup, '40 mm'"),
        ("fall", True, "distance of the fall, '50 mm'"),
        ("time", True, "time of the fall, '9.5 s'"),
        ("temperature", True, "of the syrup, '25 C'"),
        ("syrup", False, "which syrup (default corn syrup)"),
        ("ball_density", False, "density of the ball (default '7800 kg/m3', steel)"),
        *_COMMON,
    ),
    "flow-out": (
        *_POT,
        ("tube_diameter", True, "inner diameter of the outlet tube, '8 mm'"),
        ("tube_length", True, "length of the outlet tube, '30 mm'"),
        ("head", True, "mean height of the mix above the outlet, '60 mm'"),
        ("volume", True, "volume that ran out, '50 ml'"),
        ("time", True, "time that it took, '72 s'"),
        _SALT,
        *_COMMON,
    ),
}

#: What each option takes, as in the other commands.
TAKES: dict[str, str] = {
    "recipe": "RECIPE",
    "cook": "PROFILE",
    "minutes": "N",
    **dict.fromkeys(("batch", "lost", "scale", "mass"), "MASS"),
    **dict.fromkeys(("ball", "cup", "fall"), "LENGTH"),
    **dict.fromkeys(("tube_diameter", "tube_length", "head"), "LENGTH"),
    "volume": "VOLUME",
    "time": "TIME",
    "temperature": "TEMPERATURE",
    "ball_density": "DENSITY",
    "salt": "NAME",
    "syrup": "NAME",
    "date": "DATE",
    "note": "TEXT",
}
