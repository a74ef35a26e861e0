"""The kitchen, motor and lot tables of a bench file, checked key by key."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from castsugar.bench import search_tables
from castsugar.bench.schema import Key, Keys, Place, read_table
from castsugar.kitchen.parameters import NAMES, OF_SYRUP

# ----------------------------------------------------------------------------
# The keys of the kitchen table of a bench file, and of its measurements.

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


# ----------------------------------------------------------------------------
# The keys of the motor table of a bench file.

MOTOR: Keys = {
    "throat": Key(
        range="throat diameter", required=True, about="throat diameter, '8 mm'"
    ),
    "throat_spread": Key(
        range="uncertainty of the throat diameter",
        about="its standard uncertainty, '0.05 mm'",
    ),
    "exit": Key(
        range="exit diameter", about="nozzle exit diameter; left out: no divergence"
    ),
    "nozzle_efficiency": Key(range="nozzle efficiency", default=1.0),
    "thrust_coefficient": Key(kind="number", range="thrust coefficient"),
    "density_ratio": Key(
        range="density ratio", about="grain over density without voids"
    ),
    "density_ratio_spread": Key(range="uncertainty of the density ratio"),
    "area_spread": Key(
        range="uncertainty of the burning area", about="of the burning area, '2 %'"
    ),
    "c_star_spread": Key(range="uncertainty of c*", about="of the ideal c*, '1 %'"),
    "efficiency": Key(
        range="efficiency", about="delivered over ideal c*, for performance"
    ),
    "measured_efficiency": Key(range="efficiency", about="the same, from firings"),
    "grain_temperature": Key(range="grain temperature"),
    "grain_temperature_spread": Key(
        kind="number", range="uncertainty of the grain temperature", about="in kelvin"
    ),
    "temperature_sensitivity": Key(
        kind="number", range="temperature sensitivity", about="of the burn rate, 1/K"
    ),
    "ambient_pressure": Key(range="air pressure"),
    "installed_mass": Key(
        range="installed mass", about="of the rocket with the motor in it, '900 g'"
    ),
    "grain": Key(kind="table", required=True, about="[motor.grain] with its sizes"),
    "case": Key(kind="table"),
    "burn_law": Key(
        kind="table",
        required=True,
        about="[[motor.burn_law]] with recipe and strands, or with borrowed",
    ),
}

#: A hollow cylinder.
CYLINDER: Keys = {
    "outer": Key(range="outer diameter", required=True, about="outer diameter"),
    "core": Key(range="core diameter", required=True, about="core diameter"),
    "length": Key(range="segment length", required=True, about="length of one segment"),
    "segments": Key(kind="number", range="segments", default=1.0),
    "burning_ends": Key(
        kind="number",
        range="burning ends",
        default=2.0,
        about="of a segment: 2, 1 or 0",
    ),
}

#: A grain of any shape.
AREAS: Keys = {
    "web_mm": Key(
        kind="numbers", range="web", required=True, about="rising from 0, in mm"
    ),
    "area_mm2": Key(
        kind="numbers", range="burning area", required=True, about="one a web, in mm2"
    ),
    "port": Key(range="core diameter", about="diameter of the smallest gas passage"),
}

CASE: Keys = {
    "rated_pressure": Key(range="rated pressure", about="that you allow in a firing"),
    "proof_pressure": Key(range="proof pressure", about="held cold, with water"),
    "inner_diameter": Key(range="bore of the case"),
    "wall": Key(range="wall of the case", about="thickness"),
    "material": Key(kind="text", default="case material"),
    "yield_strength": Key(range="strength", about="cold, '240 MPa'"),
    "ultimate_strength": Key(range="strength"),
    "safety_factor": Key(kind="number", range="safety factor", default=2.0),
    "derating": Key(range="derating", about="hot over cold strength"),
    "plastic": Key(kind="flag", default=False),
}

#: Ways to say how a mix burns: strands, a law, or a borrowed one.
STRANDS: Keys = {
    "recipe": Key(kind="text", required=True, about="what was burned"),
    "strands": Key(kind="text", required=True, about="CSV file of strands"),
    "mix": Key(kind="text", default="", about="its name in the file"),
}
STATED_LAW: Keys = {
    "recipe": Key(kind="text", required=True, about="what was burned"),
    "rate": Key(range="burn rate", required=True),
    "pressure": Key(
        range="pressure of a burn rate", required=True, about="where the rate holds"
    ),
    "exponent": Key(kind="number", range="exponent", required=True),
    "rate_spread": Key(
        range="uncertainty of the burn rate", required=True, about="of the rate, '5 %'"
    ),
    "exponent_spread": Key(
        kind="number", range="uncertainty of the exponent", required=True
    ),
    "source": Key(kind="text", default="stated in the bench file"),
}
BORROWED: Keys = {
    "borrowed": Key(kind="text", required=True, about="name of a published law"),
}


# ----------------------------------------------------------------------------
# Keys of the tables of lots, pan and castings, and what checks them.
#
# No catalogue is needed here; :mod:`castsugar.bench.lots` looks the ingredients up.

#: One ``[lots."..."]``: a bag or a bottle.
LOT: Keys = {
    "ingredient": Key(kind="text", required=True, about="a name of the catalogue"),
    "assay": Key(range="assay", about="named substance in the dry matter, '99.2 %'"),
    "moisture": Key(range="moisture", about="of a powder as it is weighed, '0.3 %'"),
    "inert": Key(range="inert part", about="ash, salt in the dry matter, '0.1 %'"),
    "solids": Key(range="dry solids", about="dry solids of a syrup, '80 %'"),
    "dextrose_equivalent": Key(
        kind="number", range="dextrose equivalent", about="of a glucose syrup, 42"
    ),
    "label_carbohydrate": Key(
        range="carbohydrate on a label", about="in one serving, '30 g'"
    ),
    "label_serving": Key(kind="text", about="mass or volume, '100 g' or '30 ml'"),
    "label_density": Key(range="syrup density", about="measured, '1.38 g/ml'"),
    "assay_u": Key(range="uncertainty of a lot", about="standard uncertainty of assay"),
    "moisture_u": Key(
        range="uncertainty of a lot", about="standard uncertainty of moisture"
    ),
    "inert_u": Key(range="uncertainty of a lot", about="standard uncertainty of inert"),
    "solids_u": Key(
        range="uncertainty of a lot", about="standard uncertainty of solids"
    ),
    "date": Key(kind="text", about="when the numbers were read, 2026-05-01"),
    "source": Key(kind="text", default="", about="'label', 'weighed, oven 2 h'"),
    "in_use": Key(kind="flag", about="which of several lots is weighed from"),
}

#: Words in the name of a pan that make it a pressure vessel.
PRESSURE_VESSELS = ("pressure cooker", "autoclave")

#: The pan, and what stays behind.
PAN: Keys = {
    "name": Key(kind="text", default="", about="'enamel pan, 22 cm'"),
    "volume": Key(range="pan volume", about="up to the rim, '1.5 l'"),
    "residue_cup": Key(range="residue", about="syrup that stays in its cup, '1.5 g'"),
    "residue_pan": Key(range="residue", about="hot mix left in pan and tools, '4 g'"),
    "sealed": Key(kind="flag", about="whether its lid holds steam while mix is hot"),
}

#: What is cast beside grains: strands to burn, columns that delay.
CASTING: Keys = {
    "strand_length": Key(range="strand length", about="'60 mm'"),
    "strand_side": Key(range="strand width", about="of a square strand, '10 mm'"),
    "strand_diameter": Key(range="strand width", about="of a round strand, '10 mm'"),
    "delay_diameter": Key(range="delay diameter", about="'12 mm'"),
    "delay_length": Key(range="delay length", about="as cast, '25 mm'"),
}


def read_lots(raw: Any, path: Path, text: str) -> dict[str, dict[str, Any]]:
    """Check the lots: names of the user's own, each with the keys of :data:`LOT`."""
    place = Place(path, text, "lots")
    if not isinstance(raw, Mapping):
        raise place.fail("", "must be a table")
    found = {}
    for name, entry in raw.items():
        if not name.strip() or not name.isprintable():
            raise place.fail("", f"has the name {name!r}; use letters and digits")
        if not isinstance(entry, Mapping):
            raise place.fail(
                name, f'must be a table of its own, written [lots."{name}"]'
            )
        inner = Place(path, text, f"lots.{name}")
        lot = read_table(entry, LOT, inner)
        _check_label(lot, inner)
        for key in ("assay", "moisture", "inert", "solids"):
            if lot[f"{key}_u"] is not None and lot[key] is None:
                stated = lot["label_carbohydrate"] is not None and key == "solids"
                if not stated:
                    raise inner.fail(f"{key}_u", f"needs {key}; give that too")
        found[name] = lot
    return found


def _check_label(lot: Mapping[str, Any], place: Place) -> None:
    """Check that a label is whole, and that dry solids come from one place only."""
    if lot["label_carbohydrate"] is None:
        for key in ("label_serving", "label_density"):
            if lot[key] is not None:
                raise place.fail(key, "needs label_carbohydrate; give that too")
        return
    if lot["solids"] is not None:
        raise place.fail(
            "label_carbohydrate", "and solids are both given; give the one you trust"
        )
    if lot["label_serving"] is None:
        raise place.fail(
            "label_serving", "is missing; give the serving, '100 g' or '30 ml'"
        )


def read_pan(raw: Any, path: Path, text: str) -> dict[str, Any]:
    """Check the pan."""
    return read_table(raw, PAN, Place(path, text, "pan"))


def is_sealed(pan: Mapping[str, Any] | None) -> bool:
    """Say whether a pan closes: stated, or by its name a pressure vessel.

    Examples
    --------
    >>> is_sealed({"name": "old Pressure Cooker", "sealed": None})
    True
    """
    if pan is None:
        return False
    named = any(word in pan["name"].casefold() for word in PRESSURE_VESSELS)
    return named if pan["sealed"] is None else bool(pan["sealed"])


def read_casting(raw: Any, path: Path, text: str) -> dict[str, Any]:
    """Check the sizes of strands and delay columns."""
    place = Place(path, text, "casting")
    found = read_table(raw, CASTING, place)
    if found["strand_side"] is not None and found["strand_diameter"] is not None:
        raise place.fail("strand_side", "and strand_diameter are both given; give one")
    return found


def read_scale(raw: Any, path: Path, text: str) -> dict[str, Any]:
    """Check the table of the scale, its capacity included."""
    found = search_tables.read_scale(raw, path, text)
    capacity, vessel = found["capacity"], found["vessel"]
    if capacity and vessel and capacity - vessel < found["step"]:
        raise Place(path, text, "scale").fail(
            "vessel",
            f"is {1e3 * vessel:g} g, and the scale holds {1e3 * capacity:g} g: nothing "
            "could be weighed into it; give a lighter one",
        )
    if capacity is not None and capacity < found["step"]:
        raise Place(path, text, "scale").fail(
            "capacity",
            f"is {1e3 * capacity:g} g, below the step; give the largest load",
        )
    return found
