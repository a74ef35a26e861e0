"""Documents as text, Markdown and HTML: nothing a user wrote becomes more than text."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import html
import os
import re
import subprocess
import sys
import unicodedata
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path

import pytest

from castsugar import InputError
from castsugar.report.blocks.html import to_html
from castsugar.report.blocks.html_parts import MARKS
from castsugar.report.blocks.markdown import begun, inline, to_markdown
from castsugar.report.blocks.model import (
    TONES,
    Blanks,
    Bullets,
    Cell,
    Document,
    Figure,
    Panel,
    Paragraph,
    Section,
    Table,
)
from castsugar.report.blocks.picture import inline as inline_picture
from castsugar.report.blocks.plain import clean, filled, span
from castsugar.report.blocks.text import to_text
from castsugar.report.svg.canvas import escaped
from castsugar.report.svg.colour import luminance

BROWSER = str(Path(__file__).parents[1] / "browser")
if BROWSER not in sys.path:
    sys.path.insert(0, BROWSER)

from page_checks import NASTY, nasty, record  # noqa: E402

# Exact: what was put in comes out as the same text, by the rules of each format. HTML:
# https://html.spec.whatwg.org (void elements, character references). Markdown:
# CommonMark 0.31.2, section 2.4, backslash escapes.
pytestmark = pytest.mark.exact

VOID = {"meta", "link", "br", "input"}
PICTURE = '<svg xmlns="http://www.w3.org/2000/svg" width="9">{}</svg>'


class Reader(HTMLParser):
    """Elements with their attributes and texts; complains of what does not match."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[tuple[str, dict[str, str], list[str]]] = []
        self.elements: list[tuple[str, dict[str, str], str]] = []
        self.loose: list[str] = []
        self.feed(page)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs) -> None:
        assert len({name for name, _ in attrs}) == len(attrs)
        given = {name: value or "" for name, value in attrs}
        if tag in VOID:
            self.elements.append((tag, given, ""))
        else:
            self.open.append((tag, given, []))

    def handle_startendtag(self, tag, attrs) -> None:
        self.elements.append((tag, dict(attrs), ""))

    def handle_endtag(self, tag) -> None:
        name, attributes, texts = self.open.pop()
        assert name == tag
        text = "".join(texts)
        self.elements.append((tag, attributes, text))
        if self.open:
            self.open[-1][2].append(text)

    def handle_data(self, data) -> None:
        (self.open[-1][2] if self.open else self.loose).append(data)

    def handle_comment(self, data) -> None:
        raise AssertionError(f"a comment: {data}")

    def texts(self, tag: str, kind: str | None = None) -> list[str]:
        return [
            text
            for name, attributes, text in self.elements
            if name == tag and (kind is None or attributes.get("class", "") == kind)
        ]


def some(*blocks, sources=None, key: str = "part") -> Document:
    return Document(
        title="Title",
        subtitle="",
        sections=(Section(key=key, title="Part", blocks=blocks),),
        sources=sources or {},
    )


def cells(*texts: str) -> tuple[Cell, ...]:
    return tuple(Cell(text=text) for text in texts)


def kept(text: str) -> str:
    """What a page keeps of a text: all but what XML forbids and what turns it round."""
    return html.unescape(escaped(text)).replace("\u202e", "\ufffd")


# --- HTML ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def page() -> Reader:
    return Reader(to_html(nasty()))


def test_every_text_of_the_page_is_the_text_given(page: Reader) -> None:
    """Titles, paragraphs, cells, captions, labels, sources and foot, in order."""
    every = kept("  ".join(NASTY))
    known = [kept(text) for text in NASTY]
    assert page.texts("h1") == [every]
    assert page.texts("title")[0] == every
    assert page.texts("h2") == [*known, every, "Sources"]
    assert page.texts("caption") == known
    assert page.texts("figcaption") == [every, known[0]]
    heads = [t for tag, a, t in page.elements if a.get("scope") == "col"]
    assert heads == [head for text in known for head in (text, every, text)]
    # Bare spans: captions, labels of blanks (each text and all of them), citations.
    spans = [t for tag, a, t in page.elements if tag == "span" and not a]
    assert spans.count(every) == 2 * len(known)
    assert [spans.count(text) for text in known] == [2] * len(known)
    assert page.texts("b") == [f"key {text}" for text in known]
    # A mark and its word stand before, a source after; foot and panel are plain.
    plain = page.texts("p", "")
    for index, text in enumerate(known):
        tone = TONES[index % len(TONES)]
        said = f"{MARKS[tone][0]}{tone}: {text}" if tone in MARKS else text
        cell = f"{said} source [{index + 1}]"
        assert page.texts("td").count(cell) == 3
        assert page.texts("th").count(cell) == 1
        assert page.texts("li", tone).count(cell) == 1
        assert said in page.texts("p", tone)
        assert plain.count(text) >= 2


def test_page_runs_and_loads_nothing_else(page: Reader) -> None:
    """Two scripts of ours, no handler, links inside the page only."""
    tags = {tag for tag, _, _ in page.elements}
    assert not tags & {
        "img",
        "iframe",
        "object",
        "embed",
        "form",
        "base",
        "foreignobject",
    }
    scripts = [(a, text) for tag, a, text in page.elements if tag == "script"]
    assert [a.get("type") for a, _ in scripts] == ["application/json", None]
    assert "<" not in scripts[0][1]
    for _, attributes, _ in page.elements:
        assert not [name for name in attributes if name.startswith("on")]
        assert "src" not in attributes
        link = attributes.get("href", "#")
        assert link.startswith("#") or link == "data:,"


def test_policy_names_the_scripts_by_their_hashes(page: Reader) -> None:
    """SHA-256 of exactly what stands between the tags (Content Security Policy 3)."""
    (policy,) = (
        a["content"]
        for tag, a, _ in page.elements
        if tag == "meta" and "http-equiv" in a
    )
    (script,) = (t for tag, a, t in page.elements if tag == "script" and not a)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert policy.startswith("default-src 'none'; ")
    assert f"script-src 'sha256-{digest}';" in policy
    assert "script-src 'none';" in html.unescape(to_html(some(Paragraph(text="x"))))


def test_ids_are_single_and_every_link_arrives(page: Reader) -> None:
    """No id twice, although the same picture stands there twice."""
    ids = [a["id"] for _, a, _ in page.elements if "id" in a]
    assert len(ids) == len(set(ids))
    for _, attributes, _ in page.elements:
        if attributes.get("href", "").startswith("#"):
            assert attributes["href"][1:] in ids
        for name in attributes.get("aria-labelledby", "").split():
            assert name in ids
    assert len([1 for tag, _, _ in page.elements if tag == "svg"]) == 2


def test_tables_can_be_heard_and_moved(page: Reader) -> None:
    """Each in a named region that takes the keyboard; heads have a scope."""
    regions = [
        a
        for tag, a, _ in page.elements
        if a.get("class") == "sideways" and tag == "div"
    ]
    assert [a["aria-label"] for a in regions] == [kept(text) for text in NASTY]
    assert {(a["role"], a["tabindex"]) for a in regions} == {("region", "0")}
    assert {a["scope"] for tag, a, _ in page.elements if tag == "th"} == {"row", "col"}


def test_tones_are_word_mark_and_colour() -> None:
    """A tone stands as a word for ears and a mark for eyes, and is explained."""
    toned = (Cell(text="-3", tone="bad"), Cell(text="5", tone="good"))
    table = Table(heads=("", "a", "b"), rows=((Cell(text="row"), *toned),))
    read = Reader(to_html(some(table)))
    assert [t for t in read.texts("td") if t] == ["✗bad: -3", "✓good: 5"]
    assert read.texts("span", "mark") == ["✗", "✓"]
    assert "Marks: ✓ good, ✗ bad" in read.texts("p")


def test_panel_stands_beside_what_stands_in_for_it() -> None:
    """Its data cannot end their element; its words stand in for text and Markdown."""
    document = nasty()
    read = Reader(to_html(document))
    (data,) = (t for _, a, t in read.elements if a.get("type") == "application/json")
    panel = document.sections[-1].blocks[-1]
    assert data.replace("\\u003c", "<") == panel.data
    words = f"Without script: {NASTY[0]}"
    assert words in to_text(document)
    assert inline(words) in to_markdown(document)
    assert words in read.texts("p")


BAD_PANELS = [
    ({"html": "<script>x</script>"}, "neither scripts"),
    ({"html": "<p onclick='x'>"}, "neither scripts"),
    ({"script": "x = '</SCRIPT>'"}, "must not hold"),
    ({"style": "</style>"}, "neither <"),
    ({"style": "@import 'x'"}, "neither <"),
    ({"html": '<p id="part"></p>'}, "'part' is taken"),
    ({"html": '<p id="a"></p><p id="a"></p>'}, "'a' is taken"),
    ({"key": "part"}, "'part' is taken"),
    ({"key": "a b"}, "lower-case"),
]


@pytest.mark.parametrize(("changes", "complaint"), BAD_PANELS)
def test_panel_that_would_break_out_is_refused(changes, complaint: str) -> None:
    panel = dataclasses.replace(Panel(html="", data="{}", script=""), **changes)
    with pytest.raises(InputError, match=re.escape(complaint)):
        to_html(some(panel))


BAD_PICTURES = [
    "<script>alert(1)</script>",
    "<g onload='x'/>",
    "<a href='#x'/>",
    "<use href='https://example.org/#x'/>",
    "<image href='data:,'/>",
    "<style>p {}</style>",
    "<foreignObject/>",
    "<rect fill='url(https://example.org)'/>",
    "<rect>",
]


@pytest.mark.parametrize("inside", BAD_PICTURES)
def test_picture_that_does_more_than_show_is_refused(inside: str) -> None:
    with pytest.raises(InputError, match="picture: got"):
        to_html(some(Figure(svg=PICTURE.format(inside), caption="")))


def test_equal_pictures_get_ids_of_their_own() -> None:
    """Where an id is given, named and pointed at, all three change together."""
    inside = '<g id="a" aria-labelledby="a b" fill="url(#a)"/><use id="b" href="#a"/>'
    taken = {"b"}
    body = inline_picture('<?xml version="1.0"?>\n' + PICTURE.format(inside), taken)
    assert body == PICTURE.format(
        '<g id="a-2" aria-labelledby="a-2 b-2" fill="url(#a-2)"/>'
        '<use id="b-2" href="#a-2"/>'
    )
    assert taken == {"a-2", "b", "b-2"}


def test_pages_stay_small() -> None:
    """The style is a small part of the 400 kB that a page may have."""
    css = resources.files("castsugar.report.blocks").joinpath("page.css").read_bytes()
    assert len(css) < 15_000
    assert len(to_html(record())) < 60_000


# --- the same document, the same bytes ------------------------------------------------

PROGRAM = f"""
import hashlib, sys
sys.path.insert(0, {BROWSER!r})
from page_checks import nasty
from castsugar.report.blocks import html, markdown, text
writers = (html.to_html, markdown.to_markdown, text.to_text)
print([hashlib.sha256(w(nasty()).encode()).hexdigest() for w in writers])
"""


@pytest.mark.slow
def test_same_document_same_bytes_whatever_the_hash_seed() -> None:
    writers = (to_html, to_markdown, to_text)
    here = [hashlib.sha256(w(nasty()).encode()).hexdigest() for w in writers]
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        check=True,
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONHASHSEED": "7"},
    )
    assert done.stdout.strip() == str(here)


# --- text -----------------------------------------------------------------------------


def columns(line: str) -> int:
    """Columns by Unicode Standard Annex 11: wide and full-width characters take two."""
    return sum(2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in line)


@pytest.mark.parametrize("document", [nasty(), record()])
def test_text_keeps_to_80_columns_and_steers_no_terminal(document) -> None:
    page = to_text(document)
    assert max(columns(line) for line in page.splitlines()) <= 80
    assert not [
        c for c in page if unicodedata.category(c) in ("Cc", "Cs") and c != "\n"
    ]
    assert "\u202e" not in page
    assert [line for line in page.splitlines() if line != line.rstrip()] == []


def test_text_holds_every_word_of_the_document() -> None:
    """Without blanks and line ends, each text stands there whole."""
    packed = "".join(to_text(nasty()).split())
    for text in NASTY:
        assert "".join(clean(text).split()) in packed


def test_table_that_fits_stands_in_columns() -> None:
    """Labels wrapped, numbers on the right, words on the left; by hand."""
    table = Table(
        heads=("Quantity", "base, MPa", "verdict"),
        rows=(
            (Cell(text="pressure " + "in the chamber " * 4), *cells("4.1", "worse")),
            (
                *cells("short"),
                Cell(text="12.25", tone="bad", source="rig"),
                Cell(text=""),
            ),
        ),
        caption="What changes",
        words=(2,),
    )
    # The numbers need 17 columns, "12.25 (bad) [rig]", the verdicts 7: of 80, less the
    # indent of 2 and two gaps of 2, the label keeps 50.
    rows = (
        ("Quantity", "base, MPa", "verdict"),
        ("pressure in the chamber in the chamber in the", "4.1", "worse"),
        ("  chamber in the chamber", "", ""),
        ("short", "12.25 (bad) [rig]", ""),
    )
    lines = [f"  {a:<50}  {b:>17}  {c}".rstrip() for a, b, c in rows]
    assert to_text(some(table, sources={"rig": "log", "no": "x"})).splitlines() == [
        "Title", "", "Part", "  What changes", *lines, "", "Sources", "  [rig] log",
    ]  # fmt: skip


def test_wide_table_puts_sources_below_then_rows_below_one_another() -> None:
    """Five columns fit without their sources; nine do not fit at all."""
    key = "a-source-with-a-long-key"
    row = tuple(Cell(text="123456.7", source=key) for _ in range(5))
    heads = ("label", *("head" for _ in range(5)))
    some_table = Table(heads=heads, rows=((Cell(text="row"), *row),))
    lines = to_text(some(some_table, sources={key: "log"})).splitlines()
    assert lines[3:6] == [
        "  label      head      head      head      head      head",
        "  row    123456.7  123456.7  123456.7  123456.7  123456.7",
        f"      [{key}]",
    ]
    many = Table(
        heads=("label", *(f"head {i}" for i in range(9))),
        rows=(cells("row", *("123456.7 m" for _ in range(9))),),
    )
    lines = to_text(some(many)).splitlines()
    assert lines[3:6] == [
        "  row",
        "      head 0: 123456.7 m",
        "      head 1: 123456.7 m",
    ]


def test_words_of_a_label_are_cut_only_where_they_are_wider_than_the_screen() -> None:
    """Of 78 columns the number takes 34, the gap 2: word and indent just fit in 42."""
    word = "w" * 40
    table = Table(
        heads=("", "value"),
        rows=(cells(word, "1" * 34), cells(f"{word} {word}", "2")),
    )
    assert to_text(some(table)).splitlines()[3:] == [
        f"  {'':<42}  {'value':>34}",
        f"  {word:<42}  {'1' * 34}",
        f"  {word:<42}  {'2':>34}",
        f"    {word}",
    ]


def test_wide_characters_take_two_columns() -> None:
    assert filled("砂糖" * 3, 5) == ["砂糖", "砂糖", "砂糖"]
    assert span("e\u0301") == 1


def test_blanks_cautions_and_pictures_as_text() -> None:
    blocks = (
        Paragraph(text="Stop.", tone="strong"),
        Bullets(items=cells("hot"), warning=True),
        Figure(svg=PICTURE.format(""), caption="A map."),
        Blanks(labels=("Name",)),
    )
    assert to_text(some(*blocks)).splitlines()[3:] == [
        "  >> Stop.", "", "  ! hot", "", "  Picture: A map.", "", "  Name " + 73 * "_",
    ]  # fmt: skip


# --- Markdown -------------------------------------------------------------------------

ESCAPE = re.compile(r"\\([!-/:-@\[-`{-~])")


@pytest.mark.parametrize("text", NASTY)
def test_markdown_escapes_are_undone_to_the_text(text: str) -> None:
    """Section 2.4: a backslash before ASCII punctuation; what is left means nothing."""
    for written in (inline(text), begun(text)):
        assert ESCAPE.sub(r"\1", written) == clean(text)
        bare = ESCAPE.sub("", written)
        assert not set(bare) & set("\\`*_[]<>&|~#${}")
        assert "://" not in bare
        assert "www." not in bare
    assert not re.match(r"[-+=:]|[0-9]+[.)]", begun(text))


def test_markdown_has_no_structure_but_ours() -> None:
    """Every line is one of ours; rows have as many bare pipes as they need."""
    lines = to_markdown(nasty()).splitlines()
    ours = re.compile(r"# |## |- |---$|\| |Picture: |\*\*")
    for line in lines:
        assert ours.match(line) or not re.match(r"[-+=*#>`~|]|[0-9]+[.)]| ", line)
    rows = [ESCAPE.sub("", line) for line in lines if line.startswith("|")]
    assert len(rows) == 4 * len(NASTY)
    assert {row.count("|") for row in rows} == {5}
    assert len([line for line in lines if line.startswith("#")]) == 1 + len(NASTY) + 2


# --- what cannot be written -----------------------------------------------------------

BAD = [
    (some(key="Part"), "lower-case letters"),
    (some(key=""), "lower-case letters"),
    (some(key="sources"), "taken already"),
    (some(key="source-x"), "taken already"),
    (some(Paragraph(text="x", tone="red")), "allowed are good, bad"),
    (some(Bullets(items=(Cell(text="x", source="who"),))), "does not list"),
    (some(Table(heads=("a", "b"), rows=(cells("x"),))), "got 1 cells for 2 heads"),
    (some(Table(heads=("a",), rows=(), words=(1,))), "must lie among 1 heads"),
    (some(Table(heads=(), rows=())), "at least one"),
    (
        dataclasses.replace(some(), sections=2 * some().sections),
        "taken already",
    ),
]


@pytest.mark.parametrize("writer", [to_html, to_markdown, to_text])
@pytest.mark.parametrize(("document", "complaint"), BAD)
def test_what_cannot_be_written_is_refused(writer, document, complaint: str) -> None:
    with pytest.raises(InputError, match=re.escape(complaint)):
        writer(document)


# --- colours --------------------------------------------------------------------------

#: Text on ground; the least contrast that WCAG 2.2 asks for (1.4.3; lines 1.4.11).
PAIRS = [
    *((text, ground, 4.5)
      for text in ("ink", "soft", "link", "good", "bad", "open")
      for ground in ("paper", "sheet")),
    ("paper", "ink", 4.5),
    ("edge", "paper", 3.0),
]  # fmt: skip


def modes() -> list[dict[str, str]]:
    """The variables of the style in light, dark and print."""
    css = resources.files("castsugar.report.blocks").joinpath("page.css")
    parts = re.findall(r":root \{(.*?)\}", css.read_text("utf-8"), re.S)
    found = [dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", part)) for part in parts]
    assert len(found) == 3
    return found


@pytest.mark.parametrize("mode", modes())
@pytest.mark.parametrize(("text", "ground", "least"), PAIRS)
def test_contrast_of_the_page_colours(mode, text: str, ground: str, least) -> None:
    """Contrast as WCAG 2.2 defines it, (L1 + 0.05) / (L2 + 0.05)."""
    low, high = sorted((luminance(mode[text]), luminance(mode[ground])))
    assert (high + 0.05) / (low + 0.05) >= least
