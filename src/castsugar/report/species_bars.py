"""What mixes burn to, side by side: bars of the main products in the chamber."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from castsugar.comparison.change import Products
from castsugar.errors import InputError
from castsugar.report.svg.axes import Scale, nice_step, nice_ticks, tick_labels
from castsugar.report.svg.canvas import (
    FAINT,
    INK,
    PAGE,
    SOFT,
    Attributes,
    Stroke,
    Svg,
    TextStyle,
    shortened,
)
from castsugar.report.svg.colour import Hatch, define_hatch
from castsugar.report.svg.legend import Key, draw_heading, draw_keys, draw_notes

_WIDTH, _MARGIN, _LEFT, _ROOM = 640.0, 24.0, 156.0, 62.0
_BIG, _SIZE, _SMALL = 17.0, 16.0, 14.0
_BAR, _GAP = 16.0, 9.0

#: Share of the mass from which a product has bars of its own.
_OWN = 0.005

#: Grounds of the bars of one mix after the other: told apart without colour.
_HATCHES = (
    Hatch("#0072b2", "#0072b2", 0.0, 8.0, 1.0),
    Hatch("#fbe3d3", "#b34e00", -45.0, 7.0, 2.2),
    Hatch("#ffffff", "#00795a", 90.0, 5.0, 1.6),
    Hatch("#f3dcea", "#9c4f79", 45.0, 10.0, 4.0),
    Hatch("#ffffff", "#000000", 0.0, 4.0, 1.4),
    Hatch("#56b4e9", "#ffffff", -45.0, 9.0, 2.0),
)

#: Endings of the names of condensed products.
_STATES = {"(L)": "liquid", "(s)": "solid", "(gr)": "graphite"}


@dataclass(frozen=True, slots=True)
class _Row:
    """A product: its words and its share in each mix. [%]"""

    words: str
    percents: tuple[float, ...]


def species_bars(products: Sequence[Products]) -> str:
    """Draw the main products of some mixes, in percent of the mass.

    Parameters
    ----------
    products : sequence of Products
        Up to six; those without products are named below.

    Returns
    -------
    str
        An SVG document; the same bytes for the same input.

    Raises
    ------
    InputError
        Without any mix that has products, or for more than six.
    """
    shown = [p for p in products if not p.reason]
    if not 1 <= len(shown) <= len(_HATCHES):
        raise InputError(
            f"{len(shown)} mixes have products to draw; give 1 to {len(_HATCHES)}"
        )
    groups = [
        ("Gases", _rows([p.gases for p in shown], "other gases")),
        ("Liquid and solid", _rows([p.condensed for p in shown], "other condensed")),
    ]
    names = [p.name for p in shown]
    title = f"Main products in the chamber: {', '.join(names)}"
    svg = Svg(_WIDTH, 0.0, title, _description(names, groups))
    top = draw_heading(svg, title, ["percent of the mass of the mix"], _MARGIN)
    paints = [define_hatch(svg, hatch) for hatch in _HATCHES[: len(shown)]]
    if len(shown) > 1:
        keys = [Key("fill", p, n) for p, n in zip(paints, names, strict=True)]
        top = draw_keys(svg, keys, _MARGIN, top, _WIDTH - 2.0 * _MARGIN)
    most = max(v for _, rows in groups for r in rows for v in r.percents)
    scale = Scale(0.0, most, _LEFT, _WIDTH - _MARGIN - _ROOM)
    for group, rows in groups:
        top = _draw_group(svg, group, rows, scale, paints, top)
    notes = [f"{p.name}: not computed, {p.reason}" for p in products if p.reason]
    notes.append("Equilibrium, ideal; below 0.01 % of the mass left out.")
    svg.height = draw_notes(svg, notes, _MARGIN, top + 26.0) + 8.0
    return svg.to_text()


def _rows(shares: Sequence[Mapping[str, float]], rest: str) -> list[_Row]:
    """Return the rows of a group: the largest first, what is left at the end."""
    most = {n: max(s.get(n, 0.0) for s in shares) for own in shares for n in own}
    order = sorted(most, key=lambda n: (-most[n], n))
    own = [n for n in order if most[n] >= _OWN]
    rows = [_Row(_words(n), tuple(100.0 * s.get(n, 0.0) for s in shares)) for n in own]
    left = [n for n in order if most[n] < _OWN]
    if left:
        sums = tuple(100.0 * sum(s.get(n, 0.0) for n in left) for s in shares)
        rows.append(_Row(rest, sums))
    return rows


def _words(name: str) -> str:
    """Return the name of a product: K2CO3(L) is K2CO3 liquid."""
    for ending, state in _STATES.items():
        if name.endswith(ending):
            return f"{name.removesuffix(ending)} {state}"
    return name


def _percent(value: float) -> str:
    """Write a share; a trace keeps one digit, below 0.01 % it was left out."""
    if value == 0.0:
        return "< 0.01 %"
    return f"{value:.1f} %" if value >= 0.05 else f"{value:.1g} %"


def _draw_group(
    svg: Svg,
    group: str,
    rows: Sequence[_Row],
    scale: Scale,
    paints: Sequence[str],
    top: float,
) -> float:
    """Draw the bars of a group above its axis; return the y below [px]."""
    if not rows:
        return top
    start = top + 28.0
    svg.text((_MARGIN, start - 8.0), group, TextStyle(_BIG, bold=True))
    height = _BAR * len(paints) + _GAP
    end = start + height * len(rows) + 0.5 * _GAP
    ticks = nice_ticks(0.0, scale.high, 5)
    for value in ticks:
        x = scale(value)
        svg.line((x, start), (x, end), Stroke(FAINT, 0.8))
    for index, row in enumerate(rows):
        _draw_row(svg, row, scale, paints, start + _GAP + height * index)
    svg.line((_LEFT, start), (_LEFT, end), Stroke(INK, 1.2))
    labels = tick_labels(ticks, nice_step(scale.high, 5))
    for value, words in zip(ticks, labels, strict=True):
        style = TextStyle(_SMALL, "middle", SOFT)
        svg.text((scale(value), end + 15.0), words, style)
    return end + 18.0


def _draw_row(
    svg: Svg, row: _Row, scale: Scale, paints: Sequence[str], top: float
) -> None:
    """Draw the bars of one product, with their values."""
    middle = top + 0.5 * _BAR * len(paints)
    label = shortened(row.words, _LEFT - _MARGIN - 10.0, _SIZE)
    style = TextStyle(_SIZE, "end", bold=True)
    svg.text((_LEFT - 8.0, middle + 5.5), label, style)
    for place, (value, paint) in enumerate(zip(row.percents, paints, strict=True)):
        y = top + _BAR * place
        x = scale(value)
        if value > 0.0:
            box: Attributes = {"fill": paint, "stroke": INK, "stroke-width": 0.8}
            svg.rect((_LEFT, y + 1.0), (x - _LEFT, _BAR - 2.0), box)
        svg.text((x + 6.0, y + 13.0), _percent(value), TextStyle(_SMALL, halo=PAGE))


def _description(names: Sequence[str], groups: Sequence[tuple[str, list[_Row]]]) -> str:
    """Say in words what the picture shows."""
    parts = [
        f"{r.words} {' and '.join(_percent(v) for v in r.percents)}"
        for _, rows in groups
        for r in rows
    ]
    return f"Share of the mass in {', '.join(names)}: {'; '.join(parts)}."
