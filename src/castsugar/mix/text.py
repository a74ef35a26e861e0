"""Recipe text, as typed on a command line or in a bench file, becomes named amounts.

``"KNO3:60 powdered sugar:20 corn syrup:20"`` is a list of ``name:amount`` items;
names may contain spaces, hyphens, apostrophes and digits. Amounts without a sign are
parts, amounts with ``%`` are percent, amounts with a unit ("120g", "1 lb 2 oz") are
masses. Names are not looked up here.
"""

from __future__ import annotations

import math
import re
from typing import Final, Literal

from castsugar import units
from castsugar.errors import InputError
from castsugar.frozen import dataclass

_EXAMPLE: Final = "write for example 'KNO3:65 sucrose:35'"
_SUM_TOLERANCE: Final = 0.01  # percent
_ROUNDING: Final = 1e-9  # percent: what adding decimals as floats may cost
_SEPARATORS: Final = " ,;"

# A token ends at a separator, but a comma between digits stays inside: "64,5".
_AMOUNT: Final = re.compile(r" *([^ ,;:%]*(?:(?<=[0-9]),(?=[0-9])[^ ,;:%]*)*)( ?%)?")
_NUMBER: Final = re.compile(r"[0-9]+\.?[0-9]*|\.[0-9]+")
_UNIT: Final = (
    "kg|mg|g|grams?|oz|ounces?|lbs?|pounds?"
    "|fl oz|cups?|ml|l|tbsp|tablespoons?|tsp|teaspoons?|quarts?"  # refused: no mass
)
_COUNT: Final = r"(?:[0-9]+[ -])?[0-9]+/[0-9]+|[0-9]+\.?[0-9]*|\.[0-9]+"
_MASS: Final = re.compile(
    rf"(?i) *((?:{_COUNT}) ?(?:{_UNIT})(?: (?:{_COUNT}) ?(?:{_UNIT}))?)(?=[ ,;]|$)"
)


@dataclass(frozen=True)
class Recipe:
    """Named amounts in the order typed; the names are not looked up yet.

    Attributes
    ----------
    parts : tuple of (str, float)
        Name and amount: as typed, masses in the unit of the first, by the basis
        "parts"; mass fractions (percent / 100) by "fraction".
    basis : str
        "parts" or "fraction".
    text : str
        What was typed, tidied.
    name : str
        The label before "="; empty without one.
    """

    parts: tuple[tuple[str, float], ...]
    basis: Literal["parts", "fraction"]
    text: str
    name: str = ""

    def to_dict(self) -> dict[str, float]:
        """Return name -> amount, in the order typed."""
        return dict(self.parts)


def parse_recipe(text: str, *, where: str = "") -> Recipe:
    """Read a recipe from text.

    Parameters
    ----------
    text : str
        Items ``name:amount`` separated by spaces, commas or semicolons, all in parts
        (``"KNO3:65 sucrose:35"``), all in percent (``"KNO3:65% sucrose:35%"``, sum
        100 +- 0.01) or all masses (``"KNO3:120g sugar:2 oz"``); a label may lead
        (``"mine=KNO3:65 sucrose:35"``).
    where : str
        Where the text comes from (option, file and line); starts the error message.

    Returns
    -------
    Recipe
        The named amounts, as parts or as mass fractions.

    Raises
    ------
    InputError
        A name, colon or amount is missing, an amount is not a plain number of zero
        or more, a name comes twice, parts, percent and masses are mixed, percent do
        not sum to 100, or all amounts are zero. The message quotes the offending piece.

    Examples
    --------
    >>> parse_recipe("base=KNO3:65% powdered sugar:35%").parts
    (('KNO3', 0.65), ('powdered sugar', 0.35))
    """
    typed = " ".join(str(text).split())
    try:
        label, body = _split_label(typed)
        items = _read_items(body)
        _check_names([item.name for item in items])
        return _finish(items, typed, label)
    except InputError as error:
        raise InputError(f"{where}: {error}" if where else str(error)) from None


#: One ingredient, the other, the sense, the number.
_RATIO: Final = re.compile(r"\s*(.+?)\s*:\s*(.+?)\s*(<=|>=|=)\s*(\S+)\s*")


def parse_ratio(text: str) -> tuple[str, str, str, str]:
    """Read a limit on the ratio of two ingredients; names are not looked up.

    Returns
    -------
    tuple of str
        One ingredient, the other, the sense, and the number as typed.

    Raises
    ------
    InputError
        If the text has another form.

    Examples
    --------
    >>> parse_ratio("sucrose:corn syrup >= 0.5")
    ('sucrose', 'corn syrup', '>=', '0.5')
    """
    found = _RATIO.fullmatch(text)
    if not found:
        raise InputError(
            f"ratio {text!r} is not understood; write 'sucrose:corn syrup >= 0.5', "
            "with >=, <= or ="
        )
    one, other, sense, number = found.groups()
    return one, other, sense, number


def _split_label(typed: str) -> tuple[str, str]:
    label, sign, body = typed.partition("=")
    if not sign:
        return "", typed
    label, body = label.strip(), body.strip(_SEPARATORS)
    if "=" in body or ":" in label or ":" not in body:
        raise InputError(
            f"recipe {typed!r} has '=' where ':' belongs; only one '=' is allowed, "
            "after a label; write for example 'mine=KNO3:65 sucrose:35'"
        )
    if not label:
        raise InputError(
            f"recipe {typed!r} has no label before '='; "
            "write for example 'mine=KNO3:65 sucrose:35'"
        )
    return label, body


@dataclass(frozen=True, slots=True)
class _Item:
    """One item; `unit` is that of a mass, "%" for percent, empty for parts."""

    name: str
    amount: float
    unit: str = ""

    @property
    def kind(self) -> str:
        """Return which amounts it may stand beside."""
        return {"": "parts", "%": "percent"}.get(self.unit, "masses")


def _read_items(body: str) -> list[_Item]:
    """Return the items; masses in kg."""
    items: list[_Item] = []
    rest, before = body.strip(_SEPARATORS), ""
    if not rest:
        raise InputError(f"the recipe is empty; {_EXAMPLE}")
    while rest:
        raw_name, colon, tail = rest.partition(":")
        _check_grouping(raw_name, before)
        if not colon:
            raise _no_amount(raw_name)
        name = _name(raw_name, tail)
        mass = _MASS.match(tail)
        if mass:
            items.append(_weighed(name, mass[1]))
            before, rest = "", tail[mass.end() :].strip(_SEPARATORS)
            continue
        found = _AMOUNT.match(tail)
        token = found[1] if found else ""
        end = found.end() if found else 0
        _check_end(name, token, tail[:end].strip(), tail[end:])
        percent = "%" if found and found[2] else ""
        items.append(_Item(name, _amount(name, token), percent))
        before, rest = token, tail[end:].strip(_SEPARATORS)
    return items


def _weighed(name: str, typed: str) -> _Item:
    found = units.parse(typed, "mass", where=f"amount of {name!r}")
    return _Item(name, found.value, found.unit)


def _check_grouping(raw_name: str, before: str) -> None:
    """Refuse "1 000": after an amount, a next item that starts with three digits."""
    first = raw_name.split(" ", 1)[0]
    if re.fullmatch(r"[0-9]{1,3}", before) and re.fullmatch(r"[0-9]{3}", first):
        raise InputError(
            f"'{before} {first}' looks like digits grouping; amounts have no space "
            f"inside; write '{before}{first}'"
        )


def _no_amount(piece: str) -> InputError:
    return InputError(f"{piece!r} has no ':' and amount; {_EXAMPLE}")


def _name(raw: str, tail: str) -> str:
    """Return the name before a colon, refusing pieces that lack an amount."""
    name = raw.strip()
    if not name:
        raise InputError(f"no name before {':' + tail.split(' ', 1)[0]!r}; {_EXAMPLE}")
    pieces = [piece.strip() for piece in re.split("[,;]", name)]
    if len(pieces) > 1:
        raise _no_amount(pieces[0])
    if not any(character.isalpha() for character in name):
        raise InputError(f"name {name!r} has no letter in it; {_EXAMPLE}")
    return name


def _check_end(name: str, token: str, shown: str, after: str) -> None:
    """Refuse what sticks to an amount: "60sugar:20", "65%%", "65 %sugar:35"."""
    if not shown or not token or (after[:1] == ":" and not token[:1].isdigit()):
        raise InputError(f"{name!r} has no amount after ':'; {_EXAMPLE}")
    if after[:1] not in {"", " ", ",", ";"}:
        stuck = f"{shown}{after.split(' ', 1)[0]}"
        raise InputError(
            f"{stuck!r} after {name!r}: put a space between an amount and the next "
            f"name; {_EXAMPLE}"
        )


def _amount(name: str, token: str) -> float:
    if _NUMBER.fullmatch(token):
        value = float(token)
        if math.isfinite(value):
            return value
    subject = f"amount {token!r} of {name!r}"
    if re.fullmatch(r"[0-9]+(?:,[0-9]+)+", token):
        raise InputError(f"{subject} {_comma_advice(token)}")
    if token[:1] in {"-", "\u2212"} and _NUMBER.fullmatch(token[1:]):
        raise InputError(f"{subject} is negative; write zero or more; {_EXAMPLE}")
    if not any(character.isdigit() for character in token):
        raise InputError(f"{name!r} has no amount, got {token!r}; {_EXAMPLE}")
    raise InputError(
        f"{subject} is not a plain decimal number such as 35 or 64.5; {_EXAMPLE}"
    )


def _comma_advice(token: str) -> str:
    head, _, tail = token.rpartition(",")
    whole = f"{head}{tail}".replace(",", "")
    if "," in head:
        return f"has commas inside; write {whole}"
    thousand = f" (or {whole} if the comma groups digits)" if len(tail) == 3 else ""
    return (
        f"has a decimal comma: write {head}.{tail}{thousand}; "
        "put a space after a comma that separates items"
    )


def _check_names(names: list[str]) -> None:
    seen: dict[str, str] = {}
    for name in names:
        key = re.sub(r"[\s\-\u2010-\u2015_]+", "", name.replace("\u2019", "'"))
        key = key.casefold()
        if key in seen:
            raise InputError(
                f"{name!r} comes twice (first as {seen[key]!r}); add the two amounts "
                "up and give each name once"
            )
        seen[key] = name


def _finish(items: list[_Item], typed: str, label: str) -> Recipe:
    kinds = {item.kind: item.name for item in reversed(items)}
    if len(kinds) > 1:
        said = " and ".join(f"{kind} ({kinds[kind]!r})" for kind in sorted(kinds))
        way = "with a unit of mass" if "masses" in kinds else "with %"
        raise InputError(f"{said} are mixed; give every amount {way} or none")
    percent = items[0].unit == "%"
    total = math.fsum(item.amount for item in items)
    if total == 0:
        raise InputError(f"all amounts of {typed!r} are zero; {_EXAMPLE}")
    if not percent:
        unit = items[0].unit
        parts = tuple(
            (i.name, units.convert(i.amount, "mass", unit) if unit else i.amount)
            for i in items
        )
        return Recipe(parts, "parts", typed, label)
    if abs(total - 100) > _SUM_TOLERANCE + _ROUNDING:
        raise InputError(
            f"the percent of {typed!r} sum to {total:.6g}, not to 100 +- "
            f"{_SUM_TOLERANCE}; correct them, or leave out % to give parts"
        )
    fractions = tuple((item.name, item.amount / 100) for item in items)
    return Recipe(fractions, "fraction", typed, label)
