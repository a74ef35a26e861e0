"""The weigh sheet in a real browser: two sheets of paper, read at every width."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest
from page_checks import CONTRAST

from castsugar.cli.main import main

# Exact: sheets are counted, texts and places are read off the page that is printed.
pytestmark = [pytest.mark.exact, pytest.mark.slow]

WORDS = ["--grains", "4", "--strands", "8", "--delays", "2"]
MIX = "KNO3:60 powdered sugar:17 corn syrup:23"
EDGE = dict.fromkeys(("top", "right", "bottom", "left"), "12mm")


@pytest.fixture(params=["si", "us"])
def html(request, tmp_path, monkeypatch) -> str:
    """Write the page of the example."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    words = ["weigh", MIX, *WORDS, "--units", request.param]
    assert main([*words, "--page", "sheet.html"]) == 0
    return (tmp_path / "sheet.html").read_text("utf-8")


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_two_sheets_the_first_to_sign(page_of, html, tmp_path, paper: str) -> None:
    """Verdict, masses, boxes and signature on sheet 1, checks on sheet 2."""
    page = page_of(html)
    pdf = page.pdf(format=paper, margin=EDGE)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 2
    squares = page.evaluate(
        "[...document.querySelectorAll('.square')].map(e => e.offsetWidth)"
    )
    assert len(squares) >= 9
    assert min(squares) >= 6.0 * 96.0 / 25.4  # 6 mm
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext to read the sheets with")
    (tmp_path / "sheet.pdf").write_bytes(pdf)
    texts = [
        subprocess.run(
            ["pdftotext", "-layout", "-f", n, "-l", n, "sheet.pdf", "-"],
            check=True,
            capture_output=True,
            text=True,
            cwd=tmp_path,
        ).stdout
        for n in "12"
    ]
    for text in ("EXAMPLE", "KEPT", "112.0", "288.3", "checked by, signature"):
        assert text in texts[0]
    assert "Checks" in texts[1]
    assert "[ ]" not in "".join(texts)


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize(("width", "top"), [(360, 400), (1280, 200)])
def test_the_verdict_is_seen_first(page_of, html, width, top, dark) -> None:
    page = page_of(html, width=width, dark=dark)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    place = "document.querySelector('.findings').getBoundingClientRect().top"
    assert page.evaluate(place) < top
    share, where, _ = page.evaluate(CONTRAST)
    assert share >= 1.0, where
