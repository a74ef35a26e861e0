"""The what-if panel as Python writes it: which mixes remain, and how that is told."""

from __future__ import annotations

import json
import math
import re
from functools import cache
from html.parser import HTMLParser

import numpy as np
import pytest
from worlds import DRY, POURED, PRESSED, SETTLED, mix, wings

from castsugar.comparison.limits import C_STAR
from castsugar.comparison.neighbours import Neighbourhood, neighbours_of
from castsugar.limits import Limit
from castsugar.report.blocks.html import to_html
from castsugar.report.blocks.model import Document, Paragraph, Section, Table
from castsugar.report.blocks.text import to_text
from castsugar.report.search_words import Asked
from castsugar.report.what_if import what_if

# Exact: counts and choices are taken again from the values, in plain loops.
pytestmark = pytest.mark.exact

NASTY = "<script>alert(1)</script>"


BENCH = mix("bench mix", KNO3=60, powdered_sugar=20, corn_syrup=20)
SYRUP = mix("more syrup", KNO3=62, powdered_sugar=14, corn_syrup=24)
SUCROSE = mix("dry", KNO3=65, sucrose=35)


@cache
def syrup() -> Neighbourhood:
    return neighbours_of(BENCH, SYRUP, wings(), [PRESSED, POURED, SETTLED])


class Reader(HTMLParser):
    """Elements with their attributes, and the text inside those with an id."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: dict[str, str] = {}
        self._open: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {key: value or "" for key, value in attrs}
        self.elements.append((tag, found))
        if tag not in ("input",):
            self._open.append(found.get("id", ""))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {key: value or "" for key, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        self._open.pop()

    def handle_data(self, data: str) -> None:
        for name in filter(None, self._open):
            self.texts[name] = self.texts.get(name, "") + data

    def named(self, key: str) -> dict[str, str]:
        """Return the attributes of the one element with an id."""
        (found,) = [own for _, own in self.elements if own.get("id") == key]
        return found


def by_hand(
    around: Neighbourhood, caps: tuple[float, float, float], ratio: float
) -> list[str]:
    """Return the class of every mix: k remains, r ruled out, u not computed."""
    p, v = around.column(around.pressure), around.column(around.viscosity)
    c, s = around.column(C_STAR), around.column("relative_solids_20C")
    found = []
    for k in range(len(c)):
        out = p[k] > caps[0] or v[k] > caps[1] or c[k] < caps[2] or s[k] < ratio
        dark = any(math.isnan(column[k]) for column in (p, v, c, s))
        found.append("r" if out else "u" if dark else "k")
    return found


def test_panel_stands_at_the_limits_given() -> None:
    around = syrup()
    read = Reader(what_if(around).html)
    expected = by_hand(around, (6.894757, 10.0, 0.0), 0.9)
    classes = [
        own["class"]
        for tag, own in read.elements
        if tag == "circle" and "class" in own and own.get("cx")
    ]
    # Three more dots stand in the legend.
    assert classes[:-3] == expected[:-2]
    kept = expected.count("k")
    told = read.texts["what-if-count"]
    assert told == f"{kept} of {len(expected)} mixes remain."
    assert read.texts["what-if-output-0"] == "6.895 MPa (1000 psi)"
    assert read.texts["what-if-output-1"] == "10 Pa s"
    assert read.texts["what-if-output-2"] == "any"
    for key, place in (("what-if-base", -2), ("what-if-new", -1)):
        assert read.named(key)["class"] == expected[place]
    assert "bench mix (base) is ruled out by pour viscosity." in read.texts.values()


def test_the_best_that_remains_is_named_and_ringed() -> None:
    around = syrup()
    read = Reader(what_if(around).html)
    expected = by_hand(around, (6.894757, 10.0, 0.0), 0.9)
    velocity = around.column(C_STAR)
    kept = [k for k, letter in enumerate(expected) if letter == "k"]
    first = max(kept, key=lambda k: velocity[k])
    shares = 100.0 * around.all_fractions[first]
    recipe = ", ".join(
        f"{share:.1f} % {name}"
        for share, name in zip(shares, around.names, strict=True)
    )
    told = read.texts["what-if-best"]
    assert told.startswith(f"Highest c* that remains: {recipe}. c* ")
    shown = float(re.search(r"c\* ([\d.]+) m/s", told)[1])  # type: ignore[index]
    assert velocity[first] - 0.1 <= shown <= velocity[first]
    pressure = float(re.search(r"pressure ([\d.]+) MPa", told)[1])  # type: ignore[index]
    assert pressure == pytest.approx(around.column(around.pressure)[first], rel=2e-3)
    dots = [o for t, o in read.elements if t == "circle" and "class" in o and "cx" in o]
    ring = read.named("what-if-ring")
    assert ring["transform"] == f"translate({dots[first]['cx']},{dots[first]['cy']})"
    assert "visibility" not in ring


def test_sliders_can_be_used_and_say_what_they_are() -> None:
    read = Reader(what_if(syrup()).html)
    ranges = [own for tag, own in read.elements if tag == "input"]
    labels = [own["for"] for tag, own in read.elements if tag == "label"]
    assert [own["type"] for own in ranges] == ["range"] * 3
    assert labels == [own["id"] for own in ranges]
    for own in ranges:
        assert own["step"] == "1"
        assert int(own["min"]) <= int(own["value"]) <= int(own["max"])
        assert own["aria-valuetext"]
        assert "disabled" not in own
    assert any(own.get("aria-live") == "polite" for _, own in read.elements)
    ids = [own["id"] for _, own in read.elements if "id" in own]
    assert len(ids) == len(set(ids))


def test_data_are_small_and_rounded() -> None:
    panel = what_if(syrup())
    data = json.loads(panel.data)
    assert len(panel.data) < 30_000
    assert len(panel.data) + len(panel.html) < 75_000
    count = len(syrup().fractions) + 2
    for dial in data["dials"]:
        assert len(dial["values"]) == count
        assert all(float(f"{v:.4g}") == v for v in dial["values"])
    assert data["dials"][0]["stops"][-1] is None
    assert data["dials"][1]["stops"][-1] is None
    assert data["dials"][2]["stops"][0] is None


def test_script_is_short_and_puts_no_text_in_as_markup() -> None:
    script = what_if(syrup()).script
    assert script.count("\n") < 150
    assert not re.search(r"innerHTML|outerHTML|insertAdjacent|document\.write", script)
    assert not re.search(r"eval|Function\(|fetch|XMLHttp|import", script)


def test_without_wings_the_reason_stands_at_the_slider() -> None:
    read = Reader(what_if(neighbours_of(BENCH, SYRUP, DRY)).html)
    off = [own["id"] for tag, own in read.elements if "disabled" in own]
    assert off == ["what-if-slider-0", "what-if-slider-1"]
    assert read.texts["what-if-why-0"] == "Not computed: no motor was given."
    assert read.texts["what-if-why-1"] == "Not computed: no kitchen was given."
    assert read.named(off[0])["aria-describedby"] == "what-if-why-0"
    assert "solids over packing" not in read.texts["what-if-best"]


def test_a_mix_that_no_model_knows() -> None:
    sorbitol = mix("sorbitol", KNO3=65, sorbitol=35)
    around = neighbours_of(SUCROSE, sorbitol, wings(), [POURED])
    panel = what_if(around)
    read = Reader(panel.html)
    assert "no model for sorbitol" in read.texts["what-if-why-1"]
    assert "The limit on pour viscosity is not applied" in panel.html
    assert read.texts["what-if-member-1"] == "sorbitol (new) remains."
    assert "mixes remain" in read.texts["what-if-count"]


def test_nothing_remains_says_what_to_relax() -> None:
    around = syrup()
    hard = [
        Limit(column=around.pressure, sense="<=", value=0.5),
        Limit(column=C_STAR, sense=">=", value=915.0),
    ]
    read = Reader(what_if(around, hard).html)
    velocity = around.column(C_STAR)
    jams = around.column(around.viscosity) >= 1e12
    wild = around.column(around.pressure) >= 1e3
    back = int(((velocity >= 915.0) & ~jams & ~wild).sum())
    assert back > 0
    told = read.texts["what-if-best"]
    expected = f"relax peak pressure (brings back {back})"
    assert told == f"Nothing remains: {expected}."
    assert read.named("what-if-ring")["visibility"] == "hidden"
    both = [*hard, Limit(column=around.viscosity, sense="<=", value=0.1)]
    assert "relax more than one limit" in what_if(around, both).html
    stiff = neighbours_of(SUCROSE, mix("b", KNO3=60, sucrose=40), wings())
    assert "no limit that can be moved here" in what_if(stiff).html


def test_a_line_of_two_ingredients() -> None:
    around = neighbours_of(SUCROSE, mix("less", KNO3=60, sucrose=40), DRY)
    read = Reader(what_if(around).html)
    dots = [
        own
        for tag, own in read.elements
        if tag == "circle" and "class" in own and "cx" in own
    ][:-3]
    assert len(dots) == len(around.change) == 79
    x = np.array([float(own["cx"]) for own in dots])
    y = np.array([float(own["cy"]) for own in dots])
    # Straight scales: x follows the change, y falls as c* rises; to 0.05 px.
    for place, values in ((x, around.change), (y, around.values[:, 0])):
        slope, shift = np.polyfit(values, place, 1)
        assert np.abs(slope * values + shift - place).max() < 0.12
    assert np.polyfit(around.values[:, 0], y, 1)[0] < 0.0


def test_names_stay_text() -> None:
    base = mix(NASTY, KNO3=60, powdered_sugar=20, corn_syrup=20)
    new = mix('"><svg onload=alert(3)>', KNO3=62, powdered_sugar=14, corn_syrup=24)
    asked = Asked(file="", typed={NASTY: "potassium nitrate"})
    panel = what_if(neighbours_of(base, new, DRY), asked=asked)
    page = to_html(page_of(panel))
    read = Reader(page)
    assert [own for tag, own in read.elements if tag == "script"] == [
        {"type": "application/json", "id": "what-if-data"},
        {},
    ]
    assert "alert" not in str([own for _, own in read.elements])
    assert read.texts["what-if-member-0"].startswith(f"{NASTY} (base) remains")
    assert json.loads(read.texts["what-if-data"])["names"][0] == NASTY


def page_of(panel: object) -> Document:
    section = Section(key="s", title="What if", blocks=(panel,))  # type: ignore[arg-type]
    return Document(title="Page", subtitle="", sections=(section,))


def test_fallback_says_the_same_as_a_table() -> None:
    around = syrup()
    panel = what_if(around)
    read = Reader(panel.html)
    first, table, *rest = panel.fallback
    assert isinstance(first, Paragraph)
    assert first.text == read.texts["what-if-count"]
    assert isinstance(table, Table)
    assert [row[0].text for row in table.rows] == [
        "highest c* that remains",
        "bench mix (base)",
        "more syrup (new)",
    ]
    assert [row[-1].text for row in table.rows] == ["remains", "ruled out", "ruled out"]
    assert "a mix to test, not a safe one" in rest[-1].text  # type: ignore[union-attr]
    text = to_text(page_of(panel))
    assert max(map(len, text.splitlines())) <= 80


def test_same_input_same_bytes() -> None:
    again = neighbours_of(BENCH, SYRUP, wings(), [PRESSED, POURED, SETTLED])
    one, two = what_if(syrup()), what_if(again)
    assert (one.html, one.data, one.script) == (two.html, two.data, two.script)
