"""Make products.yaml from the NASA coefficients that Cantera distributes.

Run as ``python species_data/build_products.py`` with Cantera installed; a test
rebuilds the file and compares it with the one that is checked in.

What the script adds to the coefficients, and why:

* ``reference-pressure: 1 bar``: the fits are 1 bar data; without the entry Cantera
  reads them as 1 atm, an error of 0.013 in G/RT per mole of gas.
* quotes around ``NO``, which YAML 1.1 readers take for a boolean.
* the true density of every condensed phase, as a fact with its source. (In the
  model the condensed volume is zero; see DEVELOPERS.md.)
* the substance a condensed phase is a form of, so that the forms of one substance
  are known to exclude each other away from a transition.
* the enthalpy of formation of main species from an independent table.
* the source of every species: the code that NASA TM-4513 prints beside the fit.

Left out on purpose: ions; fuels blended from many substances; iron carbonyl; and
condensed phases that are no product of this family at flame temperature (liquid
water and hydrocarbons, the alkali metals, peroxides and superoxides).
"""

from __future__ import annotations

import sys
from pathlib import Path

import cantera as ct

ELEMENTS = ("C", "H", "O", "N", "K", "Na", "Fe")
LEFT_OUT_GASES = ("Jet-A(g)", "FeC5O5")

#: phase -> (substance, density [kg/m3], status, source key)
CONDENSED = {
    "C(gr)": ("C", 2200.0, "measured", "crc-handbook"),
    "K2CO3(s)": ("K2CO3", 2290.0, "measured", "crc-handbook"),
    "K2CO3(L)": ("K2CO3", 1900.0, "from memory", "from-memory"),
    "KOH(a)": ("KOH", 2044.0, "from memory", "from-memory"),
    "KOH(b)": ("KOH", 2000.0, "assumed", "from-memory"),
    "KOH(L)": ("KOH", 1700.0, "from memory", "from-memory"),
    "KCN(s)": ("KCN", 1550.0, "from memory", "from-memory"),
    "KCN(L)": ("KCN", 1300.0, "from memory", "from-memory"),
    "K2O(s)": ("K2O", 2350.0, "from memory", "from-memory"),
    "Na2CO3(I)": ("Na2CO3", 2540.0, "measured", "crc-handbook"),
    "Na2CO3(II)": ("Na2CO3", 2500.0, "assumed", "from-memory"),
    "Na2CO3(L)": ("Na2CO3", 1970.0, "from memory", "from-memory"),
    "NaOH(a)": ("NaOH", 2130.0, "from memory", "from-memory"),
    "NaOH(L)": ("NaOH", 1770.0, "from memory", "from-memory"),
    "NaCN(s)": ("NaCN", 1600.0, "from memory", "from-memory"),
    "NaCN(L)": ("NaCN", 1250.0, "assumed", "from-memory"),
    "Fe(a)": ("Fe", 7870.0, "from memory", "from-memory"),
    "Fe(c)": ("Fe", 7650.0, "assumed", "from-memory"),
    "Fe(d)": ("Fe", 7350.0, "assumed", "from-memory"),
    "Fe(L)": ("Fe", 7000.0, "from memory", "from-memory"),
    "FeO(s)": ("FeO", 5700.0, "from memory", "from-memory"),
    "FeO(L)": ("FeO", 4900.0, "from memory", "from-memory"),
    "Fe3O4(s)": ("Fe3O4", 5170.0, "from memory", "from-memory"),
    "Fe2O3(s)": ("Fe2O3", 5250.0, "measured", "crc-handbook"),
}

#: Enthalpy of formation at 298.15 K of main species, NIST-JANAF, 4th edition, 1998
#: [kJ/mol]. Stated beside the fit, so that the loader can compare the two.
STATED = {
    "CO": -110.527,
    "CO2": -393.522,
    "CH4": -74.873,
    "HCN": 135.143,
    "H2O": -241.826,
    "OH": 38.987,
    "NH3": -45.898,
    "K": 89.0,
    "KOH": -232.63,
    "KCN": 79.496,
    "K2O2H2": -654.796,
    "K2CO3(s)": -1150.182,
    "KOH(a)": -424.718,
    "KCN(s)": -113.47,
    "K2O(s)": -363.171,
    "Na2CO3(I)": -1130.768,
    "NaOH(a)": -425.931,
    "Fe2O3(s)": -825.503,
}

HEADER = """\
description: |-
  Combustion products of nitrate-sugar mixes for castsugar. Made by
  build_products.py from the data files of Cantera {version}, which reproduce
  B.J. McBride, S. Gordon and M.A. Reno, Coefficients for Calculating
  Thermodynamic and Transport Properties of Individual Species, NASA TM-4513,
  1993. The source of a species is the code that the report prints beside its fit
  (J: JANAF tables; L: NASA Lewis; P: Pedley; TPIS: Gurvich; RUS: Gurvich).
  Density is a fact about the phase; it does not enter the equilibrium.
data-set: NASA TM-4513 (1993)
units: {{length: m, mass: kg, time: s, quantity: mol, pressure: Pa}}

"""


def listed(values: list[float]) -> str:
    """Write floats so that they read back to the same bits."""
    return ", ".join(repr(float(v)) for v in values)


def composition(species: ct.Species) -> str:
    """Write the element counts in the fixed order of ELEMENTS."""
    counts = species.composition
    return ", ".join(f"{e}: {counts[e]:g}" for e in ELEMENTS if e in counts)


def thermo(data: dict) -> list[str]:
    """Write the thermo entry of one species, with its reference pressure."""
    lines = [
        "  thermo:",
        f"    model: {data['model']}",
        "    reference-pressure: 1.0e5",
        f"    temperature-ranges: [{listed(data['temperature-ranges'])}]",
        "    data:",
    ]
    return lines + [f"    - [{listed(row)}]" for row in data["data"]]


def entry(species: ct.Species) -> list[str]:
    """Write one species."""
    data = species.input_data
    code = str(data["thermo"].get("note", "")).strip() or "no code printed"
    lines = [f'- name: "{species.name}"', f"  composition: {{{composition(species)}}}"]
    lines += thermo(data["thermo"])
    lines += [f'  source: "nasa-tm-4513; code {code}"']
    if species.name in STATED:
        lines += [
            f"  enthalpy-of-formation-kJ-mol: {STATED[species.name]}",
            "  enthalpy-of-formation-source: janaf-1998",
        ]
    if species.name in CONDENSED:
        substance, density, status, source = CONDENSED[species.name]
        lines += [
            f'  substance: "{substance}"',
            f"  density: {density}",
            f"  density-status: {status}",
            f"  density-source: {source}",
        ]
    return lines


def build() -> str:
    """Return the text of products.yaml."""
    wanted = set(ELEMENTS)
    gases = [
        s
        for s in ct.Species.list_from_file("nasa_gas.yaml")
        if set(s.composition) <= wanted
        and s.charge == 0
        and s.name not in LEFT_OUT_GASES
    ]
    solids = {s.name: s for s in ct.Species.list_from_file("nasa_condensed.yaml")}
    lines = ["gases:"]
    for species in gases:
        lines += entry(species)
    lines += ["", "condensed:"]
    for name in CONDENSED:
        lines += entry(solids[name])
    return HEADER.format(version=ct.__version__) + "\n".join(lines) + "\n"


if __name__ == "__main__":
    target = Path(__file__).with_name("products.yaml")
    target.write_text(build(), encoding="utf-8")
    sys.stdout.write(f"wrote {target.name}\n")
