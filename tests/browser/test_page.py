"""Pages in a real browser: quiet, readable at every width, in the dark and on paper."""

from __future__ import annotations

import dataclasses
import re
import zlib

import pytest
from page_checks import CONTRAST, NASTY, nasty, record

from castsugar.report.blocks.html import to_html
from castsugar.report.blocks.model import Document, Panel, Section

# Exact: WCAG 2.2 (contrast 1.4.3, reflow 1.4.10, keyboard 2.1.1) as the browser shows
# it; what a page asks for, says and raises is watched by `page_of`.
pytestmark = pytest.mark.exact

DOCUMENTS = {"record": record, "nasty": nasty}

#: What holds the focus: an element's tag, its class or id, its text.
FOCUS = """() => {
  const e = document.activeElement;
  return [e.tagName.toLowerCase(), e.className || e.id, e.textContent.trim()];
}"""

SEEN = "e => e.checkVisibility({contentVisibilityAuto: true, visibilityProperty: true})"


def focuses(page, count: int) -> list[list[str]]:
    """What the tab key reaches, in order."""
    found = []
    for _ in range(count):
        page.keyboard.press("Tab")
        found.append(page.evaluate(FOCUS))
    return found


@pytest.mark.slow
@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [360, 1000])
@pytest.mark.parametrize("name", DOCUMENTS)
def test_page_fits_and_can_be_read(page_of, name: str, width: int, dark: bool) -> None:
    """No sideways scrolling of the page, folded parts open; contrast of all text."""
    page = page_of(to_html(DOCUMENTS[name]()), width=width, dark=dark)
    page.evaluate("document.querySelectorAll('details').forEach((d) => d.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    share, where, count = page.evaluate(CONTRAST)
    assert count > 60
    assert share >= 1.0, where
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert ground == ("rgb(21, 23, 26)" if dark else "rgb(253, 252, 248)")
    # A picture keeps its light card.
    card = page.evaluate(
        "getComputedStyle(document.querySelector('.card')).backgroundColor"
    )
    assert card == "rgb(254, 254, 252)"


@pytest.mark.slow
def test_contrast_script_sees_a_faint_text(page_of) -> None:
    """Grey #777777 on white has 4.48 (a well-known pair): just not enough."""
    page = page_of("<body style='background:#fff'><p style='color:#777777'>faint</p>")
    share, where, count = page.evaluate(CONTRAST)
    assert count == 1
    assert share == pytest.approx(4.48 / 4.5, abs=0.002)
    assert where.endswith("faint")


def test_nasty_names_are_seen_as_they_were_written(page_of) -> None:
    """The browser's own parser makes text of them, and titles of the nasty titles."""
    page = page_of(to_html(nasty()))
    # Controls, halves of pairs and marks that turn a text become one sign; lines end as
    # the standard has it.
    forbidden = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\u202e]")
    known = [forbidden.sub("\ufffd", t).replace("\r\n", "\n") for t in NASTY]
    heads = page.locator("h2").evaluate_all("all => all.map((e) => e.textContent)")
    assert heads[: len(NASTY)] == known
    assert page.locator("script").count() == 2
    assert page.locator("img, iframe, object, embed, form").count() == 0
    page.locator("#what").press("ArrowRight")
    assert page.locator("#said").text_content() == "5</script><script>alert(7)</script>"


@pytest.mark.slow
def test_keyboard_reaches_everything(page_of) -> None:
    """Skip link first, then contents, tables, sources, controls, the folded section."""
    page = page_of(to_html(record()))
    found = focuses(page, 60)
    assert found[0] == ["a", "skip", "Skip to the content"]
    assert page.locator(".skip").evaluate("e => e.getBoundingClientRect().top") < 0
    contents = [text for tag, name, text in found[1:8] if (tag, name) == ("a", "")]
    assert contents[0] == "Answer"
    assert contents[-1] == "Sources"
    reached = [(tag, name) for tag, name, _ in found]
    for place in (("div", "sideways"), ("div", "card"), ("a", "source"),
                  ("input", "limit"), ("summary", "")):  # fmt: skip
        assert place in reached


@pytest.mark.slow
def test_focus_can_be_seen(page_of) -> None:
    """The skip link comes into view, every stop has an outline of 3 px."""
    page = page_of(to_html(record()))
    page.keyboard.press("Tab")
    top = page.locator(".skip").evaluate("e => e.getBoundingClientRect().top")
    assert 0 <= top < 50
    for _ in range(12):
        page.keyboard.press("Tab")
        outline = page.evaluate(
            "(({outlineStyle: s, outlineWidth: w}) => [s, parseFloat(w)])"
            "(getComputedStyle(document.activeElement))"
        )
        assert outline == ["solid", pytest.approx(3.2, abs=0.3)]
    page.reload()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate(FOCUS)[:2] == ["main", "main"]


@pytest.mark.slow
def test_folded_section_opens_by_key_and_by_its_link(page_of) -> None:
    page = page_of(to_html(record()))
    inside = page.locator("#evidence ul")
    assert not inside.evaluate(SEEN)
    page.locator("summary").press("Enter")
    assert inside.evaluate(SEEN)
    page.locator("summary").press("Enter")
    assert not inside.evaluate(SEEN)
    page.get_by_role("link", name="Evidence").click()
    assert inside.evaluate(SEEN)


@pytest.mark.slow
def test_panel_works_and_hides_what_stands_in_for_it(page_of) -> None:
    """The slider moves the answer; invented pressures 2.1, 3.3, 3.6, 4.1, 5.8 MPa."""
    page = page_of(to_html(record()))
    assert page.locator("#what-if .controls").is_visible()
    assert not page.locator("#what-if .instead").is_visible()
    assert page.locator("#left").text_content() == "4 MPa leaves 3 of 5 mixes"
    for _ in range(2):
        page.locator("#limit").press("ArrowRight")
    assert page.locator("#left").text_content() == "5 MPa leaves 4 of 5 mixes"


@pytest.mark.slow
def test_without_script_the_page_is_complete(page_of) -> None:
    """The panel is gone, its table is there, folded sections still open."""
    page = page_of(to_html(record()), script=False)
    assert not page.locator("#what-if .controls").is_visible()
    assert page.locator("#what-if .instead table").is_visible()
    page.locator("summary").click()
    assert page.locator("#evidence ul").is_visible()


@pytest.mark.slow
def test_panel_whose_script_fails_stays_hidden(browser, tmp_path) -> None:
    """Its table stands instead; the error is the browser's to tell."""
    (panel,) = (b for s in record().sections for b in s.blocks if isinstance(b, Panel))
    broken = dataclasses.replace(panel, script="throw new Error('broken');")
    part = Section(key="part", title="Part", blocks=(broken,))
    place = tmp_path / "broken.html"
    page = to_html(Document(title="T", subtitle="", sections=(part,)))
    place.write_text(page, "utf-8")
    page = browser.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(place.as_uri())
    assert [text for text in errors if "broken" in text] == errors != []
    assert not page.locator("#what-if .controls").is_visible()
    assert page.locator("#what-if .instead table").is_visible()
    page.close()


@pytest.mark.slow
def test_policy_stops_a_script_that_is_not_ours(browser, tmp_path) -> None:
    """Were a name ever let through as markup, it would not run."""
    text = to_html(record())
    slipped = "<script>document.title = 'taken'</script><b onclick='x()'>x</b></main>"
    place = tmp_path / "slipped.html"
    place.write_text(text.replace("</main>", slipped), "utf-8")
    page = browser.new_page()
    told: list[str] = []
    page.on("console", lambda message: told.append(message.text))
    page.goto(place.as_uri())
    assert page.title() == record().title
    assert any("Content Security Policy" in text for text in told)
    page.close()


@pytest.mark.slow
def test_paper_shows_folded_sections_and_no_controls(page_of) -> None:
    """Black on white; the contents and the panel are gone, its table stands there."""
    page = page_of(to_html(record()), dark=True)
    page.emulate_media(media="print")
    assert page.locator("#evidence ul").evaluate(SEEN)
    assert page.locator("#evidence ul").evaluate("e => e.offsetHeight") > 20
    assert not page.locator("nav").is_visible()
    assert not page.locator("#what-if .controls").is_visible()
    assert page.locator("#what-if .instead table").is_visible()
    colours = page.evaluate(
        "(({color: c, backgroundColor: b}) => [c, b])(getComputedStyle(document.body))"
    )
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    share, where, _ = page.evaluate(CONTRAST)
    assert share >= 1.0, where


@pytest.mark.slow
@pytest.mark.parametrize(("paper", "height"), [("A4", 841.9), ("Letter", 792.0)])
def test_page_prints(page_of, paper: str, height: float) -> None:
    """As long a PDF with the section folded as with it opened: it is on the paper."""
    page = page_of(to_html(record()))
    folded = page.pdf(format=paper)
    page.evaluate("document.querySelector('details').open = true")
    opened = page.pdf(format=paper)
    assert folded.startswith(b"%PDF")
    assert ink(folded) == pytest.approx(ink(opened), rel=0.02)
    page.evaluate("document.querySelector('details').remove()")
    assert ink(page.pdf(format=paper)) < 0.9 * ink(folded)
    boxes = re.findall(rb"/MediaBox ?\[ ?0 0 [0-9.]+ ([0-9.]+)", folded)
    assert boxes
    assert {round(float(box)) for box in boxes} <= {int(height), round(height) + 1}


def ink(pdf: bytes) -> int:
    """Bytes of drawing in a PDF: its streams that begin as drawings do, unpacked."""
    total = 0
    for packed in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.S):
        try:
            text = zlib.decompress(packed)
        except zlib.error:
            continue
        total += len(text) if b" re" in text or b" Tf" in text else 0
    return total
