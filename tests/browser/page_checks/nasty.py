"""A document whose every string tries to be more than text."""

from __future__ import annotations

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
from castsugar.report.svg.bars import Bar, BarChart, bar_chart
from castsugar.report.svg.canvas import escaped

#: Names that somebody might give a mix, on purpose or not.
NASTY = (
    "<script>alert(1)</script>",
    "</style></title></textarea><img src=x onerror=alert(2)>",
    '"><svg onload=alert(3)>',
    "' onmouseover='alert(4)",
    "[x](javascript:alert(5))",
    "![x](https://example.org/a.png) www.example.org https://example.org",
    "| a | b |",
    "\\| \\` \\",
    "# heading ##",
    "- item",
    "+ item",
    "1. item",
    "2) item",
    "> quoted",
    "=====",
    "---",
    "***",
    "```",
    "~~~ ~~struck~~",
    "*a* _b_ **c** __d__ `e`",
    "&lt;b&gt; &amp; &#60;",
    "two\nlines\r\n\tand a tab",
    "\x1b[31mred\x1b[0m \x07 \x00",
    "$x$ {.a} [^1] [x]: y",
    "<!-- --> <![CDATA[ ]]> <?php ?>",
    "javascript:alert(6)",
    "x" * 300,
    "砂糖" * 60,
    "\u202eright to left",
    "half \ud800 a pair",
)


def _panel() -> Panel:
    return Panel(
        html="\n".join(f"<p>{escaped(text)}</p>" for text in NASTY)
        + '\n<label for="what">What if</label> '
        '<input id="what" type="range" min="0" max="9" value="4">'
        '<output id="said">4</output>',
        data='{"name": "</script><script>alert(7)</script>", "n": 4}',
        script=(
            'const kept = document.getElementById("panel-data").textContent;\n'
            "const data = JSON.parse(kept);\n"
            'const said = document.getElementById("said");\n'
            'document.getElementById("what").addEventListener("input", (event) => {\n'
            "  said.textContent = event.target.value + data.name;\n});\n"
        ),
        style=".controls input { width: 100%; }",
        fallback=(Paragraph(text="Without script: " + NASTY[0]),),
    )


def nasty() -> Document:
    """Return a document with every nasty string in every field of every block."""
    every = "  ".join(NASTY)
    keys = [f"key {text}" for text in NASTY]
    tones = [TONES[index % len(TONES)] for index in range(len(NASTY))]
    cells = tuple(
        Cell(text=text, tone=tone, source=key)
        for text, tone, key in zip(NASTY, tones, keys, strict=True)
    )
    bars = tuple(Bar(text, 1.0 + index) for index, text in enumerate(NASTY))
    picture = bar_chart(BarChart(every, every, every, bars))
    tables = tuple(
        Table(
            heads=(text, "", every, text),
            rows=((cell, cell, cell, cell), (Cell(text=""),) * 4),
            caption=text,
            words=(2,),
        )
        for text, cell in zip(NASTY, cells, strict=True)
    )
    sections = tuple(
        Section(
            key=f"part-{index}",
            title=text,
            folded=index % 2 == 1,
            blocks=(
                Paragraph(text=text, tone=tones[index]),
                Bullets(items=(cells[index], Cell(text=every)), warning=index % 3 == 0),
                tables[index],
                Blanks(labels=(text, every)),
            ),
        )
        for index, text in enumerate(NASTY)
    )
    pictures = Section(
        key="pictures",
        title=every,
        blocks=(
            Figure(svg=picture, caption=every),
            Figure(svg=picture, caption=NASTY[0]),
            _panel(),
        ),
    )
    return Document(
        title=every,
        subtitle=every,
        sections=(*sections, pictures),
        sources=dict.fromkeys(keys, every),
        foot=NASTY,
    )
