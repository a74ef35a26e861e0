"""A document as people will get it. Invented example: all its numbers are made up."""

from __future__ import annotations

import numpy as np

from castsugar.report.blocks.model import (
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
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.series import LineChart, Series
from castsugar.report.svg.series import Panel as Graph

_KEYS = ("standard-tables", "drop-rig")
_SCRIPT = """
const data = JSON.parse(document.getElementById("what-if-data").textContent);
const limit = document.getElementById("limit");
const left = document.getElementById("left");
function show() {
  const kept = data.pressures.filter((p) => p <= Number(limit.value));
  const all = data.pressures.length;
  left.textContent = `${limit.value} MPa leaves ${kept.length} of ${all} mixes`;
}
limit.addEventListener("input", show);
show();
"""


def _cell(text: str, tone: str = "", source: str = "") -> Cell:
    return Cell(text=text, tone=tone, source=source)


def _effects() -> Table:
    rows = (
        ("flame temperature, K", "1717", "1600", "-117 (-125 to -109)",
         "lower", "good"),
        ("exhaust speed, m/s", "921", "911", "-10 (-12 to -8)", "worse", "bad"),
        ("chamber pressure, 95 %, MPa", "4.1", "3.6", "-0.5 (-1.4 to 0.4)",
         "cannot tell", "open"),
        ("pour viscosity, Pa s", "4", "1", "factor 0.3 (0.1 to 0.8)", "better", "good"),
        ("keeps dry to, % humidity", "62", "55", "-7 (-9 to -5)", "worse", "bad"),
    )  # fmt: skip
    return Table(
        heads=("Quantity", "Base", "New", "Difference, 95 % interval", "Verdict"),
        rows=tuple(
            (
                _cell(name),
                _cell(base, source=_KEYS[0]),
                _cell(new, source=_KEYS[1]),
                _cell(difference),
                _cell(verdict, tone),
            )
            for name, base, new, difference, verdict, tone in rows
        ),
        caption="What the change does, from paired draws of all that is uncertain",
        words=(4,),
    )


def _grams() -> Table:
    return Table(
        heads=("", "Base, g", "New, g", "Change, g"),
        rows=(
            (
                _cell("potassium nitrate"),
                _cell("65.0"),
                _cell("65.0"),
                _cell("0.0", "soft"),
            ),
            (_cell("sucrose"), _cell("35.0"), _cell("0.0"), _cell("-35.0", "strong")),
            (_cell("sorbitol"), _cell("0.0"), _cell("35.0"), _cell("+35.0", "strong")),
        ),
    )


def _pictures() -> tuple[str, str]:
    shares = BarChart(
        "Which input the doubt comes from",
        "share of the variance",
        "%",
        (
            Bar("enthalpy of sorbitol", 71.0),
            Bar("weighing", 18.0),
            Bar("moisture", 6.0),
        ),
    )
    time = np.linspace(0.0, 1.2, 60)
    height = 3.6 * np.minimum(1.0, time / 0.15) * (time < 1.05)
    trace = LineChart(
        "Pressure in the chamber",
        "time",
        "s",
        time,
        (
            Graph(
                "pressure", "MPa", (Series("new", height, 0.8 * height, 1.2 * height),)
            ),
        ),
    )
    return bar_chart(shares), line_chart(trace)


def _what_if() -> Panel:
    return Panel(
        key="what-if",
        html=(
            '<p><label for="limit">Pressure limit, MPa</label><br>'
            '<input id="limit" type="range" min="1" max="8" step="0.5" value="4"></p>'
            '<p aria-live="polite"><output id="left" for="limit"></output></p>'
        ),
        data='{"pressures": [2.1, 3.3, 3.6, 4.1, 5.8]}',
        script=_SCRIPT,
        style="#limit { width: min(100%, 24rem); accent-color: var(--link); }",
        fallback=(
            Table(
                heads=("Pressure limit, MPa", "Mixes left of 5"),
                rows=((_cell("3"), _cell("1")), (_cell("4"), _cell("3"))),
                caption="What other limits leave",
            ),
        ),
    )


def record() -> Document:
    """Return a change record with every kind of block."""
    bars, trace = _pictures()
    answer = (
        Paragraph(
            text="The new mix burns 117 K cooler; that is certain. Whether it makes "
            "less pressure cannot be told from what is known.",
            tone="strong",
        ),
        Paragraph(
            text="Replacing the sugar changes how it pours more than how it performs. "
            "Every number below names its source and its doubt; a verdict is given "
            "only where the interval leaves no other reading."
        ),
        _effects(),
        Figure(
            svg=bars,
            caption="Shares of the variance of the flame temperature: the conflict "
            "between two published enthalpies is the largest.",
        ),
    )
    evidence = (
        Bullets(
            items=(
                _cell("Enthalpies of formation: published", source=_KEYS[0]),
                _cell("Burn law: borrowed, with a wide band", "open", _KEYS[1]),
                _cell("Case rating: stated by the user", "soft"),
            )
        ),
        Figure(svg=trace, caption="Pressure and its 95 % band over time."),
        Figure(svg=trace, caption="The same picture again, on purpose."),
    )
    hot = "Hot nitrate-sugar mixes burn people and houses. Local law decides."
    return Document(
        title="Sorbitol instead of sucrose, 65/35",
        subtitle="Change record, invented example: all numbers are made up",
        sections=(
            Section(key="answer", title="Answer", blocks=answer),
            Section(key="grams", title="What changes on the scale", blocks=(_grams(),)),
            Section(key="what-if-limits", title="What if", blocks=(_what_if(),)),
            Section(key="evidence", title="Evidence", blocks=evidence, folded=True),
            Section(
                key="cautions",
                title="Cautions",
                blocks=(
                    Bullets(
                        items=(
                            _cell(hot),
                            _cell("Remote ignition, distance, nobody near."),
                        ),
                        warning=True,
                    ),
                    Paragraph(text="The case held in the last test.", tone="good"),
                    Paragraph(text="The seal was not looked at.", tone="bad"),
                ),
            ),
            Section(
                key="signed",
                title="Looked at by",
                blocks=(Blanks(labels=("Name", "Date", "What I would still measure")),),
            ),
        ),
        sources={
            _KEYS[0]: "Standard tables of our invented example, 3rd edition, table 12",
            _KEYS[1]: "Rig log of our invented example, entries 4 to 9",
            "unused": "Nobody points here",
        },
        foot=("castsugar 0.1.0, data 7, seed 12345", "Invented example."),
    )
