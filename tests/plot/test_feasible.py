"""The map of a search: where the best mix, the limits and the bounds lie.

The objective is 100 (a + 2 b), the density 1000 b, the temperature 1000 a: the place of
every line follows by hand.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.patches import PathPatch
from small_search import COLUMNS, QUICK, THREE, limit, outcome, standard

from castsugar import InputError, Requirement
from castsugar.bench import write_example
from castsugar.cli.main import main
from castsugar.limits import RATING, Limit
from castsugar.optimize.optimum import optimise
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.rounding import rounded
from castsugar.optimize.settings import Settings
from castsugar.optimize.space import Space
from castsugar.optimize.task import Task
from castsugar.plot.export import written
from castsugar.plot.feasible import search_map_drawing
from castsugar.plot.style import INK
from castsugar.report.search_words import Asked

pytestmark = pytest.mark.exact


def sheet_of(made: Outcome, **options: Any) -> Any:
    return search_map_drawing(made, **options)(640)


def axes_of(made: Outcome, **options: Any) -> Any:
    return sheet_of(made, **options).figure.axes[0]


def keys_of(axes: Any) -> list[str]:
    return axes.get_legend_handles_labels()[1]


def words_on(sheet: Any) -> str:
    return " ".join(text.get_text() for text in sheet.figure.texts)


def shares_at(axes: Any, points: Any) -> np.ndarray:
    found = axes.transProjection.inverted().transform(points)
    return np.asarray(found) / axes.ternary_sum


def lines_of(axes: Any, width: float) -> list[np.ndarray]:
    return [
        path.vertices
        for one in axes.collections
        if np.allclose(one.get_linewidths(), width)
        for path in one.get_paths()
        if len(path.vertices)
    ]


def test_the_border_of_a_limit_lies_where_it_is() -> None:
    """1000 a at most 500: level, a = 0.5, and named; the best mix lies on it."""
    axes = axes_of(outcome(THREE, limit(500.0, column=COLUMNS[2])))
    (line,) = lines_of(axes, 2.4)
    np.testing.assert_allclose(shares_at(axes, line)[:, 0], 0.5, atol=1e-6)
    assert "flame temperature at most 500 K" in keys_of(axes)
    assert "flame temperature" in [text.get_text() for text in axes.texts]


def test_what_keeps_all_limits_is_enclosed() -> None:
    """b at most 0.3, c 0.1 to 0.5, a at least 0.2: every vertex lies on one of these.

    The lattice has steps of 0.7 / 38; inside its triangles the border is followed.
    """
    axes = axes_of(standard())
    (line,) = lines_of(axes, 4.0)
    a, b, c = shares_at(axes, line).T
    away = np.min(np.abs([b - 0.3, b, c - 0.1, c - 0.5, a - 0.2]), axis=0)
    assert away.max() < 0.003
    assert (b.max(), c.max()) == pytest.approx((0.3, 0.5), abs=0.003)
    assert "inside: the limit kept" in keys_of(axes)
    (star,) = [one for one in axes.lines if one.get_marker() == "*"]
    best = shares_at(axes, star.get_xydata())
    np.testing.assert_allclose(best, [[0.6, 0.3, 0.1]], atol=1e-6)


def test_nothing_is_drawn_beside_the_bounds() -> None:
    """A cover hides what the lattice has of c above 0.5."""
    axes = axes_of(standard())
    covers = [p for p in axes.patches if isinstance(p, PathPatch) and not p.get_label()]
    (cover,) = covers  # elsewhere the lattice ends at the bounds
    assert shares_at(axes, cover.get_path().vertices)[:, 2].min() == pytest.approx(0.5)
    (edge,) = [
        line for line in axes.lines if line.get_label() == "bounds of the search"
    ]
    found = {tuple(np.round(row, 6)) for row in shares_at(axes, edge.get_xydata())}
    assert found == {(0.2, 0.3, 0.5), (0.2, 0.7, 0.1), (0.5, 0.0, 0.5), (0.9, 0.0, 0.1)}


@pytest.mark.slow
def test_a_limit_without_a_border_says_so() -> None:
    loose, hard = limit(5000.0), limit(2000.0, ">=", COLUMNS[2])
    sheet = sheet_of(outcome(THREE, loose, hard))
    keys = keys_of(sheet.figure.axes[0])
    assert "theoretical density at most 5000 kg/m³: kept everywhere" in keys
    assert "flame temperature at least 2000 K: broken everywhere" in keys
    assert not any("limits kept" in key for key in keys)
    assert sheet.title == "Where the least bad mix lies"
    assert "No mix keeps all limits: this one breaks them least." in words_on(sheet)


def test_what_holds_back_is_told() -> None:
    told = words_on(sheet_of(standard()))
    assert "Held back by: limit on theoretical density" in told
    assert "Held back" not in words_on(sheet_of(outcome(THREE, limit(5000.0))))


def test_the_rating_is_the_line_of_the_allowed_pressure() -> None:
    """Thick and dark, whatever stands before it in the list of limits."""
    rating = Limit(column=COLUMNS[1], sense="<=", value=300.0, whose=RATING)
    axes = axes_of(outcome(THREE, limit(800.0, column=COLUMNS[2]), rating))
    (line,) = lines_of(axes, 2.8)
    np.testing.assert_allclose(shares_at(axes, line)[:, 1], 0.3, atol=1e-6)
    (key,) = [one for one in axes.lines if one.get_linewidth() == 2.8]
    assert key.get_color() == INK
    assert str(key.get_label()).startswith("allowed 300 MPa")


def test_not_computed_is_named() -> None:
    """Above 70 % of a nothing is computed."""
    assert "not computed" in keys_of(axes_of(outcome(THREE, limit(300.0), fails=0.7)))
    assert "not computed" not in keys_of(axes_of(standard()))


def test_mixes_tried_nearby_are_on_the_picture() -> None:
    near, far = {"a": 0.15, "b": 0.65, "c": 0.2}, {"a": 0.2, "b": 0.8, "c": 0.0}
    strange = {"z": 1.0}
    axes = axes_of(outcome(THREE, tried={"near": near, "strange": strange}))
    keys = keys_of(axes)
    assert "near: 15.0 / 65.0 / 20.0 %" in keys
    assert "strange: has other ingredients (not on the picture)" in keys
    assert "near" in [text.get_text() for text in axes.texts]
    tight = Space(bounds={"a": (0.2, 0.9), "b": (0.0, 1.0), "c": (0.4, 0.5)})
    keys = keys_of(axes_of(outcome(tight, tried={"far": far})))
    assert "far: 20.0 / 80.0 / 0.0 % (not on the picture)" in keys


@pytest.mark.parametrize("count", [2, 4])
def test_a_map_needs_three_ingredients(count: int) -> None:
    space = Space(bounds=dict.fromkeys("abcd"[:count], (0.1, 0.8)))
    with pytest.raises(InputError, match=f"three varying ingredients; here {count} "):
        search_map_drawing(outcome(space))


def test_the_front_is_joined() -> None:
    """From a 0.6 to a 0.2, b at its limit."""
    axes = axes_of(outcome(THREE, limit(300.0), front=True))
    (line,) = [one for one in axes.lines if "trade-off" in str(one.get_label())]
    found = shares_at(axes, line.get_xydata())
    np.testing.assert_allclose(found[[0, -1], 0], [0.6, 0.2], atol=1e-4)
    np.testing.assert_allclose(found[:, 1], 0.3, atol=1e-4)


def test_contours_and_zoom() -> None:
    """100 (a + 2 b) is 120: a line; the ranges are those of the axes."""
    zoom = ((0.4, 0.8), (0.1, 0.4), (0.1, 0.4))
    axes = axes_of(standard(), contours=(120.0,), zoom=zoom)
    (line,) = lines_of(axes, 0.8)
    a, b, _ = shares_at(axes, line).T
    np.testing.assert_allclose(a + 2.0 * b, 1.2, atol=1e-6)
    assert axes.get_tlim() == pytest.approx((40.0, 80.0))
    axes = axes_of(standard(), zoom="kept")
    assert axes.get_llim()[1] < 45.0  # b is at most 30 %, and some room
    never = outcome(THREE, limit(2000.0, ">=", COLUMNS[2]))
    with pytest.raises(InputError, match="--zoom kept: no mix"):
        search_map_drawing(never, zoom="kept")


@pytest.mark.slow
def test_names_are_escaped_and_bytes_repeat() -> None:
    evil = '<b> & "x"</svg> $x$'
    space = Space(bounds={evil: (0.2, 0.9), "b": (0.0, 1.0), "c": (0.1, 0.5)})
    tried = {evil * 2: {evil: 0.5, "b": 0.3, "c": 0.2}}
    made = outcome(space, limit(300.0), front=True, tried=tried)
    asked = Asked(file="", typed={"typed": "c"}, before="EXAMPLE: ")
    first = written(search_map_drawing(made, asked=asked), ".svg").decode()
    again = written(search_map_drawing(made, asked=asked), ".svg").decode()
    assert first == again
    assert "<b>" not in first
    assert "EXAMPLE: Where the best mix lies" in first
    assert "typed, %" in first


@pytest.mark.slow
def test_picture_of_a_real_search() -> None:
    """The table's own columns, an invented space; what the picture must hold."""
    space = Space(
        bounds={
            "potassium nitrate": (0.55, 0.7),
            "sucrose": (0.1, 0.4),
            "light corn syrup": (0.05, 0.3),
        }
    )
    task = Task(
        space=space,
        settings=Settings(items=space.columns),
        requirements=(Requirement(column="flame_temperature_K", at_most=1500.0),),
        tried={
            "base": {"potassium nitrate": 0.6, "sucrose": 0.2, "light corn syrup": 0.2}
        },
        effort=QUICK,
    )
    trial, problem = standard(), task.problem()
    found = optimise(problem, task.goal(), space, effort=QUICK)
    base = problem.evaluate(np.array([[0.6, 0.2, 0.2]]))[0]
    weighed = rounded(problem, space, found).percents
    given = {
        "task": task,
        "found": found,
        "percents": weighed,
        "tried_values": {"base": dict(zip(problem.columns, base, strict=True))},
    }
    made = Outcome(**{k: getattr(trial, k) for k in trial.__slots__} | given)
    sheet = sheet_of(made)
    axes = sheet.figure.axes[0]
    assert "flame temperature at most 1500 K" in keys_of(axes)
    told = [text.get_text() for text in axes.texts]
    assert {"best mix", "whole percents", "base"} <= set(told)
    assert "density specific impulse: more is better" in words_on(sheet)
    bar = sheet.figure.axes[1]
    assert "density specific impulse, kg s/m³" in bar.get_title(loc="left")


def test_options_of_the_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """Refused in one line, before the search."""
    write_example(tmp_path)
    monkeypatch.chdir(tmp_path)
    for words in (["--contours", "many"], ["--zoom", "search"]):
        assert main(["search", "--picture", "map=map.svg", *words]) == 2
        assert capsys.readouterr().err.count("\n") == 1
