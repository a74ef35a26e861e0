"""What stands behind a comparison: every number that went in, and where it is from."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from castsugar.comparison.draws import UncertainMixes
from castsugar.comparison.uncertain_inputs import SYRUP_SOLIDS, Doubts, enthalpy_u
from castsugar.constants import ICE_POINT
from castsugar.data.load import Database
from castsugar.data.records import Ingredient
from castsugar.frozen import dataclass
from castsugar.kitchen.parameters import NAMES, OF_SYRUP, Kitchen, find
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.mix.syrups import SOLIDS_UNCERTAINTY
from castsugar.motor.burn_law import BurnLaw, burn_rate
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import burn_law_of
from castsugar.motor.scatter import WIDTHS, Scatter
from castsugar.rows import shipped_species

# ----------------------------------------------------------------------------
# One number behind a comparison, and how it came to be.

#: How a number came to be: by the user's own measurement; from a source that can be
#: read; of something else than the mix or kitchen at hand; by calculation from
#: published numbers; without a source; by nobody, to learn on.
MEASURED, PUBLISHED, BORROWED = "measured", "published", "borrowed"
DERIVED, ASSUMED, STATED = "derived", "assumed", "stated"
RECALLED, INVENTED = "from memory", "invented"
STANDINGS = (
    MEASURED,
    STATED,
    PUBLISHED,
    DERIVED,
    RECALLED,
    BORROWED,
    ASSUMED,
    INVENTED,
)

#: Status of a row of the data files -> standing.
_STATUS = {
    "measured": PUBLISHED,
    "fitted": PUBLISHED,
    "estimated": DERIVED,
    "assumed": ASSUMED,
    "from memory": RECALLED,
}


#: First word of the origin of a burn law -> standing.
_LAWS = {
    "measured": MEASURED,
    "fired": MEASURED,
    "stated": STATED,
    "borrowed": BORROWED,
    "imported": BORROWED,
    "assumed": ASSUMED,
}


#: Of widths that nobody stated.
_ASSUMED = "no source; [scatter] of the bench file states them"


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One number behind a comparison."""

    subject: str  # what it is the value of
    #: value, uncertainty: NaN where there is none; the uncertainty is standard, on the
    #: scale that `unit` names.
    value: float
    uncertainty: float
    unit: str
    standing: str  # of STANDINGS
    source: str  # key of the sources of the database, or words where it is none of them
    note: str = ""  # how it is known, in the words of its row; rival values

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "subject": self.subject,
            "value": self.value,
            "standard_uncertainty": self.uncertainty,
            "unit": self.unit,
            "standing": self.standing,
            "source": self.source,
            "note": self.note,
        }


def standing_of(status: str, source: str) -> str:
    """Return the standing of a row of the data files.

    Examples
    --------
    >>> standing_of("measured", "crc-handbook"), standing_of("assumed", "user")
    ('published', 'assumed')
    """
    if source in ("common-practice", "derived-convention"):
        return ASSUMED
    if source == "from-memory":
        return RECALLED
    return _STATUS.get(status, ASSUMED)


def law_standing(origin: str) -> str:
    """Return the standing of a burn law.

    Examples
    --------
    >>> law_standing("measured: a"), law_standing("model of 2 mixes: 6 % of the mass")
    ('measured', 'derived')
    """
    return _LAWS.get(origin.split(":")[0], DERIVED)


# ----------------------------------------------------------------------------
# What stands behind kitchen, motor and batch.


def kitchen_evidence(kitchen: Kitchen, *, syrup: bool) -> Iterable[Evidence]:
    """Return the parameters of the kitchen."""
    belief = kitchen.belief
    spreads = belief.spreads().tolist()
    middles = belief.central()
    for name, spread, origin in zip(NAMES, spreads, belief.origins, strict=True):
        if name not in belief.used or (name in OF_SYRUP and not syrup):
            continue
        parameter = find(name)
        scale = "" if parameter.scale == "plain" else f"{parameter.scale} scale"
        unit = " ".join(
            u for u in (parameter.unit, scale and f"(u on the {scale})") if u
        )
        measured = origin.startswith("measured")
        standing = STATED if origin.startswith("stated") else ASSUMED
        standing = MEASURED if measured else standing
        yield Evidence(
            subject=f"kitchen: {parameter.label}",
            value=float(getattr(middles, name)),
            uncertainty=spread,
            unit=unit,
            standing=INVENTED if "(invented)" in origin else standing,
            source="your kitchen measurements"
            if standing == MEASURED and "(invented)" not in origin
            else origin,
        )


def motor_evidence(mixes: Sequence[Mix], motor: Hardware) -> Iterable[Evidence]:
    """Return burn laws, and what is stated of the motor or taken for it."""
    for mix in mixes:
        law = burn_law_of(of_mixes([mix]), motor)
        yield Evidence(
            subject=f"burning rate of {mix.name} at {law.centre / 1e6:.3g} MPa",
            value=1e3 * float(burn_rate(law, law.centre)),
            uncertainty=law.log_rate_u,
            unit="mm/s (u relative)",
            standing=INVENTED if law.invented else law_standing(law.origin),
            source=", ".join(law.invented) or law.origin.removeprefix("borrowed: "),
            note=_law_note(law),
        )
    yield from _scatter(motor.burning.scatter)
    spread = motor.spread
    stated = "invented, [motor]" if motor.invented else "stated by you, [motor]"
    usual = "common practice, no source, unless [motor] states it"
    yield from _grain(motor)
    throat = 1e3 * motor.throat_diameter
    yield _number(
        "throat diameter", throat, throat * spread.throat_diameter, "mm", stated
    )
    ratio = motor.known_density_ratio
    yield _number(
        "density of the grain over the theoretical density",
        ratio,
        ratio * spread.density,
        "",
        usual,
    )
    yield _number("burning area, relative", 1.0, spread.area, "", usual)
    yield _number(
        "c* in the motor, relative", 1.0, spread.characteristic_velocity, "", usual
    )
    celsius = motor.grain_temperature - ICE_POINT
    yield _number("temperature of the grain", celsius, spread.temperature, "C", usual)
    yield Evidence(
        subject="burning rate with temperature",
        value=100.0 * motor.temperature_sensitivity,
        uncertainty=math.nan,
        unit="% per K",
        standing=PUBLISHED,
        source="from memory: Sutton & Biblarz, ch. 11, pi_K times 1 - n",
    )
    if motor.case is not None:
        yield Evidence(
            subject="pressure that the case may hold",
            value=1e-6 * motor.allowable,
            uncertainty=math.nan,
            unit="MPa",
            standing=INVENTED if motor.invented else STATED,
            source=f"{'invented' if motor.invented else 'stated by you'}, [motor.case]",
            note="nobody has proved it",
        )


def _law_note(law: BurnLaw) -> str:
    """Return exponent and pressures of a burn law."""
    band = next((b for b in law.bands if b.low <= law.centre <= b.high), law.bands[0])
    doubt = ""
    if law.covariance is not None:
        doubt = f" \u00b1 {math.sqrt(law.covariance[1][1]):.2g}"
    low, high = (1e-6 * end for end in law.tested)
    return f"exponent {band.exponent:.3g}{doubt}, {low:.3g} to {high:.3g} MPa"


def _scatter(known: Scatter) -> Iterable[Evidence]:
    """Return the widths of burn rates: those stated, and those assumed."""
    every = {name: f"{100.0 * getattr(known, name):g} %" for name in WIDTHS}
    every["strands_to_motor_u"] = (
        f"{100.0 * known.strands_to_motor:g} \u00b1 {every['strands_to_motor_u']}"
    )
    for standing, source in ((STATED, "stated by you, [scatter]"), (ASSUMED, _ASSUMED)):
        told = [
            f"{name.removesuffix('_u').replace('_', ' ')} {value}"
            for name, value in every.items()
            if (name in known.stated) == (standing == STATED)
        ]
        if told:
            yield Evidence(
                subject=f"scatter of burning rates: {', '.join(told)}",
                value=math.nan,
                uncertainty=math.nan,
                unit="",
                standing=standing,
                source=source,
                note="standard deviations, before what was burned says more",
            )


def _grain(motor: Hardware) -> Iterable[Evidence]:
    """Return the sizes of a cylindrical grain, and the largest Kn."""
    grain = motor.grain
    stated = f"{'invented' if motor.invented else 'stated by you'}, [motor.grain]"
    if isinstance(grain, HollowCylinder):
        sizes = {
            "grain: outer diameter": grain.outer_diameter,
            "grain: core diameter": grain.core_diameter,
            "grain: length of a segment": grain.segment_length,
        }
        for subject, size in sizes.items():
            yield _number(subject, 1e3 * size, math.nan, "mm", stated)
        yield _number("grain: segments", float(grain.segments), math.nan, "", stated)
    largest = motor.motor(density=1800.0, characteristic_velocity=900.0).kn_max
    yield Evidence(
        subject="largest Kn",
        value=largest,
        uncertainty=math.nan,
        unit="",
        standing=DERIVED,
        source="grain and throat as stated",
    )


def doubt_evidence(doubts: Doubts) -> Iterable[Evidence]:
    """Return what is doubted of every batch."""
    usual = "common practice, no source, unless stated"
    yield _number("weighed mass, each", math.nan, 1e3 * doubts.weighing, "g", usual)
    yield _number(
        "water that powders bring beyond what the recipe counts (half-normal)",
        0.0,
        100.0 * doubts.moisture,
        "%",
        usual,
    )
    yield _number(
        "chamber pressure of the performance, relative", 1.0, doubts.pressure, "", usual
    )


def _number(
    subject: str, value: float, uncertainty: float, unit: str, source: str
) -> Evidence:
    """Return a number that is stated, or taken where nothing is."""
    standing = STATED if source.startswith("stated") else ASSUMED
    standing = INVENTED if source.startswith("invented") else standing
    return Evidence(
        subject=subject,
        value=value,
        uncertainty=uncertainty or math.nan,
        unit=unit,
        standing=standing,
        source=source,
    )


# ----------------------------------------------------------------------------
# What stands behind a comparison: every number that went in, and where it is from.

__all__ = ["STANDINGS", "Evidence", "evidence_of"]


def evidence_of(outlook: UncertainMixes, database: Database) -> tuple[Evidence, ...]:
    """Return everything that mixes under conditions rest on.

    Parameters
    ----------
    database : Database
        For the sources.
    """
    conditions = outlook.conditions
    damp = [database.ingredients["water"]] if outlook.doubts.moisture > 0.0 else []
    found = _ingredients(outlook.mixes, damp)
    found += _syrups(outlook.mixes, database)
    table = conditions.species or shipped_species()
    found.append(
        Evidence(
            subject="combustion products: heat capacity, enthalpy, entropy",
            value=math.nan,
            uncertainty=math.nan,
            unit="",
            standing=PUBLISHED,
            source="nasa-tp-2002-211556"
            if "2002" in table.data_set
            else "nasa-tm-4513",
            note=f"product set {table.data_set}, reference pressure 1 bar",
        )
    )
    if conditions.kitchen is not None:
        syrup = any(mix.syrups for mix in outlook.mixes)
        found += kitchen_evidence(conditions.kitchen, syrup=syrup)
    if conditions.motor is not None:
        found += motor_evidence(outlook.mixes, conditions.motor)
    found += doubt_evidence(outlook.doubts)
    return tuple(found)


def _ingredients(mixes: Sequence[Mix], more: Sequence[Ingredient]) -> list[Evidence]:
    """Return enthalpies of formation and densities, each once; more of them last."""
    used: dict[tuple[str, float], Ingredient] = {}
    for one in [*(part.ingredient for mix in mixes for part in mix.cast), *more]:
        used.setdefault((one.name, one.enthalpy_of_formation), one)
    found = []
    solids = [one for one in used.values() if one.name.startswith(SYRUP_SOLIDS)]
    found += _solids(solids[0], len(solids)) if solids else []
    for one in used.values():
        if one in solids:
            continue
        if one.composition:
            found.append(_enthalpy(one))
        found.append(
            Evidence(
                subject=f"density of {one.name}",
                value=one.density,
                uncertainty=math.nan,
                unit="kg/m3",
                standing=standing_of(one.density_status, one.density_source),
                source=one.density_source,
                note=one.density_status,
            )
        )
    return found


def _solids(one: Ingredient, count: int) -> list[Evidence]:
    """Return what is taken of the saccharides of a syrup, all at once."""
    standing = standing_of(one.status, one.source)
    return [
        Evidence(
            subject=f"enthalpies of formation of {SYRUP_SOLIDS}",
            value=math.nan,
            uncertainty=1e-3 * SOLIDS_UNCERTAINTY,
            unit="kJ/kg",
            standing=standing,
            source=one.source,
            note=f"{one.status}; {count} saccharides by chain length",
        ),
        Evidence(
            subject=f"density of {SYRUP_SOLIDS}",
            value=one.density,
            uncertainty=math.nan,
            unit="kg/m3",
            standing=standing_of(one.density_status, one.density_source),
            source=one.density_source,
            note=one.density_status,
        ),
    ]


def _enthalpy(one: Ingredient) -> Evidence:
    """Return the enthalpy of formation of an ingredient, its rivals in the note."""
    rivals = [
        f"{a.name}: {1e-3 * a.enthalpy_of_formation:.5g} kJ/mol ({a.source})"
        for a in one.alternatives
        if a.enthalpy_of_formation != one.enthalpy_of_formation
    ]
    return Evidence(
        subject=f"enthalpy of formation of {one.name}",
        value=1e-3 * one.enthalpy_of_formation,
        uncertainty=1e-3 * enthalpy_u(one) or math.nan,
        unit="kJ/mol",
        standing=standing_of(one.status, one.source),
        source=one.source,
        note="; rival ".join([one.status, *rivals]),
    )


def _syrups(mixes: Sequence[Mix], database: Database) -> list[Evidence]:
    """Return dry solids and grade of every syrup, as it stands in the mixes."""
    found: dict[tuple[str, float, float], Evidence] = {}
    for mix in mixes:
        for use in mix.syrups:
            row = database.syrups[use.name]
            usual = use.dry_solids == row.dry_solids_fraction and not use.invented
            own = INVENTED if use.invented else STATED
            found[use.name, use.dry_solids, use.grade] = Evidence(
                subject=f"dry solids of {use.name}",
                value=100.0 * use.dry_solids,
                uncertainty=100.0 * use.dry_solids_uncertainty,
                unit="%",
                standing=standing_of(row.status, row.source) if usual else own,
                source=row.source
                if usual
                else ", ".join(use.invented) or "stated by you",
                note=f"dextrose equivalent {use.grade:g}",
            )
    return list(found.values())
