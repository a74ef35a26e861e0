"""The bench file: one TOML file that describes the user's world. Its only schema.

Tables known so far: ``[kitchen]`` and ``[motor]``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from castsugar.errors import InputError, nearest_names
from castsugar.kitchen.parameters import NAMES, OF_SYRUP
from castsugar.workshop.files import write_text
from castsugar.workshop.motor_keys import (
    AREAS,
    BORROWED,
    CASE,
    CYLINDER,
    MOTOR,
    STRANDS,
)
from castsugar.workshop.motor_keys import STATED as STATED_LAW
from castsugar.workshop.schema import Key, Keys, Place, read_table

#: Largest bench file that is read [bytes].
LARGEST = 4_000_000

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

#: Tables of the file and their keys.
TABLES: dict[str, Keys] = {"kitchen": KITCHEN, "motor": MOTOR}


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """A bench file, checked: values in SI, absent tables empty.

    Attributes
    ----------
    path : pathlib.Path
    text : str
        As it was read.
    kitchen : dict
        Keys of :data:`KITCHEN`; stated parameters as dicts, `measured` as a list of
        dicts with the keys of :data:`MEASUREMENTS`.
    motor : dict or None
        Keys of :data:`castsugar.workshop.motor_keys.MOTOR`; `grain` and `case` as
        dicts, `burn_law` as a list of dicts. None without the table.
    """

    path: Path
    text: str
    kitchen: dict[str, Any]
    motor: dict[str, Any] | None


def read_bench(path: Path) -> Bench:
    """Read and check a bench file.

    Raises
    ------
    InputError
        File, line, key, what was got, what is allowed, what to do.
    """
    try:
        size = path.stat().st_size
        if size > LARGEST:
            raise InputError(f"{path} has {size:,} bytes; allowed {LARGEST:,}")
        text = path.read_text("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path}: byte {error.start} is not UTF-8; save the file as UTF-8"
        ) from None
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}") from None
    return check_bench(path, text)


def check_bench(path: Path, text: str) -> Bench:
    """Check the text of a bench file; errors as for :func:`read_bench`."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path} is not valid TOML: {error}") from None
    for name in raw:
        if name not in TABLES:
            near = nearest_names(name, list(TABLES))
            hint = f"did you mean [{near[0]}]? " if near else ""
            line = Place(path, text, name).line() if isinstance(raw[name], dict) else 1
            raise InputError(
                f"{path}, line {line}: [{name}] is not known; {hint}allowed: "
                + ", ".join(f"[{t}]" for t in TABLES)
            )
    motor = None
    if "motor" in raw:
        motor = _motor(raw["motor"], path, text)
    return Bench(path, text, _kitchen(raw.get("kitchen", {}), path, text), motor)


def _kitchen(raw: Any, path: Path, text: str) -> dict[str, Any]:
    """Check the kitchen table with what it holds."""
    place = Place(path, text, "kitchen")
    found = read_table(raw, KITCHEN, place)
    if found["altitude"] is not None and found["air_pressure"] is not None:
        raise place.fail("altitude", "and air_pressure are both given; give one")
    for name in STATABLE:
        if found[name] is not None:
            inner = Place(path, text, f"kitchen.{name}")
            found[name] = read_table(found[name], STATED, inner)
    entries = found["measured"] if found["measured"] is not None else []
    if not isinstance(entries, list):
        raise place.fail("measured", "must be written as [[kitchen.measured]]")
    found["measured"] = [
        read_measurement(entry, Place(path, text, "kitchen.measured", index))
        for index, entry in enumerate(entries)
    ]
    return found


def _motor(raw: Any, path: Path, text: str) -> dict[str, Any]:
    """Check the motor table with what it holds."""
    place = Place(path, text, "motor")
    found = read_table(raw, MOTOR, place)
    if found["efficiency"] is not None and found["measured_efficiency"] is not None:
        raise place.fail("efficiency", "and measured_efficiency are both given")
    grain = found["grain"]
    shaped = isinstance(grain, Mapping) and ("web_mm" in grain or "area_mm2" in grain)
    found["grain"] = read_table(
        grain, AREAS if shaped else CYLINDER, Place(path, text, "motor.grain")
    )
    if found["case"] is not None:
        found["case"] = read_table(found["case"], CASE, Place(path, text, "motor.case"))
    entries = found["burn_law"]
    if not isinstance(entries, list) or not entries:
        raise place.fail(
            "burn_law", "must be written as [[motor.burn_law]], once or more"
        )
    found["burn_law"] = [
        _burn_law(entry, Place(path, text, "motor.burn_law", index))
        for index, entry in enumerate(entries)
    ]
    return found


def _burn_law(raw: Any, place: Place) -> dict[str, Any]:
    """Check one way of saying how a mix burns."""
    keys = STATED_LAW
    if isinstance(raw, Mapping):
        keys = BORROWED if "borrowed" in raw else keys
        keys = STRANDS if "strands" in raw else keys
    return read_table(raw, keys, place) | {"line": place.line()}


def read_measurement(raw: Any, place: Place) -> dict[str, Any]:
    """Check one measurement; its kind says which keys belong to it."""
    kind = raw.get("kind") if isinstance(raw, Mapping) else None
    if kind not in MEASUREMENTS:
        near = nearest_names(str(kind), list(MEASUREMENTS)) if kind else []
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise place.fail(
            "kind", f"is {kind!r}; {hint}allowed: {', '.join(MEASUREMENTS)}"
        )
    return read_table(raw, MEASUREMENTS[kind], place)


def append_measurement(path: Path, entry: Mapping[str, Any]) -> Bench:
    """Add a measurement at the end of a bench file; comments and order stay.

    The file is made if it does not exist, and replaced as a whole or not at all.

    Raises
    ------
    InputError
    """
    import tomli_w

    text = read_bench(path).text if path.exists() else ""
    if text and not text.endswith("\n"):
        text += "\n"
    block = tomli_w.dumps(dict(entry))
    text += ("\n" if text else "") + "[[kitchen.measured]]\n" + block
    bench = check_bench(path, text)
    write_text(path, text, force=True)
    return bench
