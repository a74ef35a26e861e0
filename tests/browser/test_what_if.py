"""The what-if panel in a browser: what its sliders do is what the rule says."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from typing import Any

import pytest
from worlds import DRY, POURED, PRESSED, SETTLED, mix, wings

from castsugar.comparison.limits import C_STAR
from castsugar.comparison.neighbours import (
    MovingLimits,
    Neighbourhood,
    moving_limits,
    neighbours_of,
)
from castsugar.report.blocks.html import to_html
from castsugar.report.blocks.model import Document, Section
from castsugar.report.what_if import what_if

# Exact: what remains is counted again in Python, from the values before rounding.
pytestmark = [pytest.mark.exact, pytest.mark.slow]

LIMITS = (PRESSED, POURED, SETTLED)
SLIDERS = [f"#what-if-slider-{place}" for place in range(3)]
TEXTS = ("count", "best", "member-0", "member-1", "output-0", "output-1", "output-2")

#: Sets a slider as a hand does, and tells the script.
MOVE = """([name, place]) => {
  const slider = document.querySelector(name);
  slider.value = String(place);
  slider.dispatchEvent(new Event("input", { bubbles: true }));
}"""
CLASSES = """() => [
  ...document.querySelectorAll("#what-if-dots circle, #what-if-base, #what-if-new"),
].map((shape) => shape.getAttribute("class")).join("")"""


@cache
def around() -> Neighbourhood:
    """Return the mixes around two, with an invented motor and a kitchen."""
    base = mix("bench mix", KNO3=60, powdered_sugar=20, corn_syrup=20)
    new = mix("<b>more syrup</b>", KNO3=62, powdered_sugar=14, corn_syrup=24)
    return neighbours_of(base, new, wings(), LIMITS)


@cache
def line() -> Neighbourhood:
    base = mix("dry", KNO3=65, sucrose=35)
    return neighbours_of(base, mix("less", KNO3=60, sucrose=40), DRY)


def html_of(found: Neighbourhood) -> str:
    section = Section(key="s", title="What if", blocks=(what_if(found),))
    return to_html(Document(title="Page", subtitle="", sections=(section,)))


def dials() -> MovingLimits:
    return moving_limits(around(), around().outcome.found.goal.limits)


def texts(page: Any) -> dict[str, str]:
    return {name: page.text_content(f"#what-if-{name}") for name in TEXTS}


def expected(places: tuple[int, int, int]) -> str:
    """Return the classes of all mixes at positions of the sliders."""
    found, dial = around(), dials()
    caps = [d.stops[k] for d, k in zip(dial.each, places, strict=True)]
    highest = [math.inf if cap is None else cap for cap in caps[:2]]
    least = -math.inf if caps[2] is None else caps[2]
    columns = (found.pressure, found.viscosity, C_STAR, "relative_solids_20C")
    rows = zip(*(found.column(name).tolist() for name in columns), strict=True)
    letters = []
    for p, v, c, s in rows:
        out = p > highest[0] or v > highest[1] or c < least or s < 0.9
        out = out or p >= 1e3 or v >= 1e12
        dark = math.isnan(c) or math.isnan(s)
        dark = dark or (caps[0] is not None and math.isnan(p))
        dark = dark or (caps[1] is not None and math.isnan(v))
        letters.append("r" if out else "u" if dark else "k")
    return "".join(letters)


def test_the_script_says_at_first_what_python_wrote(
    page_of: Callable[..., Any],
) -> None:
    for found in (around(), line()):
        html = html_of(found)
        before, after = page_of(html, script=False), page_of(html)
        assert texts(before) == texts(after)
        assert not before.is_visible("#what-if-count")
        assert before.is_visible(".instead")
        assert after.is_visible("#what-if-count")
        drawn = [page.inner_html(".what-if-picture") for page in (before, after)]
        assert drawn[0] == drawn[1]


def test_sliders_move_the_region(page_of: Callable[..., Any]) -> None:
    page = page_of(html_of(around()))
    each = dials().each
    counts = set()
    for shares in [(0.0, 0.5, 0.0), (1.0, 1.0, 0.0), (0.3, 1.0, 0.5), (1.0, 0.6, 0.9)]:
        one, two, three = (
            round(share * (len(dial.stops) - 1))
            for share, dial in zip(shares, each, strict=True)
        )
        for name, place in zip(SLIDERS, (one, two, three), strict=True):
            page.evaluate(MOVE, [name, place])
        letters = expected((one, two, three))
        assert page.evaluate(CLASSES) == letters
        kept = letters.count("k")
        counts.add(kept)
        told = texts(page)
        assert told["count"].startswith(f"{kept} of {len(letters)} mixes remain")
        states = ("is ruled out", "cannot be judged", "remains.")
        for name, letter in zip(("member-0", "member-1"), letters[-2:], strict=True):
            assert states["ruk".index(letter)] in told[name]
    assert len(counts) == 4


def test_the_best_that_remains_is_told(page_of: Callable[..., Any]) -> None:
    page, found = page_of(html_of(around())), around()
    last = len(dials().viscosity.stops) - 1
    page.evaluate(MOVE, [SLIDERS[1], last])
    letters = expected((dials().pressure.start, last, 0))
    velocity = found.column(C_STAR)
    kept = [k for k, letter in enumerate(letters) if letter == "k"]
    first = max(kept, key=lambda k: math.floor(10.0 * velocity[k] + 1e-6))
    shares = 100.0 * found.all_fractions[first]
    recipe = ", ".join(
        f"{share:.1f} % {name}" for share, name in zip(shares, found.names, strict=True)
    )
    told = texts(page)["best"]
    assert recipe in told
    assert f"c* {math.floor(10.0 * velocity[first] + 1e-6) / 10.0:g} m/s" in told
    assert "solids over packing at 20 C" in told


def test_keyboard_moves_a_slider_and_the_button_resets(
    page_of: Callable[..., Any],
) -> None:
    page = page_of(html_of(around()))
    start, first = dials().viscosity.start, texts(page)
    page.focus(SLIDERS[1])
    page.keyboard.press("ArrowRight")
    assert page.input_value(SLIDERS[1]) == str(start + 1)
    cap = dials().viscosity.stops[start + 1]
    assert texts(page)["output-1"] == f"{cap:g} Pa s"
    assert page.get_attribute(SLIDERS[1], "aria-valuetext") == f"{cap:g} Pa s"
    places = (dials().pressure.start, start + 1, 0)
    assert page.evaluate(CLASSES) == expected(places)
    page.keyboard.press("End")
    assert texts(page)["output-1"] == "any that does not jam"
    for _ in range(2):  # over the slider of c* to the button
        page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "what-if-reset"
    page.keyboard.press("Enter")
    assert texts(page) == first
    assert page.evaluate(CLASSES) == expected((places[0], start, 0))


def test_nothing_remains(page_of: Callable[..., Any]) -> None:
    page = page_of(html_of(around()))
    top = len(dials().velocity.stops) - 1
    page.evaluate(MOVE, [SLIDERS[2], top])
    told = texts(page)
    assert told["count"].startswith("0 of ")
    start = expected((dials().pressure.start, dials().viscosity.start, 0))
    assert told["best"] == (
        f"Nothing remains: relax c* (brings back {start.count('k')})."
    )
    assert page.get_attribute("#what-if-ring", "visibility") == "hidden"
    page.evaluate(MOVE, [SLIDERS[0], 0])
    assert "relax more than one limit" in texts(page)["best"]
    page.evaluate(MOVE, [SLIDERS[0], len(dials().pressure.stops) - 1])
    page.evaluate(MOVE, [SLIDERS[2], 0])
    assert page.get_attribute("#what-if-ring", "visibility") is None


@pytest.mark.parametrize("dark", [False, True])
def test_a_narrow_screen_holds_it(page_of: Callable[..., Any], dark: bool) -> None:
    for found in (around(), line()):
        page = page_of(html_of(found), width=360, dark=dark)
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        for name in (*SLIDERS, ".what-if-picture svg", "#what-if-reset"):
            box = page.locator(name).bounding_box()
            assert box["x"] >= 0.0
            assert box["x"] + box["width"] <= 360.0
        assert page.locator(SLIDERS[0]).bounding_box()["height"] >= 24.0


def test_disabled_sliders_stay_where_they_are(page_of: Callable[..., Any]) -> None:
    page = page_of(html_of(line()))
    assert page.is_disabled(SLIDERS[0])
    assert page.is_disabled(SLIDERS[1])
    assert page.is_enabled(SLIDERS[2])
    assert page.is_visible("text=no motor was given")
    page.focus(SLIDERS[2])
    page.keyboard.press("ArrowRight")
    cap = moving_limits(line(), ()).velocity.stops[1]
    kept = int((line().column(C_STAR) >= cap).sum())
    assert texts(page)["count"] == f"{kept} of 81 mixes remain."


def test_on_paper_the_table_stands_for_it(page_of: Callable[..., Any]) -> None:
    page = page_of(html_of(around()))
    page.emulate_media(media="print")
    assert not page.is_visible("#what-if-count")
    assert page.is_visible('tbody th:has-text("highest c*")')
