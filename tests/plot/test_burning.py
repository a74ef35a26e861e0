"""Strands, their laws and firings against pressure: what is drawn, and where."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from castsugar import InputError
from castsugar.errors import UnknownNameError
from castsugar.plot.burning import odd_strands, strands, strands_drawing
from castsugar.report.shown import Shown
from castsugar.report.strand_rows import Asked
from castsugar.strands import Strand, StrandResults, analyse

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Exact: points stand at the numbers that were typed, rates of made-up laws.
pytestmark = pytest.mark.exact

PSI = 6894.757293168361  # Pa, NIST SP 811 (2008), appendix B
AT = (1e6, 1e6, 2e6, 2e6, 4e6, 4e6, 7e6, 7e6)


def burned(
    mix: str = "A", a: float = 5.0, scatter: float = 0.01, **more: Any
) -> list[Strand]:
    """Return strands of r = a p^0.5, in mm/s and MPa, that scatter."""
    rng = np.random.default_rng(5)
    made = []
    for line, p in enumerate(AT, start=2):
        rate = 1e-3 * a * (1e-6 * p) ** 0.5 * math.exp(rng.normal(0.0, scatter))
        own = {"length": 0.05, "time": 0.05 / rate, "pressure": p, "line": line}
        made.append(Strand(**own | {"mix": mix} | more))
    return made


def misfit() -> list[Strand]:
    """Return strands of r = 8 p^0.5, replicates to 0.1 %, 5 % off at 4 MPa alone."""
    made = []
    for line, p in enumerate((1, 1, 2, 2, 4, 4, 8, 8, 16, 16)):
        rate = 8e-3 * p**0.5 * (1.05 if p == 4 else 1.0) * (0.999, 1.001)[line % 2]
        made.append(Strand(length=0.05, time=0.05 / rate, pressure=1e6 * p, line=line))
    return made


def drawn(axes: Axes, name: str) -> list[Any]:
    """Return the lines that are called so."""
    return [line for line in axes.lines if line.get_label() == f"_{name}"]


def key(axes: Axes) -> list[str]:
    """Return what the key says."""
    return axes.get_legend_handles_labels()[1]


@pytest.mark.slow
def test_points_stand_where_they_were_measured() -> None:
    """50 mm in 50 s is 1 mm/s, 1 in/s 25.4 mm/s; in the order of the file."""
    results = analyse(burned())
    for units, p, r in (("si", 1e6, 1e-3), ("us", PSI, 25.4e-3)):
        axes = strands(results, units=units)
        (dots,) = drawn(axes, "strands")
        assert np.allclose(dots.get_xdata(), np.array(AT) / p, rtol=1e-6)
        rates = [strand.rate / r for strand in burned()]
        assert np.allclose(dots.get_ydata(), rates, rtol=1e-6)
    assert axes.get_title(loc="left") == "burning rate, in/s"
    assert axes.get_xlabel() == "pressure, absolute, psi"


def test_law_and_both_bands_inside_the_tests() -> None:
    """One panel: line, band of the law, a wider one of the next strand."""
    axes = strands(analyse([*burned(), *burned("B", 7.0)]))
    laws = drawn(axes, "law")
    assert [(x.min(), x.max()) for x in (law.get_xdata() for law in laws)] == [
        (pytest.approx(1.0), pytest.approx(7.0))
    ] * 2
    wide, inner = (band.get_paths()[0].vertices for band in axes.collections[:2])
    assert np.ptp(wide[wide[:, 0] == wide[0, 0], 1]) > 0.0
    assert wide[:, 1].max() > inner[:, 1].max() > laws[0].get_ydata().max()
    assert key(axes)[:2] == ["A", "B"]
    assert len({line.get_linestyle() for line in laws}) == 2


def test_many_mixes_look_different() -> None:
    """Eight: no two have ink, dashes and mark in common."""
    many = [strand for k in range(8) for strand in burned(f"mix {k}", 3.0 + k)]
    handles = strands(analyse(many)).get_legend_handles_labels()[0][:8]
    looks = {(h.get_color(), h.get_linestyle(), h.get_marker()) for h in handles}
    assert len(looks) == 8


def test_every_tick_has_a_number() -> None:
    """Both axes are logarithmic; also where all burned at nearly one pressure."""
    for pressures in (AT, [101325.0] * 8):
        made = [
            replace(s, pressure=p) for s, p in zip(burned(), pressures, strict=True)
        ]
        for units in ("si", "us"):
            axes = strands(analyse(made), units=units)
            for axis in (axes.xaxis, axes.yaxis):
                assert axis.get_scale() == "log"
                low, high = axis.get_view_interval()
                ticks = [t for t in axis.get_majorticklocs() if low <= t <= high]
                assert len(ticks) >= 2
                words = axis.get_major_formatter().format_ticks(ticks)
                assert all(
                    float(w) == pytest.approx(t)
                    for w, t in zip(words, ticks, strict=True)
                )
                assert not len(axis.get_minorticklocs())


@pytest.mark.slow
def test_numbers_of_a_narrow_axis_stand_apart() -> None:
    """On a phone, in psi: 700 and 1000 are neighbours of one size."""
    made = burned()
    results = analyse([*made, replace(made[0], pressure=101325.0, time=30.0)])
    draw = strands_drawing(results, Asked(files=("s.csv",)), Shown("us"))
    for width in (640, 340):
        sheet = draw(width)
        figure = sheet.finish()
        figure.draw(FigureCanvasAgg(figure).get_renderer())
        (axes,) = figure.axes
        low, high = axes.get_xlim()
        seen = [t for t in axes.get_xticklabels() if low <= t.get_position()[0] <= high]
        boxes = [label.get_window_extent() for label in seen]
        assert len(boxes) >= 3
        assert all(a.x1 + 2.0 < b.x0 for a, b in pairwise(boxes))


def test_names_of_lines_cover_nothing() -> None:
    """The name of a ring stands beside the law and the points."""
    axes = strands(analyse(misfit()))
    assert len(axes.texts) == 2
    for dots in (72.0, 100.0, 150.0):  # as files are written, and a notebook shows
        axes.figure.set_dpi(dots)
        for name in axes.texts:
            box = name.get_window_extent()
            for line in axes.lines:
                at = axes.transData.transform(line.get_xydata())
                assert not [p for p in at if box.contains(*p)], dots


def test_one_pressure_has_bars() -> None:
    """No law there: bars of the mean and of one more strand, and the reason below."""
    made = [replace(strand, pressure=101325.0) for strand in burned()]
    axes = strands(analyse(made))
    mean, new = (np.ptp(bar.get_ydata()) for bar in drawn(axes, "bar"))
    assert 0.0 < mean < new
    assert not drawn(axes, "law")
    assert "one pressure" in said(analyse(made))


def test_two_strands_have_no_band() -> None:
    """Points, and why there is no law; the key has no band then."""
    results = analyse(burned()[1:3])
    axes = strands(results)
    assert len(drawn(axes, "strands")) == 1
    assert not axes.collections
    assert key(axes) == ["A"]
    assert "A: no law." in said(results)


def said(results: StrandResults, **asked: Any) -> str:
    """Return all words of the picture of a page."""
    made = Asked(**{"files": ("strands.csv",)} | asked)
    sheet = strands_drawing(results, made, Shown(), invented=True)(640)
    return " ".join(text.get_text() for text in sheet.figure.texts)


def test_an_outlier_has_a_ring_and_its_line() -> None:
    """A strand that burned twice as fast; of several files the file too."""
    made = burned()
    made[3] = replace(made[3], time=0.5 * made[3].time)
    results = analyse(made)
    assert [strand.line for strand in odd_strands(results.mixes[0])] == [5]
    axes = strands(results)
    (ring,) = drawn(axes, "odd")
    assert ring.get_ydata() == pytest.approx([1e3 * made[3].rate])
    assert [text.get_text() for text in axes.texts] == ["line 5"]
    assert "look again" in key(axes)[-1]
    more = [*(replace(s, file="a/one.csv") for s in made), *burned("B", file="two.csv")]
    words = [text.get_text() for text in strands(analyse(more)).texts]
    assert words == ["one.csv line 5"]


def test_a_misfit_has_rings_where_the_law_misses() -> None:
    """At 4 MPa, and where that leaves the law off most beside it."""
    results = analyse(misfit())
    assert {4, 5} <= {strand.line for strand in odd_strands(results.mixes[0])}
    assert "lines 4, 5" in [text.get_text() for text in strands(results).texts]
    sheet = strands_drawing(results, Asked(files=("s.csv",)), Shown())(640)
    assert "misses line" in sheet.words
    assert not odd_strands(analyse(burned()).mixes[0])


def test_firings_are_points_of_another_kind() -> None:
    """At mean pressure and mean rate, named in the key."""
    results, points = analyse(burned()), np.array([[2.9e6, 5.6e-3]])
    axes = strands(results, fired={"A": points})
    (star,) = drawn(axes, "firings")
    assert star.get_xydata() == pytest.approx(np.array([[2.9, 5.6]]))
    assert "star: mean rate in a firing" in key(axes)
    assert not any("star" in label for label in key(strands(results)))
    assert "firings of the bench file" in said(results, fired={"A": points})


def test_wide_bands_do_not_flatten_the_points() -> None:
    """Three strands, one degree of freedom: the axis ends at twice the data."""
    made = [burned()[k] for k in (0, 2, 5)]
    made[1] = replace(made[1], time=0.7 * made[1].time)
    axes = strands(analyse(made))
    most = max(1e3 * strand.rate for strand in made)
    assert axes.get_ylim()[1] <= 2.0 * 1.15 * most


def test_what_the_page_says() -> None:
    """EXAMPLE where invented; numbers for those who cannot see it; no claim."""
    results = analyse(burned(scatter=1e-4))
    draw = strands_drawing(results, Asked(files=("x/s.csv",)), Shown(), invented=True)
    sheet = draw(340)
    assert sheet.title == "EXAMPLE: Burning rate of strands: A"
    # 5 mm/s at 1 MPa and 5 x 7^0.5 = 13.2 at 7 MPa, by the made-up law.
    assert (
        sheet.words == "A, 8 strands, 5.00 mm/s at 1.00 MPa to 13.2 mm/s at 7.00 MPa."
    )
    assert "No claim of safety." in said(results)


@pytest.mark.parametrize(
    ("fired", "words"),
    [
        ({"B": np.ones((1, 2))}, "no strands of it"),
        ({"A": np.ones(2)}, "give rows"),
        ({"A": np.ones((2, 3))}, "give rows"),
    ],
)
def test_refused(fired: dict[str, np.ndarray], words: str) -> None:
    """Firings of another mix, or of another shape; units that are none."""
    with pytest.raises(InputError, match=words):
        strands(analyse(burned()), fired=fired)
    with pytest.raises(UnknownNameError):
        strands(analyse(burned()), units="metric")
