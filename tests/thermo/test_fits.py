"""Fits joined and continued: smooth at every join, forms in their order everywhere."""

from __future__ import annotations

import numpy as np
import pytest

from castsugar import species_set
from castsugar.rows import shipped_species
from castsugar.thermo import fits
from castsugar.thermo.flow import stable_forms
from castsugar.thermo.species import phase_properties

pytestmark = pytest.mark.exact

TABLE = shipped_species()
NAMES = TABLE.phase.names


def values(fit: np.ndarray, temperature: float) -> np.ndarray:
    """cp/R, h/RT, s/R written out from the definition, not from the basis."""
    a, t = fit, temperature
    powers = np.arange(-2, 5)
    cp = sum(a[i] * t**p for i, p in enumerate(powers))
    h = -a[0] * t**-2 + a[1] * np.log(t) / t + a[7] / t
    h += sum(a[2 + p] * t**p / (p + 1) for p in range(5))
    s = -a[0] * t**-2 / 2 - a[1] / t + a[2] * np.log(t) + a[8]
    s += sum(a[2 + p] * t**p / p for p in range(1, 5))
    return np.array([cp, h, s])


def pieces() -> list[tuple[str, np.ndarray, float]]:
    """Each fit of each phase with a temperature inside it."""
    phase = TABLE.phase
    out = []
    for i, name in enumerate(NAMES):
        joins = [t for t in phase.joins[:, i] if np.isfinite(t)]
        for region, low in enumerate(joins):
            out.append((name, phase.fit[region + 1, :, i], low + 37.0))
    return out


PIECES = pieces()


@pytest.mark.parametrize(("name", "fit", "temperature"), PIECES)
def test_constant_heat_capacity(name: str, fit: np.ndarray, temperature: float) -> None:
    """Joins in cp, h and s; beyond, cp stays and h rises by cp dT, s by cp dT/T."""
    del name
    on = fits.constant_heat_capacity(fit, temperature)
    here = values(fit, temperature)
    np.testing.assert_allclose(values(on, temperature), here, rtol=1e-12)
    cp, h, s = here
    for t in (0.6 * temperature, 1.7 * temperature):
        expected = [
            cp,
            (temperature * h + cp * (t - temperature)) / t,
            s + cp * np.log(t / temperature),
        ]
        np.testing.assert_allclose(values(on, t), expected, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize(("name", "fit", "temperature"), PIECES)
def test_shifted(name: str, fit: np.ndarray, temperature: float) -> None:
    """A shifted fit joins the one before in h and s and keeps its heat capacity."""
    del name
    before = PIECES[0][1]
    moved = fits.shifted(fit, before, temperature)
    here, old = values(moved, temperature), values(before, temperature)
    np.testing.assert_allclose(here[1:], old[1:], rtol=1e-12, atol=1e-12)
    for t in (0.8 * temperature, temperature, 1.3 * temperature):
        np.testing.assert_allclose(
            values(moved, t)[0], values(fit, t)[0], rtol=1e-12, atol=1e-12
        )


@pytest.mark.parametrize("name", ["nasa-1993", "nasa-2002"])
def test_continuation_is_smooth(name: str) -> None:
    """No phase jumps in h or s where castsugar continues its fit.

    Joins inside the published range belong to the publication; the reader tests them.
    """
    tested = 0
    phase = species_set(name).phase
    for i, own in enumerate(phase.names):
        for join in phase.joins[:, i]:
            inside = phase.low[i] < join < phase.high[i]
            if inside or not np.isfinite(join):
                continue
            sides = np.array([np.nextafter(join, 0.0), join])
            for function in phase_properties(phase, sides)[1:]:
                jump = abs(function[1, i] - function[0, i])
                assert jump < 1e-9, (own, join)  # rounding of large terms
                tested += 1
    assert tested > 2 * len(phase.names)


def lowest(temperature: float) -> set[str]:
    """The form of lowest g of every substance."""
    _, h, s = phase_properties(TABLE.phase, np.array(temperature))
    best: dict[str, int] = {}
    for i, substance in enumerate(TABLE.phase.substances):
        g = h[i] - s[i]
        held = best.get(substance)
        if held is None or g < h[held] - s[held]:
            best[substance] = i
    return {NAMES[i] for i in best.values()}


def test_forms_keep_their_order() -> None:
    """From 260 to 5,500 K the form of lowest g is the one taken as stable.

    A raw polynomial can bring a form back far outside its range: Na2CO3(I) above
    1,200 K, KOH(a) above 1,465 K.
    """
    limits = np.array([t for _, _, t in TABLE.transitions])
    tested = 0
    for temperature in np.arange(260.0, 5500.5, 1.0):
        if np.abs(limits - temperature).min() < 0.6:
            continue
        taken = {NAMES[i] for i in stable_forms(TABLE, float(temperature))}
        assert lowest(float(temperature)) == taken, temperature
        tested += 1
    assert tested > 5200


def test_the_raw_polynomials_would_not() -> None:
    """The guard above guards something: KOH(a) beyond its range without continuation.

    The reference names about 1465 K.
    """
    cold, hot = NAMES.index("KOH(a)"), NAMES.index("KOH(L)")
    phase = TABLE.phase
    region = int((phase.joins[:, cold] <= 400.0).sum())
    raw = phase.fit[region, :, cold]
    liquid = int((phase.joins[:, hot] <= 1600.0).sum())
    g = [
        h - s
        for _, h, s in (values(raw, 1600.0), values(phase.fit[liquid, :, hot], 1600.0))
    ]
    assert g[0] < g[1]


# Transition temperatures of the 1993 set, from g of both forms (reference numerics 5;
# an independent calculation, not a publication).
TRANSITIONS = {
    ("K2CO3(s)", "K2CO3(L)"): 1173.9927,
    ("KOH(a)", "KOH(b)"): 515.998,
    ("KOH(b)", "KOH(L)"): 679.000,
    ("KCN(s)", "KCN(L)"): 895.000,
}


@pytest.mark.parametrize("forms", TRANSITIONS, ids=" ".join)
def test_transitions(forms: tuple[str, str]) -> None:
    """The temperature of equal g, 2e-3 K, and g is equal there indeed."""
    found = {(NAMES[c], NAMES[h]): t for c, h, t in TABLE.transitions}
    assert found[forms] == pytest.approx(TRANSITIONS[forms], abs=2e-3)
    pair = [NAMES.index(n) for n in forms]
    _, h, s = phase_properties(TABLE.phase, np.array(found[forms]))
    cold, hot = (h - s)[pair]
    assert cold == pytest.approx(hot, abs=1e-10)
    # Heating takes up heat and disorder.
    assert h[pair[1]] > h[pair[0]]
    assert s[pair[1]] > s[pair[0]]
