"""SVG pieces: ticks, contours, cells and the pictures made of them."""

from __future__ import annotations

import dataclasses
import itertools
import math
import re
from xml.etree import ElementTree

import numpy as np
import pytest

from castsugar import InputError
from castsugar.report.svg.axes import Scale, Step, nice_step, nice_ticks, tick_labels
from castsugar.report.svg.canvas import (
    Stroke,
    Svg,
    TextStyle,
    escaped,
    markup,
    moves,
    number,
    shortened,
    text_width,
    wrapped,
)
from castsugar.report.svg.colour import (
    AXES,
    BINS,
    COLD,
    LINES,
    NOT_COMPUTED,
    bin_colour,
    define_hatch,
)
from castsugar.report.svg.contour import (
    contour_levels,
    lattice_triangles,
    line_length,
    longest,
    polylines,
    segments,
    spots,
)
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.place import Box, Taken, beside, spread, text_box
from castsugar.report.svg.series import LineChart, Panel, Series, Span, runs
from castsugar.report.svg.triangle import (
    Frame,
    constant_line,
    lattice_places,
    least_step,
    span_of,
    ticks_of,
)

pytestmark = pytest.mark.exact

NAN = float("nan")
EVIL = "<script>alert(1)</script> & \"quoted\" 'too'"
NAMESPACE = "{http://www.w3.org/2000/svg}"


def lattice(count: int) -> np.ndarray:
    """All triples of multiples of 1/count that sum to 1."""
    points = [
        (i, j, count - i - j) for i in range(count + 1) for j in range(count + 1 - i)
    ]
    return np.array(points, dtype=float) / count


def some_chart(**changes) -> LineChart:
    """Two panels, a gap, a band, a stretch."""
    x = np.linspace(50.0, 80.0, 31)
    first = 1000.0 + 10.0 * x
    first[10:13] = NAN
    chart = LineChart(
        title="a chart",
        x_label="KNO3",
        x_unit="%",
        x=x,
        panels=(
            Panel("temperature", "K", (Series("one", first, first - 20, first + 20),)),
            Panel("velocity", "m/s", (Series("up", x), Series("down", 100.0 - x))),
        ),
        spans=(Span("plateau", 60.0, 62.0),),
    )
    return dataclasses.replace(chart, **changes)


def texts(svg: str) -> list[str]:
    """What stands on the page, in order."""
    root = ElementTree.fromstring(svg)
    return [element.text or "" for element in root.iter(f"{NAMESPACE}text")]


def paths(svg: str, fill: str) -> list[str]:
    root = ElementTree.fromstring(svg)
    return [
        p.get("d", "") for p in root.iter(f"{NAMESPACE}path") if p.get("fill") == fill
    ]


# --- ticks and scale ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "about", "ticks"),
    [
        # 1/5 = 0.2: mantissa 2.
        (0.0, 1.0, 5, (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)),
        # 0.3 in 3: step 0.1; 3 x 0.1 is 0.3, not 0.30000000000000004.
        (0.0, 0.3, 3, (0.0, 0.1, 0.2, 0.3)),
        # 37/5 = 7.4 lies above sqrt(50) = 7.07: step 10.
        (13.0, 50.0, 5, (20.0, 30.0, 40.0, 50.0)),
        # 35/5 = 7 lies below: step 5.
        (13.0, 48.0, 5, (15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0)),
        (-3.0, 3.0, 6, (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)),
        (4.0, 4.0, 5, (4.0,)),
    ],
)
def test_nice_ticks(low, high, about, ticks) -> None:
    assert nice_ticks(low, high, about) == ticks


def test_step_is_rounded_once() -> None:
    """Multiples equal the literal a person would write."""
    assert nice_step(0.001, 5) == Step(2, -4)
    assert Step(2, -4).times(3) == 0.0006
    assert Step(5, 2).times(-3) == -1500.0
    assert [Step(2, -4).decimals, Step(5, 2).decimals] == [4, 0]


def test_tick_labels() -> None:
    """Decimals of the step; no minus zero; thin space from ten thousand."""
    assert tick_labels((-0.0, 0.5, 1.0), Step(5, -1)) == ["0.0", "0.5", "1.0"]
    assert tick_labels((1200.0, 24000.0), Step(2, 2)) == ["1200", "24\u2009000"]


@pytest.mark.parametrize("span", [0.0, -1.0, NAN, math.inf])
def test_step_of_no_range_is_refused(span) -> None:
    with pytest.raises(InputError):
        nice_step(span, 5)


def test_scale() -> None:
    assert Scale(10.0, 20.0, 100.0, 300.0)(15.0) == 200.0
    assert Scale(10.0, 20.0, 300.0, 100.0)(20.0) == 100.0
    assert Scale(5.0, 5.0, 0.0, 10.0)(5.0) == 5.0


# --- canvas, words, colours --------------------------------------------------------


def test_number_is_short_and_finite() -> None:
    wanted = ["1", "0", "0.13", "-2.5", "1200"]
    assert [number(v) for v in (1.0, -0.001, 0.125001, -2.5, 1200.0)] == wanted
    for value in (NAN, math.inf):
        with pytest.raises(InputError):
            number(value)


def test_markup_escapes_and_leaves_none_out() -> None:
    made = markup("a", {"b": '"<&', "c": None, "d": 1.0}, "x<y")
    assert made == '<a b="&quot;&lt;&amp;" d="1">x&lt;y</a>'
    # Control characters and lone surrogates have no place in XML.
    assert escaped("a\x00b\ud800c\nd") == "a�b�c\nd"
    ElementTree.fromstring(markup("a", {"b": "\x01\ufffe"}, "\x1f"))


def test_svg_document() -> None:
    svg = Svg(10.0, 20.0, "t", "d")
    with svg.group({"fill": "none"}):
        svg.line((0.0, 0.0), (1.0, 2.0), Stroke("#000000", 1.0))
        svg.text((1.0, 2.0), "hi", TextStyle(turn=30.0))
    root = ElementTree.fromstring(svg.to_text())
    assert root.get("viewBox") == "0 0 10 20"
    assert root.get("role") == "img"
    named = (root.get("aria-labelledby") or "").split()
    found = [e.text for name in named for e in root.iter() if e.get("id") == name]
    assert found == ["t", "d"]
    group = root.find(f"{NAMESPACE}g")
    assert group is not None
    assert [e.tag.removeprefix(NAMESPACE) for e in group] == ["line", "text"]
    assert group[1].get("transform") == "rotate(30 1 2)"


def test_ids_differ_between_pictures_and_within() -> None:
    one, other = Svg(10.0, 1.0, "t", "d"), Svg(10.0, 1.0, "u", "d")
    assert len({one.new_id(), one.new_id(), other.new_id()}) == 3


def test_words() -> None:
    assert moves([(0.0, 0.0), (1.5, 2.0)], closed=True) == "M0 0L1.5 2Z"
    line = "one two three four five six"
    assert " ".join(wrapped(line, 60.0, 10.0)) == line
    assert all(text_width(w, 10.0) <= 60.0 for w in wrapped("x" * 40, 60.0, 10.0))
    assert shortened("short", 100.0, 10.0) == "short"
    assert text_width(shortened("x" * 40, 60.0, 10.0), 10.0) <= 60.0
    assert wrapped("", 60.0, 10.0) == []


def luminance(colour: str) -> float:
    """Relative luminance, 0 black to 1 white (sRGB, IEC 61966-2-1)."""
    channels = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_lightness_of_the_map_grows() -> None:
    """Strictly, over all classes: grey print keeps the order."""
    light = [luminance(bin_colour(k)) for k in range(BINS)]
    assert all(b > a for a, b in itertools.pairwise(light))


def test_contrast() -> None:
    """Black on white is 21 : 1; texts of the sides reach 4.5 : 1 on the page."""
    assert luminance("#ffffff") == pytest.approx(1.0)
    assert luminance("#000000") == 0.0
    assert all(1.05 / (luminance(c) + 0.05) > 4.5 for c in AXES)
    assert len(set(LINES)) == len(LINES)


def test_hatches_differ_in_direction_and_density() -> None:
    assert NOT_COMPUTED.slope * COLD.slope < 0.0
    assert NOT_COMPUTED.distance > 2.0 * COLD.distance
    svg = Svg(1.0, 1.0, "t", "d")
    fills = [define_hatch(svg, hatch) for hatch in (NOT_COMPUTED, COLD)]
    assert len(set(fills)) == 2
    assert svg.to_text().count("<pattern ") == 2


# --- contours ----------------------------------------------------------------------

# One triangle: points 0, 1, 2 at (0, 0), (1, 0), (0, 1).
ONE = np.array([[0, 1, 2]])
CORNERS = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])


def test_marching_triangle_by_hand() -> None:
    """Values 0, 10, 20, level 5: half way on edge 0-1, a quarter on edge 0-2."""
    values = np.array([0.0, 10.0, 20.0])
    assert segments(ONE, values, 5.0).tolist() == [[[0, 1], [0, 2]]]
    (line,) = polylines(CORNERS, ONE, values, 5.0)
    assert sorted(line.tolist()) == [[0.0, 0.25], [0.5, 0.0]]
    # Level 15: above only at 2; 3/4 of edge 0-2, half way on edge 1-2.
    (line,) = polylines(CORNERS, ONE, values, 15.0)
    assert sorted(line.tolist()) == [[0.0, 0.75], [0.5, 0.5]]


@pytest.mark.parametrize("level", [-1.0, 0.0, 20.5])
def test_level_outside_a_triangle(level) -> None:
    """A corner at the level counts as above: at the lowest corner nothing crosses."""
    assert len(segments(ONE, np.array([0.0, 10.0, 20.0]), level)) == 0


def test_nan_corner_has_no_contour() -> None:
    assert len(segments(ONE, np.array([0.0, NAN, 20.0]), 5.0)) == 0


def test_lattice_triangles_are_all_there_once() -> None:
    """A triangle of n steps holds n^2 small ones, of equal area."""
    shares = lattice(7)
    places = lattice_places(shares, (0.0, 0.0, 0.0), 1 / 7)
    triangles = lattice_triangles(places)
    assert len({tuple(sorted(t)) for t in triangles.tolist()}) == len(triangles) == 49
    first, second, third = (places[triangles[:, k]] for k in range(3))
    one, other = second - first, third - first
    area = np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])
    assert area.tolist() == [1] * 49
    assert len(lattice_triangles(np.empty((0, 2), dtype=np.int64))) == 0


def test_contour_of_a_linear_field_is_a_straight_line() -> None:
    """The field is the first share: level 0.45 is level on the page, side to side."""
    shares = lattice(10)
    frame = Frame((0.0, 0.0, 0.0), 1.0, 0.0, 100.0, 100.0)
    triangles = lattice_triangles(lattice_places(shares, frame.low, 0.1))
    (line,) = polylines(frame.places(shares), triangles, shares[:, 0], 0.45)
    # Height 0.45 of a triangle 86.603 px high, from x = 22.5 to 77.5.
    assert line[:, 1] == pytest.approx(100.0 - 0.45 * 100.0 * math.sqrt(0.75))
    assert [line[:, 0].min(), line[:, 0].max()] == pytest.approx([22.5, 77.5])
    assert line_length(line) == pytest.approx(55.0)
    assert (np.diff(line[:, 0]) > 0.0).all() or (np.diff(line[:, 0]) < 0.0).all()


def test_contour_around_a_peak_is_closed() -> None:
    shares = lattice(12)
    third = 1.0 / 3.0
    values = -((shares - third) ** 2).sum(axis=1)
    triangles = lattice_triangles(lattice_places(shares, (0.0, 0.0, 0.0), 1 / 12))
    lines = polylines(shares[:, :2], triangles, values, -0.05)
    assert len(lines) == 1
    assert lines[0][0].tolist() == lines[0][-1].tolist()
    assert longest(lines) is lines[0]
    assert longest([]) is None


def test_contour_levels() -> None:
    """430 in 8 parts: step 50; the ends themselves are no levels."""
    values = np.array([500.0, NAN, 930.0])
    wanted = (550.0, 600.0, 650.0, 700.0, 750.0, 800.0, 850.0, 900.0)
    assert contour_levels(values) == wanted
    assert contour_levels(np.array([NAN, NAN])) == ()
    assert contour_levels(np.array([3.0, 3.0])) == ()


def test_spots_for_labels() -> None:
    """On a straight line the middle comes first; a short line has no room."""
    line = np.array([[0.0, 0.0], [100.0, 100.0]])
    x, y, slope = spots(line, 30.0)[0]
    assert (x, y, slope) == pytest.approx((50.0, 50.0, 45.0))
    # The same line backwards is read the same way up.
    assert spots(line[::-1], 30.0)[0] == pytest.approx((50.0, 50.0, 45.0))
    assert spots(line, 140.0) == []


# --- cells -------------------------------------------------------------------------


# --- triangle and sides ------------------------------------------------------------


def test_frame_places_corners() -> None:
    frame = Frame((0.5, 0.0, 0.25), 0.25, 10.0, 200.0, 100.0)
    top, left, right = frame.corners()
    assert frame.place((0.75, 0.0, 0.25)) == pytest.approx(top)
    assert frame.place((0.5, 0.25, 0.25)) == pytest.approx(left)
    assert frame.place((0.5, 0.0, 0.5)) == pytest.approx(right)
    assert frame.holds((0.5, 0.25, 0.25))
    assert not frame.holds((0.4, 0.3, 0.3))


def test_each_ingredient_grows_along_its_side() -> None:
    """First up the right side, second down the left, third along the base."""
    frame = Frame((0.0, 0.0, 0.0), 1.0, 0.0, 0.0, 100.0)
    high = 100.0 * math.sqrt(0.75)
    starts = [constant_line(frame, k, 0.25)[0] for k in range(3)]
    assert starts[0] == pytest.approx((87.5, -0.25 * high))
    assert starts[1] == pytest.approx((37.5, -0.75 * high))
    assert starts[2] == pytest.approx((25.0, 0.0))
    # The other end lies on the other side of which the share runs.
    assert constant_line(frame, 0, 0.25)[1] == pytest.approx((12.5, -0.25 * high))


def test_ticks_are_percent_of_the_whole() -> None:
    """2 % are fixed: 10 % of the whole is 10/98 of the three."""
    frame = Frame((0.0, 0.0, 0.0), 1.0, 0.0, 0.0, 100.0)
    found = list(ticks_of(frame, 0, 0.98))
    assert [words for _, words in found] == [str(10 * k) for k in range(1, 10)]
    assert found[0][0] == pytest.approx(10.0 / 98.0)


def test_part_of_a_triangle_fills_the_picture() -> None:
    shares = lattice(10)
    part = shares[shares[:, 0] > 0.45]
    assert least_step(part) == pytest.approx(0.1)
    assert span_of(part, 0.1) == ((0.5, 0.0, 0.0), 0.5)
    assert least_step(part[:1]) == 1.0


def test_irregular_points_are_refused() -> None:
    shares = np.array([[0.0, 0.0, 1.0], [0.1, 0.0, 0.9], [0.25, 0.0, 0.75]])
    with pytest.raises(InputError, match="lattice"):
        lattice_places(shares, (0.0, 0.0, 0.75), least_step(shares))
    twice = np.array([[0.5, 0.5, 0.0], [0.5, 0.5, 0.0]])
    with pytest.raises(InputError, match="twice"):
        lattice_places(twice, (0.5, 0.5, 0.0), 1.0)


# --- labels ------------------------------------------------------------------------


def test_labels_keep_clear_of_each_other() -> None:
    """Five marks in one place: no two names share ground."""
    taken = Taken(Box(0.0, 0.0, 400.0, 400.0))
    found = [beside((200.0, 200.0), f"mark {k}", 16.0, taken) for k in range(5)]
    boxes = [text_box(f.at, "mark 0", 16.0, f.anchor) for f in found]
    assert not any(a.meets(b) for k, a in enumerate(boxes) for b in boxes[k + 1 :])
    assert not found[0].led


def test_no_room_leaves_the_label_beside_its_mark() -> None:
    taken = Taken(Box(0.0, 0.0, 1.0, 1.0))
    assert beside((5.0, 5.0), "name", 10.0, taken).at == (16.0, 8.5)


def test_spread_keeps_order_and_distance() -> None:
    assert spread([5.0, 5.0, 5.0], 10.0, 0.0, 100.0) == [5.0, 15.0, 25.0]
    assert spread([99.0, 99.0], 10.0, 0.0, 100.0) == [90.0, 100.0]
    # Overfull: from the low end on.
    assert spread([1.0] * 3, 10.0, 0.0, 15.0) == [0.0, 10.0, 20.0]
    assert spread([], 10.0, 0.0, 15.0) == []


def test_runs() -> None:
    assert runs([False, True, True, False, True]) == [(1, 3), (4, 5)]
    assert runs([]) == []


# --- whole pictures ----------------------------------------------------------------

PICTURES = [
    lambda: line_chart(some_chart()),
]


@pytest.mark.parametrize("draw", PICTURES)
def test_same_bytes_and_no_nan(draw) -> None:
    svg = draw()
    assert svg == draw()
    root = ElementTree.fromstring(svg)
    assert root.tag == f"{NAMESPACE}svg"
    assert not re.search(r"nan|NaN|\binf\b|None", svg)
    assert svg.endswith("</svg>\n")
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids))


def evil_pictures() -> list[str]:
    x = np.arange(4.0)
    series = (Series(EVIL, x), Series(EVIL, x + 1.0))
    panels = (Panel(EVIL, EVIL, series, EVIL),)
    return [
        line_chart(
            LineChart(EVIL, EVIL, EVIL, x, panels, (Span(EVIL, 1.0, 2.0),), (EVIL,))
        ),
    ]  # fmt: skip


@pytest.mark.parametrize("svg", evil_pictures())
def test_no_string_becomes_markup(svg) -> None:
    assert "<script" not in svg
    tags = {e.tag.removeprefix(NAMESPACE) for e in ElementTree.fromstring(svg).iter()}
    drawn = {"line", "path", "rect", "circle", "polygon", "text", "g"}
    frame = {"svg", "title", "desc", "defs", "pattern", "clipPath"}
    assert tags <= drawn | frame
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in svg


def test_line_is_broken_at_gaps() -> None:
    """31 values without 3 in the middle: two strokes of 10 and 18 points."""
    svg = line_chart(some_chart())
    root = ElementTree.fromstring(svg)
    thick = [p for p in root.iter(f"{NAMESPACE}path") if p.get("stroke-width") == "2.4"]
    first = thick[0].get("d", "")
    assert [part.count("L") + 1 for part in first.split("M")[1:]] == [10, 18]
    bands = [p for p in root.iter(f"{NAMESPACE}path") if p.get("fill-opacity")]
    assert len(bands) == 2


def test_line_stands_where_its_scale_says() -> None:
    """y = x over [0, 2]: a straight rising line whose middle is its middle point."""
    x = np.array([0.0, 1.0, 2.0])
    chart = some_chart(x=x, panels=(Panel("y", "", (Series("s", x),)),), spans=())
    root = ElementTree.fromstring(line_chart(chart))
    (data,) = [
        p.get("d", "")
        for p in root.iter(f"{NAMESPACE}path")
        if p.get("stroke-width") == "2.4"
    ]
    points = [tuple(map(float, p.split())) for p in data[1:].split("L")]
    (x0, y0), (x1, y1), (x2, y2) = points
    assert (x1, y1) == pytest.approx((0.5 * (x0 + x2), 0.5 * (y0 + y2)), abs=0.01)
    assert x2 > x0
    assert y2 < y0


def test_names_stand_at_line_ends_or_in_a_key() -> None:
    x = np.arange(4.0)
    for name, wanted in (("short", True), ("a very long name " * 6, False)):
        series = (Series(name, x), Series("b", x + 1.0))
        chart = some_chart(x=x, panels=(Panel("p", "", series),), spans=())
        shown = texts(line_chart(chart))
        place = shown.index("b")
        # At the line end the name follows the ticks of y, in a key it precedes them.
        assert ("0" in shown[:place]) is wanted


def test_lone_value_and_empty_panel() -> None:
    x = np.arange(3.0)
    lone = Series("lone", np.array([NAN, 2.0, NAN]))
    empty = Series("empty", np.full(3, NAN))
    panels = (Panel("a", "", (lone,)), Panel("b", "", (empty,)))
    svg = line_chart(some_chart(x=x, panels=panels, spans=()))
    assert svg.count("<circle") == 1
    assert "no values" in texts(svg)
    one = some_chart(x=x[:1], panels=(Panel("a", "", (Series("s", x[:1]),)),), spans=())
    ElementTree.fromstring(line_chart(one))


def test_spans_with_one_name_share_a_hatch() -> None:
    spans = (Span("a", 55.0, 56.0), Span("b", 60.0, 60.0), Span("a", 70.0, 99.0),
             Span("a", 10.0, 20.0))  # fmt: skip
    svg = line_chart(some_chart(spans=spans))
    assert svg.count("<pattern ") == 2
    # Three in sight in two panels, two keys.
    assert svg.count('fill="url(#') == 3 * 2 + 2


@pytest.mark.parametrize(
    "changes",
    [
        {"x": np.array([1.0, 1.0])},
        {"x": np.array([])},
        {"x": np.array([1.0, NAN])},
        {"panels": ()},
        {"panels": (Panel("a", "", (Series("s", np.zeros(3)),)),)},
        {"panels": (Panel("a", "", (Series("s", np.zeros(31), np.zeros(31)),)),)},
    ],
)
def test_chart_refuses_what_does_not_fit(changes) -> None:
    with pytest.raises(InputError):
        line_chart(some_chart(**changes))
