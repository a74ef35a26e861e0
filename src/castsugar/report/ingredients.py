"""The catalogue on a screen: a list, or the facts of one item with their sources."""

from __future__ import annotations

import math
from typing import Any

from castsugar.data.load import Database
from castsugar.data.records import Ingredient, Premix, Syrup
from castsugar.report.layout import wrapped

#: Where values start on the screen.
_INDENT = 36

_UNITS = {"_kJ_mol": ", kJ/mol", "_kg_m3": ", kg/m3", "_g_mol": ", g/mol"}

_LINE = "  {:<24}{:<10}{:>12}{:>10}  {}"


def listing(database: Database) -> str:
    """Return the catalogue, one line an item."""
    lines = [
        "Ingredients (enthalpy of formation at 298.15 K, density without voids)",
        "",
        _LINE.format("name", "role", "kJ/mol", "kg/m3", "enthalpy known by"),
    ]
    lines += [
        _LINE.format(
            item.name,
            item.role,
            f"{item.enthalpy_of_formation / 1e3:.1f}",
            f"{item.density:.0f}",
            item.status,
        )
        for item in database.ingredients.values()
    ]
    lines += ["", "Syrups (share of the mass that is dry solids)", ""]
    for syrup in database.syrups.values():
        lines.append(
            f"  {syrup.name:<24}{syrup.dry_solids_fraction:6.1%} solids, "
            f"{1 - syrup.dry_solids_fraction:5.1%} water, DE "
            f"{syrup.dextrose_equivalent:.0f}"
        )
    lines += ["", "Premixes", ""]
    for premix in database.premixes.values():
        parts = ", ".join(f"{n} {s:.1%}" for n, s in premix.components)
        lines.append(f"  {premix.name:<24}{parts}")
    lines += ["", "castsugar ingredients NAME shows uncertainty, rivals and sources."]
    return "\n".join(lines) + "\n"


def facts(database: Database, name: str) -> dict[str, Any]:
    """Return the facts of one item as plain values, units in the keys."""
    item = database.find(name)
    if isinstance(item, Ingredient):
        return _ingredient(database, item)
    if isinstance(item, Syrup):
        return _syrup(database, item)
    return _premix(database, item)


def _cited(database: Database, key: str) -> str:
    """Return the citation of a source key."""
    source = database.sources.get(key)
    return source.citation if source else key


def _ingredient(database: Database, item: Ingredient) -> dict[str, Any]:
    return {
        "name": item.name,
        "also_called": list(item.aliases),
        "kind": "ingredient",
        "role": item.role,
        "fuel_kind": item.fuel_kind,
        "formula": item.formula_text,
        "molar_mass_g_mol": 1e3 * item.molar_mass,
        "enthalpy_of_formation_kJ_mol": item.enthalpy_of_formation / 1e3,
        "enthalpy_uncertainty_kJ_mol": item.enthalpy_uncertainty / 1e3,
        "enthalpy_status": item.status,
        "enthalpy_source": _cited(database, item.source),
        "density_kg_m3": item.density,
        "density_status": item.density_status,
        "density_source": _cited(database, item.density_source),
        "alternatives": [
            {
                "name": a.name,
                "enthalpy_of_formation_kJ_mol": a.enthalpy_of_formation / 1e3,
                "enthalpy_uncertainty_kJ_mol": a.enthalpy_uncertainty / 1e3,
                "status": a.status,
                "source": _cited(database, a.source),
                "note": a.note,
            }
            for a in item.alternatives
        ],
        "note": item.note,
    }


def _syrup(database: Database, item: Syrup) -> dict[str, Any]:
    return {
        "name": item.name,
        "also_called": list(item.aliases),
        "kind": "syrup",
        "dextrose_equivalent": item.dextrose_equivalent,
        "dry_solids_mass_fraction": item.dry_solids_fraction,
        "dry_solids_uncertainty": item.dry_solids_uncertainty,
        "dextrose_fraction_of_solids": item.dp1_fraction,
        "fructose_fraction_of_solids": item.fructose_fraction,
        "disaccharide_fraction_of_solids": item.dp2_fraction,
        "trisaccharide_fraction_of_solids": item.dp3_fraction,
        "longer_fraction_of_solids": item.dp4plus_fraction,
        "ash_fraction_of_solids": item.ash_fraction,
        "status": item.status,
        "source": _cited(database, item.source),
        "note": item.note,
    }


def _premix(database: Database, item: Premix) -> dict[str, Any]:
    return {
        "name": item.name,
        "also_called": list(item.aliases),
        "kind": "premix",
        "mass_fractions": dict(item.components),
        "status": item.status,
        "source": _cited(database, item.source),
        "note": item.note,
    }


def describe(values: dict[str, Any]) -> str:
    """Return the facts of one item as text."""
    lines = [str(values["name"])]
    for key, value in values.items():
        if key in ("name", "alternatives") or value in ("", []):
            continue
        lines += wrapped(_shown(value), " " * _INDENT, _label(key))
    for rival in values.get("alternatives", []):
        doubt = rival["enthalpy_uncertainty_kJ_mol"]
        band = f" +- {doubt:g}" if math.isfinite(doubt) else ""
        text = (
            f"{rival['enthalpy_of_formation_kJ_mol']:g}{band} kJ/mol ({rival['status']}"
            f"; {rival['source']}) {rival['note']}"
        )
        label = f"  {'rival ' + repr(rival['name']):<{_INDENT - 2}}"
        lines += wrapped(text, " " * _INDENT, label)
    return "\n".join(lines) + "\n"


def _label(key: str) -> str:
    """Return a key as a label, its unit behind a comma."""
    unit = ""
    for suffix, shown in _UNITS.items():
        if key.endswith(suffix):
            key, unit = key.removesuffix(suffix), shown
    return f"  {key.replace('_', ' ') + unit:<{_INDENT - 2}}"


def _shown(value: Any) -> str:
    if isinstance(value, float):
        return "not known" if math.isnan(value) else f"{value:.6g}"
    if isinstance(value, list):
        return ", ".join(map(str, value))
    if isinstance(value, dict):
        return ", ".join(f"{n} {s:.1%}" for n, s in value.items())
    return str(value)
