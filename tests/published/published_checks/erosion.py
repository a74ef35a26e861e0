"""Erosive burning: both laws, and the peak that a faster rate makes."""

from __future__ import annotations

from castsugar.motor import erosive_burning, mass_balance
from castsugar.motor.burn_law import Band, BurnLaw
from published_checks.rows import Given


def mukunda_paul_ratio(given: Given) -> float:
    """Burning rate over that without flow, at a reduced flux or in a core."""
    if "reduced_flux" in given.values:
        return float(erosive_burning.mukunda_paul(given.number("reduced_flux")))
    g = erosive_burning.reduced_flux(
        given.number("flux_kg_m2_s"),
        rate=1e-3 * given.number("rate_mm_s"),
        density=given.number("density_kg_m3"),
        diameter=1e-3 * given.number("core_mm"),
        viscosity=given.number("viscosity_Pa_s"),
    )
    return float(erosive_burning.mukunda_paul(g))


def lenoir_robillard_ratio(given: Given) -> float:
    """Burning rate over that without flow, in a core."""
    ratio = erosive_burning.lenoir_robillard(
        given.number("flux_kg_m2_s"),
        rate=1e-3 * given.number("rate_mm_s"),
        density=given.number("density_kg_m3"),
        length=given.number("length_m"),
        grain_temperature=given.number("grain_K"),
        gas=erosive_burning.CoreGas(
            temperature=given.number("flame_K"),
            surface_temperature=given.number("surface_K"),
        ),
    )
    return float(ratio)


def erosive_pressure_ratio(given: Given) -> float:
    """Pressure over that without erosive burning, out of the roots of the balance."""
    band = Band(low=1e5, high=1e8, rate=8e-3, exponent=given.number("exponent"))
    law = BurnLaw(name="any", bands=(band,), log_rate_u=0.1)
    supply = [2e8, 2e8 * (1.0 + given.number("rate_rise"))]
    found = mass_balance.roots(mass_balance.as_bands(law), supply).highest()
    return float(found[1] / found[0])
