"""What holds for every picture of every command, wide and narrow, light and dark.

All are drawn by the commands themselves, from the example of ``castsugar init``.
"""

from __future__ import annotations

import itertools
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import pytest
from drawn_pictures import PICTURES, drawn
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.text import Text
from page_checks import kept_out

from castsugar.plot import export, style
from castsugar.plot.sheet import NARROW, WIDE, Drawing
from castsugar.report.page import to_page
from castsugar.report.screen import Annex, Finding, Screen

# Exact: ids differ, colours are those of the two palettes, boxes of words are apart.
pytestmark = [pytest.mark.exact, pytest.mark.slow]


@pytest.fixture(scope="module")
def drawings(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Drawing]:
    """Let every command draw; the settings of matplotlib are as they were."""
    settings = dict(mpl.rcParams)
    found = drawn(tmp_path_factory.mktemp("pictures"))
    assert dict(mpl.rcParams) == settings
    return found


@pytest.fixture(scope="module")
def svgs(drawings: dict[str, Drawing]) -> dict[tuple[str, int], str]:
    """Every picture at both widths."""
    return {
        (name, width): export.written(draw, ".svg", width).decode()
        for name, draw in drawings.items()
        for width in (WIDE, NARROW)
    }


def test_settings_of_a_caller_stay(drawings: dict[str, Drawing]) -> None:
    """Also where a caller has his own, and a picture does not take them."""
    with mpl.rc_context({"font.size": 31.0, "svg.fonttype": "path"}):
        mine = dict(mpl.rcParams)
        own = export.written(drawings["delay"], ".svg")
        assert dict(mpl.rcParams) == mine
    assert own == export.written(drawings["delay"], ".svg")


def test_ids_differ_over_one_page(svgs: dict[tuple[str, int], str]) -> None:
    """Of all pictures together; what refers to an id finds it."""
    page = "".join(svgs.values())
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    used = set(re.findall(r'(?:url\(#|href="#)([^")]+)', page))
    used |= {
        name
        for names in re.findall(r'aria-labelledby="([^"]+)"', page)
        for name in names.split()
    }
    assert used <= set(ids)


def test_nothing_comes_from_outside(svgs: dict[tuple[str, int], str]) -> None:
    """No address but those of the two namespaces, no image, nothing that runs."""
    for svg in svgs.values():
        bare = re.sub(r'xmlns(:\w+)?="[^"]+"', "", svg)
        assert "http" not in bare
        assert not re.search(r"<(image|script|foreignObject)|\son\w+=|@import", bare)


def test_each_says_what_it_shows(svgs: dict[tuple[str, int], str]) -> None:
    """A title, EXAMPLE in it, a description; words stay words; at most 100 kB."""
    for (name, width), svg in svgs.items():
        root = ET.fromstring(svg)
        title, words = (root.find(f"{{*}}{tag}") for tag in ("title", "desc"))
        assert title is not None, name
        assert "EXAMPLE" in str(title.text), name
        assert words is not None, name
        assert len(str(words.text)) > 30, name
        assert len(root.findall(".//{*}text")) > 5, name
        assert len(svg) <= 100_000, (name, width, len(svg))
        assert not re.search(r"\b(nan|inf|None)\b", svg), name


COLOURS = {light for light, _ in (*style.INKS.values(), *style.TINTS)}


def test_every_colour_has_a_dark_form(svgs: dict[tuple[str, int], str]) -> None:
    """No other colour is drawn, so that none is left behind on a dark page."""
    for (name, _), svg in svgs.items():
        body = re.sub(r"<style>.*?</style>", "", svg, flags=re.S)
        assert set(re.findall(r"#[0-9a-f]{6}\b", body)) <= COLOURS, name
        assert not re.search(r'(fill|stroke)="#', body), name  # out of reach of a rule


def luminance(colour: str) -> float:
    """Return the relative luminance (WCAG 2.2)."""
    parts = (
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in to_rgb(colour)
    )
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), parts, strict=True))


def contrast(one: str, other: str) -> float:
    """Return the ratio of contrast of two colours.

    Grey #767676 on white is the pair that just has 4.5 (WCAG, well known).
    """
    light, dark = sorted(map(luminance, (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_inks_can_be_read() -> None:
    """Every ink but grid and paper has 4.5 on paper; ink has it on every tint too."""
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)
    for palette in (0, 1):
        paper = style.INKS["paper"][palette]
        for name, pair in style.INKS.items():
            if name not in ("paper", "rule"):
                assert contrast(pair[palette], paper) >= 4.5, name
        for tint in style.TINTS:
            assert contrast(style.INKS["ink"][palette], tint[palette]) >= 4.5


def boxes(sheet: Any) -> list[tuple[str, Any]]:
    """Return the words of a picture that are seen, and where. [px]"""
    figure = sheet.finish()
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    texts = [*figure.texts, *(t for k in figure.legends for t in k.get_texts())]
    for axes in figure.axes:
        texts += [*axes.texts, axes.title, axes._left_title, axes._right_title]
        for axis in axes._axis_map.values():
            ticks = axis._update_ticks()  # those inside the limits
            texts += [axis.label, axis.offsetText, *(t.label1 for t in ticks)]
    seen = (t for t in texts if t.get_text().strip() and t.get_visible())
    return [(t.get_text(), corners(t, renderer)) for t in seen]


def corners(text: Text, renderer: Any) -> np.ndarray:
    """Return the corners of words, tilted as they are, less what may touch. [px]"""
    middle = Text.get_window_extent(text, renderer).get_points().mean(axis=0)
    angle = text.get_rotation()
    text.set_rotation(0.0)
    flat = Text.get_window_extent(text, renderer)
    text.set_rotation(angle)
    half = np.maximum([flat.width - 1.0, flat.height - 2.5], 0.0) / 2.0
    turn = np.deg2rad(angle)
    ways = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return middle + half * [(1, 1), (-1, 1), (-1, -1), (1, -1)] @ ways


def meet(one: np.ndarray, other: np.ndarray) -> bool:
    """Say whether two rectangles share ground: no side of either parts them."""
    for side in (*np.diff(one[:3], axis=0), *np.diff(other[:3], axis=0)):
        a, b = one @ side, other @ side
        if a.max() <= b.min() or b.max() <= a.min():
            return False
    return True


def test_tilted_rectangles_meet() -> None:
    """A square of side 2, and the same on its tip, whose corner reaches 1.414 far."""
    square = np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)])
    tip = square @ np.array([(1, 1), (-1, 1)]) / np.sqrt(2.0)
    assert meet(square, square + 1.9)
    assert not meet(square, square + 2.0)
    assert meet(square, np.add(tip, (2.4, 0.0)))
    assert not meet(square, np.add(tip, (1.8, 1.8)))  # their boxes do


@pytest.mark.parametrize("width", [WIDE, NARROW])
@pytest.mark.parametrize("name", PICTURES)
def test_no_two_labels_overlap(
    drawings: dict[str, Drawing], name: str, width: int
) -> None:
    """As laid out; and none leaves the picture."""
    with export._settings("test"):
        found = boxes(drawings[name](width))
    for (one, a), (other, b) in itertools.combinations(found, 2):
        assert not meet(a, b), (one, other)
    for words, box in found:
        assert box[:, 0].max() <= width, words
        assert box[:, 0].min() >= 0.0, words


ALLOWED = ("trace", "firing", "sweep", "traces", "map", "feasible", "around")


def test_allowed_pressure_is_one_line_everywhere(drawings: dict[str, Drawing]) -> None:
    """The same ink, width and words."""
    looks = set()
    for name in ALLOWED:
        for axes in drawings[name](WIDE).figure.axes:
            for line in axes.lines:
                if line.get_linewidth() == 2.8:
                    words = [
                        t.get_text()
                        for t in axes.texts
                        if t.get_text().startswith("allowed")
                    ]
                    looks.add((line.get_color(), *words))
    assert looks == {(style.INK, "allowed 6.89 MPa")}


def test_units_are_those_that_are_asked_for(tmp_path: Path) -> None:
    """In US units no number, axis or sentence has an SI one; viscosity has one unit."""
    units = r"MPa|kPa|mm|g|kg|°C|K|m/s|N|N s"
    metric = re.compile(rf"\d ({units})\b(?! ?s\b)|, (MPa|mm|mm/s|°C|kg/m³|m/s|N)$")
    for name, draw in drawn(tmp_path, "--units", "us").items():
        svg = export.written(draw, ".svg").decode()
        texts = re.findall(r"<(?:text|title|desc)[^>]*>(.*?)</", svg)
        assert [text for text in texts if metric.search(text)] == [], name


def test_same_bytes_in_every_process(tmp_path: Path) -> None:
    """SVG, PNG and PDF of two processes whose hashes differ."""
    words, kind = PICTURES["viscosity"]
    asked = [[*words, "--picture", f"{kind}=p{end}"] for end in export.KINDS]
    code = (
        "import sys; from castsugar.cli.main import main; "
        f"sys.exit(any(main(words) for words in {[['init'], *asked]!r}))"
    )
    made = []
    for seed in ("1", "2"):
        place = tmp_path / seed
        place.mkdir()
        environment = {**os.environ, "PYTHONHASHSEED": seed}
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=place,
            env=environment,
            check=True,
            capture_output=True,
        )
        made.append([(place / f"p{end}").read_bytes() for end in export.KINDS])
    assert made[0] == made[1]
    assert all(len(one) > 5000 for one in made[0])


# --- in a browser --------------------------------------------------------------------

#: Lowest contrast of drawn words and of drawn marks with the paper of their picture,
#: as shown: grid lines (the palest ink) and tinted fields carry no message alone.
DRAWN = """(quiet) => {
  const channels = (t) => (t.match(/[0-9.]+/g) || []).map(Number);
  const light = (t) => {
    const [x, y, z] = channels(t).slice(0, 3).map((c) => c / 255).map(
      (c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * x + 0.7152 * y + 0.0722 * z;
  };
  const ratio = (a, b) => {
    const [x, y] = [light(a), light(b)].sort((p, q) => q - p);
    return (x + 0.05) / (y + 0.05);
  };
  const least = {words: [Infinity, ""], marks: [Infinity, ""]}, counts = [0, 0];
  for (const svg of document.querySelectorAll("figure svg")) {
    if (!svg.checkVisibility()) continue;
    const paper = getComputedStyle(svg.querySelector("path")).fill;
    for (const text of svg.querySelectorAll("text")) {
      const found = ratio(getComputedStyle(text).fill, paper);
      counts[0] += 1;
      if (found < least.words[0]) least.words = [found, text.textContent];
    }
    for (const mark of svg.querySelectorAll("path[style*='stroke'], use")) {
      const own = mark.getAttribute("style") || "";
      const stroke = getComputedStyle(mark).stroke;
      if (mark.closest("defs") || stroke === "none") continue;
      if (quiet.some((c) => own.includes(`stroke: ${c}`))) continue;
      const found = ratio(stroke, paper);
      counts[1] += 1;
      if (found < least.marks[0]) least.marks = [found, own];
    }
  }
  return [least.words, least.marks, counts];
}"""


@pytest.fixture(scope="module")
def html(drawings: dict[str, Drawing]) -> str:
    """One page of all pictures."""
    figures = tuple(export.shown(draw, f"Picture {n}") for n, draw in drawings.items())
    return to_page(
        Screen(
            command="evaluate",
            title="Every picture",
            findings=(Finding("RESULT", "Pictures."),),
            annexes=(Annex("Pictures", figures),),
        )
    )


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [1280, 360])
def test_all_pictures_on_one_page(
    html: str, page_of: Callable[..., Any], width: int, dark: bool
) -> None:
    """Nobody is kept out (axe-core: WCAG 2 A and AA), all can be read.

    The contrast of what is drawn is computed from the colours that the browser shows.
    """
    page = page_of(html, width=width, dark=dark)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    inks, tints = style.INKS, style.TINTS
    quiet = [inks["rule"][0], inks["paper"][0], *(light for light, _ in tints)]
    words, marks, counts = page.evaluate(DRAWN, quiet)
    assert counts[0] > 20 * len(PICTURES)
    assert counts[1] > 10 * len(PICTURES)
    assert words[0] >= 4.5, words
    assert marks[0] >= 3.0, marks
    assert kept_out(page) == {}
