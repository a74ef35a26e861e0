"""Burn laws across mixes: the mixture model, the nearest mix, and what is borrowed."""

from __future__ import annotations

import math

import numpy as np
import pytest

from castsugar import InputError
from castsugar.motor.burn_law import BORROWED_DOUBT, Band, BurnLaw
from castsugar.motor.burn_model import (
    MeasuredMix,
    blend_law,
    scheffe_design,
    scheffe_fit,
)

# J. A. Cornell, Experiments with Mixtures: yarn elongation, {3, 2} lattice; values from
# memory, reproduced. Composition: replicates.
YARN = {
    (1.0, 0.0, 0.0): (11.0, 12.4),
    (0.5, 0.5, 0.0): (15.0, 14.8, 16.1),
    (0.0, 1.0, 0.0): (8.8, 10.0),
    (0.0, 0.5, 0.5): (10.0, 9.7, 11.8),
    (0.0, 0.0, 1.0): (16.8, 16.0),
    (0.5, 0.0, 0.5): (17.7, 16.4, 16.6),
}


@pytest.mark.published
def test_cornells_yarn() -> None:
    """The quadratic Scheffe fit of the book: 11.7, 9.4, 16.4, 19.0, 11.4, -9.6."""
    rows = [(x, y) for x, ys in YARN.items() for y in ys]
    x = np.array([r[0] for r in rows])
    y = np.array([r[1] for r in rows])
    fit = scheffe_fit(x, y, 2)
    design = scheffe_design(x, 2)
    # The order of the products is that of the design: find each by its column.
    pure = fit.coefficients[:3]
    np.testing.assert_allclose(pure, [11.7, 9.4, 16.4], atol=1e-6)
    products = {}
    for column in range(3, 6):
        at = np.abs(design[:, column]) > 0
        pair = tuple(int(i) for i in np.flatnonzero(x[at].max(axis=0) > 0))
        products[pair] = fit.coefficients[column]
    assert products[0, 1] == pytest.approx(19.0, abs=1e-6)
    assert products[0, 2] == pytest.approx(11.4, abs=1e-6)
    assert products[1, 2] == pytest.approx(-9.6, abs=1e-6)
    assert fit.residual_sd**2 == pytest.approx(0.73, abs=0.005)


def law(log_rate: float, exponent: float, u: float = 0.02) -> BurnLaw:
    """Return an invented measured law."""
    return BurnLaw(
        name="invented",
        bands=(Band(low=1e5, high=7e6, rate=math.exp(log_rate), exponent=exponent),),
        log_rate_u=u,
        covariance=((0.5 * u**2, 0.0), (0.0, 0.01**2)),
        scatter=u / math.sqrt(2.0),
    )


CORNERS = np.array([[0.60, 0.20, 0.20], [0.65, 0.15, 0.20], [0.60, 0.15, 0.25]])
SLOPES = np.array([-4.0, -6.0, -7.0])  # of ln r with each share


def mixes(points: np.ndarray) -> list[MeasuredMix]:
    """Return invented mixes whose ln r is linear in the composition."""
    return [
        MeasuredMix(name=f"m{i}", fractions=tuple(x), law=law(float(x @ SLOPES), 0.31))
        for i, x in enumerate(points)
    ]


@pytest.mark.exact
def test_linear_truth_comes_back() -> None:
    """Of mixes on a plane the model predicts any other mix on it."""
    # Exact: ln r = sum of shares times slopes, by construction.
    model = blend_law(mixes(CORNERS))
    inside = CORNERS.mean(axis=0)
    far = np.array([0.50, 0.30, 0.20])
    found = model.rates(np.array([inside, far]))
    np.testing.assert_allclose(found.log_rate, [inside @ SLOPES, far @ SLOPES])
    np.testing.assert_allclose(found.exponent, 0.31)
    assert list(found.outside) == [False, True]
    # Outside, the doubt of a borrowed law is added.
    assert found.log_rate_u[1] > BORROWED_DOUBT > found.log_rate_u[0]
    assert "mixture model of 3 measured mixes" in model.law(inside, "x").origin
    assert "outside" in model.law(far, "x").origin


@pytest.mark.exact
def test_two_mixes_give_the_nearest() -> None:
    """Fewer than three: the nearest measured mix, and it says so."""
    model = blend_law(mixes(CORNERS[:2]))
    near = np.array([0.61, 0.19, 0.20])
    found = model.rates(near)
    assert int(found.nearest) == 0
    assert float(found.distance) == pytest.approx(0.01)
    assert float(found.log_rate) == pytest.approx(CORNERS[0] @ SLOPES)
    assert float(found.log_rate_u) > BORROWED_DOUBT
    assert model.law(near, "x").origin.startswith("nearest measured mix: m0, 1 %")


@pytest.mark.exact
def test_nothing_measured_is_borrowed_or_refused() -> None:
    """A borrowed law serves every mix; without one there is none."""
    loan = BurnLaw(
        name="loan",
        bands=law(-5.4, 0.3).bands,
        log_rate_u=BORROWED_DOUBT,
        origin="borrowed: a book",
        source="a book",
    )
    model = blend_law([], borrowed=loan)
    found = model.rates(CORNERS)
    np.testing.assert_allclose(found.log_rate, -5.4)
    np.testing.assert_allclose(found.log_rate_u, BORROWED_DOUBT)
    assert found.outside.all()
    assert model.law(CORNERS[0], "x").origin == "borrowed: loan (a book)"
    with pytest.raises(InputError, match="no law borrowed"):
        blend_law([])


@pytest.mark.slow
@pytest.mark.exact
def test_prediction_covers_new_mixes() -> None:
    """With a real scatter between mixes, 95 % bands cover 90 to 99 % of new mixes."""
    # Exact: truth is a plane plus a normal scatter of 8 % between mixes, and each mix
    # is measured with 2 %; ten mixes, so that the scatter is learnt from the data.
    rng = np.random.default_rng(5)
    between, hits, count = 0.08, 0, 300
    for _ in range(count):
        points = rng.dirichlet([30, 10, 10], 11)
        truth = points @ SLOPES + between * rng.standard_normal(11)
        read = truth + 0.02 / math.sqrt(2.0) * rng.standard_normal(11)
        measured = [
            MeasuredMix(name=f"m{i}", fractions=tuple(points[i]), law=law(read[i], 0.3))
            for i in range(10)
        ]
        model = blend_law(measured)
        found = model.rates(points[10])
        new = truth[10] + 0.02 / math.sqrt(2.0) * rng.standard_normal()
        hits += abs(new - float(found.log_rate)) < 1.96 * float(found.log_rate_u)
    assert 0.90 <= hits / count <= 0.995


@pytest.mark.exact
@pytest.mark.parametrize(
    "fractions", [[0.6, 0.2], [0.6, 0.2, 0.3], [0.7, 0.4, -0.1], [math.nan, 0.5, 0.5]]
)
def test_bad_compositions(fractions: list[float]) -> None:
    """Refused, not extrapolated."""
    with pytest.raises(InputError):
        blend_law(mixes(CORNERS)).rates(np.array(fractions))
