"""The set of points that everything uncertain is drawn from."""

from __future__ import annotations

import itertools
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import kstest, norm, qmc

import castsugar as cs
from castsugar import draw_set
from castsugar.draw_set import DRAWS, FEW_DRAWS, NAMED, chances, normals

FAMILY = ("weighing|a1|sucrose", "weighing|a2|sucrose", "burn law|rate|base")


@pytest.mark.published
def test_unscrambled_points_are_those_of_scipy() -> None:
    # scipy.stats.qmc.Sobol: Joe & Kuo's numbers, in the order of the Gray code.
    size = draw_set.DIMENSIONS
    theirs = qmc.Sobol(size, scramble=False, bits=32).random(4096)
    ours = [draw_set.points(draw_set.directions(d), 4096) for d in range(size)]
    assert np.array_equal(np.stack(ours, axis=1) / 2.0**32, theirs)


@pytest.mark.exact
@pytest.mark.parametrize("name", NAMED)
def test_one_point_lies_in_each_slice(name: str) -> None:
    # A digital net in one dimension: a scramble permutes the slices of 1/count.
    for count in (16, FEW_DRAWS, DRAWS):
        place = np.floor(chances(name, count) * count)
        assert sorted(place) == list(range(count))


@pytest.mark.exact
@pytest.mark.parametrize("name", FAMILY)
def test_members_of_a_family_lie_in_each_slice_of_a_block(name: str) -> None:
    for count in (FEW_DRAWS, DRAWS):
        place = np.floor(chances(name, count) * count)
        assert sorted(place) == list(range(count))


@pytest.mark.exact
def test_pairs_of_the_first_dimensions_form_a_net() -> None:
    # The first two dimensions after van der Corput's: t = 1 at most for the pair
    # (degrees 1 and 2), so 2^-10 boxes hold 2 of 2,048 points each, scrambled or not
    # (Owen, J. Complexity 14 (1998) 466: a scramble keeps t).
    x, y = chances(NAMED[0], DRAWS), chances(NAMED[1], DRAWS)
    for k in range(11):
        box = np.floor(x * 2**k) * 2 ** (10 - k) + np.floor(y * 2 ** (10 - k))
        assert np.unique(box, return_counts=True)[1].tolist() == [2] * 1024


@pytest.mark.exact
def test_a_smaller_number_takes_the_first_points() -> None:
    for name in (NAMED[3], *FAMILY):
        whole = normals(name, 5000)
        for count in (1, 20, 255, 257, 2048, 2049):
            assert np.array_equal(normals(name, count), whole[:count])


@pytest.mark.exact
def test_no_two_doubts_go_together() -> None:
    # 3,000 independent pairs would stay within 4 / sqrt(2048) = 0.088 (4 sigma).
    names = [*NAMED, *FAMILY, "anything", "something else"]
    scores = np.array([normals(name, DRAWS) for name in names])
    linked = np.corrcoef(scores) - np.eye(len(names))
    assert np.abs(linked).max() < 0.088
    for one, two in itertools.combinations(names, 2):
        assert not np.array_equal(chances(one, 8), chances(two, 8))


@pytest.mark.exact
def test_seeds_differ_and_repeat() -> None:
    first, again, other = (chances("product data", 64, seed) for seed in (1, 1, 2))
    assert np.array_equal(first, again)
    assert not np.isin(first, other).any()


@pytest.mark.exact
def test_scores_are_normal_and_finite() -> None:
    for name in (*NAMED, *FAMILY):
        scores = normals(name, DRAWS)
        assert np.isfinite(scores).all()
        # Evenly spread points lie within 1/count of the distribution.
        assert kstest(scores, norm.cdf).statistic <= 1.0 / DRAWS


@pytest.mark.exact
def test_shared_numbers_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        normals("product data", 10)[0] = 0.0


@pytest.mark.frozen
def test_dimensions_never_move() -> None:
    # A new doubt goes to the end: these are the places of 0.2.0.
    assert NAMED.index("burn law|rate") == 8
    assert NAMED.index("kitchen reading") == 29
    assert len(set(NAMED)) == len(NAMED) < draw_set.DIMENSIONS
    assert chances("kitchen|syrup_solids", 2).round(6).tolist() == [0.518788, 0.313398]


@pytest.mark.exact
def test_the_set_is_better_than_random_draws() -> None:
    # Mean of a smooth function of five doubts, known in closed form: E exp(sum z / 5)
    # = exp(5 / 50). Random draws scatter by exp(0.1) sqrt(exp(0.2) - 1) / sqrt(2048)
    # = 0.0115; Sobol's points do better by far.
    names = NAMED[:5]
    for seed in range(1, 6):
        total = sum(normals(name, DRAWS, seed) for name in names)
        assert abs(np.exp(total / 5.0).mean() - np.exp(0.1)) < 0.0115 / 5.0


@pytest.mark.slow
@pytest.mark.exact
def test_a_bench_brings_no_statistics_library(tmp_path: Path) -> None:
    # Inverse distributions come from scipy.special; scipy.stats takes 0.5 s to load.
    cs.bench.write_example(tmp_path)
    script = (
        "import sys; from castsugar.cli.main import main; "
        "main('evaluate base --bench bench.toml -o out.txt'.split()); "
        "print([m for m in ('scipy.stats', 'pandas') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip().endswith("[]")
