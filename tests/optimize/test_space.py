"""The space of mixes: corners, lattices, choices, conflicts, refusals."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest

from castsugar import InputError, UnknownNameError
from castsugar.optimize.region import Row, as_arrays, fill, lattice, ratio_rows
from castsugar.optimize.rounding import neighbours
from castsugar.optimize.space import Space

pytestmark = pytest.mark.exact

NAMES = "abcdefgh"


def free(count: int, **more) -> Space:
    return Space(bounds=dict.fromkeys(NAMES[:count], (0.0, 1.0)), **more)


def same_points(one, two) -> bool:
    """Say whether two lists hold the same points, in any order."""
    distance = np.abs(np.asarray(one)[:, None] - np.asarray(two)[None]).max(axis=-1)
    close = distance < 1e-9
    return len(one) == len(two) and close.any(axis=0).all() and close.any(axis=1).all()


def brute_force_corners(space: Space) -> list[np.ndarray]:
    """Return all feasible intersections of k - 1 rows with the plane of sums 1."""
    matrix, limits = as_arrays(space.columns, space.all_rows())
    count = len(space.columns)
    matrix = np.vstack([matrix, -np.eye(count)])
    limits = np.append(limits, np.zeros(count))
    found: list[np.ndarray] = []
    for rows in itertools.combinations(range(len(limits)), count - 1):
        system = np.vstack([matrix[list(rows)], np.ones(count)])
        if abs(np.linalg.det(system)) < 1e-12:
            continue
        x = np.linalg.solve(system, np.append(limits[list(rows)], 1.0))
        inside = (matrix @ x <= limits + 1e-9).all()
        if inside and all(np.abs(x - f).max() > 1e-8 for f in found):
            found.append(x)
    return found


@pytest.mark.parametrize("seed", range(12))
def test_corners_against_brute_force(seed: int) -> None:
    """Random bounds and rows with 3 to 5 ingredients: the same corners, or none."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(3, 6))
    low = rng.uniform(0.0, 0.6 / count, count)
    high = np.minimum(low + rng.uniform(0.1, 0.8, count), 1.0)
    names = NAMES[:count]
    rows = [
        Row(
            name=f"row {i}",
            coefficients=dict(zip(names, rng.normal(size=count), strict=True)),
            limit=float(rng.uniform(0.0, 0.5)),
        )
        for i in range(2)
    ]
    bounds = {n: (a, b) for n, a, b in zip(names, low, high, strict=True)}
    space = Space(bounds=bounds, rows=rows)
    expected = brute_force_corners(space)
    assert bool(expected) == (space.conflict() == ())
    if expected:
        assert same_points(space.regions()[0].corners, expected)


def test_corners_and_edges_of_eight_ingredients() -> None:
    """0 to 30 %: three at 30 % and one at 10 %.

    Corners: 8 choose 3, times 5 for the one at 10 %: 280. Each corner is simple: the
    dimension is 7, so 7 edges meet there: 280 x 7 / 2 = 980.
    """
    space = Space(bounds=dict.fromkeys(NAMES, (0.0, 0.3)))
    region = space.regions()[0]
    assert len(region.corners) == 280
    assert len(region.edges) == 980
    assert region.dimension == 7


def test_lattice_counts() -> None:
    """Steps of 5 % among three: 21 x 22 / 2 = 231; bounds leave those inside."""
    points = lattice(free(3).regions()[0], 0.05)
    assert len(points) == 231
    np.testing.assert_allclose(points.sum(axis=1), 1.0, atol=1e-12)
    bounded = Space(bounds={"a": (0.5, 0.6), "b": (0.0, 1.0), "c": (0.0, 1.0)})
    # a = 50, 55, 60 %: 11 + 10 + 9 mixes.
    assert len(lattice(bounded.regions()[0], 0.05)) == 30


def test_fill_has_corners_edges_and_centre_and_stays_inside() -> None:
    """The special points come first: here 4 corners, the centre, 4 edge midpoints."""
    space = Space(
        bounds={"a": (0.5, 0.7), "b": (0.1, 0.4), "c": (0.1, 0.3)},
        ratios=["b:c >= 0.5"],
        purchases={"c": 0.02},
        batch=0.1,
    )
    region = space.regions()[0]
    points = fill(region, 300, 0)
    assert region.contains(points).all()
    assert 300 <= len(points) < 700
    np.testing.assert_allclose(points[4], region.corners.mean(axis=0))
    middle = region.corners[region.edges].mean(axis=1)
    np.testing.assert_allclose(points[5 : 5 + len(middle)], middle)


def test_a_thin_space_is_filled_along_itself() -> None:
    """a = 2 b exactly: no lattice lies there, mixtures of the two corners do."""
    rows = [
        Row(name="up", coefficients={"a": 1.0, "b": -2.0}, limit=0.0),
        Row(name="down", coefficients={"a": -1.0, "b": 2.0}, limit=0.0),
    ]
    region = free(3, rows=rows).regions()[0]
    assert region.dimension == 1
    assert same_points(region.corners, [[0, 0, 1], [2 / 3, 1 / 3, 0]])
    points = fill(region, 100, 0)
    assert len(points) >= 100
    np.testing.assert_allclose(points[:, 0], 2.0 * points[:, 1], atol=1e-12)


def test_choices_become_regions() -> None:
    """Two slots of two alternatives: four regions; a purchase binds only its own."""
    space = Space(
        bounds={"salt": (0.5, 0.7), "sugar": (0.1, 0.5), "syrup": (0.1, 0.3)},
        choices={"sugar": ("one", "two"), "syrup": ("thin", "thick")},
        ratios=["sugar:syrup >= 1"],
        purchases={"thin": 0.012},
        batch=0.1,
    )
    assert space.columns == ("salt", "one", "two", "thin", "thick")
    regions = space.regions()
    assert [dict(r.choice) for r in regions] == [
        {"sugar": "one", "syrup": "thin"},
        {"sugar": "one", "syrup": "thick"},
        {"sugar": "two", "syrup": "thin"},
        {"sugar": "two", "syrup": "thick"},
    ]
    first = regions[0].corners
    assert (first[:, [2, 4]] == 0.0).all()
    np.testing.assert_allclose(first[:, 3].max(), 0.12)
    # Without the purchase 0.25: salt at its least 50 %, half of the rest.
    np.testing.assert_allclose(regions[1].corners[:, 4].max(), 0.25)


def test_fixed_parts_take_no_freedom() -> None:
    """1 % of one part: the others share 99 %."""
    region = free(3, fixed={"iron": 0.01}).regions()[0]
    assert region.dimension == 2
    np.testing.assert_allclose(region.corners[:, 3], 0.01)


def test_conflict_names_a_minimal_set() -> None:
    """a and b need 80 %, c needs 30 %: the other rows have no part in it."""
    space = Space(
        bounds={"a": (0.5, 0.9), "b": (0.3, 0.9), "c": (0.3, 0.6), "d": (0.0, 0.2)},
        ratios=["a:b >= 0.5"],
    )
    found = space.conflict()
    assert found == ("a at least 50 %", "b at least 30 %", "c at least 30 %")
    with pytest.raises(InputError, match="no mix keeps these limits together: a at"):
        space.regions()


def test_conflict_of_ratio_fixed_part_and_purchase() -> None:
    """60 % fixed leaves 40 %, 10 g of syrup in 100 g allow 30 % sugar at 3:1."""
    space = Space(
        bounds={"sugar": (0.0, 1.0), "syrup": (0.0, 1.0)},
        fixed={"salt": 0.55},
        ratios=["sugar:syrup <= 3"],
        purchases={"syrup": 0.01},
        batch=0.1,
    )
    assert space.conflict() == (
        "salt fixed at 55 %",
        "sugar:syrup <= 3",
        "10 g of syrup for 100 g",
    )
    assert space.moved("10 g of syrup for 100 g", 0.02).conflict() == ()


def test_a_space_that_holds_a_mix_has_no_conflict() -> None:
    assert free(4).conflict() == ()


REFUSED = [
    ({"bounds": {"a": (10, 30), "b": (0, 1)}}, "mass fractions lie in 0 to 1"),
    ({"bounds": {"a": (-0.1, 0.3), "b": (0, 1)}}, "mass fractions lie in 0 to 1"),
    ({"bounds": {"a": (0.0, np.inf), "b": (0, 1)}}, "give numbers"),
    ({"bounds": {"a": (0.5, 0.3), "b": (0, 1)}}, "contradict: at least 50 %, at most"),
    ({"bounds": {}}, "no ingredient"),
    ({"bounds": {"a": (0, 1)}, "fixed": {"a": 0.1}}, "both fixed and bounded"),
    ({"bounds": {"a": (0, 1)}, "choices": {"a": ("x",)}}, "two or more alternatives"),
    ({"bounds": {"a": (0, 1), "x": (0, 1)}, "choices": {"a": ("x", "y")}}, "twice"),
    ({"bounds": {"a": (0, 1)}, "purchases": {"a": 0.1}}, "need the mass of the batch"),
    ({"bounds": {"a": (0, 1)}, "purchases": {"a": -1}, "batch": 0.1}, "0 or more"),
    ({"bounds": {"a": (0, 1)}, "batch": 0.0}, "must be above 0"),
    ({"bounds": {"a": (0, 1)}, "batch": 0.1, "scale_step": 0.09}, "larger batch"),
    ({"bounds": dict.fromkeys("abcdefghi", (0, 1))}, "at most 8: fix some parts"),
]


@pytest.mark.parametrize(("given", "message"), REFUSED)
def test_refusals_say_what_to_do(given: dict, message: str) -> None:
    with pytest.raises(InputError, match=re.escape(message)) as caught:
        Space(**given)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "given",
    [
        {"ratios": ["sucrase:syrup >= 0.5"]},
        {"rows": [Row(name="r", coefficients={"sucrase": 1.0}, limit=0.5)]},
        {"purchases": {"sucrase": 0.1}, "batch": 1.0},
        {"choices": {"sucrase": ("x", "y")}},
    ],
)
def test_misspelt_names_are_answered_with_near_ones(given: dict) -> None:
    with pytest.raises(UnknownNameError, match="did you mean 'sucrose'"):
        Space(bounds={"sucrose": (0, 1), "syrup": (0, 1)}, **given)


@pytest.mark.parametrize(
    "text", ["a/b > 2", "a:b >= two", "a:b >= -1", "a:b >= inf", "a:a >= 1", "a:b = 0"]
)
def test_ratios_that_are_not_understood(text: str) -> None:
    with pytest.raises(InputError, match="ratio"):
        ratio_rows(text)


def test_a_fixed_ratio_makes_a_flat_region_and_stays_when_a_limit_moves() -> None:
    """a = 0.8 b of a, b, c, d, all free: corners c, d and a, b as 4 to 5."""
    space = Space(bounds=dict.fromkeys("abcd", (0.0, 1.0)), ratios=["a:b = 0.8"])
    (region,) = space.regions()
    assert region.dimension == 2
    corners = region.corners[np.lexsort(region.corners.T[::-1])]
    wanted = [[0, 0, 0, 1], [0, 0, 1, 0], [4 / 9, 5 / 9, 0, 0]]
    np.testing.assert_allclose(corners, wanted, atol=1e-12)
    filled = fill(region, 200, 1)
    assert len(filled) > 200
    np.testing.assert_allclose(filled[:, 0], 0.8 * filled[:, 1], atol=1e-12)
    assert not [row for row in space.movable_rows() if "a:b" in row.name]
    wide = replace(space, bounds=dict.fromkeys("abcd", (0.0, 0.5)))
    (moved,) = wide.moved("c at most 50 %", 0.1).regions()
    np.testing.assert_allclose(moved.corners[:, 0], 0.8 * moved.corners[:, 1])
    assert moved.corners[:, 2].max() == pytest.approx(0.6)


def test_a_fixed_ratio_that_bounds_forbid_is_named() -> None:
    bounds = {"a": (0.5, 1.0), "b": (0.0, 1.0), "c": (0.0, 1.0)}
    space = Space(bounds=bounds, ratios=["a:b = 0.8"])
    assert space.conflict() == ("a:b = 0.8", "a at least 50 %")


def test_rows_need_numbers() -> None:
    with pytest.raises(InputError, match="finite"):
        Row(name="r", coefficients={"a": np.nan}, limit=0.0)
    with pytest.raises(InputError, match="no coefficient"):
        Row(name="r", coefficients={"a": 0.0}, limit=0.0)


def test_neighbours_on_the_scale_keep_rows_and_round_fixed_parts() -> None:
    """100 g in steps of 1 g, 0.4 g of iron fixed: it rounds to 0 or is not weighed."""
    space = Space(
        bounds={"a": (0.0, 1.0), "b": (0.0, 0.374)},
        fixed={"iron": 0.014},
        batch=0.1,
        scale_step=0.001,
    )
    mixes = neighbours(space, {}, np.array([0.615, 0.371, 0.014]))
    # b at most 37 g, iron 1 g (1.4 g rounds down), a takes the rest.
    assert mixes.tolist() == [[0.62, 0.37, 0.01], [0.63, 0.36, 0.01]]
    with pytest.raises(InputError, match="needs the batch"):
        neighbours(free(2), {}, np.array([0.5, 0.5]))
