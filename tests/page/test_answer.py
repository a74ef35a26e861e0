"""The page says what `castsugar evaluate` says, and says where it cannot tell."""

from __future__ import annotations

import json
import random
import re
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np
import pytest

from castsugar.bench.example import write_example
from castsugar.cli.main import main
from castsugar.page.answer import answered, point_of, region
from castsugar.page.desk import Page
from castsugar.report.screen import STATUSES

# Exact: both sides are computed; nothing is compared with a number written here.
pytestmark = pytest.mark.exact

quick, rest = (partial(answered, whole=whole) for whole in (False, True))

THICK, SOLID = "pour_viscosity_Pa_s-at_most", "relative_solids_20C-at_least"
PARTS = [["KNO3", "60"], ["powdered sugar", "17"], ["corn syrup", "23"]]


def random_states(count: int) -> list[dict[str, Any]]:
    """Return states over the bounds of the example, settings among them."""
    made, draw = [], random.Random(7)
    for _ in range(count):
        nitrate, syrup = draw.randrange(500, 650), draw.randrange(50, 400)
        shares = (nitrate, 1000 - nitrate - syrup, syrup)
        made.append(
            {
                "parts": [
                    [name, f"{share / 10:g}"]
                    for name, share in zip(
                        ("KNO3", "powdered sugar", "corn syrup"), shares, strict=True
                    )
                ],
                "cook": f"{draw.randrange(112, 126)} C {draw.randrange(4, 20)} min",
                "throat": f"{draw.randrange(75, 100) / 10} mm",
                "grains": f"{draw.randrange(2, 6)}",
                THICK: f"{draw.randrange(3, 20)}",
                SOLID: f"{draw.randrange(85, 105) / 100}",
                "units": draw.choice(("si", "us")),
            }
        )
    return made


def stated(folder: Path, state: dict[str, Any]) -> Path:
    """Write a bench whose file states what a state asks."""
    write_example(folder)
    path = folder / "bench.toml"
    text = path.read_text("utf-8")
    thick, solid = state[THICK], state[SOLID]
    changes = {
        'cook = "119 C 8 min"\n# batch': (f'cook = "{state["cook"]}"\n# batch'),
        'throat = "8 mm"': f'throat = "{state["throat"]}"',
        "segments = 4": f"segments = {state['grains']}",
        "at_most = 10,": f"at_most = {thick},",
        "at_least = 0.95,": f"at_least = {solid},",
        'show = "si"': f'show = "{state["units"]}"',
    }
    for old, new in changes.items():
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path.write_text(text, "utf-8")
    return path


@pytest.mark.parametrize(
    "state",
    [
        pytest.param(state, marks=[pytest.mark.slow] if count else [])
        for count, state in enumerate(random_states(10))
    ],
)
def test_numbers_of_evaluate(
    page: Page,
    state: dict[str, Any],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """At ten random points, settings of the page beside a file that states them.

    Ten digits of every number of the row, and every word of the findings.
    """
    path = stated(tmp_path, state)
    recipe = " ".join(f"{name}:{amount}" for name, amount in state["parts"])
    assert main(["evaluate", recipe, "--bench", str(path), "--json"]) in (0, 3)
    told = json.loads(capsys.readouterr().out)
    state = state | {"units": "si"}  # those of a document
    whole = rest(page, state)
    findings = [(x["status"], x["text"]) for x in whole["findings"]]
    assert sorted(findings) == sorted(
        (x["status"], x["text"]) for x in told["findings"]
    )
    order = [[*STATUSES].index(status) for status, _ in findings]
    assert order == sorted(order)
    assert told["invented"] == bool(whole["example"])
    asked = page.state(state)
    for full in (True, False):
        row = point_of(page.asked(asked.settings), asked, whole=full)[0].row
        for key, value in told["mixes"][0].items():
            known = row.get(key)
            if not isinstance(value, float) or (not full and left_out(key)):
                continue
            assert known is not None, key
            assert float(f"{known:.10g}") == value, key
        if full:
            check_bands(row, told["mixes"][0])


def check_bands(row: Any, told: dict[str, Any]) -> None:
    """Compare the ends of every band of a row with those of a document."""
    for key, ends in told.items():
        if not key.endswith("_interval") or ends is None:
            continue
        for own, end in zip(row[key], ends, strict=True):
            assert end is None or float(f"{own:.10g}") == end, key


def left_out(key: str) -> bool:
    """Whether a quick answer leaves a number to the whole one."""
    return key.startswith(("pour_window", "difference_")) or key == "confirmation"


@pytest.mark.slow
def test_the_quick_answer_says_what_the_whole_one_says(
    page: Page, start: dict[str, Any]
) -> None:
    """The same verdict, limits and margins; numbers as far as both show them."""
    for state in random_states(4):
        fast, whole = quick(page, state), rest(page, state)
        assert fast["verdict"]["kind"] == whole["verdict"]["kind"]
        for one, other in zip(fast["rows"], whole["rows"], strict=True):
            assert one[0] == other[0]
            assert one[3:] == other[3:]
            assert agree(one[1], other[1]), one
        assert fast["for"] == whole["for"]


def agree(one: str, other: str) -> bool:
    """Whether two texts are the same, or one number rounded to two places."""
    try:
        numbers = [float(text) for text in (one, other)]
    except ValueError:
        return one == other
    coarse = max(10.0 ** -len(t.partition(".")[2]) * ends(t) for t in (one, other))
    return abs(numbers[0] - numbers[1]) <= 0.5001 * coarse


def ends(text: str) -> float:
    """Return the worth of the last digit that is shown before the point."""
    whole = text.partition(".")
    zeros = len(whole[0]) - len(whole[0].rstrip("0"))
    return 1.0 if whole[2] or not zeros else 10.0**zeros


@pytest.mark.slow
def test_a_mix_without_nitrate_is_not_known(page: Page, start: dict[str, Any]) -> None:
    """What is not computed neither keeps nor breaks: it is cold, with its reason."""
    state = start | {"parts": [["powdered sugar", "60"], ["corn syrup", "40"]]}
    for told in (quick(page, state), rest(page, state)):
        assert not any("fire it" in one["text"] for one in told["findings"])
        card = {one["key"]: one for one in told["cards"]}
        assert card["case"]["kind"] == "unknown"
        assert card["case"]["text"] == "not computed"
        assert "flame" in card["case"]["detail"]
        json.dumps(told, allow_nan=False)


def test_a_part_of_nothing_needs_no_lot(page: Page, start: dict[str, Any]) -> None:
    """At the edge of the triangle the sugar is 0, and its lot weighs nothing."""
    edge = [["KNO3", "60"], ["powdered sugar", "0"], ["corn syrup", "40"]]
    told = quick(page, start | {"parts": edge})
    without = quick(page, start | {"parts": [edge[0], edge[2]]})
    assert told["rows"] == without["rows"]


@pytest.mark.slow
def test_sorbitol_burns_but_has_no_pour(page: Page, start: dict[str, Any]) -> None:
    """The pour card says which model is missing; the burn cards go on."""
    state = start | {"parts": [["KNO3", "65"], ["mannitol", "35"]]}
    told = quick(page, state)
    card = {one["key"]: one for one in told["cards"]}
    assert (card["pours"]["kind"], card["pours"]["text"]) == ("unknown", "not computed")
    assert "mannitol" in card["pours"]["detail"]
    assert card["burns"]["kind"] == "plain"
    assert re.search(r"\d K", card["burns"]["text"])
    json.dumps(rest(page, state), allow_nan=False)


def without(path: Path, head: str, stop: str) -> Path:
    """Take the lines from a table to another out of a bench file."""
    text = path.read_text("utf-8")
    first, last = text.index(f"\n{head}\n"), text.index(f"\n{stop}\n")
    assert first < last
    path.write_text(text[:first] + text[last:], "utf-8")
    return path


@pytest.mark.slow
def test_without_a_motor(bench: Path) -> None:
    """Cards say what to add, the rest goes on."""
    text = bench.read_text("utf-8")
    lines = [x for x in text.split("\n") if not x.startswith("peak_pressure_MPa")]
    bench.write_text("\n".join(lines), "utf-8")
    page = Page(without(bench, "[motor]", "[scatter]"))
    first = page.bench()
    keys = [one["key"] for one in first["boxes"]]
    assert [key for key in keys if "-" not in key] == ["cook"]
    for told in (quick(page, first["start"]), rest(page, first["start"])):
        card = {one["key"]: one for one in told["cards"]}
        assert (card["case"]["text"], card["case"]["detail"]) == (
            "not asked",
            "add [motor]",
        )
        assert card["pours"]["kind"] == "broken"
        assert told["course"] is None
    found = region(page, first["start"], coarse=True)
    assert found["above"] == found["unknown"] == []
    assert found["kept"]


@pytest.mark.slow
def test_without_a_kitchen(bench: Path) -> None:
    """The limits of the kitchen are not known, and say why."""
    page = Page(without(bench, "[kitchen]", "[limits]"))
    first = page.bench()
    told = rest(page, first["start"])
    card = {one["key"]: one for one in told["cards"]}
    assert card["pours"]["text"] == card["sets"]["text"] == "not asked"
    assert told["verdict"]["kind"] == "unknown"
    assert told["next"]["text"].startswith("no kitchen was given ([kitchen] cook): add")
    assert told["thickness"] == ""
    json.dumps(told, allow_nan=False)


@pytest.mark.slow
def test_four_ingredients(page: Page, start: dict[str, Any]) -> None:
    """The fourth keeps its share while three are moved."""
    red = [["KNO3", "60"], ["powdered sugar", "19"], ["corn syrup", "20"]]
    state = start | {"parts": [*red, ["red iron oxide", "1"]]}
    told = quick(page, state)
    assert told["for"] == "60/19/20/1"
    found = region(page, state, coarse=True)
    assert found["kept"] or found["unknown"]
    first, last = zip(*(p for area in found["unknown"] for p in area), strict=True)
    assert max(a + b for a, b in zip(first, last, strict=True)) <= 99.0 + 1e-6


@pytest.mark.slow
def test_next_passes(page: Page, start: dict[str, Any]) -> None:
    """What is offered to try keeps every limit."""
    told = rest(page, start)
    assert told["verdict"]["kind"] == "broken"
    assert "more corn syrup" in told["next"]["text"]
    tried = rest(page, told["next"]["state"])
    assert tried["verdict"]["kind"] == "kept"
    assert tried["next"] == {"text": "weigh it", "state": None, "weigh": True}


@pytest.mark.slow
def test_next_widens_the_throat(page: Page, start: dict[str, Any]) -> None:
    """The narrowest throat that passes, to 0.1 mm: one step narrower does not."""
    state = start | {"parts": PARTS, "throat": "6.3 mm"}
    told = rest(page, state)
    assert "wider throat" in quick(page, state)["next"]["text"]
    throat = float(told["next"]["state"]["throat"].split()[0])
    assert told["next"]["weigh"] is False
    put = f"Then: put throat = {throat:g} mm into the bench file and weigh it."
    assert told["next"]["text"].endswith(put)
    assert quick(page, told["next"]["state"])["verdict"]["kind"] == "kept"
    narrower = state | {"throat": f"{throat - 0.1:.1f} mm"}
    assert quick(page, narrower)["verdict"]["kind"] == "broken"


@pytest.mark.slow
def test_next_burns_strands_where_only_the_95_line_is_above(
    page: Page, start: dict[str, Any]
) -> None:
    """The expected peak is below the case: nothing is known to be too much."""
    state = start | {"parts": PARTS, "throat": "7 mm"}
    told = rest(page, state)
    asked = page.state(state)
    row = point_of(page.asked(asked.settings), asked, whole=False)[0].row
    assert row["peak_pressure_MPa"] < 6.895 < row["peak_pressure_p95_MPa"]
    assert told["next"]["text"].startswith("burn 3 strands of this mix at ")


@pytest.mark.slow
def test_next_goes_to_the_scale(page: Page, start: dict[str, Any]) -> None:
    """60.01 % of 200 g is 120.02 g, no multiple of 0.1 g."""
    parts = [["KNO3", "60.01"], ["powdered sugar", "16.99"], ["corn syrup", "23"]]
    told = rest(page, start | {"parts": parts})
    assert told["verdict"]["kind"] == "kept"
    assert told["next"]["state"]["parts"] == PARTS


@pytest.mark.slow
def test_courses_and_curves(page: Page, start: dict[str, Any]) -> None:
    """Points of time and pressure; the peak drawn is the one told within 2 %."""
    state = start | {"parts": PARTS}
    fast, whole = quick(page, state), rest(page, state)
    for told in (fast["course"], whole["course"]):
        for curve in ("mix", "base"):
            time, pressure = np.transpose(told["curves"][curve])
            assert (np.diff(time) >= 0.0).all()
            assert time[-1] <= told["end"]
            assert pressure.max() <= told["top"]
        assert max(p for _, p in told["curves"]["mix"]) == pytest.approx(3.85, rel=0.02)
        assert told["case"] == pytest.approx(6.894757)
    assert "band" not in fast["course"]["curves"]
    band = whole["course"]["curves"]["band"]
    low, high = band[: len(band) // 2], band[: len(band) // 2 - 1 : -1]
    assert [t for t, _ in low] == [t for t, _ in high]
    assert all(a <= b for (_, a), (_, b) in zip(low, high, strict=True))
    drawn = unquote(whole["thickness"])
    assert drawn.startswith("data:image/svg+xml,<svg ")


@pytest.mark.slow
def test_curves_in_us_units(page: Page) -> None:
    """1 MPa is 145.037738 psi; temperatures are in F."""
    si, us = (rest(page, page.start(x) | {"parts": PARTS}) for x in ("si", "us"))
    assert us["course"]["unit"] == "psi"
    assert ", \u00b0F<" in unquote(us["thickness"])
    one, other = (x["course"]["curves"]["mix"][40][1] for x in (us, si))
    factor = one / other
    assert factor == pytest.approx(145.037738, rel=1e-4)
    assert us["course"]["case_label"] == "case 1000 psi"


@pytest.mark.slow
def test_the_base_is_not_compared_with_itself(
    page: Page, start: dict[str, Any]
) -> None:
    """It says so, in the card and in place of a table of zeros."""
    told = rest(page, start)
    assert told["against"]["rows"] == []
    assert "base itself" in told["against"]["words"]
    (better,) = (one for one in told["cards"] if one["key"] == "better")
    assert better["text"] == "this is base"


@pytest.mark.slow
def test_differences_say_of_what(page: Page, start: dict[str, Any]) -> None:
    """A viscosity has its unit in both columns, its difference is a ratio."""
    told = rest(page, start | {"parts": PARTS})
    rows = {row[0]: row for row in told["against"]["rows"]}
    assert re.fullmatch(r"0\.\d+ to 0\.\d+ x", rows["pour viscosity, Pa s"][3])
    assert not any("ratio" in label for label in rows)
    broken = rest(page, start)
    margins = {row[0]: row[4] for row in broken["rows"]}
    assert re.fullmatch(r"[0-9.]+ x limit", margins["pour viscosity, Pa s"])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("text", "boxes"),
    [
        ("", []),
        ('[recipes]\nplain = "KNO3:65% sucrose:35%"\n', []),
        ('[kitchen]\ncook = "0 min 25 C, 6 min 105 C, 9 min 119 C"\n', ["cook"]),
    ],
)
def test_a_bench_of_little(tmp_path: Path, text: str, boxes: list[str]) -> None:
    """Whatever the bench leaves out, every answer is made, of numbers that JSON has."""
    (tmp_path / "bench.toml").write_text(text, "utf-8")
    page = Page(tmp_path / "bench.toml")
    for units in ("si", "us"):
        first, start = page.bench(units), page.start(units)
        assert [one["key"] for one in first["boxes"]] == boxes
        told = [quick(page, start), rest(page, start), region(page, start)]
        json.dumps([first, *told], allow_nan=False)
        assert told[1]["course"] is None
