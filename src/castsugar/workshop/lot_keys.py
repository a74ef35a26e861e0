"""Keys of the tables of lots, pan and castings, and what checks them.

No catalogue is needed here; :mod:`castsugar.workshop.lots` looks the ingredients up.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from castsugar.workshop import search_tables
from castsugar.workshop.schema import Key, Keys, Place, read_table

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
