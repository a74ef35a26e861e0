"""The header of each data file; units are part of the name."""

from __future__ import annotations

SOURCES = ("key", "kind", "citation", "doi_or_url", "licence", "retrieved", "note")
INGREDIENTS = (
    "name",
    "aliases",
    "formula",
    "role",
    "fuel_kind",
    "enthalpy_of_formation_kJ_mol",
    "enthalpy_uncertainty_kJ_mol",
    "enthalpy_status",
    "enthalpy_source",
    "density_kg_m3",
    "density_status",
    "density_source",
    "note",
)
ALTERNATIVES = (
    "ingredient",
    "alternative",
    "enthalpy_of_formation_kJ_mol",
    "enthalpy_uncertainty_kJ_mol",
    "status",
    "source",
    "note",
)
SYRUPS = (
    "name",
    "aliases",
    "dextrose_equivalent",
    "dry_solids_fraction",
    "dry_solids_uncertainty",
    "fructose_fraction",
    "dp1_fraction",
    "dp2_fraction",
    "dp3_fraction",
    "dp4plus_fraction",
    "dp4plus_chain_length",
    "ash_fraction",
    "solids_specific_volume_cm3_g",
    "viscosity_dextrose_equivalent",
    "acid_series",
    "status",
    "source",
    "note",
)
PREMIXES = (
    "premix",
    "aliases",
    "component",
    "mass_fraction",
    "status",
    "source",
    "note",
)
CAUTIONS = (
    "key",
    "topic",
    "quantity",
    "operator",
    "limit",
    "unit",
    "level",
    "text",
    "source",
    "status",
)
BURN_LAWS = (
    "name",
    "mix",
    "fuel",
    "oxidizer_percent",
    "band_low_MPa",
    "band_high_MPa",
    "rate_at_1MPa_mm_s",
    "exponent",
    "relative_uncertainty",
    "status",
    "source",
    "note",
)
