"""The layer between results and outputs: numbers, units, screens, pages, documents."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from html.parser import HTMLParser

import jsonschema
import pytest

from castsugar.errors import InputError, UnknownNameError
from castsugar.limits import Limit, judge_rows
from castsugar.report import numbers
from castsugar.report.document import Part, document, schema_of, to_csv
from castsugar.report.field import FIELDS, chosen
from castsugar.report.limit_words import (
    P95,
    PEAK,
    POUR,
    THIS_BATCH,
    by_mix,
    finding_of,
    rests_on,
)
from castsugar.report.markdown import to_markdown
from castsugar.report.page import to_page
from castsugar.report.screen import (
    STATUSES,
    Annex,
    Blanks,
    Figure,
    Finding,
    Listing,
    Paragraph,
    Screen,
    Table,
    Ticks,
    in_order,
)
from castsugar.report.shown import Shown
from castsugar.report.terminal import to_text
from castsugar.units import SHOWN, parse

KEYS = ("characteristic_velocity_m_s", "pour_viscosity_Pa_s", "peak_pressure_MPa")
ROW = {
    "name": "=cmd",
    "characteristic_velocity_m_s": 899.64,
    "characteristic_velocity_m_s_interval": (897.13, 904.08),
    "pour_viscosity_Pa_s": 8.53,
    "pour_viscosity_Pa_s_interval": (2.2, math.inf),
    "peak_pressure_MPa": math.nan,
}
WIDE = Table(
    heads=("mix", *(f"quantity {i}" for i in range(9))),
    rows=(("a [red] mix", *("897.1 to 904.1",) * 9),),
    drop=(9, 8, 7, 6, 5),
)


def screen(**changes: object) -> Screen:
    made = Screen(
        command="evaluate",
        title="base: KNO3 60, powdered sugar 20, corn syrup 20",
        findings=(
            Finding("KEPT", "Peak pressure: 95 of 100 below 4.42 MPa; " * 3),
            Finding("DO NOT", "fire it", {"peak_pressure_p95_MPa": 7.9}),
        ),
        conditions="Ideal at 500 psi",
        blocks=(Paragraph("text"),),
        cautions=("one", "two", "three"),
        cautions_count=31,
        next="castsugar weigh base",
    )
    return replace(made, **changes)  # type: ignore[arg-type]


# Expected texts: by hand, from the rules in numbers.py. exact.
@pytest.mark.exact
@pytest.mark.parametrize(
    ("band", "texts"),
    [
        # u = 1.79: two digits, first decimal
        ((899.64, 897.13, 904.08), ("899.6", "897.1", "904.1")),
        # u = 12.2: two digits, whole numbers
        ((1499.2, 1486.1, 1534.0), ("1499", "1486", "1534")),
        # u = 0.036: above 35, one digit
        ((1.07, 1.01, 1.151), ("1.07", "1.01", "1.15")),
        # u = 38: one digit, tens
        ((1503.0, 1430.0, 1579.0), ("1500", "1430", "1580")),
    ],
)
def test_a_band_decides_the_digits(
    band: tuple[float, float, float], texts: tuple[str, str, str]
) -> None:
    assert numbers.with_band(*band) == texts


# The factors, against the accepted units that people type (NIST SP 811). exact.
@pytest.mark.exact
@pytest.mark.parametrize(
    ("kind", "value", "typed", "quantity"),
    [
        ("pressure", 6.894757293168361, "1000 psi", "pressure"),
        ("mass", 1000.0 * 0.028349523125, "1 oz", "mass"),
        ("temperature", 120.0, "248 F", "temperature"),
        ("flame temperature", 1500.0, "2240.33 F", "temperature"),
        ("length", 25.4, "1 in", "length"),
        ("force", 4.4482216152605, "1 lbf", "force"),
        ("rate", 25.4, "1 in/s", "burn_rate"),
    ],
)
def test_us_units_are_those_that_are_typed(
    kind: str, value: float, typed: str, quantity: str
) -> None:
    shown = Shown("us").number(kind, value)
    assert parse(f"{shown} {typed.split()[1]}", quantity).value == (
        pytest.approx(parse(typed, quantity).value, rel=1e-9)
    )


@pytest.mark.exact
def test_differences_leave_the_zero_out() -> None:
    assert Shown("us").span("flame temperature", 10.0) == pytest.approx(18.0)
    assert Shown("us").number("temperature", 100.0) == pytest.approx(212.0)
    with pytest.raises(UnknownNameError, match="si"):
        Shown("metric")


@pytest.mark.exact
def test_a_screen_is_24_lines_of_80_columns() -> None:
    many = tuple(Finding("KEPT", "word " * 30) for _ in range(12))
    table = Table(heads=("a", "b"), rows=(("x", "1"),) * 40, spare=38)
    text = to_text(screen(findings=many, blocks=(table,)))
    lines = text.splitlines()
    assert len(lines) <= 24
    assert max(len(line) for line in lines[:-1]) <= 80
    assert lines[-1] == "Next: castsugar weigh base"
    assert sum("more: castsugar cautions" in line for line in lines) == 1
    assert len(to_text(screen(findings=many, blocks=(table,)), full=True)) > len(text)


@pytest.mark.exact
def test_the_gravest_finding_stands_first_and_colour_changes_no_word() -> None:
    plain, painted = to_text(screen()), to_text(screen(), colour=True)
    assert plain.splitlines()[1].startswith("DO NOT  fire it")
    assert "\x1b[31mDO NOT" in painted
    assert re.sub(r"\x1b\[\d+m", "", painted) == plain
    assert [f.status for f in in_order(screen().findings)] == ["DO NOT", "KEPT"]
    with pytest.raises(ValueError, match="SAFE"):
        Finding("SAFE", "")


@pytest.mark.exact
def test_columns_go_whole_and_are_named_and_nothing_is_cropped() -> None:
    text = to_text(screen(blocks=(WIDE,)))
    assert "a [red] mix" in text
    assert "897.1 to 904.1" in text
    assert "\u2026" not in text
    assert "Left out for want of room: quantity" in text
    assert max(map(len, text.splitlines())) <= 80
    # What no screen holds is said row by row, each cell after its head.
    whole = to_text(screen(blocks=(replace(WIDE, drop=()),)))
    assert "quantity 8 897.1 to 904.1" in " ".join(whole.split())
    assert max(map(len, whole.splitlines())) <= 80


@pytest.mark.exact
def test_the_width_of_the_terminal_changes_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = to_text(screen(blocks=(WIDE,)))
    for name, value in {
        "COLUMNS": "40",
        "FORCE_COLOR": "1",
        "TTY_COMPATIBLE": "1",
    }.items():
        monkeypatch.setenv(name, value)
    assert to_text(screen(blocks=(WIDE,))) == before


BLOCKS = (
    WIDE,
    Ticks(("no flame", "<b>gloves</b>"), "Before heat"),
    Blanks(("cup, empty",)),
    Figure('<svg viewBox="0 0 1 1"><title>t</title></svg>', "a picture"),
    Listing(("castsugar check",)),
)


@pytest.mark.exact
def test_a_page_escapes_all_and_draws_its_boxes() -> None:
    page = to_page(screen(title="<script>x</script>", sheet=BLOCKS, invented=("a",)))
    HTMLParser().feed(page)
    assert "<script" not in page
    assert "&lt;b&gt;gloves" in page
    assert '<span class="box"' in page
    assert "[ ]" not in page
    assert "EXAMPLE" in page
    assert (
        to_page(screen(title="<script>x</script>", sheet=BLOCKS, invented=("a",)))
        == page
    )
    named = Figure("<svg><text>&lt;img onerror=x src=y&gt;</text></svg>", "")
    assert "onerror=x" in to_page(screen(sheet=(named,)))  # a name, which is text
    live = Figure('<svg><a href="http://x"/></svg>', "")
    with pytest.raises(InputError, match="picture"):
        to_page(screen(sheet=(live,)))


@pytest.mark.exact
def test_markdown_escapes_and_has_every_block() -> None:
    text = to_markdown(screen(annexes=(Annex("A_x", BLOCKS),)))
    assert "## A\\_x" in text
    assert "a \\[red\\] mix" in text
    assert "- ☐ no flame" in text


@pytest.mark.exact
def test_one_declaration_three_outputs() -> None:
    fields = chosen(("name", *KEYS))
    assert [f.cells(ROW, Shown())[0] for f in fields] == ["=cmd", "899.6", "9", "–"]
    assert fields[2].cells(ROW, Shown())[1] == "2 to jams"
    assert fields[1].headed(Shown("us")) == "c*, ideal, ft/s"
    csv = to_csv([ROW], fields)
    assert csv.splitlines() == [
        "name,characteristic_velocity_m_s,characteristic_velocity_m_s_low,"
        "characteristic_velocity_m_s_high,pour_viscosity_Pa_s,pour_viscosity_Pa_s_low,"
        "pour_viscosity_Pa_s_high,peak_pressure_MPa",
        "'=cmd,899.64,897.13,904.08,8.53,2.2,,",
    ]
    parts = {"mixes": Part(meaning="mixes", fields=fields, many=True)}
    made = document(
        "evaluate", screen(), {"mixes": [ROW]}, version="1", conditions={}, cautions=[]
    )
    found = __import__("json").loads(made)
    jsonschema.validate(found, schema_of("evaluate", parts))
    assert found["findings"][1]["values"] == {"peak_pressure_p95_MPa": 7.9}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(
            {**found, "mixes": [{KEYS[0]: "x"}]}, schema_of("evaluate", parts)
        )


@pytest.mark.exact
def test_every_field_has_a_meaning_and_a_known_kind() -> None:
    for field in FIELDS.values():
        assert field.meaning
        assert field.kind in {"text", "chance", *SHOWN}
    assert {*STATUSES.values()} == {"red", "yellow", "green", "plain"}


@pytest.mark.exact
def test_a_limit_that_is_just_broken_does_not_read_as_kept() -> None:
    """84.7 of 100 draws, asked are 85: whole numbers would say 85 of 85."""
    limit = Limit(column=POUR, sense="<=", value=10.0, probability=0.85)
    for chance, value, told in ((0.847, 10.2, "84.7"), (0.58, 24.0, "58")):
        row = {POUR: value, "pours_probability": chance}
        ((held,),) = by_mix(judge_rows([limit], [row]), 1)
        found = finding_of(held, row, Shown())
        assert found.status == "BROKEN"
        assert f"Pours in {told} of 100 draws, your limit asks 85" in found.text


@pytest.mark.exact
@pytest.mark.parametrize(
    ("p95", "this", "status", "told"),
    [
        (
            4.92,
            4.36,
            "KEPT",
            "Peak pressure 3.90; 95 of 100 next batches below 4.92; your limit 6.9 "
            "MPa, unproved: margin 29 %. Grains of the batch that burned last: 95 "
            "of 100 below 4.36. Burning rate: your strands.",
        ),
        (
            7.9,
            math.nan,
            "DO NOT",
            "fire it: 95 of 100 next batches below 7.90; your limit 6.9 MPa. Burning "
            "rate: your strands.",
        ),
        (
            math.inf,
            math.nan,
            "DO NOT",
            "fire it: no upper limit can be given that 95 of 100 next batches stay "
            "below; your limit 6.9 MPa. Burn strands of this mix. Burning rate: your "
            "strands.",
        ),
    ],
)
def test_a_pressure_says_of_which_batch(
    p95: float, this: float, status: str, told: str
) -> None:
    """Next batch and this one side by side; without an upper limit it is said so."""
    row = {PEAK: 3.9, P95: p95, THIS_BATCH: this}
    limit = Limit(column=P95, key=PEAK, sense="<=", value=6.9, probability=0.95)
    ((held,),) = by_mix(judge_rows([limit], [row]), 1)
    found = finding_of(held, row, Shown(), rests_on("measured: 60/20/20"))
    assert (found.status, found.text) == (status, told)
    assert FIELDS[P95].text({P95: math.inf}, Shown()) == "no limit"
