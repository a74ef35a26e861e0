"""The front of a trade-off: a search whose numbers can be derived by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.axes import Axes
from small_search import COLUMNS, QUICK, THREE, Counted, Plain, limit, outcome, standard

import castsugar as cs
from castsugar import InputError
from castsugar.comparison.directions import cloud
from castsugar.limits import Limit
from castsugar.optimize.optimum import optimise
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.problem import Goal, Trials
from castsugar.optimize.space import Space
from castsugar.optimize.trade_off import Front, trade_off
from castsugar.plot import style
from castsugar.plot.export import written
from castsugar.plot.trade_off import front_drawing
from castsugar.report.search_words import Asked
from castsugar.report.shown import Shown

pytestmark = pytest.mark.exact

PEAK = "peak_pressure_MPa"
P95 = f"{PEAK}, 95 of 100"


def labels(axes: Axes) -> list[str]:
    found: list[str] = axes.get_legend_handles_labels()[1]
    return found


def test_front_trials_and_own_mixes() -> None:
    """Most a + 2 b against least a, c at least 0.1, b at most 0.3: b stays 0.3.

    From a 0.6 (objective 120, temperature 600) to a 0.2 (objective 80, 200).
    """
    tried = {"mine": {"a": 0.4, "b": 0.4, "c": 0.2}, "odd": {"z": 1.0}}
    made = outcome(THREE, limit(300.0), front=True, tried=tried)
    axes = cs.plot.front(made)
    assert axes.get_title("left") == "flame temperature, K: less is better"
    assert axes.get_xlabel() == "Isp, ideal, s: more is better"
    assert labels(axes) == [
        "front: none is better in both",
        "tried by the search, keeps all limits",
        "best mix: 120.0 s, 600.0 K",
        "mine: 120.0 s, 400.0 K; breaks theoretical density",
    ]
    assert {t.get_text() for t in axes.texts} == {"best mix", "mine"}
    line = np.asarray(axes.get_lines()[0].get_xydata(), dtype=float)
    assert line[[0, -1]] == pytest.approx(np.array([[120.0, 600.0], [80.0, 200.0]]))
    assert len(line) == len(made.front.first)  # type: ignore[union-attr]
    dots = np.asarray(axes.get_lines()[1].get_xydata(), dtype=float)
    a = 1e-3 * dots[:, 1]
    b = 0.5 * (1e-2 * dots[:, 0] - a)
    assert ((b <= 0.3 + 1e-6) & (a >= 0.2 - 1e-9)).all()
    assert len(dots) > 20
    assert len(cloud(made)) >= len(dots)
    # What breaks a limit is hollow.
    best, mine = (one for one in axes.get_lines() if one.get_zorder() == 5.0)
    assert best.get_markerfacecolor() == style.ORANGE
    assert mine.get_markerfacecolor() == style.PAPER


def test_what_lies_far_off_is_named_in_the_key_alone() -> None:
    """Objectives 80 to 120: of 120 together 10 to 120 are near, 80 to 290 are not."""
    near, far = {"a": 0.1, "b": 0.0, "c": 0.9}, {"a": 0.9, "b": 1.0, "c": 0.0}
    made = outcome(THREE, limit(300.0), front=True, tried={"near": near, "far": far})
    axes = cs.plot.front(made)
    low = axes.get_xlim()[0]
    told = {words.partition(":")[0]: words for words in labels(axes)}
    assert "outside" not in told["near"]
    assert "outside" in told["far"]
    assert 0.0 < low < 10.0


class Pressed(Counted):
    """A pressure of 10 a MPa, whose 95 % quantile is 2 MPa more; an impulse a + 2 b."""

    columns = (PEAK, "specific_impulse_s", P95)  # type: ignore[assignment]

    def evaluate(self, x: np.ndarray) -> np.ndarray:
        a, b = x[:, 0], x[:, 1]
        return np.stack([10.0 * a, 100.0 * (a + 2.0 * b), 10.0 * a + 2.0], axis=1)


def pressed(most: float, **more: Any) -> Outcome:
    """Return a search with a limit on the quantile, and a front of the median."""
    space = Space(bounds={"a": (0.2, 0.9), "b": (0.0, 0.3), "c": (0.1, 0.8)})
    bound = Limit(
        column=P95, key=PEAK, sense="<=", value=most, probability=0.95,
        whose="your rating",
    )  # fmt: skip
    goals = [
        Goal(objective=name, maximise=way, limits=(bound,))
        for name, way in ((PEAK, False), ("specific_impulse_s", True))
    ]
    made = outcome(space)
    line = trade_off(Pressed(), *goals, space, levels=5, effort=QUICK)
    found = optimise(Pressed(), goals[1], space, effort=QUICK)
    wanted = ((PEAK, False), ("specific_impulse_s", True))
    task: Any = Plain(space=space, made=Pressed(), front=wanted)
    return replace(made, task=task, found=found, front=line, **more)


def test_a_limited_column_is_drawn_at_its_quantile_a_pressure_upwards() -> None:
    """a from 0.2 to 0.5 (p95 at most 7 MPa): p95 from 4 to 7 MPa; b stays 0.3."""
    axes = cs.plot.front(pressed(7.0))
    assert axes.get_title("left") == (
        "peak pressure, 95 of 100 below, MPa: less is better"
    )
    line = np.asarray(axes.get_lines()[0].get_xydata(), dtype=float)
    assert (line[:, 1].min(), line[:, 1].max()) == pytest.approx((4.0, 7.0))
    assert line[:, 0].max() == pytest.approx(110.0)
    assert labels(axes)[0].endswith("by best estimates")
    (case,) = [one for one in axes.get_lines() if one.get_linewidth() == 2.8]
    assert case.get_ydata()[0] == 7.0
    assert "allowed 7 MPa" in [t.get_text() for t in axes.texts]
    (shaded,) = [p for p in axes.patches if p.get_alpha() == 0.1]
    assert shaded.get_y() == 7.0


def test_an_allowed_pressure_far_off_is_told_at_the_edge() -> None:
    """p95 from 4 to 11 MPa, the case holds 50: its line would flatten the front."""
    axes = cs.plot.front(pressed(50.0))
    assert not [one for one in axes.get_lines() if one.get_linewidth() == 2.8]
    told = [t.get_text() for t in axes.texts]
    assert "allowed 50 MPa, above the picture \N{UPWARDS ARROW}" in told
    assert axes.get_ylim()[1] < 15.0


@pytest.mark.slow
def test_decades_ask_for_a_logarithmic_axis() -> None:
    """A mix of 20 MPa beside 4 to 7: in decades less than three such ranges away."""
    high = {PEAK: 18.0, P95: 20.0, "specific_impulse_s": 100.0}
    axes = cs.plot.front(pressed(7.0, tried_values={"hot": high}))
    assert axes.get_yscale() == "log"
    assert axes.get_ylim()[1] > 20.0
    assert "hot: 100.0 s, 20.00 MPa; breaks peak pressure" in labels(axes)
    assert cs.plot.front(pressed(7.0)).get_yscale() == "linear"


def test_units_of_the_country() -> None:
    """7 MPa are 1015 psi, of 6894.757 Pa each."""
    axes = cs.plot.front(pressed(7.0), units="us")
    assert axes.get_title("left") == (
        "peak pressure, 95 of 100 below, psi: less is better"
    )
    assert np.nanmax(axes.get_lines()[0].get_ydata()) == pytest.approx(1015.3, abs=0.1)


def test_no_front_is_refused() -> None:
    made = standard()
    with pytest.raises(InputError, match="no trade-off front to draw: none was asked"):
        cs.plot.front(made)
    wanted = ((COLUMNS[0], True), (COLUMNS[2], False))
    none = np.empty(0)
    nowhere = Front(
        status="infeasible",
        reason="",
        fractions=np.empty((0, 3)),
        first=none,
        second=none,
        trials=Trials(
            fractions=np.empty((0, 3)),
            values=np.empty((0, 3)),
            region=np.empty(0, dtype=np.int64),
            stage=(),
        ),
    )
    task: Any = Plain(space=THREE, front=wanted)
    with pytest.raises(InputError, match="no mix keeps all limits"):
        cs.plot.front(replace(made, front=nowhere, task=task))


def test_names_are_escaped() -> None:
    evil = '<b> & "x"</svg>'
    tried = {evil: {"a": 0.5, "b": 0.3, "c": 0.2}}
    made = outcome(THREE, limit(300.0), front=True, tried=tried)
    drawing = front_drawing(
        made, asked=Asked(file="", before="EXAMPLE: "), show=Shown("si")
    )
    svg = written(drawing, ".svg").decode()
    assert "<b>" not in svg
    told = [t.strip() for t in ElementTree.fromstring(svg).itertext() if t.strip()]
    assert told[0] == "EXAMPLE: Trade-off"
    assert evil in told
    assert "Limits: theoretical density at most 300 kg/m³." in told
