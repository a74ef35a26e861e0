"""The page of ``castsugar justify`` in a real browser, as the command writes it.

The bench, its strands and its motor are invented.
"""

from __future__ import annotations

import json
import os
import re
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from page_checks import CONTRAST

from castsugar.cli.main import main

# Exact: WCAG 2.2 (contrast 1.4.3, reflow 1.4.10, keyboard 2.1.1) as the browser shows
# it; the rule of the panel is worked out again from the data on the page. What a page
# asks for, says and raises is watched by `page_of`.
pytestmark = [pytest.mark.exact, pytest.mark.slow]

SCRIPT = "<script>alert(1)</script>"
IMAGE = "<img src=x onerror=alert(2)>"
STRANDS = """\
length_mm,time_s,pressure_MPa,temperature_C,mix
50,22.4,0.1013,20,60/20/20
50,22.1,0.1013,20,60/20/20
50,10.6,1.0,20,60/20/20
50,7.7,3.0,20,60/20/20
50,7.9,3.0,20,60/20/20
50,6.0,7.0,20,60/20/20
"""
BENCH = f"""\
[recipes]
"{IMAGE}" = "KNO3:60 powdered sugar:20 corn syrup:20"
"{SCRIPT}" = "KNO3:62 powdered sugar:14 corn syrup:24"
[kitchen]
cook = "119 C"
minutes = 8
[limits]
pour_viscosity_Pa_s = {{ at_most = 15, probability = "80 %" }}
peak_pressure_MPa = {{ at_most = "case", probability = "95 %" }}
relative_solids_20C = {{ at_least = 0.95 }}
characteristic_velocity_m_s = {{ at_least = 890 }}
[motor]
throat = "8 mm"
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "55 mm"
segments = 3
[motor.case]
rated_pressure = "1000 psi"
[[motor.burn_law]]
recipe = "KNO3:60 powdered sugar:20 corn syrup:20"
strands = "strands.csv"
"""

#: Sets a slider as a hand does, and tells the script.
MOVE = """([name, place]) => {
  const slider = document.querySelector(name);
  slider.value = String(place);
  slider.dispatchEvent(new Event("input", { bubbles: true }));
}"""
SLIDERS = [f"#what-if-slider-{k}" for k in range(3)]


@pytest.fixture(scope="module")
def html(tmp_path_factory: pytest.TempPathFactory) -> str:
    """All wings, four limits, three ingredients, and names that try to be more."""
    place, before = tmp_path_factory.mktemp("page"), Path.cwd()
    (place / f"{IMAGE}.toml").write_text(BENCH, "utf-8")
    (place / "strands.csv").write_text(STRANDS, "utf-8")
    os.chdir(place)
    try:
        words = ["justify", IMAGE, SCRIPT, "--bench", f"{IMAGE}.toml", "-o", "text"]
        words += ["--reason", f"{SCRIPT}{IMAGE}", "--claim", "higher c*"]
        code = main([*words, "--draws", "100", "--no-confirm", "--page", "page.html"])
    finally:
        os.chdir(before)
    assert code == 0
    return (place / "page.html").read_text("utf-8")


def unfold(page: Any) -> None:
    """Open everything that is folded."""
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")


def test_names_are_text_and_nothing_runs(
    html: str, page_of: Callable[..., Any]
) -> None:
    """As many scripts as we wrote, no image, the names to be read as typed."""
    page = page_of(html)
    unfold(page)
    assert page.locator("script").count() == 2
    assert page.locator("img, iframe, object, embed").count() == 0
    text = page.inner_text("body")
    for word in (SCRIPT, IMAGE):
        assert text.count(word) > 3
    drawn = page.evaluate(
        "[...document.querySelectorAll('svg')].map(s => s.textContent).join(' ')"
    )
    assert "alert(1)" in drawn
    page.wait_for_timeout(100)  # an image that fails would tell by now


@pytest.mark.parametrize("dark", [False, True])
def test_a_narrow_screen_holds_it_all(
    html: str, page_of: Callable[..., Any], dark: bool
) -> None:
    """No sideways scroll at 360 px, folded or not; every text legible."""
    page = page_of(html, width=360, dark=dark)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    unfold(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    least, words, count = page.evaluate(CONTRAST)
    assert count > 200
    assert least >= 1.0, words


@pytest.mark.parametrize("dark", [False, True])
def test_every_text_is_legible(
    html: str, page_of: Callable[..., Any], dark: bool
) -> None:
    page = page_of(html, dark=dark)
    unfold(page)
    least, words, count = page.evaluate(CONTRAST)
    assert count > 200
    assert least >= 1.0, words


def remaining(data: dict[str, Any], places: list[int]) -> int:
    """Count the mixes that keep all limits, by the rule on the page's own data.

    A value beyond its limit, or endless, rules a mix out; one that is not known does
    where it is asked for; the limits that stay come last (0 is kept).
    """
    kept = 0
    for mix, other in enumerate(data["others"]):
        good = other in (0, "0")
        for dial, place in zip(data["dials"], places, strict=True):
            cap, value = dial["stops"][place], dial["values"][mix]
            if value is None:
                good &= cap is None and not dial["needed"]
                continue
            good &= dial["endless"] is None or value < dial["endless"]
            good &= cap is None or dial["sign"] * (value - cap) <= 0.0
        kept += good
    return kept


def test_sliders_move_the_count(html: str, page_of: Callable[..., Any]) -> None:
    """Start, ends and between: what the page says is what the rule gives."""
    page = page_of(html)
    data = json.loads(page.text_content("#what-if-data"))
    dials = data["dials"]
    last = [len(dial["stops"]) - 1 for dial in dials]
    start = [dial["start"] for dial in dials]
    tried = [start, last, [last[0], last[1], 0], [last[0] // 2, last[1], 0]]
    tried += [[last[0], last[1] // 2, last[2] // 3], [0, 0, 0]]
    counts = []
    for places in tried:
        for name, place in zip(SLIDERS, places, strict=True):
            page.evaluate(MOVE, [name, place])
        kept = remaining(data, places)
        counts.append(kept)
        said = page.text_content("#what-if-count")
        assert said.startswith(f"{kept} of {len(data['others'])} mixes remain")
        classes = page.evaluate(
            "[...document.querySelectorAll('#what-if-dots circle, #what-if-base, "
            "#what-if-new')].map(s => s.getAttribute('class'))"
        )
        assert classes.count("k") == kept
    assert len(set(counts)) >= 4
    assert max(counts) > counts[0] > 0


def test_the_keyboard_reaches_the_panel(html: str, page_of: Callable[..., Any]) -> None:
    """By Tab alone to every slider; arrows move it; Enter on the button resets."""
    page = page_of(html)
    reached = []
    for _ in range(200):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id"))
        if reached[-1] == "what-if-slider-1":
            break
    assert reached[-2:] == ["what-if-slider-0", "what-if-slider-1"]
    before = page.input_value(SLIDERS[1])
    said = page.text_content("#what-if-output-1")
    page.keyboard.press("ArrowRight")
    assert page.input_value(SLIDERS[1]) != before
    assert page.text_content("#what-if-output-1") != said
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.input_value(SLIDERS[1]) == before
    assert page.text_content("#what-if-output-1") == said
    # Whatever holds the focus shows it.
    page.focus(SLIDERS[0])
    outline = page.evaluate(
        "getComputedStyle(document.querySelector('#what-if-slider-0')).outlineStyle"
    )
    assert outline != "none"


def test_links_lead_somewhere(html: str, page_of: Callable[..., Any]) -> None:
    page = page_of(html)
    lost = page.evaluate(
        "[...document.querySelectorAll('a[href^=\"#\"]')].map(a => a.hash.slice(1))"
        ".filter(id => !document.getElementById(decodeURIComponent(id)))"
    )
    assert lost == []
    ids = page.evaluate("[...document.querySelectorAll('[id]')].map(e => e.id)")
    assert len(ids) == len(set(ids))


def test_it_is_complete_without_script(html: str, page_of: Callable[..., Any]) -> None:
    """Every section, every picture; the table instead of the panel."""
    with_script, without = page_of(html), page_of(html, script=False)
    for page in (with_script, without):
        assert page.locator("main svg").count() >= 5
    assert without.is_visible(".instead")
    assert not without.is_visible("#what-if-count")
    heads = [p.locator("main h2").all_inner_texts() for p in (with_script, without)]
    assert heads[0] == heads[1]
    assert len(heads[0]) >= 14
    said = without.inner_text("body")
    for word in ("higher c*", "P(more)", "1000 psi", "What would overturn this"):
        assert word in said.replace("characteristic velocity c*", "c*")


def test_it_prints(html: str, page_of: Callable[..., Any], tmp_path: Path) -> None:
    """To A4, what is folded too; the sliders stay on the screen."""
    page = page_of(html)
    page.emulate_media(media="print")
    assert not page.is_visible("#what-if-count")
    file = tmp_path / "page.pdf"
    page.pdf(path=str(file), format="A4")
    content = file.read_bytes()
    assert content.startswith(b"%PDF")
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", content))
    packed = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", content, re.DOTALL)
    drawn = sum(len(_opened(part)) for part in packed)
    assert 4 <= pages <= 30
    assert drawn > 100_000


def _opened(stream: bytes) -> bytes:
    """Return a stream of a PDF, unpacked if it is packed."""
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return stream
