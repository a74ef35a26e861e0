"""Pictures of a search: what is computed for them, and what stands on them."""

from __future__ import annotations

from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from small_search import COLUMNS, QUICK, THREE, Counted, Plain, limit, outcome

from castsugar import InputError
from castsugar.comparison.directions import directions
from castsugar.limits import Limit
from castsugar.optimize.optimum import optimise
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.plane import broken, plane, unknown
from castsugar.optimize.problem import Goal
from castsugar.optimize.space import Space
from castsugar.report.search_words import fault_words

pytestmark = pytest.mark.exact

SVG = "{http://www.w3.org/2000/svg}"


def texts(picture: str) -> list[str]:
    """Return the words on a picture, which is well-formed."""
    root = ElementTree.fromstring(picture)
    return [t.text or "" for t in root.iter(f"{SVG}text")]


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
