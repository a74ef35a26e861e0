"""The catalogue: what there is, or one item with its uncertainty and its sources."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from castsugar.data.load import Database
from castsugar.data.records import Alternative, Ingredient, Premix, Syrup
from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import TEXT, keyed
from castsugar.report.screen import Annex, Finding, Listing, Paragraph, Screen, Table
from castsugar.report.shown import Shown

Facts = Mapping[str, Any]


#: What the JSON and the CSV say of an item, where it applies.
FIELDS = keyed(
    ("name", TEXT, "by which recipes call it"),
    ("kind", TEXT, "ingredient, syrup or premix"),
    ("role", TEXT, "oxidizer, fuel, water, catalyst, inert or dummy"),
    ("formula", TEXT, "of one mole"),
    ("molar_mass_g_mol", "molar mass", "of the formula"),
    (
        "enthalpy_of_formation_kJ_mol",
        "energy",
        "at 298.15 K, of the solid or liquid as it is weighed",
    ),
    ("enthalpy_uncertainty_kJ_mol", "energy", "of the enthalpy of formation"),
    ("enthalpy_status", TEXT, "how the enthalpy is known"),
    ("density_kg_m3", "density", "without voids"),
    ("dry_solids_mass_fraction", "number", "of a syrup, by mass"),
    ("dry_solids_uncertainty", "number", "of solids"),
    ("dextrose_equivalent", "number", "of a syrup"),
    ("status", TEXT, "how the composition is known"),
)

PARTS = {"items": Part(meaning="one an item", fields=FIELDS, many=True)}

#: Roles in the order of the list, as they are called there.
_ROLES = {
    "oxidizer": "oxidizers",
    "fuel": "fuels",
    "catalyst": "catalysts",
    "water": "water",
    "inert": "inert",
    "dummy": "stands in, cold",
}

#: Formulas that people type.
_TYPED = ("KNO3", "NaNO3", "KCl")

#: What a syrup's solids are: key -> word, attribute of the syrup.
_SOLIDS = {
    "dextrose_fraction_of_solids": ("dextrose", "dp1_fraction"),
    "fructose_fraction_of_solids": ("fructose", "fructose_fraction"),
    "disaccharide_fraction_of_solids": ("disaccharides", "dp2_fraction"),
    "trisaccharide_fraction_of_solids": ("trisaccharides", "dp3_fraction"),
    "longer_fraction_of_solids": ("longer", "dp4plus_fraction"),
    "ash_fraction_of_solids": ("ash", "ash_fraction"),
}


def catalogue(database: Database) -> list[dict[str, Any]]:
    """Return the facts of every item."""
    names = [item.name for item in database.ingredients.values()]
    names += [*database.syrups, *database.premixes]
    return [facts(database, name) for name in names]


def catalogue_screen(items: Sequence[Facts], show: Shown) -> Screen:
    """Return the list: names by what they are."""
    kinds = {
        kind: [i for i in items if i["kind"] == kind]
        for kind in ("ingredient", "syrup", "premix")
    }
    rows = [
        (words, ", ".join(_called(i) for i in kinds["ingredient"] if i["role"] == role))
        for role, words in _ROLES.items()
    ]
    rows.append(("syrups", ", ".join(_called(i) for i in kinds["syrup"])))
    rows.append(("premixes", ", ".join(_called(i) for i in kinds["premix"])))
    counts = [len(own) for own in kinds.values()]
    return Screen(
        command="ingredients",
        title="Ingredients: {} plain, {} syrups, {} premix".format(*counts),
        findings=(),
        blocks=(
            Table(heads=("", ""), rows=tuple(rows), left=frozenset({0, 1})),
            Paragraph("Own premixes: [premixes] of the bench. Numbers: --full, --csv."),
        ),
        next='castsugar ingredients "corn syrup"',
        annexes=(_numbers(kinds["ingredient"], show), _syrups(kinds["syrup"])),
    )


def _called(item: Facts) -> str:
    """Return the name, with the formula that people type for it."""
    short = [name for name in _TYPED if name in item["also_called"]]
    return f"{item['name']} ({short[0]})" if short else str(item["name"])


def _numbers(items: Sequence[Facts], show: Shown) -> Annex:
    """Return enthalpies and densities."""
    density, energy = show.unit("density"), show.unit("energy")
    rows = tuple(
        (
            i["name"],
            _enthalpy(i)[0],
            _enthalpy(i)[1],
            numbers.typed(show.number("density", i["density_kg_m3"])),
            i["enthalpy_status"],
        )
        for i in items
    )
    heads = ("", f"enthalpy of\nformation, {energy}", "±", f"density\n{density}", "")
    note = "At 298.15 K; ± is the standard uncertainty; densities are without voids."
    table = Table(heads=heads, rows=rows, left=frozenset({0, 4}))
    return Annex("Enthalpies and densities", (table, Paragraph(note)))


def _enthalpy(item: Facts) -> tuple[str, str]:
    """Return an enthalpy of formation and its standard uncertainty."""
    return numbers.with_uncertainty(
        item["enthalpy_of_formation_kJ_mol"], item["enthalpy_uncertainty_kJ_mol"]
    )


def _syrups(items: Sequence[Facts]) -> Annex:
    """Return the solids of syrups."""
    rows = tuple(
        (
            i["name"],
            numbers.significant(100.0 * i["dry_solids_mass_fraction"]),
            numbers.significant(100.0 * (1.0 - i["dry_solids_mass_fraction"])),
            numbers.typed(i["dextrose_equivalent"]),
        )
        for i in items
    )
    heads = ("", "dry solids, %", "water, %", "dextrose equivalent")
    return Annex("Syrups", (Table(heads=heads, rows=rows),))


# ----------------------------------------------------------------------------
# One item.


def item_screen(item: Facts, show: Shown) -> Screen:
    """Return what is known of one item."""
    rows = tuple((label, text) for label, text in _rows(item, show) if text)
    blocks = [Table(heads=("", ""), rows=rows, left=frozenset({0, 1}))]
    note = numbers.capitalized(item["note"]).rstrip(".")
    return Screen(
        command="ingredients",
        title=f"{item['name']}: {item.get('role') or item['kind']}",
        findings=(_known(item),),
        blocks=(*blocks, *((Paragraph(f"{note}.", spare=True),) if note else ())),
        next=_next(item),
        annexes=tuple(_annexes(item)),
    )


#: Roles of what does not burn.
_DEAD = ("inert", "dummy")


def _known(item: Facts) -> Finding:
    """Say how well it is known."""
    if item["kind"] != "ingredient":
        solids = item.get("dry_solids_mass_fraction")
        if solids is None:
            return Finding("RESULT", f"Its composition is {item['status']}.")
        told, u = numbers.with_uncertainty(
            100.0 * solids, 100.0 * item["dry_solids_uncertainty"]
        )
        text = f"Dry solids {told} ± {u} %, {item['status']}; a lot in the bench says "
        return Finding("RESULT", f"{text}what yours has.", {"solids": solids})
    if item["role"] in _DEAD:
        return Finding("RESULT", "Dead weight: it dilutes and does not burn.")
    told, u = _enthalpy(item)
    text = f"Enthalpy of formation {told} ± {u} kJ/mol, {item['enthalpy_status']}."
    return Finding(
        "RESULT" if u != numbers.DASH else "CANNOT TELL",
        text if u != numbers.DASH else f"How well {told} kJ/mol is known.",
        {"enthalpy_of_formation_kJ_mol": item["enthalpy_of_formation_kJ_mol"]},
    )


def _rows(item: Facts, show: Shown) -> Iterator[tuple[str, str]]:
    """Yield label and text of what an item has."""
    yield "also called", ", ".join(item["also_called"])
    if item["kind"] == "ingredient":
        yield "formula", str(item["formula"])
        molar = numbers.significant(item["molar_mass_g_mol"], 5)
        yield "molar mass", "" if molar == numbers.DASH else f"{molar} g/mol"
        density = show.typed("density", item["density_kg_m3"])
        yield "theoretical density", f"{density}, {item['density_status']}"
        rivals = [str(a["name"]) for a in item["alternatives"]]
        yield "rival enthalpies (--full)", ", ".join(rivals)
    elif item["kind"] == "syrup":
        yield "dextrose equivalent", numbers.typed(item["dextrose_equivalent"])
        yield (
            "its solids",
            ", ".join(
                f"{name} {numbers.percent(item[key])} %"
                for key, (name, _) in _SOLIDS.items()
            ),
        )
    else:
        shares = item["mass_fractions"].items()
        told = ", ".join(f"{n} {numbers.typed(100.0 * x)} %" for n, x in shares)
        yield "composition", told


#: Kinds of fuel that a mix may burn alone.
_FUELS = ("sugar", "polyol")


def _next(item: Facts) -> str:
    """Return a command on a recipe that holds an item."""
    name = item["name"]
    if item.get("role") == "dummy":
        recipe = f"{name}:56.6 sugar:20 corn syrup:20"
        return f'castsugar kitchen judge "{recipe}" --cook "119 C" --minutes 8'
    recipe = f"KNO3:65 sucrose:34 {name}:1"
    if item.get("role") == "oxidizer":
        recipe = f"{name}:65 sucrose:35"
    elif item.get("fuel_kind") in _FUELS or item["kind"] != "ingredient":
        recipe = f"KNO3:65 {name}:35"
    return f'castsugar evaluate "{recipe}"'


def _annexes(item: Facts) -> Iterator[Annex]:
    """Yield rival values and sources."""
    rivals = item.get("alternatives", [])
    if rivals:
        lines = []
        for one in rivals:
            told, u = _enthalpy(one)
            band = "" if u == numbers.DASH else f" ± {u}"
            text = f"{one['name']}: {told}{band} kJ/mol, {one['status']}"
            note = f"; {one['note']}" if one["note"] else ""
            lines.append(f"{text}; {one['source']}{note}")
        yield Annex("Rival enthalpies of formation", (Listing(tuple(lines)),))
    keys = {
        "enthalpy_source": "enthalpy of formation",
        "density_source": "density",
        "source": "composition",
    }
    cited = [f"{words}: {item[k]}" for k, words in keys.items() if item.get(k)]
    yield Annex("Sources", (Listing(tuple(cited)),))


# ----------------------------------------------------------------------------
# Plain values.


def facts(database: Database, name: str) -> dict[str, Any]:
    """Return the facts of one item as plain values, units in the keys."""
    item = database.find(name)
    if isinstance(item, Ingredient):
        own = _ingredient(database, item)
    else:
        own = _syrup(item) if isinstance(item, Syrup) else _premix(item)
        own |= {"status": item.status, "source": _cited(database, item.source)}
    named = {"name": item.name, "also_called": list(item.aliases)}
    return {**named, **own, "note": item.note}


def _cited(database: Database, key: str) -> str:
    """Return the citation of a source key."""
    source = database.sources.get(key)
    return source.citation if source else key


def _ingredient(database: Database, item: Ingredient) -> dict[str, Any]:
    return {
        "kind": "ingredient",
        "role": item.role,
        "fuel_kind": item.fuel_kind,
        "formula": item.formula_text,
        "molar_mass_g_mol": 1e3 * item.molar_mass,
        **_enthalpies(item),
        "enthalpy_status": item.status,
        "enthalpy_source": _cited(database, item.source),
        "density_kg_m3": item.density,
        "density_status": item.density_status,
        "density_source": _cited(database, item.density_source),
        "alternatives": [
            {
                "name": one.name,
                **_enthalpies(one),
                "status": one.status,
                "source": _cited(database, one.source),
                "note": one.note,
            }
            for one in item.alternatives
        ],
    }


def _enthalpies(one: Ingredient | Alternative) -> dict[str, float]:
    return {
        "enthalpy_of_formation_kJ_mol": one.enthalpy_of_formation / 1e3,
        "enthalpy_uncertainty_kJ_mol": one.enthalpy_uncertainty / 1e3,
    }


def _syrup(item: Syrup) -> dict[str, Any]:
    return {
        "kind": "syrup",
        "dextrose_equivalent": item.dextrose_equivalent,
        "dry_solids_mass_fraction": item.dry_solids_fraction,
        "dry_solids_uncertainty": item.dry_solids_uncertainty,
        **{key: getattr(item, attribute) for key, (_, attribute) in _SOLIDS.items()},
    }


def _premix(item: Premix) -> dict[str, Any]:
    return {"kind": "premix", "mass_fractions": dict(item.components)}
