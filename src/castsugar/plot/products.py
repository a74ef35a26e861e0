"""What mixes burn to, side by side: bars of the main products in the chamber."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from castsugar.comparison.change import Products
from castsugar.errors import InputError
from castsugar.plot.sheet import Drawing, Sheet
from castsugar.plot.style import INK, LINES, SMALL, dress, new_axes
from castsugar.report.mix_words import shares

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Share of the mass from which a product has bars of its own.
_OWN = 0.005

#: Grounds of the bars of one mix after the other: told apart without colour.
_HATCHES = ("", "////", "....", "xxxx", "||||", "----")

#: Endings of the names of condensed products.
_STATES = {"(L)": "liquid", "(s)": "solid", "(gr)": "graphite"}

#: Of a bar and between the bars of two products. [px]
_BAR, _GAP = 13.0, 7.0

#: Product, and its share in each mix; None for the head of a group. [%]
_Row = tuple[str, tuple[float, ...] | None]


def species(products: Sequence[Products], *, ax: Axes | None = None) -> Axes:
    """Draw the main products of some mixes, in percent of the mass.

    A row a product, the largest first, gases above what is liquid or solid; a bar a mix
    with its number behind it. Products below 0.5 % are summed.

    Parameters
    ----------
    products : sequence of Products
        Of :func:`castsugar.comparison.change.chamber_products`, up to six; those
        without products are left out.
    ax : matplotlib.axes.Axes, optional
        New ones by default.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    InputError
        Without any mix that has products, or for more than six.

    Examples
    --------
    >>> from castsugar import Mix
    >>> from castsugar.comparison.change import chamber_products
    >>> axes = species(chamber_products([Mix.weigh({"KNO3": 65, "sucrose": 35})]))
    >>> [label.get_text() for label in axes.get_yticklabels()][:3]
    ['gases', 'CO2', 'CO']
    """
    found = _burned(products)
    rows = _rows(found)
    axes = ax if ax is not None else new_axes()
    dress(axes, "share of the mass of the mix, %", grid="x")
    tall = _height(rows)
    if ax is None:
        axes.figure.set_size_inches(7.0, 0.8 + tall / 72.0)  # type: ignore[union-attr]
    y, ticks, names = 0.5 * _GAP, [], _names(found)
    for words, percents in rows:
        high = _BAR * len(percents or (0,))
        ticks.append((y + 0.5 * high, words))
        for k, percent in enumerate(percents or ()):
            style: dict[str, Any] = {"edgecolor": LINES[k], "hatch": _HATCHES[k]}
            style |= {"color": "none" if k else LINES[k], "label": names[k]}
            middle, names[k] = y + _BAR * (k + 0.5), ""
            axes.barh(middle, percent, 0.8 * _BAR, zorder=2.0, **style)
            axes.annotate(
                _percent(percent), (percent, middle), (4.0, 0.0), va="center",
                textcoords="offset points", fontsize=SMALL, color=INK,
            )  # fmt: skip
        y += high + _GAP
    most = max(p for _, percents in rows for p in percents or ())
    axes.set(xlim=(0.0, 1.17 * most), ylim=(tall, 0.0))
    axes.set_yticks(*zip(*ticks, strict=True))
    axes.tick_params(axis="y", length=0.0)
    for label, (_, percents) in zip(axes.get_yticklabels(), rows, strict=True):
        label.set_fontweight("normal" if percents else "bold")
    return axes


def _burned(products: Sequence[Products]) -> list[Products]:
    """Return those that have products."""
    found = [one for one in products if not one.reason]
    if not 1 <= len(found) <= len(_HATCHES):
        raise InputError(
            f"{len(found)} mixes have products to draw; give 1 to {len(_HATCHES)}"
        )
    return found


def _names(products: Sequence[Products]) -> list[str]:
    """Return the names of mixes, short where that tells them apart."""
    short = [shares(one.name) for one in products]
    return short if len({*short}) == len(short) else [one.name for one in products]


def _rows(products: Sequence[Products]) -> list[_Row]:
    """Return all rows, each group after its head."""
    groups = {
        "gases": ([one.gases for one in products], "other gases"),
        "liquid, solid": ([one.condensed for one in products], "others"),
    }
    return [
        row
        for head, (found, rest) in groups.items()
        if any(found)
        for row in ((head, None), *_group(found, rest))
    ]


def _group(found: Sequence[Mapping[str, float]], rest: str) -> list[_Row]:
    """Return the rows of a group: the largest first, what is left at the end."""
    most = {n: max(s.get(n, 0.0) for s in found) for own in found for n in own}
    order = sorted(most, key=lambda n: (-most[n], n))
    rows: list[_Row] = [
        (_words(n), tuple(100.0 * s.get(n, 0.0) for s in found))
        for n in order
        if most[n] >= _OWN
    ]
    left = [n for n in order if most[n] < _OWN]
    if left:
        sums = (100.0 * sum(s.get(n, 0.0) for n in left) for s in found)
        rows.append((rest, tuple(sums)))
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


def _height(rows: Sequence[_Row]) -> float:
    """Return how high all rows are. [px]"""
    return _GAP + sum(_GAP + _BAR * len(percents or (0,)) for _, percents in rows)


def species_drawing(products: Sequence[Products], *, invented: bool = False) -> Drawing:
    """Return the picture of :func:`species` with what a page says beside it."""
    found = _burned(products)
    rows, told = _rows(found), ", ".join(_names(found))
    parts = [
        f"{words} {' and '.join(map(_percent, percents))}"
        for words, percents in rows
        if percents
    ]
    notes = [
        f"{one.name}: not computed, {one.reason}" for one in products if one.reason
    ]
    notes.append("Equilibrium, ideal; below 0.01 % of the mass left out.")

    def draw(width: int) -> Sheet:
        sheet = Sheet(
            "products",
            f"{'EXAMPLE: ' if invented else ''}Main products in the chamber: {told}",
            width=width,
            words=f"Share of the mass in {told}: {'; '.join(parts)}.",
        )
        panel = sheet.panel(_height(rows), left=90.0, below=26.0)
        species(found, ax=panel)
        if len(found) > 1:
            sheet.keys(panel)
        sheet.notes(notes)
        return sheet

    return draw
