"""Units typed by people: exact conversions, refusals, and round trips."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castsugar import InputError, UnknownNameError
from castsugar.units import SHOWN, SHOWN_AS, UNITS, convert, parse, shown, to_celsius

# Exact. lbf = 0.45359237 kg * 9.80665 m/s2 = 4.4482216152605 N; psi = lbf / (0.0254
# m)^2; ounce = pound / 16; cP = mPa s; F: (t + 459.67) / 1.8; in3 = 0.0254^3 m3.
# Each literal is the float nearest to the exact product, hence "==".
EXACT = [
    ("1000 psi", "pressure", 6894757.293168361),
    ("1000psi", "pressure", 6894757.293168361),
    ("1,000 psi", "pressure", 6894757.293168361),
    ("1 000 psi", "pressure", 6894757.293168361),
    ("1\u00a0000 psi", "pressure", 6894757.293168361),
    ("1 ksi", "pressure", 6894757.293168361),
    ("1e3 psia", "pressure", 6894757.293168361),
    ("1,000,000 Pa", "pressure", 1e6),
    ("6.9 MPa", "pressure", 6.9e6),
    ("7 KPA", "pressure", 7000.0),
    ("1 atm", "pressure", 101325.0),
    ("5 mbar", "pressure", 500.0),
    ("0 psig", "pressure", 101325.0),
    ("-101.325 kPa(g)", "pressure", 0.0),
    ("5 barg", "pressure", 601325.0),
    ("5 bar gauge", "pressure", 601325.0),
    ("5 Bar (G)", "pressure", 601325.0),
    ("5 bara", "pressure", 5e5),
    ("5 bar abs", "pressure", 5e5),
    ("5 kPa(a)", "pressure", 5000.0),
    ("104 C", "temperature", 377.15),
    ("104 \u00b0C", "temperature", 377.15),
    ("104\u2103", "temperature", 377.15),
    ("104 degC", "temperature", 377.15),
    ("104 deg C", "temperature", 377.15),
    ("-273.15 C", "temperature", 0.0),
    ("32 F", "temperature", 273.15),
    ("212 degF", "temperature", 373.15),
    ("-459.67 \u00b0F", "temperature", 0.0),
    ("491.67 R", "temperature", 273.15),
    ("300 K", "temperature", 300.0),
    ("3/8 in", "length", 0.009525),
    ('3/8"', "length", 0.009525),
    ("1 3/8 in", "length", 0.034925),
    ("1-3/8 in", "length", 0.034925),
    ("2 ft", "length", 0.6096),
    ("12 mm", "length", 0.012),
    ("4 oz", "mass", 0.11339809250),
    ("1 lb", "mass", 0.45359237),
    ("250 mg", "mass", 0.00025),
    ("1 lb 2 oz", "mass", 0.51029141625),
    ("1 1/2 oz", "mass", 0.0425242846875),
    ("2 pounds, 1/2 ounce", "mass", 0.9213595015625),
    ("2 lbs", "mass", 0.90718474),
    # US gallon 231 in3, exact (NIST SP 811, B.6): a cup is 1/16 of it, 236.5882365 ml.
    ("1/4 cup", "volume", 5.9147059125e-05),
    ("2 cups", "volume", 0.000473176473),
    ("1 quart", "volume", 0.000946352946),
    ("3 fl oz", "volume", 8.87205886875e-05),
    ("1 tablespoon", "volume", 1.478676478125e-05),
    ("2 tsp", "volume", 9.8578431875e-06),
    ("1.5 min", "time", 90.0),
    ("2 h", "time", 7200.0),
    ("0.125 in/s", "burn_rate", 0.003175),
    ("3.2 mm/s", "burn_rate", 0.0032),
    ("1 lbf", "force", 4.4482216152605),
    ("1 kgf", "force", 9.80665),
    ("1.85 g/cm\u00b3", "density", 1850.0),
    ("1.85 g/ml", "density", 1850.0),
    ("0.2", "fraction", 0.2),
    ("20 %", "fraction", 0.2),
    ("20%", "fraction", 0.2),
    ("15000 cP", "viscosity", 15.0),
    ("15 Pa\u00b7s", "viscosity", 15.0),
    ("15 mPa s", "viscosity", 0.015),
    ("60 mL", "volume", 6e-5),
    ("1 in^3", "volume", 1.6387064e-5),
    ("2.5 V", "voltage", 2.5),
    ("350 mV", "voltage", 0.35),
]


@pytest.mark.parametrize(("text", "quantity", "value"), EXACT)
def test_parse_exact(text: str, quantity: str, value: float) -> None:
    """Typed values become the nearest SI float."""
    assert parse(text, quantity).value == value


# Exact: the words that the design fixes.
@pytest.mark.parametrize(
    ("text", "quantity", "echo"),
    [
        ("1000 psi", "pressure", "1000 psi absolute"),
        ("1,000 PSIA", "pressure", "1000 psi absolute"),
        ("1000psig", "pressure", "1000 psi gauge + 101325 Pa"),
        (" 104   deg C ", "temperature", "104 C"),
        ('1 3/8"', "length", "1 3/8 in"),
        ("20%", "fraction", "20 %"),
        ("0.2", "fraction", "0.2"),
    ],
)
def test_echo_says_what_was_understood(text: str, quantity: str, echo: str) -> None:
    """The echo states unit and absolute or gauge."""
    assert parse(text, quantity).echo() == echo


# Exact: each refusal says what, got, allowed, do.
REFUSED = [
    (
        "1000",
        "pressure",
        "pressure '1000' has no unit; write for example '1000 psi' or '6.9 MPa'",
    ),
    ("25", "temperature", "has no unit"),
    ("psi", "pressure", "has no number"),
    ("", "pressure", "has no number"),
    ("7 MPPa", "pressure", "unit 'MPPa' is not a pressure unit; did you mean 'MPa'? "),
    ("7 mpa", "pressure", "did you mean 'MPa'? accepted: Pa, kPa, MPa, bar"),
    ("7 mPa", "pressure", "did you mean 'MPa'?"),
    ("5 MPa s", "viscosity", "did you mean 'mPa s'?"),
    ("7 Mg", "mass", "did you mean 'mg'?"),
    ("7 mm", "burn_rate", "did you mean 'mm/s'?"),
    ("25 psi", "temperature", "not a temperature unit, but one of pressure here"),
    ("25 Q", "temperature", "is not a temperature unit; accepted: K, C, F, R"),
    ("34 lb", "force", "one of mass here; did you mean 'lbf'? accepted: N, kN, lbf"),
    ("34 lbs", "force", "one of mass here; did you mean 'lbf'?"),
    ("1/4 cup", "mass", "one of volume here; accepted: g, kg"),
    ("1 lb 2/0 oz", "mass", "not a plain number"),
    ("7 MPa(a", "pressure", "is not a pressure unit"),
    ("6,9 MPa", "pressure", "decimal comma: write 6.9 MPa"),
    ("0,900 MPa", "pressure", "decimal comma: write 0.900 MPa"),
    ("1,0000 psi", "pressure", "decimal comma: write 1.0000 psi"),
    ("1.000,5 psi", "pressure", "decimal comma: write 1000.5 psi"),
    ("1,00,000 Pa", "pressure", "groups of three: write 100000 Pa"),
    ("1 00 psi", "pressure", "not a plain number"),
    ("1.000.000 Pa", "pressure", "not a plain number"),
    ("3/8 psi", "pressure", "not a plain number"),
    ("3/0 in", "length", "not a plain number"),
    ("1 9/8 in", "length", "not a plain number"),
    ("9" * 50 + " Pa", "pressure", "not a plain number"),
    ("1e9999999 Pa", "pressure", "not a plain number"),
    ("1e400 Pa", "pressure", "not between 1e-100 and 1e100"),
    ("1e308 MPa", "pressure", "not between 1e-100 and 1e100"),
    ("1e101 Pa", "pressure", "not between 1e-100 and 1e100"),
    ("1e-101 Pa", "pressure", "not between 1e-100 and 1e100"),
    ("-1e-320 Pa", "pressure", "not between 1e-100 and 1e100"),
    ("1e-120 %", "fraction", "not between 1e-100 and 1e100"),
    ("nan psi", "pressure", "not a finite number"),
    ("-inf K", "temperature", "not a finite number"),
    ("-20 psig", "pressure", "below absolute zero"),
    ("-300 C", "temperature", "below absolute zero"),
    ("-1 K", "temperature", "below absolute zero"),
    ("-3 g", "mass", "mass '-3 g' is below zero"),
    ("20", "fraction", "is above 1"),
    ("120 %", "fraction", "is above 1"),
    ("-1 %", "fraction", "below zero"),
    ("5", "burn_rate", "burn rate '5' has no unit"),
    ("2.5", "voltage", "has no unit; write for example '2.5 V' or '350 mV'"),
    ("5 mv", "voltage", "did you mean 'mV'? accepted: V, mV"),
]


@pytest.mark.parametrize(("text", "quantity", "message"), REFUSED)
def test_refusals(text: str, quantity: str, message: str) -> None:
    """Each refusal says what, got, allowed and do, in one line."""
    with pytest.raises(InputError) as caught:
        parse(text, quantity)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_where_starts_the_message() -> None:
    """The place of the text leads the message."""
    with pytest.raises(InputError, match=r"^--pressure: pressure '7' has no unit"):
        parse("7", "pressure", where="--pressure")


def test_unknown_quantity_and_unit() -> None:
    """Programming slips are named, not a KeyError."""
    with pytest.raises(UnknownNameError, match="did you mean 'pressure'"):
        parse("7 MPa", "presure")
    with pytest.raises(UnknownNameError, match="unknown quantity 'luck'"):
        convert(1.0, "luck", "m")
    with pytest.raises(InputError, match="unit '' is not a length unit"):
        convert(1.0, "length", "")


def test_convert_exact() -> None:
    """Offsets, gauge and NaN on the way out."""
    # Exact: 101325 Pa is 0 psig by the definition of gauge used here; 273.15 K is
    # 0 C and 32 F; NaN stays NaN because a table never raises.
    assert convert(101325.0, "pressure", "psig") == 0.0
    assert convert(101325.0, "pressure", "atm") == 1.0
    assert to_celsius(273.15) == 0.0
    assert convert(273.15, "temperature", "F") == pytest.approx(32.0, abs=1e-12)
    assert math.isnan(convert(math.nan, "pressure", "psi"))
    assert convert(math.inf, "pressure", "psi") == math.inf


PAIRS = [(quantity, unit) for quantity, units in UNITS.items() for unit in units]
GAUGE = [("pressure", f"{unit}(g)") for unit in UNITS["pressure"]]


@pytest.mark.slow
@settings(derandomize=True, deadline=200)
@given(pair=st.sampled_from(PAIRS + GAUGE), number=st.floats(1e-3, 1.0))
def test_round_trip(pair: tuple[str, str], number: float) -> None:
    """Convert undoes parse for every unit."""
    # Property: convert undoes parse. The SI float is rounded once, by at most half an
    # ulp of its own size, which an offset (273.15 K, 101325 Pa) makes absolute.
    quantity, unit = pair
    value = parse(f"{number!r} {unit}", quantity).value
    scale = UNITS[quantity][unit.removesuffix("(g)")].scale
    allowed = math.ulp(value) / float(scale) + math.ulp(number)
    assert abs(convert(value, quantity, unit) - number) <= allowed


@settings(derandomize=True, deadline=200)
@given(number=st.integers(0, 10**12), mark=st.sampled_from([",", " "]))
def test_grouping_never_changes_the_number(number: int, mark: str) -> None:
    """Digit grouping never changes the number."""
    # Property: digits grouped by threes read as the same digits without marks.
    grouped = f"{number:,}".replace(",", mark)
    assert parse(f"{grouped} Pa", "pressure").value == float(number)


@settings(derandomize=True, deadline=200)
@given(text=st.text(max_size=30), quantity=st.sampled_from(sorted(UNITS)))
def test_any_text_is_read_or_refused(text: str, quantity: str) -> None:
    """No text gives another exception or a bad value."""
    # Property: a finite value not below zero, or an InputError; nothing else.
    try:
        found = parse(text, quantity)
    except InputError:
        return
    assert math.isfinite(found.value)
    assert found.value >= 0


@settings(derandomize=True, deadline=200)
@given(
    text=st.text('0123456789.,/ -+e"%()agbrMmPpsiKCFdeincz', max_size=14),
    quantity=st.sampled_from(["pressure", "temperature", "length", "fraction"]),
)
def test_tidied_text_reads_as_the_same_value(text: str, quantity: str) -> None:
    """The echoed text means what was typed."""
    # Property: what is echoed back means what was typed (gauge is in the note).
    try:
        found = parse(text, quantity)
    except InputError:
        return
    gauge = " gauge" if found.note.startswith("gauge") else ""
    assert parse(found.text + gauge, quantity) == found


# NIST SP 811 (2008), appendix B.8: 1 ft/s = 0.3048 m/s, 1 lb/in3 = 27679.90 kg/m3,
# 1 lbf = 4.448222 N, 1 psi = 6894.757 Pa; 1500 K = 2240.33 F by its table of units.
SHOWN_US = [
    ("mass", 0.45359237, 16.0),
    ("temperature", 373.15, 212.0),
    ("flame temperature", 1500.0, 2240.33),
    ("pressure", 6894757.293168361, 1000.0),
    ("length", 0.0254, 1.0),
    ("velocity", 304.8, 1000.0),
    ("rate", 0.0254, 1.0),
    ("density", 27679.90, 1.0),
    ("density specific impulse", 276799.0, 10.0),
    ("force", 4.448222, 1.0),
    ("impulse", 444.8222, 100.0),
    ("viscosity", 3.0, 3.0),
]


@pytest.mark.parametrize(("kind", "si", "expected"), SHOWN_US)
def test_shown_in_us_units(kind: str, si: float, expected: float) -> None:
    """What is shown under us is the value of the handbook."""
    unit = shown(kind, "us")
    assert si * unit.factor + unit.offset == pytest.approx(expected, rel=1e-6)


def test_a_difference_of_temperatures_has_no_offset() -> None:
    """5 K are 9 F, not -450 F; a kind or a way that is not known is told."""
    assert shown("temperature difference", "us").offset == 0.0
    assert 5.0 * shown("temperature difference", "us").factor == 9.0
    assert all(len(SHOWN[kind]) == len(SHOWN_AS) for kind in SHOWN)
    with pytest.raises(UnknownNameError, match="did you mean 'pressure'"):
        shown("presure")
    with pytest.raises(UnknownNameError, match="metric"):
        shown("pressure", "metric")
