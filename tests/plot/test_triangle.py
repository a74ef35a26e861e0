"""Maps of three ingredients: where lines, areas, marks and words stand.

The fields are made up so that the place of every line follows by hand.
"""

from __future__ import annotations

import itertools
import time
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch

import castsugar as cs
from castsugar import InputError
from castsugar.numerics import triangle
from castsugar.plot import style
from castsugar.plot.export import written
from castsugar.plot.spread import Area, Mark, Spread, borders_of, broken_area, levels_of
from castsugar.plot.triangle import draw, spread_drawing

pytestmark = pytest.mark.exact

CORNERS = ("KNO3", "sugar", "syrup")
SHARES = triangle(0.1)
A, B, C = SHARES.T


def new_triangle() -> Any:
    return Figure((6.0, 6.0)).add_subplot(projection="ternary", ternary_sum=100.0)


def shares_at(axes: Any, points: np.ndarray) -> np.ndarray:
    """Return the shares at places of the data of a triangle."""
    return np.asarray(axes.transProjection.inverted().transform(points)) / 100.0


def lines_of(axes: Axes, width: float) -> list[np.ndarray]:
    """Return the vertices of contours of a width."""
    return [
        path.vertices
        for one in axes.collections
        if np.allclose(one.get_linewidths(), width)
        for path in one.get_paths()
        if len(path.vertices)
    ]


def areas_of(axes: Axes) -> dict[str, PathPatch]:
    return {str(p.get_label()): p for p in axes.patches if isinstance(p, PathPatch)}


def words_on(axes: Axes) -> list[str]:
    return [text.get_text() for text in axes.texts]


def keys_of(axes: Axes) -> list[str]:
    return axes.get_legend_handles_labels()[1]


def some(**changes: Any) -> Spread:
    made = Spread(corners=CORNERS, shares=SHARES, values=100.0 * A)
    return replace(made, **changes)


def test_a_limit_is_a_line_where_its_slack_is_0() -> None:
    """At most 45 % of the first: level, from side to side, and named."""
    axes = cs.plot.ternary(SHARES, B, corners=CORNERS, limits={"at most 45": 0.45 - A})
    (line,) = lines_of(axes, 2.4)
    found = shares_at(axes, line)
    np.testing.assert_allclose(found[:, 0], 0.45, atol=1e-9)
    assert found[:, 2].min() == pytest.approx(0.0, abs=1e-9)
    assert found[:, 2].max() == pytest.approx(0.55)
    assert "at most 45" in words_on(axes)
    hatched = areas_of(axes)["a limit is broken"]
    assert hatched.get_hatch() == "//"
    assert shares_at(axes, hatched.get_path().vertices)[:, 0].min() == pytest.approx(
        0.45
    )


def test_all_limits_are_followed_inside_the_triangles() -> None:
    """The first is at least 0.32, steep, and at most 0.58, flat.

    The least slack of the corners would put the border up to half a step off.
    """
    both = np.column_stack([50.0 * (A - 0.32), 0.58 - A])
    (border,) = borders_of([("kept", "inside: kept", both)])
    axes = draw(new_triangle(), some(borders=[border]))
    (line,) = lines_of(axes, 2.4)
    found = shares_at(axes, line)[:, 0]
    away = np.minimum(np.abs(found - 0.32), np.abs(found - 0.58))
    assert away.max() < 0.1 / 8.0
    assert min(found) < 0.33 < 0.57 < max(found)
    coarse = replace(border, slack=both.min(axis=1))
    axes = draw(new_triangle(), some(borders=[coarse]))
    (line,) = lines_of(axes, 2.4)
    found = shares_at(axes, line)[:, 0]
    assert np.minimum(np.abs(found - 0.32), np.abs(found - 0.58)).max() > 0.02


def test_nothing_is_written_on_the_answer() -> None:
    """No word stands where all limits are kept, and none on another."""
    inside = np.column_stack([0.75 - A, A - 0.25, 0.6 - B, 0.6 - C])
    (border,) = borders_of([("all kept", "inside", inside)])
    marks = [Mark(name="base", shares=(0.85, 0.1, 0.05))]
    axes: Any = draw(new_triangle(), some(borders=[border], marks=marks))
    assert {"all kept", "base"} <= set(words_on(axes))
    axes.figure.canvas.draw()
    boxes = [text.get_window_extent() for text in axes.texts]
    for box in boxes:
        middle = axes.transData.inverted().transform([box.get_points().mean(axis=0)])
        a, b, c = shares_at(axes, middle)[0]
        assert not (0.25 < a < 0.75 and b < 0.6 and c < 0.6)
    assert not any(one.overlaps(two) for one, two in itertools.combinations(boxes, 2))


def test_limits_without_a_border_say_so() -> None:
    axes = cs.plot.ternary(
        SHARES, A, corners=CORNERS, limits={"loose": 2.0 - A, "hard": A - 2.0}
    )
    assert {"loose: kept everywhere", "hard: broken everywhere"} <= set(keys_of(axes))
    assert "loose" not in words_on(axes)


def test_what_is_not_computed_is_covered_and_named() -> None:
    """Below 20 % nothing is known: the cover ends half a step above the last gap."""
    values = np.where(A < 0.15, np.nan, A)
    axes = cs.plot.ternary(SHARES, values, corners=CORNERS, areas={"cold": A > 0.85})
    covers = areas_of(axes)
    assert set(covers) == {"cold", "not computed"}
    tops = shares_at(axes, covers["not computed"].get_path().vertices)[:, 0]
    assert tops.max() == pytest.approx(0.15)
    assert covers["cold"].get_hatch() != covers["not computed"].get_hatch()
    assert {one.get_facecolor() for one in covers.values()} == {
        covers["cold"].get_facecolor()
    }
    axes = cs.plot.ternary(SHARES, np.full(66, np.nan), corners=CORNERS)
    assert set(areas_of(axes)) == {"not computed"}


def test_contours_beyond_the_field_leave_it_shaded() -> None:
    """One level, none that crosses, infinite values: every mix has a tint."""
    for levels in ((50.0,), (200.0, 300.0), ()):
        values = np.where(A > 0.95, np.inf, 100.0 * A)
        axes = draw(new_triangle(), some(values=values, levels=levels))
        ground = axes.collections[0]
        shades = len([p for p in ground.get_paths() if len(p.vertices)])
        assert shades == {1: 2, 2: 1}.get(len(levels), shades)
        assert shades >= 1
    axes = cs.plot.ternary(SHARES, 100.0 * A, corners=CORNERS, contours=[33.0])
    (line,) = lines_of(axes, 0.8)
    np.testing.assert_allclose(shares_at(axes, line)[:, 0], 0.33, atol=1e-9)
    assert "33" in words_on(axes)


def test_round_levels() -> None:
    """430 in 9 parts: step 50; ends are no levels; decades by 1 and 3."""
    assert levels_of(np.array([500.0, 930.0])) == tuple(range(550, 901, 50))
    assert levels_of(np.array([3.0, 3.0])) == ()
    assert levels_of(np.array([])) == ()
    assert levels_of(np.array([0.9, 1e4]), logarithmic=True)[:3] == (1.0, 3.0, 10.0)


def test_decades_are_followed_by_their_logarithm() -> None:
    """10^(4 a): the level 10 lies at a = 0.25, between the steps."""
    made = some(values=10.0 ** (4.0 * A), logarithmic=True, levels=(10.0,))
    axes = draw(new_triangle(), made)
    (line,) = lines_of(axes, 0.8)
    np.testing.assert_allclose(shares_at(axes, line)[:, 0], 0.25, atol=1e-9)


def test_a_strip_is_drawn_upright() -> None:
    """55 to 60, 5 to 35, 10 to 35 %: the third runs to the right, the first upward."""
    zoom = ((0.55, 0.6), (0.05, 0.35), (0.1, 0.35))
    shares = triangle(0.01)
    axes = cs.plot.ternary(
        shares, shares[:, 0], corners=CORNERS, zoom=zoom,
        marks={"base": (0.6, 0.2, 0.2), "far": (0.2, 0.4, 0.4)},
        measured=np.array([[0.58, 0.14, 0.28], [0.1, 0.1, 0.8]]),
    )  # fmt: skip
    assert not hasattr(axes, "set_ternary_lim")
    assert axes.get_xlim() == pytest.approx((10.0, 35.0))
    assert axes.get_ylim() == pytest.approx((55.0, 60.0))
    at = {str(line.get_label()): line.get_xydata() for line in axes.lines}
    np.testing.assert_allclose(np.ravel(at["base"]), [20.0, 60.0])
    np.testing.assert_allclose(np.ravel(at["measured: strands or a firing"]), [28, 58])
    assert "far (not on the picture)" in at
    assert "far" not in words_on(axes)
    assert not axes.lines[-1].get_clip_on()  # a mark on the edge is whole
    assert axes.get_xlabel() == "syrup, %; sugar: the rest"


def test_ranges_are_cut_to_what_the_others_leave() -> None:
    made = some(zoom=((0.5, 0.9), (0.05, 0.35), (0.1, 0.35)))
    np.testing.assert_allclose(made.ranges, [(0.5, 0.85), (0.05, 0.35), (0.1, 0.35)])
    assert not made.is_strip
    axes: Any = draw(new_triangle(), made)
    assert axes.get_tlim() == pytest.approx((50.0, 85.0))
    with pytest.raises(InputError, match="hold no mix"):
        _ = some(zoom=((0.8, 0.9), (0.3, 0.4), (0.0, 0.1))).ranges


def test_a_part_between_the_mixes_is_drawn() -> None:
    """No mix of the lattice lies in it; its values are those between."""
    zoom = ((0.53, 0.57), (0.22, 0.26), (0.19, 0.23))
    axes = draw(new_triangle(), some(zoom=zoom, levels=(55.0,)))
    (line,) = lines_of(axes, 0.8)
    np.testing.assert_allclose(shares_at(axes, line)[:, 0], 0.55, atol=1e-9)


def test_width_over_height_of_what_is_shown() -> None:
    """A whole triangle: 2 / sqrt(3); parts: as mpltern lays their outline out."""
    assert some().slimness == pytest.approx(2.0 / np.sqrt(3.0))
    for zoom in (
        ((0.5, 0.65), (0.05, 0.35), (0.1, 0.35)),
        ((0.3, 0.7), (0.05, 0.4), (0.1, 0.4)),
        ((0.55, 0.62), (0.2, 0.24), (0.1, 0.5)),
    ):
        made = some(zoom=zoom)
        axes: Any = draw(new_triangle(), made)
        path = axes.patch.get_transform().transform_path(axes.patch.get_path())
        wide, high = np.ptp(path.vertices, axis=0)
        assert made.slimness == pytest.approx(wide / high)


def test_shares_are_percent_of_the_whole() -> None:
    """2 % of oxide: the three make up 98."""
    drawn = spread_drawing(some(total=0.98), name="m", title="t", label="l", words="w")(
        640
    )
    axes: Any = drawn.figure.axes[0]
    assert axes.get_tlim() == pytest.approx((0.0, 98.0))


def test_axes_of_the_caller_are_used() -> None:
    axes = new_triangle()
    assert cs.plot.ternary(SHARES, A, corners=CORNERS, ax=axes) is axes
    plain = Figure().add_subplot()
    assert cs.plot.ternary(SHARES, A, corners=CORNERS, ax=plain) is plain
    assert plain.get_xlim() == (0.0, 100.0)


@pytest.mark.parametrize(
    ("shares", "values"),
    [
        (np.zeros((66, 2)), np.zeros(66)),
        (np.zeros((66, 3)), np.zeros(66)),
        (SHARES, np.zeros(3)),
        (SHARES[:2], np.zeros(2)),
    ],
)
def test_what_does_not_fit_is_refused(shares: Any, values: Any) -> None:
    with pytest.raises(InputError, match="a ternary needs"):
        cs.plot.ternary(shares, values, corners=CORNERS)
    with pytest.raises(InputError, match="a value a mix"):
        cs.plot.ternary(SHARES, A, corners=CORNERS, limits={"x": np.zeros(3)})


@pytest.mark.slow
def test_a_picture_of_5151_mixes_is_small_and_quick() -> None:
    """Below 100 kB; 0.3 s of this processor, held against ten times that."""
    shares = triangle(0.01)
    a, b, c = shares.T
    values = 900.0 - 400.0 * (a - 0.6) ** 2 - 100.0 * c + 9.0 * np.sin(40.0 * b)
    borders = borders_of([("one", "one", 0.6 - a), ("two", "two", 0.7 - c - 0.1 * b)])
    areas = [
        broken_area(borders, "a limit is broken"),
        Area(name="cold", beyond=0.9 - a, hatch="xxx"),
        Area(name="faint", beyond=a - 0.1),
    ]
    made = Spread(
        corners=CORNERS, shares=shares, values=np.where(c > 0.9, np.nan, values),
        borders=borders, areas=areas,
    )  # fmt: skip
    drawing = spread_drawing(made, name="m", title="t", label="l", words="w")
    written(drawing, ".svg")
    start = time.process_time()
    svg = written(drawing, ".svg")
    assert time.process_time() - start < 3.0
    assert len(svg) < 100_000


@pytest.mark.slow
def test_the_ink_of_a_mark_is_that_of_its_place() -> None:
    """A page's rules for the dark do not reach into a shape that is used."""
    made = some(measured=np.array([[0.6, 0.2, 0.2]]))
    drawing = spread_drawing(made, name="m", title="t", label="l", words="w")
    svg = written(drawing, ".svg").decode()
    shapes = svg.split('<path id="m-m')[1:]
    assert shapes
    for shape in shapes:
        assert "stroke: #" not in shape.split("/>")[0]
    assert f"stroke: {style.INK}; stroke-width: 1.3" in svg
