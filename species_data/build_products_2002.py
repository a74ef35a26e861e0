"""Make products-2002.yaml: K, Na and Fe species of NASA/TP-2002-211556.

Run as ``python species_data/build_products_2002.py nasa9polynomials.xml``. The XML is a
copy of the report's coefficients that ships in the source distribution of
the PyPI package thermopy 0.5.4, as ``databases/nasa9polynomials.xml``; its checksum is
:data:`XML_SHA256`. It is needed to run this script and for nothing else.

What the script does beside copying, and why:

* Species of C, H, O and N alone, graphite included, are those of products.yaml,
  unchanged: the two sets then differ only where the evaluations of the metals do.
* The XML has defects: in 27 records the coefficient b1 is lost (it holds 0, and b2
  holds the value of b1), and Fe.947O has no iron. So every record used is checked
  (:func:`check`, :func:`check_forms`), and a record that is neither used nor listed as
  left out stops the script.
* Records of one name are one phase on both sides of a Curie point; they are joined,
  and so are NaOH(a) and NaOH(b), between which the report has no heat of transition.
* Fits above 6000 K are dropped.
* Densities are those of products.yaml; where a form has none of its own, that of its
  nearest relative is borrowed, with the status "assumed".
"""

from __future__ import annotations

import functools
import hashlib
import itertools
import math
import re
import sys
import textwrap
from dataclasses import dataclass, replace
from pathlib import Path
from xml.etree import ElementTree

XML_SHA256 = "3f88dd89f06028187f32edcb8ecefcf8385ba135e6fac0f08674763f05b1d8e7"

ELEMENTS = ("C", "H", "O", "N", "K", "Na", "Fe")
METALS = ("K", "Na", "Fe")
SOURCE = "nasa-tp-2002-211556"

#: The gas constant of the report [J/(mol K)].
GAS_CONSTANT = 8.314510
TOP = 6000.0  # K
ROOM = 298.15  # K

#: Allowed: fit less stated enthalpy of formation [kJ/mol]; step of h/RT or s/R at a
#: join of two fits; step of g/RT between two forms at the transition.
ENTHALPY_TOLERANCE = 0.05
JOIN_TOLERANCE = 1e-4
TRANSITION_TOLERANCE = 1e-4

#: Counts that the XML has lost.
COUNTS = {
    "Fe.947O(cr)": {"Fe": 0.947, "O": 1.0},
    "Fe.947O(L)": {"Fe": 0.947, "O": 1.0},
}

#: Record of which only the fits from a temperature on are used [K].
KEPT_FROM = {"NaCN(III)": 293.15}


@dataclass(frozen=True)
class Form:
    """A condensed phase of the file.

    `records` are its names in the report: two where a transition takes up no heat, so
    that the forms are one phase to thermodynamics. `density` is the phase of
    products.yaml whose density is used, or a number of our own [kg/m3]; `own` says
    whether that density is meant for this very form.
    """

    records: str
    substance: str
    density: str | float
    own: bool = False


#: Phases in the order of the file; forms of a substance from cold to hot. Liquids
#: without a density anywhere get 0.83 of the solid, the ratio of K2CO3.
CONDENSED = {
    "K2CO3(a)": Form("K2CO3(a)", "K2CO3", "K2CO3(s)", own=True),
    "K2CO3(b)": Form("K2CO3(b)", "K2CO3", "K2CO3(s)"),
    "K2CO3(L)": Form("K2CO3(L)", "K2CO3", "K2CO3(L)", own=True),
    "KOH(b)": Form("KOH(b)", "KOH", "KOH(a)", own=True),
    "KOH(c)": Form("KOH(c)", "KOH", "KOH(b)", own=True),
    "KOH(L)": Form("KOH(L)", "KOH", "KOH(L)", own=True),
    "KCN(s)": Form("KCN(II)", "KCN", "KCN(s)", own=True),
    "KCN(L)": Form("KCN(L)", "KCN", "KCN(L)", own=True),
    "K2O(c)": Form("K2O(c)", "K2O", "K2O(s)", own=True),
    "K2O(b)": Form("K2O(b)", "K2O", "K2O(s)"),
    "K2O(a)": Form("K2O(a)", "K2O", "K2O(s)"),
    "K2O(L)": Form("K2O(L)", "K2O", 1950.0),
    "Na2CO3(a)": Form("Na2CO3(a)", "Na2CO3", "Na2CO3(I)", own=True),
    "Na2CO3(b)": Form("Na2CO3(b)", "Na2CO3", "Na2CO3(I)"),
    "Na2CO3(c)": Form("Na2CO3(c)", "Na2CO3", "Na2CO3(II)", own=True),
    "Na2CO3(L)": Form("Na2CO3(L)", "Na2CO3", "Na2CO3(L)", own=True),
    "NaOH(a)": Form("NaOH(a) NaOH(b)", "NaOH", "NaOH(a)", own=True),
    "NaOH(c)": Form("NaOH(c)", "NaOH", "NaOH(a)"),
    "NaOH(L)": Form("NaOH(L)", "NaOH", "NaOH(L)", own=True),
    "NaCN(s)": Form("NaCN(III)", "NaCN", "NaCN(s)", own=True),
    "NaCN(L)": Form("NaCN(L)", "NaCN", "NaCN(L)", own=True),
    "Fe(a)": Form("Fe(a)", "Fe", "Fe(a)", own=True),
    "Fe(c)": Form("Fe(c)", "Fe", "Fe(c)", own=True),
    "Fe(d)": Form("Fe(d)", "Fe", "Fe(d)", own=True),
    "Fe(L)": Form("Fe(L)", "Fe", "Fe(L)", own=True),
    "Fe.947O(cr)": Form("Fe.947O(cr)", "Fe.947O", "FeO(s)"),
    "Fe.947O(L)": Form("Fe.947O(L)", "Fe.947O", "FeO(L)"),
    "Fe3O4(s)": Form("Fe3O4(cr)", "Fe3O4", "Fe3O4(s)", own=True),
    "Fe3O4(L)": Form("Fe3O4(L)", "Fe3O4", 4300.0),
    "Fe2O3(s)": Form("Fe2O3(cr)", "Fe2O3", "Fe2O3(s)", own=True),
}

#: Records of the elements of the family that are not used: reason -> names.
LEFT_OUT = {
    "ions": "Fe+ Fe- K+ K- K2+ K2O+ Na+ Na- NaOH+ Na2O+",
    "iron carbonyl, no product": "Fe(CO)5 Fe(CO)5(L)",
    "alkali metals and hydrides, no condensed product at flame temperature": (
        "K(cr) K(L) KH(cr) KH(L) Na(cr) Na(L) NaH(cr) NaH(L)"
    ),
    "peroxides and superoxides, no condensed product at flame temperature": (
        "KO2(b) KO2(a) KO2(L) K2O2(cr) K2O2(L) NaO2(cr) NaO2(L) Na2O2(b) Na2O2(a) "
        "Na2O2(L)"
    ),
    "nitrates and nitrites, not in products.yaml: the lists stay comparable": (
        "KNO2(II) KNO2(I) KNO2(L) KNO3(a) KNO3(b) KNO3(L) NaNO2(I) NaNO2(I') NaNO2(L) "
        "NaNO3(a) NaNO3(b) NaNO3(L)"
    ),
    "sodium oxide, not in products.yaml: the lists stay comparable": (
        "Na2O(c) Na2O(b) Na2O(a) Na2O(L)"
    ),
    "hydroxides of iron, fitted to 1500 K only and decomposed far below": (
        "Fe(OH)2(cr) Fe(OH)3(cr)"
    ),
    "KOH below 298.15 K, where nothing changes but the fit": "KOH(a)",
    "NaCN below its lambda point, 288.5 K": "NaCN(II)",
}

HEADER = """\
description: |-
  Combustion products of nitrate-sugar mixes for castsugar, second set. Made by
  build_products_2002.py. Species of K, Na and Fe: B.J. McBride, M.J. Zehe and
  S. Gordon, NASA Glenn Coefficients for Calculating Thermodynamic Properties of
  Individual Species, NASA/TP-2002-211556, 2002; their source is the code and the
  reference that the report prints beside the fit. All other species: products.yaml.
  Density is a fact about the phase; it does not enter the equilibrium.
data-set: NASA/TP-2002-211556 (2002)
units: {length: m, mass: kg, time: s, quantity: mol, pressure: Pa}

"""


@dataclass(frozen=True)
class Region:
    """One nine-term fit."""

    low: float
    high: float
    terms: tuple[float, ...]

    def properties(self, t: float) -> tuple[float, float]:
        """Return h/RT and s/R at a temperature."""
        a, (b1, b2) = self.terms[:7], self.terms[7:]
        h = -a[0] / t**2 + a[1] * math.log(t) / t + b1 / t
        s = -a[0] / (2.0 * t**2) - a[1] / t + a[2] * math.log(t) + b2
        h += sum(a[2 + k] * t**k / (k + 1) for k in range(5))
        s += sum(a[2 + k] * t**k / k for k in range(1, 5))
        return h, s


@dataclass(frozen=True)
class Record:
    """One species of the report."""

    name: str
    counts: dict[str, float]
    condensed: bool
    source: str
    stated: float  # enthalpy of formation at 298.15 K [kJ/mol]
    regions: tuple[Region, ...]

    @property
    def covers_room(self) -> bool:
        """Whether a fit holds at 298.15 K."""
        return self.regions[0].low <= ROOM <= self.regions[-1].high

    def at(self, t: float) -> tuple[float, float]:
        """Return h/RT and s/R from the first fit that reaches a temperature."""
        return next(r for r in self.regions if t <= r.high).properties(t)


def parse(node: ElementTree.Element) -> Record:
    """Read one record of the XML."""
    name = node.get("inp_file_name", "")
    counts: dict[str, float] = {}
    for element in node.iter("element"):
        for symbol, count in element.attrib.items():
            counts[symbol] = counts.get(symbol, 0.0) + float(count)
    regions = []
    for part in node.findall("T_range"):
        keys = ("a1", "a2", "a3", "a4", "a5", "a6", "a7", "b1", "b2")
        region = Region(
            low=float(part.get("Tlow", "")),
            high=float(part.get("Thigh", "")),
            terms=tuple(float(part.findtext(key, "")) for key in keys),
        )
        if region.high <= TOP and region.low >= KEPT_FROM.get(name, 0.0):
            regions.append(region)
    code = re.sub(r"(?<=[a-z]) +", "", node.findtext("reference", "").strip())
    comment = " ".join(node.findtext("comment", "").split())
    return Record(
        name=name,
        counts=COUNTS.get(name, counts),
        condensed=node.findtext("condensed") == "True",
        source=f"{SOURCE}; code {code}; {comment}",
        stated=1e-3 * float(node.findtext("hf298.15", "nan")),
        regions=tuple(regions),
    )


def joined(first: Record, second: Record) -> Record:
    """Return one record for both sides of a transition without heat."""
    return replace(first, regions=first.regions + second.regions)


def read(xml: bytes) -> tuple[dict[str, Record], list[str]]:
    """Return the records of the family and the names of all that have lost b1."""
    family = {*ELEMENTS, "E"}
    records: dict[str, Record] = {}
    lost = []
    for node in ElementTree.fromstring(xml):
        record = parse(node)
        if any(region.terms[7] == 0.0 for region in record.regions):
            lost.append(record.name)
        symbols = set(record.counts)
        if not symbols <= family or not symbols & set(METALS):
            continue
        if record.name in records:
            record = joined(records[record.name], record)
        records[record.name] = record
    return records, lost


def check(record: Record) -> None:
    """Refuse a record that is not what the report prints."""
    faults = []
    if any(not count > 0.0 for count in record.counts.values()):
        faults.append(f"element counts {record.counts}")
    if any(region.terms[7] == 0.0 for region in record.regions):
        faults.append("coefficient b1 is lost")
    if record.covers_room:
        fitted = 1e-3 * GAS_CONSTANT * ROOM * record.at(ROOM)[0]
        if not abs(fitted - record.stated) < ENTHALPY_TOLERANCE:
            faults.append(f"H(298.15) is {fitted:.3f}, stated {record.stated} kJ/mol")
    elif not record.condensed:
        faults.append("a gas without a fit at 298.15 K")
    faults += [
        f"fits do not join at {left.high} K"
        for left, right in itertools.pairwise(record.regions)
        if not largest_step(left, right) < JOIN_TOLERANCE
    ]
    if faults:
        raise ValueError(f"record {record.name}: {'; '.join(faults)}")


def largest_step(left: Region, right: Region) -> float:
    """Return the larger step of h/RT and s/R from one fit to the next."""
    if left.high != right.low:
        return math.inf
    ends = zip(left.properties(left.high), right.properties(left.high), strict=True)
    return max(abs(b - a) for a, b in ends)


def check_forms(forms: list[Record]) -> None:
    """Refuse forms of one substance that do not follow each other at equal g."""
    if not forms[0].covers_room:
        raise ValueError(f"record {forms[0].name}: no fit at 298.15 K")
    for cold, hot in itertools.pairwise(forms):
        end = cold.regions[-1].high
        h, s = cold.at(end)
        hot_h, hot_s = hot.at(end)
        step = (hot_h - hot_s) - (h - s)
        if end != hot.regions[0].low or not abs(step) < TRANSITION_TOLERANCE:
            raise ValueError(
                f"records {cold.name}, {hot.name}: g/RT steps by {step} at {end} K"
            )
        if not hot_s > s:
            raise ValueError(f"records {cold.name}, {hot.name}: entropy falls")


def select(records: dict[str, Record]) -> tuple[list[Record], dict[str, Record]]:
    """Return the gases and the condensed phases by name, all checked.

    Raises
    ------
    ValueError
        For a defect, and for a record that is neither used nor left out by name.
    """
    left_out = {name for names in LEFT_OUT.values() for name in names.split()}
    used = {name for form in CONDENSED.values() for name in form.records.split()}
    gases = [r for r in records.values() if not r.condensed and r.name not in left_out]
    known = left_out | used | {r.name for r in gases}
    if known != set(records):
        raise ValueError(f"no decision, or no record: {known ^ set(records)}")
    phases = {
        name: functools.reduce(joined, (records[r] for r in form.records.split()))
        for name, form in CONDENSED.items()
    }
    for record in [*gases, *phases.values()]:
        check(record)
    for substance in {form.substance: None for form in CONDENSED.values()}:
        check_forms(
            [phases[n] for n, f in CONDENSED.items() if f.substance == substance]
        )
    return gases, phases


def first_set(text: str) -> tuple[list[str], list[str]]:
    """Return the entries of gases and condensed phases of products.yaml, as text."""
    gases, condensed = text.split("\ngases:\n")[1].split("\n\ncondensed:\n")
    start = re.compile(r"^(?=- name: )", re.MULTILINE)
    return [e.rstrip("\n") for e in start.split(gases) if e], [
        e.rstrip("\n") for e in start.split(condensed) if e
    ]


def field(entry: str, key: str) -> str:
    """Return a scalar of an entry given as text."""
    found = re.search(rf'^(?:- |  ){key}: "?([^"\n]+)"?$', entry, re.MULTILINE)
    if found is None:
        raise ValueError(f"no {key} in {entry[:40]!r}")
    return found.group(1)


def without_metal(entry: str) -> bool:
    """Whether an entry given as text holds none of K, Na and Fe."""
    counts = re.findall(r"([A-Z][a-z]?): ", field(entry, "composition"))
    return not set(counts) & set(METALS)


def entry(name: str, record: Record) -> list[str]:
    """Write what gases and phases share."""
    counts = ", ".join(
        f"{e}: {record.counts[e]:g}" for e in ELEMENTS if e in record.counts
    )
    ranges = [record.regions[0].low, *(r.high for r in record.regions)]
    lines = [
        f'- name: "{name}"',
        f"  composition: {{{counts}}}",
        "  thermo:",
        "    model: NASA9",
        "    reference-pressure: 1.0e5",
        f"    temperature-ranges: [{', '.join(map(repr, ranges))}]",
        "    data:",
    ]
    lines += [f"    - [{', '.join(map(repr, r.terms))}]" for r in record.regions]
    lines += [f'  source: "{record.source}"']
    if record.covers_room:
        lines += [
            f"  enthalpy-of-formation-kJ-mol: {record.stated:.10g}",
            f"  enthalpy-of-formation-source: {SOURCE}",
        ]
    return lines


def density(form: Form, first: dict[str, str]) -> list[str]:
    """Write substance and density of a phase."""
    value, status, source = str(form.density), "assumed", "derived-convention"
    if isinstance(form.density, str):
        like = first[form.density]
        value, source = field(like, "density"), field(like, "density-source")
        status = field(like, "density-status") if form.own else "assumed"
    return [
        f'  substance: "{form.substance}"',
        f"  density: {value}",
        f"  density-status: {status}",
        f"  density-source: {source}",
    ]


def comments(lost: list[str]) -> list[str]:
    """Write what was left out, and why."""

    def block(text: str) -> list[str]:
        wrapped = textwrap.wrap(
            text,
            84,
            break_on_hyphens=False,
            subsequent_indent="  " if text.startswith("- ") else "",
        )
        return [f"# {line}" for line in wrapped]

    lines = block(
        "Coefficients read from databases/nasa9polynomials.xml of the source "
        "distribution of thermopy 0.5.4 (PyPI), sha256"
    )
    lines += [f"# {XML_SHA256}.", "#", "# Records of K, Na and Fe left out:"]
    for reason, names in LEFT_OUT.items():
        lines += block(f"- {reason}: {names}")
    lines += block(
        "- the fits of NaCN(III) below 293.15 K: the entropy steps by 0.03 R there"
    )
    lines += block("- the fits of Fe, K and Na above 6000 K")
    lines += block(
        "Absent from the XML, but in products.yaml: gas Na2C2N2 and condensed FeO of "
        "one to one, in place of which stands Fe.947O; the XML holds that without "
        "iron, and the count is restored here. The XML repeats the names Fe(a), "
        "Fe2O3(cr) and Fe3O4(cr), one record for each side of the Curie point; they "
        "are one phase here, and so are NaOH(a) and NaOH(b), which change into each "
        "other without heat."
    )
    lines += block(
        f"In {len(lost)} records of the XML the coefficient b1 is lost; none of them "
        f"is used: {' '.join(lost)}"
    )
    return [*lines, ""]


def build(xml: bytes, first: str) -> str:
    """Return the text of products-2002.yaml from the XML and products.yaml."""
    if hashlib.sha256(xml).hexdigest() != XML_SHA256:
        raise ValueError("this is not the XML of thermopy 0.5.4")
    records, lost = read(xml)
    gases, phases = select(records)
    first_gases, first_condensed = first_set(first)
    by_name = {field(e, "name"): e for e in first_condensed}
    lines = ["gases:", *filter(without_metal, first_gases)]
    for record in gases:
        lines += entry(record.name, record)
    lines += ["", "condensed:", *filter(without_metal, first_condensed)]
    for name, record in phases.items():
        lines += entry(name, record) + density(CONDENSED[name], by_name)
    return "\n".join(comments(lost)) + "\n" + HEADER + "\n".join(lines) + "\n"


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: build_products_2002.py nasa9polynomials.xml")
    target = Path(__file__).with_name("products-2002.yaml")
    products = target.with_name("products.yaml").read_text("utf-8")
    target.write_text(build(Path(sys.argv[1]).read_bytes(), products), encoding="utf-8")
    sys.stdout.write(f"wrote {target.name}\n")
