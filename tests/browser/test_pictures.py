"""Every picture on one page in a real browser: nobody is kept out, all can be read.

axe-core looks for what keeps people out (WCAG 2 A and AA), but not at the contrast of
what is drawn: that is computed from the colours that the browser shows.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from drawn_pictures import PICTURES, drawn
from page_checks import kept_out

from castsugar.plot import export
from castsugar.report.page import to_page
from castsugar.report.screen import Annex, Finding, Screen

pytestmark = [pytest.mark.exact, pytest.mark.slow]

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
def html(tmp_path_factory: pytest.TempPathFactory) -> str:
    """One page of all pictures."""
    drawings = drawn(tmp_path_factory.mktemp("pictures"))
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
    from castsugar.plot.style import INKS, TINTS

    page = page_of(html, width=width, dark=dark)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    quiet = [INKS["rule"][0], INKS["paper"][0], *(light for light, _ in TINTS)]
    words, marks, counts = page.evaluate(DRAWN, quiet)
    assert counts[0] > 20 * len(PICTURES)
    assert counts[1] > 10 * len(PICTURES)
    assert words[0] >= 4.5, words
    assert marks[0] >= 3.0, marks
    assert kept_out(page) == {}
