"""Curves of a sweep and around the best mix: rows by hand, places known."""

from __future__ import annotations

import math
import re
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.axes import Axes
from small_search import THREE, limit, outcome, standard

import castsugar as cs
from castsugar import InputError, Requirement, UnknownNameError
from castsugar.optimize.space import Space
from castsugar.plot import style
from castsugar.plot.curves import responses_drawing
from castsugar.plot.export import written
from castsugar.report.search_words import Asked
from castsugar.report.shown import Shown

pytestmark = pytest.mark.exact

POUR, PEAK, FIRM = "pour_viscosity_Pa_s", "peak_pressure_MPa", "relative_solids_20C"
X = np.array([10.0, 20.0, 30.0])

#: What `evaluate` gives, with the quantiles that a limit and a band ask for.
TABLE: dict[str, Any] = {
    "status": ["ok", "ok", "ok"],
    "flags": ["", "", ""],
    POUR: [100.0, 8.0, 1.0],
    f"{POUR}, 2.5 of 100": [10.0, 2.0, 0.5],
    f"{POUR}, 85 of 100": [300.0, 20.0, 5.0],
    f"{POUR}, 97.5 of 100": [math.inf, 40.0, 10.0],
    PEAK: [5.0, 4.0, 3.0],
    f"{PEAK}, 95 of 100": [7.5, 6.0, 4.5],
    FIRM: [1.2, 1.0, 0.8],
    "flame_temperature_K": [1500.0, 1600.0, 1700.0],
}
POURS = Requirement(column=POUR, at_most=10.0, probability=0.85)
RATED = Requirement(column=PEAK, at_most=6.9, probability=0.95, whose="your rating")
FIRMS = Requirement(column=FIRM, at_least=0.95)


def curve(axes: Axes, label: str) -> Any:
    """Return the points of the one curve of a label, (n, 2)."""
    (line,) = [one for one in axes.get_lines() if one.get_label() == label]
    return np.asarray(line.get_xydata(), dtype=float)


def heavy(axes: Axes) -> list[Any]:
    """Return the lines of limits that are not of the case."""
    lines = [one for one in axes.get_lines() if one.get_color() == style.INK]
    return [one for one in lines if one.get_linewidth() == 2.0]


def words(axes: Axes) -> list[str]:
    """Return what is written inside axes."""
    return [text.get_text() for text in axes.texts]


def spans(axes: Axes, label: str) -> list[tuple[float, float]]:
    """Return where stretches of a name begin and end."""
    found = [p for p in axes.patches if p.get_label() == label]
    ends = [p.get_window_extent().transformed(axes.transData.inverted()) for p in found]
    return [(round(e.x0, 6), round(e.x1, 6)) for e in ends]


def test_a_sweep_has_curve_band_limit_and_the_quantile_it_asks_for() -> None:
    """The values as they stand in the table; jammed leaves the picture at its top."""
    axes = cs.plot.sweep(TABLE, X, POUR, limits=[POURS])
    assert axes.get_title("left") == "pour viscosity, Pa s"
    assert axes.get_yscale() == "log"
    np.testing.assert_allclose(
        curve(axes, "best estimate"), np.column_stack([X, TABLE[POUR]])
    )
    asked = curve(axes, "pour viscosity, 85 of 100 below")
    np.testing.assert_allclose(asked[:, 1], TABLE[f"{POUR}, 85 of 100"])
    (line,) = heavy(axes)
    assert list(line.get_ydata()) == [10.0, 10.0]
    assert words(axes) == ["at most 10 Pa s, in 85 of 100"]
    top = axes.get_ylim()[1]
    (shaded,) = [p for p in axes.patches if p.get_alpha() == 0.1]
    assert shaded.get_extents().transformed(axes.transData.inverted()).y0 == (
        pytest.approx(10.0)
    )
    bands = [one for one in axes.collections if one.get_label() == "95 % band"]
    (path,) = bands[0].get_paths()
    band = path.vertices
    assert band[band[:, 0] == 10.0][:, 1].max() > top  # infinite: off the picture
    at_20 = band[band[:, 0] == 20.0][:, 1]
    assert (at_20.min(), at_20.max()) == (2.0, 40.0)


def test_the_order_of_rows_does_not_matter() -> None:
    turned = {key: values[::-1] for key, values in TABLE.items()}
    axes = cs.plot.sweep(turned, X[::-1], FIRM)
    np.testing.assert_allclose(
        curve(axes, "best estimate"), np.column_stack([X, TABLE[FIRM]])
    )


def test_the_bar_lies_where_all_limits_are_kept() -> None:
    """Pouring keeps 30 alone, firmness 10 and 20: none keeps all.

    Without the pour limit firmness and pressure keep 20: from 15 to 25, half a step.
    """
    all_three = cs.plot.sweep(TABLE, X, FIRM, limits=[POURS, RATED, FIRMS])
    assert "keeps all 3 limits" not in all_three.get_legend_handles_labels()[1]
    axes = cs.plot.sweep(TABLE, X, FIRM, limits=[RATED, FIRMS])
    assert curve(axes, "keeps all 2 limits")[:, 0].tolist() == [15.0, 25.0]
    assert words(axes) == ["at least 0.95"]


@pytest.mark.parametrize(
    ("units", "told", "at"),
    # 1 psi is 6894.757 Pa: https://www.nist.gov/pml/special-publication-811
    [("si", "allowed 6.9 MPa", 6.9), ("us", "allowed 1000 psi", 1000.76)],
)
def test_the_allowed_pressure_is_the_line_of_all_pictures(
    units: str, told: str, at: float
) -> None:
    axes = cs.plot.sweep(TABLE, X, PEAK, limits=[RATED], units=units)
    (line,) = [one for one in axes.get_lines() if one.get_linewidth() == 2.8]
    assert line.get_ydata()[0] == pytest.approx(at, rel=1e-4)
    assert line.get_color() == style.INK
    assert words(axes) == [told]
    assert axes.get_ylim()[0] == 0.0


def test_a_margin_is_held_against_the_rating() -> None:
    """Margin 0 is the allowed pressure; a limit of one's own is none of the case."""
    table = TABLE | {"pressure_margin_percent": [-8.0, 13.0, 35.0]}
    axes = cs.plot.sweep(table, X, "pressure_margin_percent", limits=[RATED])
    assert words(axes) == ["at least 0 %"]
    own = Requirement(column=PEAK, at_most=6.9)
    axes = cs.plot.sweep(table, X, "pressure_margin_percent", limits=[own])
    assert words(axes) == []


def test_the_band_of_data_is_twice_their_uncertainty() -> None:
    """1.96 standard deviations hold 95 % of a normal distribution."""
    table = TABLE | {"flame_temperature_u_K": [10.0, 10.0, 20.0]}
    axes = cs.plot.sweep(table, X, "flame_temperature_K")
    (path,) = axes.collections[0].get_paths()
    at_30 = path.vertices[path.vertices[:, 0] == 30.0][:, 1]
    assert (at_30.min(), at_30.max()) == pytest.approx((1700 - 39.2, 1700 + 39.2))


def test_what_does_not_burn_and_what_hardly_burns_are_two_marks() -> None:
    """And a value that is missing is a third; each reaches half a step to its side."""
    states = {
        "status": ["cold", "ok", "ok", "ok", "not computed: scope"],
        "flags": ["", "flame below 900 K: x", "", "y; freezing at the throat", ""],
        "flame_temperature_K": [700.0, 880.0, 1300.0, 1400.0, math.nan],
        FIRM: [1.0, 1.1, 1.2, 1.3, math.nan],
    }
    run = [10.0, 20.0, 30.0, 40.0, 50.0]
    axes = cs.plot.sweep(states, run, "flame_temperature_K")
    assert spans(axes, "does not burn") == [(10.0, 15.0)]
    assert spans(axes, "flame below 900 K") == [(15.0, 25.0)]
    assert spans(axes, "freezing at the throat") == [(35.0, 45.0)]
    assert spans(axes, "not computed") == [(45.0, 50.0)]
    hatches = {p.get_hatch() for p in axes.patches}
    assert len(hatches) == 4
    # A mix that does not burn has no flame; how firm it sets is another matter.
    assert math.isnan(curve(axes, "best estimate")[0, 1])
    firm = cs.plot.sweep(states, run, FIRM)
    assert curve(firm, "best estimate")[0, 1] == 1.0
    assert {p.get_label() for p in firm.patches} == {"not computed"}
    us = cs.plot.sweep(states, run, "flame_temperature_K", units="us")
    assert spans(us, "flame below 1160 °F")  # 900 K = 626.85 C = 1160.33 F


def test_a_gap_of_the_kitchen_has_a_meaning() -> None:
    """No window is an answer; not computed is none."""
    table = {
        "flow_class": ["pours", "jammed", "not computed"],
        "pour_window_width_K": [20.0, math.nan, math.nan],
    }
    axes = cs.plot.sweep(table, X, "pour_window_width_K")
    assert spans(axes, "no pour window") == [(15.0, 25.0)]
    assert spans(axes, "not computed") == [(25.0, 30.0)]


def test_what_jams_is_a_stretch_with_that_word() -> None:
    """An infinite viscosity is an answer: no panel stays empty without a word."""
    axes = cs.plot.sweep({POUR: [math.inf, math.inf, 9.0]}, X, POUR)
    assert spans(axes, "jams") == [(10.0, 25.0)]
    every = cs.plot.sweep({POUR: [math.inf] * 3}, X, POUR)
    assert spans(every, "jams") == [(10.0, 30.0)]


def test_one_mix_is_a_mark_and_nothing_computed_is_no_error() -> None:
    one = {key: values[:1] for key, values in TABLE.items()}
    axes = cs.plot.sweep(one, X[:1], POUR)
    assert axes.get_lines()[0].get_marker() == "o"
    none = {"status": ["not computed"] * 3, FIRM: [None, math.nan, math.nan]}
    axes = cs.plot.sweep(none, X, FIRM, limits=[FIRMS])
    assert spans(axes, "not computed") == [(10.0, 30.0)]


def test_shares_of_draws_are_of_100() -> None:
    table = {"pours_probability": [0.02, 0.5, 0.97]}
    axes = cs.plot.sweep(table, X, "pours_probability")
    assert axes.get_title("left") == "pours, of 100 draws"
    assert curve(axes, "best estimate")[:, 1] == pytest.approx([2.0, 50.0, 97.0])


def test_what_cannot_be_swept_is_refused() -> None:
    with pytest.raises(UnknownNameError, match=FIRM):
        cs.plot.sweep(TABLE, X, "relative_solids_20")
    with pytest.raises(InputError, match=re.escape("(2,); give one value a row")):
        cs.plot.sweep(TABLE, X[:2], FIRM)
    with pytest.raises(UnknownNameError, match="known: si, us"):
        cs.plot.sweep(TABLE, X, FIRM, units="metric")


def test_axes_of_a_caller_are_drawn_on() -> None:
    mine = style.new_axes()
    assert cs.plot.sweep(TABLE, X, FIRM, ax=mine) is mine
    assert mine.get_legend_handles_labels()[1] == ["best estimate"]


# ----------------------------------------------------------------------------
# Around the best mix: a search whose numbers are derived in tests/report.


def thick(axes: Axes) -> list[float]:
    """Return how long the stretches are that keep all. [percent of the mix]"""
    found = []
    for line in axes.get_lines():
        if line.get_linewidth() == 3.6:
            x, y = np.asarray(line.get_xydata(), dtype=float).T
            kept = x[np.isfinite(y)]
            found.append(float(kept.max() - kept.min()) if len(kept) else 0.0)
    return found


def test_the_best_mix_says_how_far_and_what_stops() -> None:
    """Best 0.6, 0.3, 0.1: a cannot move, b down to 0, c up to 0.5; columns straight."""
    axes = cs.plot.responses(standard())
    assert axes.get_title("left") == "Isp, ideal, s: more is better"
    told = axes.get_legend_handles_labels()[1]
    assert told == [
        "a 60.0 %: no less (theoretical density), no more (c at least 10 %)",
        "b 30.0 %: down to 0.0 % (b at least 0 %), no more (theoretical density)",
        "c 10.0 %: no less (c at least 10 %), up to 50.0 % (c at most 50 %)",
    ]
    assert thick(axes) == pytest.approx([0.0, 30.0, 40.0], abs=1e-4)
    # The objective 100 (a + 2 b) is 120 at the best mix; a bar needs draws.
    (best,) = [one for one in axes.get_lines() if one.get_markersize() == 7.0]
    assert list(best.get_ydata()) == pytest.approx([120.0])
    assert not [one for one in told if "95 % band" in one]


def test_a_panel_of_a_limit_shows_its_line() -> None:
    made = standard()
    axes = cs.plot.responses(made, "density_kg_m3", units="us")
    (line,) = heavy(axes)
    # 1 lb/in3 is 27679.9 kg/m3: https://www.nist.gov/pml/special-publication-811
    assert line.get_ydata()[0] == pytest.approx(300.0 / 27679.9, rel=1e-5)
    assert words(axes) == ["at most 0.0108 lb/in³"]
    with pytest.raises(UnknownNameError, match="flame_temperature_K"):
        cs.plot.responses(made, "flame_temperature_C")


def test_no_stretch_is_thick_where_no_mix_keeps_all() -> None:
    hard = limit(2000.0, ">=", "flame_temperature_K")
    axes = cs.plot.responses(outcome(THREE, hard))
    assert thick(axes) == [0.0, 0.0, 0.0]


def test_a_mix_that_failed_leaves_a_gap() -> None:
    """Above 70 % of a nothing is computed."""
    axes = cs.plot.responses(outcome(THREE, limit(300.0), fails=0.7))
    dashed = [one for one in axes.get_lines() if one.get_linewidth() == 1.2]
    x, y = np.asarray(dashed[0].get_xydata(), dtype=float).T
    assert np.isnan(y[x > 10.0 + 70.0 / 48.0]).all()
    assert np.isfinite(y[x < 10.0]).all()


def test_the_picture_names_ingredients_as_typed_and_escapes_them() -> None:
    evil = '<b> & "x"</svg>'
    space = Space(bounds={evil: (0.2, 0.9), "b": (0.0, 1.0), "c": (0.1, 0.5)})
    asked = Asked(file="", typed={"KNO3 <1>": evil}, before="EXAMPLE: ")
    drawing = responses_drawing(
        outcome(space, limit(300.0)), asked=asked, show=Shown("si")
    )
    svg = written(drawing, ".svg").decode()
    told = [t.strip() for t in ElementTree.fromstring(svg).itertext() if t.strip()]
    assert told[0] == "EXAMPLE: Effect of each ingredient"
    assert any(one.startswith("KNO3 <1> 60.0 %") for one in told)
    assert {"all limits and bounds kept", "some limit or bound broken"} <= set(told)
    assert evil not in svg
