"""The page of ``castsugar justify`` in a real browser, as the command writes it.

The bench, its strands and its motor are invented.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from page_checks import CONTRAST

from castsugar.cli.main import main

# Exact: WCAG 2.2 (contrast 1.4.3, reflow 1.4.10) as the browser shows it; sheets are
# counted off the page that is printed. What a page asks for, says and raises is watched
# by `page_of`.
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
pour_viscosity_Pa_s = {{ at_most = 15, probability = "60 %" }}
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

EDGE = dict.fromkeys(("top", "right", "bottom", "left"), "12mm")


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


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The record of a change on the example bench."""
    place, before = tmp_path_factory.mktemp("example"), Path.cwd()
    os.chdir(place)
    try:
        assert main(["init"]) == 0
        mix = "KNO3:60 powdered sugar:17 corn syrup:23"
        words = ["justify", "base", mix, "--claim", "lower pressure"]
        assert main([*words, "--reason", "less pressure", "--page", "page.html"]) == 1
        return Path("page.html").read_text("utf-8")
    finally:
        os.chdir(before)


def test_names_are_text_and_nothing_runs(
    html: str, page_of: Callable[..., Any]
) -> None:
    """The tags that the user typed are read, not obeyed; nothing is loaded."""
    page = page_of(html)
    for word in (IMAGE, SCRIPT):
        assert word in page.inner_text("body")
    assert page.evaluate("document.querySelectorAll('script, img').length") == 0


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize(("width", "top"), [(360, 400), (1280, 200)])
def test_the_verdict_is_seen_first(
    example: str, page_of: Callable[..., Any], width: int, top: int, dark: bool
) -> None:
    """Near the top, legible, without sideways scrolling."""
    page = page_of(example, width=width, dark=dark)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    place = "document.querySelector('.findings').getBoundingClientRect().top"
    assert page.evaluate(place) < top
    share, where, count = page.evaluate(CONTRAST)
    assert count > 60
    assert share >= 1.0, where


def test_contrast_script_sees_a_faint_text(page_of: Callable[..., Any]) -> None:
    """Grey #777777 on white has 4.48 (a well-known pair): just not enough."""
    page = page_of("<body style='background:#fff'><p style='color:#777777'>faint</p>")
    share, where, count = page.evaluate(CONTRAST)
    assert count == 1
    assert share == pytest.approx(4.48 / 4.5, abs=0.002)
    assert where.endswith("faint")


def test_links_lead_somewhere(html: str, page_of: Callable[..., Any]) -> None:
    page = page_of(html)
    aims = page.evaluate(
        "[...document.querySelectorAll('a')].map(a => a.getAttribute('href'))"
    )
    assert len(aims) > 5
    for aim in aims:
        assert page.locator(f"id={aim.removeprefix('#')}").count() == 1


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_eight_sheets_the_first_to_sign(
    example: str, page_of: Callable[..., Any], tmp_path: Path, paper: str
) -> None:
    """Verdict, grams, limits, a picture and both signatures stand on sheet 1."""
    pdf = page_of(example).pdf(format=paper, margin=EDGE)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 8
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext to read the sheets with")
    (tmp_path / "page.pdf").write_bytes(pdf)
    first, second = (
        subprocess.run(
            ["pdftotext", "-layout", "-f", n, "-l", n, "page.pdf", "-"],
            check=True,
            capture_output=True,
            text=True,
            cwd=tmp_path,
        ).stdout
        for n in "12"
    )
    told = (
        "EXAMPLE",
        "CANNOT TELL",
        "KEPT",
        "40.0 -> 34.0 g",
        "margin",
        "Least sure",
    )
    for text in (*told, "made by", "read by (safety officer)", "Next: castsugar"):
        assert text in first
    assert second.lstrip().startswith("Differences")
