"""Units at the edge: what people type becomes SI floats, and back.

One closed table, :data:`UNITS`, holds the accepted units of each quantity. Inside
castsugar every number is SI (Pa absolute, K, m, kg, s, 1/s, m/s, N, kg/m3, Pa s, m3, V,
and 0 to 1 for a fraction). The arithmetic is rational, so a parsed value is the float
nearest to the number that was typed.
"""

from __future__ import annotations

import functools
import math
import re
from fractions import Fraction
from typing import Final

from castsugar.errors import InputError, nearest_names, unknown_name
from castsugar.frozen import dataclass


@dataclass(frozen=True)
class Unit:
    """A unit: its size in SI and the SI value of its zero.

    ``SI value = number * scale + zero``; `zero` is 0 but for C and F.
    """

    scale: Fraction
    zero: Fraction = Fraction(0)


def _units(sizes: dict[str, str | Fraction]) -> dict[str, Unit]:
    return {name: Unit(Fraction(scale)) for name, scale in sizes.items()}


# Exact by definition: NIST SP 811 (2008), appendix B: inch (international) 0.0254 m,
# pound (avoirdupois) 0.45359237 kg, standard gravity 9.80665 m/s2, standard
# atmosphere 101325 Pa, litre 1e-3 m3, poise 0.1 Pa s, t/C = T/K - 273.15,
# T/K = (t/F + 459.67) / 1.8 and T/K = (T/R) / 1.8. An ounce is 1/16 pound.
_INCH: Final = Fraction("0.0254")
_POUND: Final = Fraction("0.45359237")
_GRAVITY: Final = Fraction("9.80665")
_LBF: Final = _POUND * _GRAVITY  # 4.4482216152605 N
_PSI: Final = _LBF / _INCH**2  # 6894.757293168... Pa
_RANKINE: Final = Fraction(5, 9)
_ATMOSPHERE: Final = Fraction(101325)
_GALLON: Final = 231 * _INCH**3  # of the United States, appendix B.6

#: Accepted units: quantity -> canonical unit -> size. Pressure units may carry a
#: suffix: psia, psig, bara, kPa(a), kPa(g), "bar abs", "bar gauge"; a bare pressure
#: unit is absolute. Temperature units may carry "deg" or a degree sign.
UNITS: Final[dict[str, dict[str, Unit]]] = {
    "pressure": _units(
        {"Pa": "1", "kPa": "1e3", "MPa": "1e6", "bar": "1e5", "mbar": "100"}
        | {"hPa": Fraction(100), "atm": _ATMOSPHERE, "psi": _PSI, "ksi": 1000 * _PSI}
    ),
    "temperature": {
        "K": Unit(Fraction(1)),
        "C": Unit(Fraction(1), Fraction("273.15")),
        "F": Unit(_RANKINE, Fraction("459.67") * _RANKINE),
        "R": Unit(_RANKINE),
    },
    "length": _units(
        {"mm": "1e-3", "um": "1e-6", "cm": "1e-2", "m": "1"}
        | {"in": _INCH, "ft": 12 * _INCH}
    ),
    "mass": _units(
        {"g": "1e-3", "kg": "1", "mg": "1e-6", "oz": _POUND / 16, "lb": _POUND}
    ),
    "time": _units({"s": "1", "ms": "1e-3", "us": "1e-6", "min": "60", "h": "3600"}),
    "burn_rate": _units({"mm/s": "1e-3", "in/s": _INCH, "m/s": "1", "cm/s": "1e-2"}),
    "force": _units({"N": "1", "kN": "1e3", "lbf": _LBF, "kgf": _GRAVITY})
    | _units({"gf": _GRAVITY / 1000}),
    "density": _units({"kg/m3": "1", "g/cm3": "1e3", "g/ml": "1e3"}),
    "fraction": _units({"": "1", "%": "1e-2"}),
    "relative_change": _units({"": "1", "%": "1e-2"}),
    "viscosity": _units({"Pa s": "1", "mPa s": "1e-3", "cP": "1e-3", "P": "0.1"}),
    "volume": _units(
        {"ml": "1e-6", "cm3": "1e-6", "l": "1e-3", "m3": "1", "in3": _INCH**3}
    )
    | _units({"fl oz": _GALLON / 128, "cup": _GALLON / 16, "quart": _GALLON / 4})
    | _units({"tablespoon": _GALLON / 256, "teaspoon": _GALLON / 768}),
    "voltage": _units({"V": "1", "mV": "1e-3"}),
    "frequency": _units({"/s": "1", "Hz": "1", "kHz": "1e3"}),
    "frame_rate": _units({"": "1", "Hz": "1", "fps": "1"}),
}

_EXAMPLES: Final[dict[str, str]] = {
    "pressure": "'1000 psi' or '6.9 MPa'",
    "temperature": "'120 C' or '250 F'",
    "length": "'12 mm' or '1 3/8 in'",
    "mass": "'100 g', '4 oz' or '1 lb 2 oz'",
    "time": "'2.5 s' or '20 min'",
    "burn_rate": "'3.2 mm/s' or '0.125 in/s'",
    "force": "'150 N' or '34 lbf'",
    "density": "'1.85 g/cm3' or '1850 kg/m3'",
    "fraction": "'0.2' or '20 %'",
    "relative_change": "'-0.04' or '-4 %'",
    "viscosity": "'15 Pa s' or '15000 cP'",
    "volume": "'60 ml' or '1/4 cup'",
    "voltage": "'2.5 V' or '350 mV'",
    "frequency": "'1000 /s' or '1 kHz'",
    "frame_rate": "'30' or '30 fps'",
}

_SPELLING: Final = str.maketrans(
    {
        **dict.fromkeys("\u00b0\u00ba\u02da", "deg"),  # degree and its look-alikes
        **dict.fromkeys("\u2033\u201d\u201c", '"'),  # inch marks
        **dict.fromkeys("\u00b7\u22c5*", " "),  # products: "Pa*s"
        "\u2103": "degC",
        "\u2109": "degF",
        "\u00b3": "3",
        "^": "",
        "\u2212": "-",  # typographic minus
    }
)
_ALIASES: Final = {
    "length": {'"': "in"},
    "viscosity": {"Pa.s": "Pa s", "mPa.s": "mPa s"},
    "time": dict.fromkeys(("sec", "second", "seconds"), "s")
    | dict.fromkeys(("msec", "millis", "milliseconds"), "ms")
    | dict.fromkeys(("usec", "micros", "microseconds", "\u00b5s", "\u03bcs"), "us"),
    "force": dict.fromkeys(("newton", "newtons"), "N"),
    "frequency": {"samples/s": "/s"},
    "frame_rate": {"1/s": "Hz"},
    "mass": {"gram": "g", "ounce": "oz", "pound": "lb"},
    "volume": {"mL": "ml", "qt": "quart", "tbsp": "tablespoon", "tsp": "teaspoon"},
}
#: Units that people write with an "s" behind; "cups" is one of "cup".
_PLURALS: Final = frozenset(
    {"gram", "ounce", "lb", "pound", "cup", "quart"}
    | {"tablespoon", "teaspoon", "tbsp", "tsp"}
)
#: Quantities of kitchen and workshop, that people write in halves and quarters.
_IN_QUARTERS: Final = frozenset({"length", "mass", "volume"})
_SUFFIX: Final = re.compile(r"(?i)(.*?) ?(\()?(a|g|abs|absolute|gauge)(?(2)\))")
_SPLIT: Final = re.compile(
    r"(?P<number>[+-]?[0-9.,](?:[0-9., /-]*[0-9.,])?(?:(?<=[0-9.])[eE][+-]?[0-9]+)?)"
    r"(?P<unit>.*)"
)
_PLAIN: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_GROUPED: Final = re.compile(
    r"[+-]?[1-9][0-9]{0,2}(?:(?:,[0-9]{3})+|(?: [0-9]{3})+)(?:\.[0-9]*)?"
)
_RATIO: Final = re.compile(r"(?:([0-9]+)[ -])?([0-9]+)/([0-9]+)")
_POUNDS: Final = re.compile(
    r"(?i)([0-9]+) ?(?:lbs?|pounds?),? ([0-9][0-9./ -]*?) ?(?:oz|ounces?)"
)
_LONGEST_NUMBER: Final = 40

#: Beyond so many decades in SI a square leaves the range of a float.
_DECADES: Final = 100
_SMALLEST: Final = Fraction(1, 10**_DECADES)


@dataclass(frozen=True)
class Quantity:
    """A value in SI (`value`, pressure absolute) beside what was typed.

    `text` is the plain number and the canonical `unit` (a key of ``UNITS[quantity]``);
    `note` is "absolute" or "gauge + 101325 Pa" for a pressure, otherwise empty.
    """

    value: float
    text: str
    unit: str
    note: str = ""

    def echo(self) -> str:
        """Return what was understood, for example "1000 psi absolute"."""
        return f"{self.text} {self.note}".rstrip()


def parse(
    text: str, quantity: str, *, where: str = "", signed: bool = False
) -> Quantity:
    """Read a number with a unit, as typed by a person.

    Parameters
    ----------
    text : str
        For example "1000 psi", "1,000 psig", "104 deg C", "1 3/8 in", "20 %",
        "1 lb 2 oz", "1/4 cup" (of the United States).
        A unit is required, but for a fraction.
    quantity : str
        A key of :data:`UNITS`; another one raises `UnknownNameError`.
    where : str
        Where the text comes from (option, file and line); starts the error message.
    signed : bool
        Whether it may be below zero, as an altitude.

    Raises
    ------
    InputError
        No number, no unit, an unknown unit, a decimal comma, not finite, below
        (absolute) zero, or a fraction outside 0 to 1.

    Examples
    --------
    >>> parse("1,000 psig", "pressure").echo()
    '1000 psi gauge + 101325 Pa'
    >>> parse("104 deg C", "temperature").value
    377.15
    """
    _check_quantity(quantity)
    try:
        return _read(" ".join(str(text).split()), quantity, signed)
    except InputError as error:
        raise InputError(f"{where}: {error}" if where else str(error)) from None


def convert(value_si: float, quantity: str, unit: str) -> float:
    """Return an SI value in `unit`, the inverse of :func:`parse`.

    A bare pressure unit is absolute; "psig", "bar gauge" and the like subtract
    101325 Pa. NaN and infinity pass through. An unknown unit raises `InputError`, an
    unknown quantity `UnknownNameError`.

    Examples
    --------
    >>> convert(6.9e6, "pressure", "MPa")
    6.9
    """
    _check_quantity(quantity)
    name, note = _find_unit(" ".join(unit.split()), quantity)
    if not math.isfinite(value_si):
        return float(value_si)
    size = UNITS[quantity][name]
    zero = size.zero + (_ATMOSPHERE if note.startswith("gauge") else 0)
    return float(Fraction(value_si - float(zero)) / size.scale)


def is_unit(unit: str, quantity: str) -> bool:
    """Return whether a text is a unit of a quantity, as :func:`parse` reads it."""
    _check_quantity(quantity)
    return _known_unit(" ".join(unit.split()), quantity) is not None


def to_celsius(kelvin: float) -> float:
    """Return a temperature in K as degrees Celsius."""
    return convert(kelvin, "temperature", "C")


def _check_quantity(quantity: str) -> None:
    if quantity not in UNITS:
        raise unknown_name("quantity", quantity, UNITS)


def _error(typed: str, quantity: str, fault: str) -> InputError:
    subject = f"{quantity.replace('_', ' ')} {typed!r}"
    return InputError(f"{subject} {fault}; write for example {_EXAMPLES[quantity]}")


def _read(typed: str, quantity: str, signed: bool) -> Quantity:
    pounds = _POUNDS.fullmatch(typed) if quantity == "mass" else None
    if pounds:
        whole = int(pounds[1]) * 16
        digits, ounces = _number(pounds[2].strip(), "oz", typed, quantity)
        exact = (whole + ounces) * UNITS["mass"]["oz"].scale
        value = _in_range(exact, typed, quantity, signed)
        return Quantity(value, f"{pounds[1]} lb {digits} oz", "oz")
    found = _SPLIT.fullmatch(typed.translate(_SPELLING))
    if found is None:
        endless = typed.lower().lstrip("+-").startswith(("nan", "inf"))
        fault = "is not a finite number" if endless else "has no number"
        raise _error(typed, quantity, fault)
    unit = found["unit"].strip()
    digits, number = _number(found["number"].strip(), unit, typed, quantity)
    if not unit and "" not in UNITS[quantity]:
        raise _error(typed, quantity, "has no unit")
    name, note = _find_unit(unit, quantity)
    size = UNITS[quantity][name]
    gauge = _ATMOSPHERE if note.startswith("gauge") else 0
    exact = number * size.scale + size.zero + gauge
    value = _in_range(exact, typed, quantity, signed)
    return Quantity(value, f"{digits} {name}".rstrip(), name, note)


def _number(raw: str, unit: str, typed: str, quantity: str) -> tuple[str, Fraction]:
    """Return the tidied digits and their exact value."""
    if _GROUPED.fullmatch(raw):
        raw = raw.replace(",", "").replace(" ", "")
    if len(raw) <= _LONGEST_NUMBER and _PLAIN.fullmatch(raw):
        return raw, Fraction(raw)
    ratio = _RATIO.fullmatch(raw) if quantity in _IN_QUARTERS else None
    if ratio and len(raw) <= _LONGEST_NUMBER:
        whole, top, bottom = (int(digits or 0) for digits in ratio.groups())
        if bottom and (not whole or 0 < top < bottom):
            return raw, whole + Fraction(top, bottom)
    if "," in raw:
        raise _comma_error(raw, unit, typed, quantity)
    raise _error(typed, quantity, f"is not usable: {raw!r} is not a plain number")


def _comma_error(raw: str, unit: str, typed: str, quantity: str) -> InputError:
    head, _, tail = raw.replace(" ", "").rpartition(",")
    fault, fixed = "a decimal comma", f"{head.replace('.', '')}.{tail}"
    if "," in head or not tail.isdigit():
        fault, fixed = "commas outside groups of three", f"{head}{tail}"
    subject = f"{quantity.replace('_', ' ')} {typed!r}"
    fixed = f"{fixed.replace(',', '')} {unit}".rstrip()
    return InputError(f"{subject} has {fault}: write {fixed}")


def _in_range(exact: Fraction, typed: str, quantity: str, signed: bool) -> float:
    if exact and not _SMALLEST < abs(exact) < 1 / _SMALLEST:
        raise _error(typed, quantity, f"is not between 1e-{_DECADES} and 1e{_DECADES}")
    value = float(exact)
    if value < 0 and quantity != "relative_change" and not signed:
        absolute = "absolute " if quantity in {"pressure", "temperature"} else ""
        raise _error(typed, quantity, f"is below {absolute}zero")
    if quantity == "fraction" and value > 1:
        raise _error(typed, quantity, "is above 1, that is 100 %")
    return value


def _find_unit(unit: str, quantity: str) -> tuple[str, str]:
    """Return the canonical unit and the note."""
    found = _known_unit(unit, quantity)
    if found is None:
        raise _unit_error(unit, quantity)
    return found


@functools.lru_cache(maxsize=4096)
def _known_unit(unit: str, quantity: str) -> tuple[str, str] | None:
    """Return the canonical unit and the note; None for no unit of the quantity."""
    name = _match(unit, quantity)
    if name is not None:
        return name, "absolute" if quantity == "pressure" else ""
    suffix = _SUFFIX.fullmatch(unit) if quantity == "pressure" else None
    base = _match(suffix[1], quantity) if suffix else None
    if suffix is None or base is None:
        return None
    gauge = suffix[3].lower().startswith("g")
    return base, "gauge + 101325 Pa" if gauge else "absolute"


def _match(unit: str, quantity: str) -> str | None:
    """Find a unit: exact case first, then any case where that cannot mislead."""
    spelled = unit.translate(_SPELLING)
    if quantity == "temperature":
        spelled = re.sub(r"^deg ?", "", spelled, flags=re.IGNORECASE)
    single = spelled.removesuffix("s")
    spelled = single if single.lower() in _PLURALS else spelled
    aliases = _ALIASES.get(quantity, {})
    spelled = aliases.get(spelled) or aliases.get(spelled.lower(), spelled)
    if spelled in UNITS[quantity]:
        return spelled
    # A leading m or M is milli or mega (or metre): such units match exactly only.
    near = [name for name in UNITS[quantity] if name.lower() == spelled.lower()]
    return near[0] if len(near) == 1 and near[0][:1] not in {"m", "M"} else None


def _unit_error(unit: str, quantity: str) -> InputError:
    label = quantity.replace("_", " ")
    near = nearest_names(unit, [name for name in UNITS[quantity] if name], count=1)
    hint = f"did you mean {near[0]!r}? " if near else ""
    accepted = ", ".join(name or "no unit" for name in UNITS[quantity])
    extra = " (absolute; gauge: psig, kPa(g))" if quantity == "pressure" else ""
    other = next((name for name in UNITS if unit and _match(unit, name)), "")
    said = f", but one of {other.replace('_', ' ')} here" if other else ""
    return InputError(
        f"unit {unit!r} is not a {label} unit{said}; {hint}accepted: {accepted}{extra}"
    )


# ----------------------------------------------------------------------------
# What is shown in which unit.

#: What ``[units] show`` may say, the default first.
SHOWN_AS: Final = ("si", "us")


@dataclass(frozen=True, slots=True)
class ShownUnit:
    """The unit in which a kind of number is shown: shown = SI * `factor` + `offset`.

    A difference takes the factor alone, never the offset.
    """

    label: str
    factor: float
    offset: float = 0.0


def _shown(label: str, quantity: str, unit: str) -> ShownUnit:
    size = UNITS[quantity][unit]
    return ShownUnit(label, float(1 / size.scale), float(-size.zero / size.scale))


def _both(label: str, factor: float = 1.0) -> tuple[ShownUnit, ShownUnit]:
    return ShownUnit(label, factor), ShownUnit(label, factor)


_FOOT: Final = 12 * _INCH

#: Kind of number -> how it is shown in SI and in the units of the United States.
SHOWN: Final[dict[str, tuple[ShownUnit, ShownUnit]]] = {
    "mass": (_shown("g", "mass", "g"), _shown("oz", "mass", "oz")),
    "mass flow": (
        ShownUnit("g/s", 1e3),
        ShownUnit("oz/s", float(1 / UNITS["mass"]["oz"].scale)),
    ),
    "mass flux": (
        ShownUnit("kg/(m\u00b2 s)", 1.0),
        ShownUnit("lb/(in\u00b2 s)", float(_INCH**2 / _POUND)),
    ),
    "temperature": (
        _shown("\u00b0C", "temperature", "C"),
        _shown("\u00b0F", "temperature", "F"),
    ),
    "flame temperature": (
        _shown("K", "temperature", "K"),
        _shown("\u00b0F", "temperature", "F"),
    ),
    "temperature difference": (ShownUnit("K", 1.0), ShownUnit("\u00b0F", 1.8)),
    "pressure": (_shown("MPa", "pressure", "MPa"), _shown("psi", "pressure", "psi")),
    "air pressure": (
        _shown("kPa", "pressure", "kPa"),
        _shown("psi", "pressure", "psi"),
    ),
    "length": (_shown("mm", "length", "mm"), _shown("in", "length", "in")),
    "height": (_shown("m", "length", "m"), _shown("ft", "length", "ft")),
    "area": (ShownUnit("mm\u00b2", 1e6), ShownUnit("in\u00b2", float(1 / _INCH**2))),
    "volume": (_shown("ml", "volume", "ml"), _shown("fl oz", "volume", "fl oz")),
    "force": (_shown("N", "force", "N"), _shown("lbf", "force", "lbf")),
    "impulse": (ShownUnit("N s", 1.0), ShownUnit("lbf s", float(1 / _LBF))),
    "velocity": (ShownUnit("m/s", 1.0), ShownUnit("ft/s", float(1 / _FOOT))),
    "rate": (_shown("mm/s", "burn_rate", "mm/s"), _shown("in/s", "burn_rate", "in/s")),
    "density": (
        _shown("kg/m\u00b3", "density", "kg/m3"),
        ShownUnit("lb/in\u00b3", float(_INCH**3 / _POUND)),
    ),
    "density specific impulse": (
        ShownUnit("kg s/m\u00b3", 1.0),
        ShownUnit("lb s/in\u00b3", float(_INCH**3 / _POUND)),
    ),
    "specific impulse": _both("s"),
    "time": _both("s"),
    "minutes": _both("min", 1.0 / 60.0),
    "viscosity": _both("Pa s"),
    "fraction": _both("%", 100.0),
    "molar mass": _both("g/mol", 1e3),
    "amount": _both("mol/kg"),
    "parts per million": _both("ppm"),
    "energy": _both("kJ/mol", 1e-3),
    "number": _both(""),
}


def shown(kind: str, show: str = "si") -> ShownUnit:
    """Return the unit in which a kind of number is shown.

    Parameters
    ----------
    kind : str
        A key of :data:`SHOWN`.
    show : str
        One of :data:`SHOWN_AS`, as ``[units] show`` says.

    Raises
    ------
    UnknownNameError
        For a kind or a `show` that is not known.

    Examples
    --------
    >>> psi = shown("pressure", "us")
    >>> round(6.894757293168e6 * psi.factor + psi.offset, 6), psi.label
    (1000.0, 'psi')
    """
    if kind not in SHOWN:
        raise unknown_name("kind of number", kind, SHOWN)
    if show not in SHOWN_AS:
        raise unknown_name("way to show units", show, SHOWN_AS)
    return SHOWN[kind][SHOWN_AS.index(show)]
