"""What castsugar refuses, by name and by composition, with the reason.

The scope is nitrate-sugar mixes. Everything else is refused before any number is
computed: a result for it would look as trustworthy as one inside the scope.
"""

from __future__ import annotations

from collections.abc import Mapping

from castsugar.constants import ELEMENTS
from castsugar.database.records import plain
from castsugar.errors import RefusedError

_CHLORATE = (
    "chlorates and perchlorates form mixes that friction, impact and traces of acid "
    "can set off"
)
_AMMONIUM = (
    "ammonium nitrate turns nitrate mixes acid and moist, and is regulated as an "
    "explosive precursor"
)
_SULFUR = "sulfur makes mixes that light more easily by friction and attack the nitrate"
_METAL = "metal powders burn far hotter and can be set off by friction and moisture"
_ACID = "acids attack the nitrate and the sugar and can start a runaway in the pan"

#: Reason -> names under which a refused substance is known.
_REFUSED: dict[str, tuple[str, ...]] = {
    _CHLORATE: (
        "potassium perchlorate",
        "potassium chlorate",
        "sodium perchlorate",
        "sodium chlorate",
        "ammonium perchlorate",
        "KClO4",
        "KClO3",
        "NaClO3",
        "NaClO4",
        "NH4ClO4",
        "perchlorate",
        "chlorate",
    ),
    _AMMONIUM: ("ammonium nitrate", "NH4NO3", "H4N2O3"),
    _SULFUR: ("sulfur", "sulphur", "brimstone"),
    _METAL: (
        "aluminium",
        "aluminum",
        "aluminium powder",
        "aluminum powder",
        "magnesium",
        "magnalium",
        "titanium",
        "zinc",
        "zinc powder",
        "zinc dust",
        "zirconium",
        "iron powder",
        "iron filings",
        "iron",
        "steel wool",
        "silicon",
        "ferrotitanium",
        "Al",
        "Mg",
        "Ti",
        "Zn",
        "Fe",
    ),
    _ACID: (
        "nitric acid",
        "HNO3",
        "sulfuric acid",
        "sulphuric acid",
        "hydrochloric acid",
        "citric acid",
        "acetic acid",
        "tartaric acid",
        "ascorbic acid",
        "stearic acid",
        "vinegar",
        "lemon juice",
        "cream of tartar",
    ),
}
#: Parts of names that give a refused substance away, however it is spelt out.
_STEMS = {
    "chlorat": _CHLORATE,
    "chlorit": _CHLORATE,
    "ammoni": _AMMONIUM,
    "sulfur": _SULFUR,
    "sulphur": _SULFUR,
    "alumin": _METAL,
    "magnes": _METAL,
    "magnal": _METAL,
    "titani": _METAL,
    "zirconi": _METAL,
    "zinc": _METAL,
}
_BY_NAME = {plain(n): reason for reason, names in _REFUSED.items() for n in names}

_FAMILY = "castsugar covers nitrate-sugar mixes only"


def check_name(name: str) -> None:
    """Refuse a substance by its name.

    Raises
    ------
    RefusedError
        With the reason.
    """
    word = plain(name)
    stems = (reason for stem, reason in _STEMS.items() if stem in word)
    reason = _BY_NAME.get(word) or next(stems, "")
    if reason:
        raise RefusedError(f"{name!r} is refused: {reason}; {_FAMILY}")


def check_composition(name: str, composition: Mapping[str, float]) -> None:
    """Refuse a substance by its atoms.

    Raises
    ------
    RefusedError
        With the reason.
    """
    reason = _reason(composition)
    if reason:
        raise RefusedError(f"{name!r} is refused: {reason}; {_FAMILY}")


def _reason(composition: Mapping[str, float]) -> str:
    """Return why a composition is refused; empty if it is not."""
    elements = set(composition)
    foreign = sorted(elements - set(ELEMENTS))
    if foreign:
        hint = {"Cl": _CHLORATE, "S": _SULFUR, "Al": _METAL, "Mg": _METAL}
        extra = next((hint[e] for e in foreign if e in hint), "")
        listed = ", ".join(foreign)
        text = f"it contains {listed}; allowed elements are {' '.join(ELEMENTS)}"
        return f"{text} ({extra})" if extra else text
    if "Fe" in elements and not _is_multiple(composition, {"Fe": 2, "O": 3}):
        return "iron is allowed as red iron oxide, Fe2O3, only (" + _METAL + ")"
    if _is_multiple(composition, {"N": 2, "H": 4, "O": 3}):
        return _AMMONIUM
    if _is_multiple(composition, {"H": 1, "N": 1, "O": 3}):
        return _ACID
    if elements and elements <= {"K", "Na"}:
        return _METAL
    return ""


def _is_multiple(composition: Mapping[str, float], unit: Mapping[str, float]) -> bool:
    """Whether a composition is a multiple of a formula unit."""
    if set(composition) != set(unit):
        return False
    ratios = [composition[e] / n for e, n in unit.items()]
    return max(ratios) - min(ratios) < 1e-9 * max(ratios)
