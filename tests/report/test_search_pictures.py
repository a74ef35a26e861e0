"""Pictures of a search: what is computed for them, and what stands on them."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from small_search import COLUMNS, QUICK, THREE, Counted, Plain, limit, outcome, standard

from castsugar import InputError, Requirement
from castsugar.comparison.directions import directions
from castsugar.limits import Limit
from castsugar.optimize.optimum import optimise
from castsugar.optimize.plane import broken, plane, unknown
from castsugar.optimize.problem import Goal
from castsugar.optimize.rounding import weigh_out
from castsugar.optimize.search import Outcome
from castsugar.optimize.space import Space
from castsugar.optimize.task import Settings, Task
from castsugar.report.search_map import search_map
from castsugar.report.search_words import fault_words
from castsugar.report.svg.patches import between, cut, inside, patches_of

pytestmark = pytest.mark.exact

SVG = "{http://www.w3.org/2000/svg}"


def texts(picture: str) -> list[str]:
    """Return the words on a picture, which is well-formed."""
    root = ElementTree.fromstring(picture)
    return [t.text or "" for t in root.iter(f"{SVG}text")]


def area(data: str) -> float:
    """Return the area of the closed polygons of a path [px2]."""
    total = 0.0
    for part in re.findall(r"M([^MZ]+)Z", data):
        points = np.array([[float(v) for v in at.split()] for at in part.split("L")])
        x, y = points.T
        total += 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
    return total


def test_directions_keep_the_ratio_of_the_others() -> None:
    """Best: c at its least, 0.1; b at its limit, 0.3; so a is 0.6.

    Along a, b = 0.3 (1 - a) / 0.4 = 0.75 (1 - a): at most 0.3 down to a = 0.6, where it
    is; c = 0.25 (1 - a) falls below 0.1 above it: the best cannot move. Along c,
    b = 0.3 (1 - c) / 0.9 only falls, a = 2 b stays above 0.2: up to c = 0.5. Along b it
    is limited upward; downward c = 0.1 (1 - b) / 0.7 grows, a = 6 c is at most 0.9 (at
    b = 0, 0.857): down to b = 0.
    """
    made = outcome(THREE, limit(300.0))
    np.testing.assert_allclose(made.found.fractions, [0.6, 0.3, 0.1], atol=1e-9)
    ran = directions(made)
    a, b, c = ran.ways
    assert len(made.task.problem().batches) == 1  # type: ignore[attr-defined]
    assert (a.ingredient, b.ingredient, c.ingredient) == ("a", "b", "c")
    np.testing.assert_allclose(a.reach, 0.0, atol=1e-6)
    assert a.stops == ("density_kg_m3 <= 300", "c at least 10 %")
    np.testing.assert_allclose(c.reach, (0.0, 0.4), atol=1e-6)
    assert c.stops == ("c at least 10 %", "c at most 50 %")
    np.testing.assert_allclose(b.reach, (-0.3, 0.0), atol=1e-6)
    assert b.stops == ("b at least 0 %", "density_kg_m3 <= 300")
    # The columns are straight along a direction: a + 2 b = 4 b = 4 (1 - c) / 3.
    expected = 400.0 / 3.0 * (0.9 - c.change)
    np.testing.assert_allclose(c.values[:, 0], expected, rtol=1e-7)
    np.testing.assert_allclose(a.values[:, 1], 750.0 * (0.4 - a.change), atol=1e-9)
    np.testing.assert_allclose([a.change[0], a.change[-1]], [-0.4, 0.3], atol=1e-9)
    assert b.change[-1] == pytest.approx(0.7)


def test_the_place_at_which_a_limit_breaks_is_exact() -> None:
    """Best again 0.6, 0.3, 0.1. Along b, a = 6 (1 - b) / 7 reaches 0.7 at b = 11 / 60.

    There, and only there, it begins to break, whatever the steps.
    """
    made = outcome(THREE, limit(300.0), limit(700.0, column=COLUMNS[2]))
    (way,) = [w for w in directions(made).ways if w.ingredient == "b"]
    assert way.reach[0] == pytest.approx(11.0 / 60.0 - 0.3, abs=1e-6)
    assert way.stops[0] == "flame_temperature_K <= 700"
    place = int(np.argmax(way.kept))
    assert way.change[place] == pytest.approx(way.reach[0])
    assert way.values[place, 2] == pytest.approx(700.0, rel=1e-6)


def test_fixed_parts_stay_and_choices_are_made() -> None:
    """The oxide keeps its 2 %; the slot runs under the name of what occupies it."""
    space = Space(
        bounds={"a": (0.2, 0.8), "slot": (0.1, 0.5)},
        fixed={"oxide": 0.02},
        choices={"slot": ("b", "d")},
    )
    made = outcome(space, limit(250.0))
    # Only b adds to the objective beside a: it is chosen.
    assert made.found.choice == {"slot": "b"}
    asked: list[np.ndarray] = []
    made.task.problem().evaluate = lambda x: (asked.append(x), Counted().evaluate(x))[1]  # type: ignore[method-assign]
    ran = directions(made)
    assert [w.ingredient for w in ran.ways] == ["a", "b"]
    (mixes,) = asked
    np.testing.assert_allclose(mixes[:, 3], 0.02)
    np.testing.assert_allclose(mixes.sum(axis=1), 1.0)
    assert (mixes[:, 2] == 0.0).all()


def test_a_mix_that_fails_breaks_and_leaves_a_gap() -> None:
    """Above 70 % of a nothing is computed."""
    made = outcome(THREE, limit(300.0), fails=0.7)
    (way,) = [w for w in directions(made).ways if w.ingredient == "a"]
    failed = np.isnan(way.values).any(axis=1)
    assert (way.share + way.change[failed] > 0.7 - 0.7 / 48).all()
    assert failed.any()
    assert not way.kept[np.isnan(way.values[:, 0]) & (way.change > 0.15)].any()
    assert "not computed" in texts(search_map(made))


def test_no_direction_is_refused() -> None:
    fixed = Space(bounds={"a": (0.6, 0.6), "b": (0.4, 0.4)})
    with pytest.raises(InputError, match="least two ingredients"):
        directions(outcome(fixed))


def test_the_lattice_covers_the_space_in_one_batch() -> None:
    """Room above the least shares 0.2, 0, 0.1 is 0.7; corners by hand.

    a 0.9 leaves c 0.1; a 0.2 leaves b 0.7 with c 0.1, b 0.3 with c 0.5; c 0.5 leaves a
    0.5 with b 0.
    """
    made = plane_of(THREE)
    assert made.low == pytest.approx((0.2, 0.0, 0.1))
    corners = sorted(tuple(round(v, 9) for v in row) for row in made.outline.tolist())
    assert corners == [
        (0.2, 0.3, 0.5),
        (0.2, 0.7, 0.1),
        (0.5, 0.0, 0.5),
        (0.9, 0.0, 0.1),
    ]
    np.testing.assert_allclose(made.shares.sum(axis=1), 1.0)
    inside_space = (made.rows >= 0.0).all(axis=1)
    # The space is 0.7^2 - 0.3^2 of 0.7^2 of the triangle (in units of its side).
    assert 400 < inside_space.sum() < len(made.shares) < 900
    # Every mix of the space lies between points of the lattice: none farther than one
    # step from its corners.
    for corner in made.outline:
        near = np.abs(made.shares - corner).max(axis=1).min()
        assert near <= made.step


def plane_of(space: Space, *limits: Limit, **more: Any) -> Any:
    made = outcome(space, *limits, **more)
    found = plane(made)
    assert made.task.problem().batches == [len(found.shares)]  # type: ignore[attr-defined]
    return found


def test_the_plane_of_a_choice_with_a_fixed_part() -> None:
    space = Space(
        bounds={"a": (0.2, 0.8), "slot": (0.1, 0.5), "c": (0.1, 0.5)},
        fixed={"oxide": 0.02},
        choices={"slot": ("b", "d")},
    )
    made = plane_of(space, limit(400.0))
    assert made.corners == ("a", "b", "c")
    assert made.fixed == {"oxide": pytest.approx(0.02)}
    assert made.total == pytest.approx(0.98)
    mix = np.array([0.49, 0.294, 0.0, 0.196, 0.02])
    assert made.shares_of(mix) == pytest.approx((0.5, 0.3, 0.2))
    assert made.shares_of(np.array([0.5, 0.0, 0.28, 0.2, 0.02])) is None


def test_mixes_tried_nearby_are_on_the_picture() -> None:
    near, far = {"a": 0.15, "b": 0.65, "c": 0.2}, {"a": 0.2, "b": 0.8, "c": 0.0}
    tight = Space(bounds={"a": (0.2, 0.9), "b": (0.0, 1.0), "c": (0.4, 0.5)})
    assert plane_of(THREE, tried={"near": near}).low == pytest.approx((0.15, 0.0, 0.1))
    # 0.4 more of room on top of 0.4 is too much.
    assert plane_of(tight, tried={"far": far}).low == pytest.approx((0.2, 0.0, 0.4))
    words = " ".join(texts(search_map(outcome(tight, tried={"far": far}))))
    assert "far: 20.0 / 80.0 / 0.0 % (not on the picture)" in words


@pytest.mark.parametrize("count", [2, 4])
def test_a_map_needs_three_ingredients(count: int) -> None:
    space = Space(bounds=dict.fromkeys("abcd"[:count], (0.1, 0.8)))
    with pytest.raises(InputError, match=f"three varying ingredients; here {count} "):
        search_map(outcome(space))


def test_the_clear_part_has_the_area_of_what_keeps_all_limits() -> None:
    """Of the triangle above 0.2, 0, 0.1 (side 0.7), c at most 0.5 cuts off 0.3^2.

    b at most 0.3 leaves the strip between b 0 and 0.3: 0.7^2 - 0.4^2, less what c above
    0.5 takes of it: all of 0.3^2 (there b is at most 0.3). Areas in units of the side.
    """
    root = ElementTree.fromstring(search_map(standard()))
    paths = [path for path in root.findall(f"{SVG}path") if "Z" in path.get("d", "")]
    clear = sum(
        area(path.get("d", "")) for path in paths if path.get("stroke-width") == "0.6"
    )
    (group,) = [g for g in root.findall(f"{SVG}g") if g.get("opacity")]
    faded = sum(area(path.get("d", "")) for path in group)
    side = 470.0**2 * np.sqrt(0.75) / 2.0 / 0.7**2
    assert faded / side == pytest.approx(0.7**2 - 0.3**2, rel=2e-3)
    assert clear / side == pytest.approx(0.7**2 - 0.4**2 - 0.3**2, rel=2e-3)


def test_the_border_of_a_limit_lies_where_it_is() -> None:
    """A limit on the upper corner's ingredient is level: 0.5 of a, 0.3 of 0.7 up."""
    picture = search_map(outcome(THREE, limit(500.0, column=COLUMNS[2])))
    root = ElementTree.fromstring(picture)
    (line,) = [p for p in root.iter(f"{SVG}path") if p.get("stroke-width") == "2.6"]
    heights = [float(at.split()[1]) for at in re.split("[ML]", line.get("d", ""))[1:]]
    outline = root.findall(f"{SVG}path")[0].get("d", "")  # top, left and right corner
    (_, top), (_, base), _ = (
        [float(v) for v in at.split()] for at in outline.strip("MZ").split("L")
    )
    expected = base + 0.3 / 0.7 * (top - base)
    np.testing.assert_allclose(heights, expected, atol=0.02)
    assert "flame temperature" in texts(picture)
    assert "flame temperature at most 500 K" in texts(picture)


def test_a_limit_without_a_border_says_so() -> None:
    loose, hard = limit(5000.0), limit(2000.0, ">=", COLUMNS[2])
    made = outcome(THREE, loose, hard)
    words = texts(search_map(made))
    assert "theoretical density at most 5000 kg/m³: kept everywhere" in words
    assert "flame temperature at least 2000 K: broken everywhere" in words
    assert "Where the least bad mix lies" in words
    assert "No mix keeps all limits: this one breaks them least." in words


def test_decades_are_interpolated_by_their_logarithm() -> None:
    """Pressure 10^(10 b): the limit 10 breaks at b = 0.1, wherever the steps lie."""

    class Steep(Counted):
        columns = ("peak_pressure_MPa", "specific_impulse_s")

        def evaluate(self, x: np.ndarray) -> np.ndarray:
            return np.stack([10.0 ** (10.0 * x[:, 1]), x[:, 0] + x[:, 1]], axis=1)

    space = Space(bounds={"a": (0.0, 1.0), "b": (0.0, 0.7), "c": (0.3, 0.9)})
    most = Limit(column="peak_pressure_MPa", sense="<=", value=10.0, logarithmic=True)
    goal = Goal(objective="specific_impulse_s", limits=(most,))
    found = optimise(Steep(), goal, space, effort=QUICK)
    base = outcome(space)
    made = Outcome(
        **{
            **{k: getattr(base, k) for k in base.__slots__},
            "task": Plain(space=space, made=Steep()),
            "found": found,
        }
    )
    (way,) = [w for w in directions(made).ways if w.ingredient == "b"]
    # Down from the best, c = 0.3 (1 - b) / (1 - b0) grows, nothing breaks.
    last = way.values[way.kept][-1, 0]
    assert last <= 10.0 * (1.0 + 1e-5)


def test_names_are_escaped_and_bytes_repeat() -> None:
    evil = '<b> & "x"</svg>'
    space = Space(bounds={evil: (0.2, 0.9), "b": (0.0, 1.0), "c": (0.1, 0.5)})
    tried = {evil * 2: {evil: 0.5, "b": 0.3, "c": 0.2}}
    made = outcome(space, limit(300.0), front=True, tried=tried)
    for draw in (search_map,):
        first = draw(made)
        assert first == draw(made)
        assert "<b>" not in first
        assert evil in " ".join(texts(first)), draw


def test_limits_that_a_tried_mix_breaks() -> None:
    goal = Goal(
        objective=COLUMNS[0], limits=(limit(300.0), limit(0.5, ">=", COLUMNS[2]))
    )
    assert broken(goal, {COLUMNS[1]: 300.0, COLUMNS[2]: 0.6}) == ()
    assert broken(goal, {COLUMNS[1]: 301.0, COLUMNS[2]: 0.4}) == (
        "density_kg_m3 <= 300",
        "flame_temperature_K >= 0.5",
    )
    # What is not known is not broken, and not kept either.
    some = {COLUMNS[1]: np.nan, COLUMNS[2]: 0.4}
    assert broken(goal, some) == ("flame_temperature_K >= 0.5",)
    assert unknown(goal, some) == ("density_kg_m3 <= 300",)
    assert fault_words(goal, some).startswith("breaks flame temperature; not computed:")


def test_patches_between_levels_cover_the_triangle_once() -> None:
    """A right triangle of area 2 with the field x: x below 1 is 1.5, above it 0.5."""
    points = np.array([[0.0, 0.0], [2.0, 0.0], [0.0, 2.0], [9.0, 9.0]])
    field_ = np.array([[0.0], [2.0], [0.0], [np.nan]])
    patches = patches_of(points, field_, np.array([[0, 1, 2], [1, 2, 3]]))
    assert len(patches) == 1  # the triangle of the NaN is left out
    low, high = between(patches, 0, [1.0])
    sizes = [sum(polygon(p) for p in part) for part in (low, high)]
    np.testing.assert_allclose(sizes, [1.5, 0.5])
    assert cut(patches, 0, 1.0, 3.0) == []


def polygon(patch: np.ndarray) -> float:
    x, y = patch[:, 0], patch[:, 1]
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def test_lines_are_cut_to_a_convex_outline() -> None:
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    line = np.array([[-1.0, 0.5], [0.5, 0.5], [0.5, 2.0], [0.75, 2.0], [0.75, -1.0]])
    first, second = inside(line, square)
    np.testing.assert_allclose(first, [[0.0, 0.5], [0.5, 0.5], [0.5, 1.0]])
    np.testing.assert_allclose(second, [[0.75, 1.0], [0.75, 0.0]])
    np.testing.assert_allclose(inside(line, square[::-1])[1], second)
    assert inside(line, square[:2]) == []


def test_pictures_of_a_real_search() -> None:
    """The table's own columns, an invented space; what each picture must hold."""
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
    trial = standard()
    goal = task.goal()
    problem = task.problem()
    found = optimise(problem, goal, space, effort=QUICK)
    base = problem.evaluate(np.array([[0.6, 0.2, 0.2]]))[0]
    made = Outcome(
        **{
            **{k: getattr(trial, k) for k in trial.__slots__},
            "task": task,
            "found": found,
            "percents": weigh_out(
                problem, replace(space, batch=1.0, scale_step=0.01), found
            ),
            "tried_values": {"base": dict(zip(problem.columns, base, strict=True))},
        }
    )
    words = texts(search_map(made))
    assert "flame temperature at most 1500 K" in words
    assert {"best mix", "whole percents", "base"} <= set(words)
    assert "density specific impulse [kg s/m³]: more is better" in words
