"""Differences of mixes and checks of predictions: what is drawn where, what is said."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from worlds import borrowed

import castsugar as cs
from castsugar import Conditions, Hardware, InputError, compare
from castsugar.comparison.compare import Comparison, verdict
from castsugar.comparison.draws import Summary
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.peak_pressure import Spread
from castsugar.plot.export import written
from castsugar.plot.intervals import (
    MOST,
    checks,
    checks_drawing,
    comparable,
    differences,
    differences_drawing,
)
from castsugar.plot.style import BLUE, INK, PAPER, width_of, wrapped
from castsugar.records.learning.checks import Check
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.lines import Line2D

# Exact: differences of a mix with itself are 0, a made-up interval stands where the
# scale of its row puts it.
pytestmark = pytest.mark.exact

SCRIPT = "<script>alert(1)</script>"
TEMPERATURE, VISCOSITY = "flame_temperature_K", "pour_viscosity_Pa_s"
PRESSURE, C_STAR = "peak_pressure_MPa", "characteristic_velocity_m_s"
GRAIN = HollowCylinder(
    outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
)


def mix(sugar: str = "sucrose", name: str = "") -> cs.Mix:
    """Return 65 parts of nitrate and 35 of a sugar."""
    return cs.Mix.weigh({"potassium nitrate": 65, sugar: 35}, name=name)


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    """Compare a base with itself under another name, and with sorbitol."""
    mixes = [mix(name=SCRIPT), mix(name="the same"), mix("sorbitol", "sorbitol")]
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=100)
    motor = Hardware(
        grain=GRAIN, throat_diameter=0.008, burning=borrowed(), spread=Spread()
    )
    conditions = Conditions(kitchen=kitchen, motor=motor)
    return compare(mixes, conditions=conditions, draws=100)


def told(comparison: Comparison, column: str, low: float, high: float, **more: Any):
    """Return the comparison with another interval of one column of mix 2."""
    middle = low if low == high else 0.5 * (low + high)
    made = {"mean": middle, "deviation": 1.0, "median": middle, "failed": 0.0}
    difference = Summary(**made | {"interval": (low, high)} | more)
    cell = comparison.cells[2][column]
    word = verdict(difference)
    cell = replace(cell, difference=difference, verdict=word, merit="")
    own = {**comparison.cells[2], column: cell}
    return replace(comparison, cells=(*comparison.cells[:2], own))


def one(comparison: Comparison, column: str) -> Axes:
    """Draw one column of mix 2."""
    return differences(comparison, 2, columns=[column])


def words_of(axes: Axes) -> list[str]:
    """Return every text of axes."""
    return [text.get_text() for text in axes.texts]


def lines_of(axes: Axes, name: str) -> list[Line2D]:
    """Return the lines that are called so."""
    return [line for line in axes.lines if line.get_label() == f"_{name}"]


def ends_of(axes: Axes) -> list[float]:
    """Return both ends of the one bar."""
    (bar,) = lines_of(axes, "interval")
    return [float(x) for x in bar.get_xdata()]


def drawn(comparison: Comparison, mix: int | None = None, **options: Any) -> str:
    """Return the picture of a page as SVG text."""
    draw = differences_drawing(comparison, mix, **{"show": Shown(), **options})
    return written(draw, ".svg").decode()


def texts(svg: str) -> list[str]:
    """Return every text of a picture."""
    root = ET.fromstring(svg)
    return [e.text or "" for e in root.iter("{http://www.w3.org/2000/svg}text")]


@pytest.mark.slow
def test_same_mix_has_no_difference(comparison: Comparison) -> None:
    """Every row of a mix beside itself is empty and cannot be told."""
    words = words_of(differences(comparison, 1))
    rows = len(comparison.draws.columns)
    assert words.count("no difference") == words.count("cannot tell") == rows
    assert not re.search("higher|lower|better|worse", " ".join(words))


def test_bar_stands_where_its_scale_puts_it(comparison: Comparison) -> None:
    """-10 to 30 K on a scale of +-35 K: the next end with 15 % of room, 34.5."""
    axes = one(told(comparison, TEMPERATURE, -10.0, 30.0), TEMPERATURE)
    words = {"−35", "+35 K", "+10 K (−10 to +30)", "cannot tell"}
    assert words <= {*words_of(axes)}
    assert ends_of(axes) == pytest.approx([-10.0 / 35.0, 30.0 / 35.0])
    (middle,) = lines_of(axes, "median")
    assert float(middle.get_xdata()[0]) == pytest.approx(10.0 / 35.0)


def test_units_of_the_united_states(comparison: Comparison) -> None:
    """36 to 72 F are 20 to 40 K: a kelvin is 1.8 degrees Fahrenheit."""
    case = told(comparison, TEMPERATURE, 20.0, 40.0)
    axes = differences(case, 2, columns=[TEMPERATURE], units="us")
    assert {"+54 °F (+36 to +72)", "+100 °F"} <= {*words_of(axes)}
    assert ends_of(axes) == pytest.approx([0.36, 0.72])


def test_verdict_fills_the_bar(comparison: Comparison) -> None:
    """An interval that leaves out 0 is thick, filled and worded; a tie is hollow."""
    looks = {}
    for low in (-30.0, 10.0):
        axes = one(told(comparison, TEMPERATURE, low, 20.0), TEMPERATURE)
        (bar,), (mark,) = lines_of(axes, "interval"), lines_of(axes, "median")
        verdicts = [word for word in words_of(axes) if re.search("tell|her", word)]
        looks[low] = (bar.get_linewidth(), mark.get_markerfacecolor(), verdicts)
    assert looks[10.0][1:] == (INK, ["↑ higher"])
    assert looks[-30.0][1:] == (PAPER, ["cannot tell"])
    assert looks[10.0][0] > looks[-30.0][0]


def test_merit_has_its_ink(comparison: Comparison) -> None:
    """Better where the trade agrees which way is good: c* that rises."""
    case = told(comparison, C_STAR, 5.0, 10.0)
    cell = replace(case.cells[2][C_STAR], merit="better")
    own = {**case.cells[2], C_STAR: cell}
    axes = one(replace(case, cells=(*case.cells[:2], own)), C_STAR)
    (bar,) = lines_of(axes, "interval")
    assert bar.get_color() == BLUE
    assert "↑ better" in words_of(axes)


def test_ratio_is_a_factor(comparison: Comparison) -> None:
    """Differences of ln: ln 0.25 to ln 1 is a quarter to 1, the middle a half."""
    axes = one(told(comparison, VISCOSITY, math.log(0.25), 0.0), VISCOSITY)
    assert "× 0.50 (0.25 to 1.0)" in words_of(axes)
    # 1.15 ln 4 = 1.59, the next end is 2: e^2 = 7.389.
    assert {"÷ 7.4", "× 7.4"} <= {*words_of(axes)}


@pytest.mark.parametrize(
    ("column", "low", "high", "words"),
    [
        (TEMPERATURE, math.nan, math.nan, "not computed"),
        (VISCOSITY, -math.inf, math.inf, "not computed"),  # its median is none
        (VISCOSITY, -math.inf, -math.inf, "the baseline: jams"),
        (VISCOSITY, math.inf, math.inf, "jams"),
        (PRESSURE, math.inf, math.inf, "no limit"),
    ],
)
def test_intervals_without_numbers(
    comparison: Comparison, column: str, low: float, high: float, words: str
) -> None:
    """What has no number is said, and draws no coordinate that is none."""
    case = told(comparison, column, low, high)
    assert words in words_of(one(case, column))
    assert not re.search(r"\b(nan|inf)\b", drawn(case, 2, columns=[column]))


@pytest.mark.parametrize(
    ("column", "low", "high", "words"),
    [
        # Two digits of the width 10 would print the low end as 0: one digit more.
        (TEMPERATURE, 0.4, 10.4, "+5.4 K (+0.4 to +10.4)"),
        # Width 19: no decimals; 0.0001 needs four.
        (TEMPERATURE, 1e-4, 19.0, "+9.5000 K (+0.0001 to +19.0000)"),
        # exp(0.0012) = 1.0012: two digits would read as no difference.
        (VISCOSITY, 0.0012, 0.2, "× 1.106 (1.001 to 1.221)"),
        # u = 12.35/3.92 = 3.15: two digits of it, so one decimal; 0 has no sign.
        (PRESSURE, -0.001, 12.3456, "+6.2 MPa (0.0 to +12.3)"),
    ],
)
def test_ends_beside_no_difference_keep_their_digits(
    comparison: Comparison, column: str, low: float, high: float, words: str
) -> None:
    """An interval that leaves out 0 does not read as if it touched it."""
    assert words in words_of(one(told(comparison, column, low, high), column))


def test_no_ratio_to_what_jams(comparison: Comparison) -> None:
    """Most draws jam, some do not: the middle is infinite, and no factor is told."""
    case = told(comparison, VISCOSITY, 1.0, math.inf, median=math.inf)
    axes = one(case, VISCOSITY)
    assert "no ratio: one of them jams" in words_of(axes)
    assert not lines_of(axes, "median")


def test_half_open_interval_has_an_arrow(comparison: Comparison) -> None:
    """One end without limit: an arrow beyond the scale, and the words say so."""
    case = told(comparison, PRESSURE, 1.0, math.inf, median=1.5)
    axes = one(case, PRESSURE)
    assert any("to no limit)" in text for text in words_of(axes))
    assert ends_of(axes)[1] > 1.0
    assert ">" in [line.get_marker() for line in axes.lines]


def test_no_verdict_is_explained(comparison: Comparison) -> None:
    """A bar that leaves out 0 without a verdict says why."""
    failed = told(comparison, TEMPERATURE, 1.0, 2.0, failed=0.5)
    assert "gave no number" in " ".join(texts(drawn(failed, 2)))
    plain = told(comparison, TEMPERATURE, 1.0, 2.0)
    assert "gave no number" not in " ".join(texts(drawn(plain, 2)))


def test_names_are_inert_and_all_told(comparison: Comparison) -> None:
    """A name with tags is text; the others are in the key of the axes and on top."""
    svg = drawn(comparison)
    assert "<script" not in svg
    assert f"Differences from {SCRIPT}" in texts(svg)
    assert "●\N{NO-BREAK SPACE}the same, ■\N{NO-BREAK SPACE}sorbitol" in texts(svg)
    labels = differences(comparison).get_legend_handles_labels()[1]
    assert labels == ["the same", "sorbitol"]


def test_mixes_of_the_same_shares_are_told_apart() -> None:
    """65/35 against 65/35 says nothing: then what differs is named, too."""
    mixes = ["KNO3:65 sucrose:35", "KNO3:65 sorbitol:35"]
    svg = drawn(compare(mixes, draws=100))
    assert "65/35 sorbitol against 65/35 sucrose" in texts(svg)


def test_description_tells_every_row(comparison: Comparison) -> None:
    """Who cannot see the picture reads column, difference, interval and verdict."""
    svg = drawn(told(comparison, TEMPERATURE, -30.0, -10.0), 2)
    desc = svg.partition("<desc")[2].partition("</desc>")[0]
    assert "flame temperature, sorbitol: −20 K (−30 to −10), lower" in desc
    assert "relative solids at 20 °C, sorbitol: not computed" in desc


@pytest.mark.slow
def test_words_stay_inside_the_picture(comparison: Comparison) -> None:
    """Beside the bars on a page, above them on a phone."""
    draw = differences_drawing(comparison, 2, show=Shown(), invented=True)
    for width in (640, 340):
        figure = draw(width).finish()
        FigureCanvasAgg(figure).draw()
        (axes,) = figure.axes
        for text in axes.texts:
            box = text.get_window_extent()
            assert 0.0 < box.x0 < box.x1 < width, text.get_text()
    assert draw(640).title == f"EXAMPLE: sorbitol against {SCRIPT}"


@pytest.mark.slow
def test_more_mixes_than_marks() -> None:
    """The first six others are drawn, and that is said."""
    mixes = [
        cs.Mix.weigh({"KNO3": share, "sucrose": 100 - share}, name=f"mix {share}")
        for share in range(60, 68)
    ]
    words = " ".join(texts(drawn(compare(mixes, draws=100))))
    assert f"The first {MOST} of 7 other mixes are drawn." in words
    assert "mix 66" in words
    assert "mix 67" not in words


def test_a_mark_and_its_name_stay_on_one_line() -> None:
    """Where there is room for the mark alone, the line breaks before it."""
    key = "●\N{NO-BREAK SPACE}base, ■\N{NO-BREAK SPACE}sorbitol"
    lines = wrapped(key, width_of("●\N{NO-BREAK SPACE}base, ■") + 1.0)
    assert lines == key.split(" ")


def test_refused(comparison: Comparison) -> None:
    """The baseline beside itself, a place that is none, an unknown column, units."""
    for place in (0, 3, -1):
        with pytest.raises(InputError, match="not beside the baseline"):
            differences(comparison, place)
    with pytest.raises(cs.UnknownNameError):
        differences(comparison, 1, columns=["flame_temperature"])
    with pytest.raises(cs.UnknownNameError, match="units"):
        differences(comparison, 1, units="metric")


def check(measured: float, high: float = 1.5, **more: Any) -> Check:
    """Return a check of 1 g, foreseen between 0.5 and 1.5 g."""
    made = {"batch": "<b>", "quantity": "water lost", "unit": "g", "predicted": 1.0}
    return Check(**made | {"low": 0.5, "high": high, "measured": measured} | more)


CHECKS = (check(1.0), check(3.0), check(1.0, math.inf), check(1.2, counts=False))


def test_checks_stand_where_they_were_measured() -> None:
    """1, 3, 1 and 1.2 of what was foreseen; the second outside, the last hollow."""
    axes = checks(CHECKS)
    inside, outside = lines_of(axes, "inside"), lines_of(axes, "outside")
    assert [float(x.get_xdata()[0]) for x in inside] == [1.0, 1.0, 1.2]
    assert [float(x.get_xdata()[0]) for x in outside] == [3.0]
    assert [x.get_markerfacecolor() for x in inside] == [INK, INK, PAPER]
    bars = [list(bar.get_xdata()) for bar in lines_of(axes, "interval")]
    assert bars[0] == [0.5, 1.5]
    # 3 with 8 % of room, in ln: 3^1.08 = 3.28; the endless band goes to there.
    assert axes.get_xlim() == pytest.approx((3.0**-1.08, 3.0**1.08))
    assert bars[2] == pytest.approx([0.5, 3.0**1.08])
    assert ">" in [line.get_marker() for line in axes.lines]
    labels = axes.get_legend_handles_labels()[1]
    assert labels == ["inside its band", "outside its band", "not counted"]


def test_checks_of_one_quantity_have_a_narrow_axis() -> None:
    """A c* that is known to 1 %: the axis ends at 5 %, not at half and double."""
    axes = checks([check(1.01, 1.02, low=0.98)])
    assert axes.get_xlim() == pytest.approx((1.05**-1.08, 1.05**1.08))
    words = [label.get_text() for label in axes.get_xticklabels()]
    assert {"0.96", "1", "1.04"} <= {*words}


def test_checks_far_off_stay_on_the_picture() -> None:
    """A factor of 1000 at most; beyond it a mark stands at the edge."""
    axes = checks([check(1e5), check(0.0)])
    assert axes.get_xlim() == pytest.approx((1e-3, 1e3))
    at = [float(x.get_xdata()[0]) for x in lines_of(axes, "outside")]
    assert at == pytest.approx([1e3, 1e-3])


def test_what_the_picture_of_checks_says() -> None:
    """A panel a quantity; how many inside; EXAMPLE; names are inert."""
    more = replace(CHECKS[0], quantity="pour viscosity", batch="2")
    draw = checks_drawing([*CHECKS, more], invented=True, name="some")
    sheet = draw(340)
    assert sheet.title == "EXAMPLE: Measured over predicted"
    assert "5 measurements, 4 inside their 95 % bands. <b> water lost 1.0, inside" in (
        sheet.words
    )
    heads = [axes.get_title(loc="left") for axes in sheet.figure.axes]
    assert heads == ["water lost", "pour viscosity"]
    svg = written(draw, ".svg").decode()
    assert "&lt;b&gt;" in svg
    assert 'id="some-' in svg
    assert "EXAMPLE" not in checks_drawing(CHECKS)(640).title


def test_checks_without_a_prediction_are_refused() -> None:
    """Nothing foreseen, or foreseen as 0: there is no ratio."""
    for found in ([], [check(1.0, predicted=0.0)], [check(math.nan)]):
        assert not comparable(found)
        with pytest.raises(InputError, match="both predicted and measured"):
            checks(found)


def test_marks_take_their_ink_from_where_they_stand(comparison: Comparison) -> None:
    """A mark that brings its own ink keeps it in the dark, where rules miss copies."""
    svg = drawn(comparison)
    made = re.findall(r'<path id="[^>]*>', svg)
    assert made
    assert not [mark for mark in made if "stroke: #" in mark]
