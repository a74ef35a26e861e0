"""What is believed of a kitchen, and what one measurement changes in it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar.data.records import Facts, Syrup
from castsugar.frozen import dataclass
from castsugar.kitchen.calibration import Learnt, Outcome
from castsugar.kitchen.parameters import OF_POUR, PARAMETERS, PLACE, Belief
from castsugar.kitchen.suspension import SPATULA, yield_stress
from castsugar.report import numbers
from castsugar.report.cautions import Chosen, do_nots
from castsugar.report.document import Part
from castsugar.report.field import TEXT, Row, keyed
from castsugar.report.kitchen import CONTRIBUTIONS, cook_words
from castsugar.report.mix_words import composition, own_name
from castsugar.report.screen import Annex, Finding, Listing, Screen, Table
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from castsugar.mix.mix import Mix

# ----------------------------------------------------------------------------
# What is believed about the parameters.

#: Name of a parameter -> how it is called, in words what it is, and which measurement
#: tells of it.
CALLED = {
    "syrup_solids": ("syrup solids, %", "the solids of the syrup", "ball-fall"),
    "syrup_grade": ("syrup grade, DE", "the grade of the syrup", "ball-fall"),
    "packing": ("packing", "how densely the grains pack", "brine"),
    "nitrate_dissolved": (
        "nitrate dissolved",
        "how much nitrate dissolves at the pour",
        "clear-point",
    ),
    "solubility_loss": (
        "solubility depression",
        "how much syrup keeps sugar from dissolving",
        "flow-out",
    ),
    "drying_time": ("drying time, s", "how fast the pan dries", "pan-weight"),
    "liquid_factor": ("viscosity factor", "the viscosity factor", "flow-out"),
    "thermometer": (
        "thermometer off",
        "what the thermometer is off by",
        "boiling-water",
    ),
    "law_exponent": (
        "form of the law of crowding",
        "the form of the law of crowding",
        "flow-out",
    ),
    "fines_gain": ("room filled by fines", "what fines fill between grains", ""),
    "chloride_dissolved": (
        "chloride dissolved",
        "how much of a dummy's chloride dissolves",
        "",
    ),
    "dry_packing": ("dry over wet packing", "how openly dry powder lies", ""),
    "nitrate_trend": (
        "nitrate per sugar",
        "how sugar keeps nitrate from dissolving",
        "",
    ),
    "nitrate_carried": (
        "nitrate, bath to pour",
        "how nitrate dissolves in a bath against the pour",
        "",
    ),
}


def origin_word(name: str, origin: str) -> str:
    """Return where a value comes from: measured, stated, assumed or invented."""
    if "(invented)" in origin:
        return "invented"
    if origin.startswith("measured"):
        return "measured"
    prior = next(p.origin for p in PARAMETERS if p.name == name)
    guessed = origin == prior or origin.startswith("guess")
    return "assumed" if guessed else "stated"


def measurement_of(shares: Mapping[str, float], belief: Belief) -> str:
    """Return which measurement tells most of what moves the pour and is assumed."""
    names = [p.name for p in PARAMETERS]
    for name in shares:
        origin = belief.origins[names.index(name)]
        if CALLED[name][2] and origin_word(name, origin) == "assumed":
            return CALLED[name][2]
    return "flow-out"


def least_sure(
    shares: Mapping[str, float], belief: Belief, syrup: Syrup, show: Shown
) -> str:
    """Say which parameter moves the pour viscosity most, and how well it is known."""
    if not shares:
        return ""
    name, share = next(iter(shares.items()))
    row = next(r for r in parameter_rows(belief, syrup) if r["name"] == name)
    band = _cells(row, show)[1]
    return (
        f"{CALLED[name][1]} ({band}, {origin_word(name, row['origin'])}): "
        f"{numbers.percent(share)} % of the uncertainty of the pour"
    )


def _cells(row: Row, show: Shown) -> tuple[str, str]:
    """Return a parameter and its band."""
    three = (row["value"], *row["value_interval"])
    if row["name"] == "thermometer":
        told, low, high = show.band("temperature difference", *three)
    else:
        told, low, high = numbers.with_band(*three)
    return told, f"{low} to {high}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Believed:
    """What is known of a kitchen.

    `shares` are the contributions of the parameters to the pour viscosity of `mix`.
    """

    learnt: Learnt
    syrup: Syrup
    mix: Mix
    shares: Mapping[str, float]
    invented: tuple[str, ...] = ()
    bench: str = "bench.toml"


def parameters_screen(found: Believed, show: Shown) -> Screen:
    """Return what ``kitchen parameters`` answers."""
    belief = found.learnt.kitchen.belief
    rows = {row["name"]: row for row in parameter_rows(belief, found.syrup)}
    order = [*found.shares, *(n for n in belief.used if n not in found.shares)]
    words = {name: origin_word(name, rows[name]["origin"]) for name in order}
    lines = []
    for name in order:
        label, _, test = CALLED[name]
        if name == "thermometer":
            label = show.headed(label, "temperature difference")
        share = numbers.percent(found.shares.get(name, 0.0))
        cells = (*_cells(rows[name], show), share, words[name], test or "no test")
        lines.append((label, *cells))
    heads = ("", "median", "95 % band", "share,\n%", "origin", "measured by")
    return Screen(
        command="kitchen",
        title=f"Kitchen parameters: {belief.measured} of {len(order)} measured",
        findings=(
            *(Finding("REFUSED", text) for text in _set_aside(found.learnt)),
            _deciding(found, words),
        ),
        conditions="Share: of the uncertainty of the pour viscosity.",
        blocks=(Table(heads=heads, rows=tuple(lines), left=frozenset({0, 4, 5})),),
        next=f"castsugar kitchen {measurement_of(found.shares, belief)} --how",
        invented=found.invented,
        bench=found.bench,
        annexes=tuple(_parameter_annexes(found, rows)),
    )


def _set_aside(learnt: Learnt) -> Iterator[str]:
    """Yield which measurements of the bench are not used."""
    for one in learnt.calibration.contradictions:
        name = f"{one.measurement.kind} {one.measurement.label}".rstrip()
        yield f"{name}: {refusal(one)}; set aside. Repeat it, or mend what was before."


def _deciding(found: Believed, words: Mapping[str, str]) -> Finding:
    """Say which two parameters decide how a mix pours."""
    first = list(found.shares)[:2]
    told = numbers.listed([CALLED[name][1] for name in first])
    guessed = sum(words[name] == "assumed" for name in first)
    guess = ("none of them is a guess", "one is a guess", "both are guesses")[guessed]
    text = f"{numbers.capitalized(told)} decide how {_mix(found)} pours; "
    return Finding("RESULT", f"{text}{guess}.", dict(found.shares))


def _mix(found: Believed | Measured) -> str:
    return own_name(found.mix) or composition(found.mix)


def _parameter_annexes(found: Believed, rows: Mapping[str, Row]) -> Iterator[Annex]:
    """Yield what each is and rests on, and what was measured."""
    lines = tuple(f"{r['name']}: {r['meaning']}; {r['origin']}" for r in rows.values())
    yield Annex("What they are and rest on", (Listing(lines),))
    outcomes = found.learnt.calibration.outcomes
    if outcomes:
        told = tuple(one.sentence() for one in outcomes)
        yield Annex("Measurements", (Listing(told),))


PARAMETER_FIELDS = keyed(
    ("name", TEXT, "as in [kitchen] of the bench file"),
    ("meaning", TEXT, "what it is"),
    ("unit", TEXT, "of value and value_interval"),
    ("value", "number", "median of what is believed"),
    ("origin", TEXT, "where it comes from"),
)

#: What is known of a measurement before it is used.
_READING = ("kind", "label", "quantity", "unit")
OUTCOME_FIELDS = keyed(
    ("kind", TEXT, "of the measurement"),
    ("label", TEXT, "how it is called: its number in the bench file"),
    ("quantity", TEXT, "what was found"),
    ("unit", TEXT, "of observed, expected and expected_interval"),
    ("observed", "number", "what was found"),
    ("expected", "number", "before it, by what was believed"),
    ("deviation", "number", "of the two, in standard deviations of both"),
)

PARAMETER_PARTS = {
    "parameters": Part(meaning="one a parameter", fields=PARAMETER_FIELDS, many=True),
    "measurements": Part(
        meaning="in the order of the bench file", fields=OUTCOME_FIELDS, many=True
    ),
    "recipe": Part(meaning="of the mix that contributions speaks of"),
    "contributions": CONTRIBUTIONS,
}


def parameters_parts(found: Believed) -> dict[str, Any]:
    """Return the numbers of ``kitchen parameters``."""
    learnt = found.learnt
    return {
        "parameters": parameter_rows(learnt.kitchen.belief, found.syrup),
        "measurements": outcome_rows(learnt.calibration.outcomes),
        "recipe": composition(found.mix),
        "contributions": dict(found.shares),
    }


def parameter_rows(belief: Belief, syrup: Syrup) -> list[dict[str, Any]]:
    """Return the parameters as plain rows.

    The first two are solids and grade of the syrup that the kitchen measures, as they
    stand, not how far they are off.
    """
    rows = []
    for parameter, origin in zip(PARAMETERS, belief.origins, strict=True):
        zero, size, label, unit = 0.0, 1.0, parameter.label, parameter.unit
        if parameter.name == "syrup_solids":
            zero, size = syrup.dry_solids_fraction, syrup.dry_solids_uncertainty
            zero, size = 100.0 * zero, 100.0 * size
            label, unit = f"dry solids of the {syrup.name}", "%"
        elif parameter.name == "syrup_grade":
            zero = syrup.viscosity_dextrose_equivalent
            label = f"dextrose equivalent as the viscosity of the {syrup.name} shows it"
        low, middle, high = (zero + size * v for v in belief.interval(parameter.name))
        rows.append(
            {
                "name": parameter.name,
                "meaning": label,
                "unit": unit,
                "value": middle,
                "value_interval": [low, high],
                "origin": origin,
            }
        )
    return rows


def outcome_rows(outcomes: Sequence[Outcome]) -> list[dict[str, Any]]:
    """Return what measurements said, as plain rows."""
    return [
        {
            **{key: getattr(o.measurement, key) for key in _READING},
            "observed": o.observed,
            "expected": o.expected,
            "expected_interval": [o.low, o.high],
            "deviation": o.deviation,
            "contradicts": o.contradicts,
        }
        for o in outcomes
    ]


# ----------------------------------------------------------------------------
# One measurement.


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One measurement and what it changes.

    `mix` is the one on which the change is shown, and `bands` its pour viscosity [Pa s]
    before and after, quantiles of :data:`castsugar.kitchen.calibration.BAND`; `facts`
    are those of the pan; an empty `bench`: none is named. `layer` stays on an upright
    spatula, `bore` is the width of the mould [m].
    """

    before: Learnt
    after: Learnt
    syrup: Syrup
    mix: Mix
    bands: tuple[tuple[float, ...], tuple[float, ...]]
    saved: bool
    facts: Facts
    cautions: Chosen
    next: str
    invented: tuple[str, ...] = ()
    bench: str = ""
    layer: float | None = None
    bore: float | None = None

    @property
    def outcome(self) -> Outcome:
        """What the measurement said."""
        return self.after.calibration.outcomes[-1]


def refusal(one: Outcome) -> str:
    """Say why a measurement is not believed."""
    if math.isinf(one.deviation):
        return "by what is believed this mix jams, and it flowed"
    deviations = numbers.significant(abs(one.deviation), 2)
    return f"{deviations} standard deviations from what is believed"


def measurement_screen(found: Measured, show: Shown) -> Screen:
    """Return what a measurement answers."""
    one = found.outcome
    read = one.measurement
    named = f"{read.kind} {read.label}".rstrip()
    alone = read.kind not in ("pan weight", "flow-out")
    whose = "" if alone else f" of {_mix(found)}"
    return Screen(
        command="kitchen",
        title=f"{named}{whose}: {read.quantity} {_reading(one, one.observed, show)}",
        findings=(*do_nots(found.facts, show), *_said(found, show)),
        conditions="" if one.contradicts else cook_words(found.after.kitchen, show),
        cautions=found.cautions.lines,
        cautions_count=found.cautions.count,
        next=found.next,
        invented=found.invented,
        bench=found.bench or "bench.toml",
        annexes=(Annex("Parameters before and after", (_moved(found, show),)),),
    )


def _said(found: Measured, show: Shown) -> Iterator[Finding]:
    """Yield whether it fits, what it changes, whether it is kept."""
    one = found.outcome
    values = outcome_rows([one])[0]
    expected = _reading(one, one.expected, show)
    low, high = (_reading(one, x, show, bare=True) for x in (one.low, one.high))
    if found.layer is not None:
        yield _stays(found, show)
    if one.contradicts:
        yield Finding("REFUSED", f"{refusal(one)}; not saved", values)
        if math.isfinite(one.expected):
            text = f"Expected {expected} ({low} to {high}). Nothing is learnt from it:"
            yield Finding("RESULT", f"{text} repeat it, or mend what was before.")
        return
    told = f"Expected {expected} ({low} to {high})"
    if one.low <= one.observed <= one.high:
        yield Finding("INSIDE", f"{told}: it fits.", values)
    else:
        yield Finding("OUTSIDE", f"{told}: is the reading right? Repeat it.", values)
    before, after = (_thick(band) for band in found.bands)
    alike = before == after
    changed = f"{before}, as before" if alike else f"{before} before, {after} after"
    text = f"Pour viscosity of {_mix(found)}, Pa s: {changed}."
    yield Finding("CHANGES", text)
    yield Finding("CHANGES", _narrowed(found, show))
    if one.measurement.kind == "bulk density":
        yield Finding("CHANGES", _DRY)
    where = found.bench or "a bench file"
    kept = Finding("NOT SAVED", f"Add --save to keep it in {where}.")
    yield Finding("SAVED", f"In {where}.") if found.saved else kept


def _stays(found: Measured, show: Shown) -> Finding:
    """Say what stays on the spatula, and into which moulds the mix runs by itself."""
    layer = found.layer or 0.0
    stress = yield_stress(layer, found.mix.density)
    text = f"Yield stress about {numbers.significant(stress, 1)} Pa (factor {SPATULA})"
    if found.bore is None:
        least = show.amount("length", 4e3 * layer, 2)
        return Finding("RESULT", f"{text}: runs by itself into bores above {least}.")
    bore = show.amount("length", 1e3 * found.bore, 2)
    if found.bore > 4.0 * layer:
        return Finding("INSIDE", f"{text}: runs into a bore of {bore} by itself.")
    text = f"{text}: will not run into a bore of {bore} by itself; tap or vibrate it."
    return Finding("OUTSIDE", text)


_DRY = "Dry powder tells little of wet grains; castsugar kitchen brine tells more."


def _reading(one: Outcome, value: float, show: Shown, *, bare: bool = False) -> str:
    """Write what was found or expected, in the unit shown."""
    if one.measurement.unit == "K":
        kind, value = "temperature difference", round(value, 1)
        return show.bare(kind, value, 2) if bare else show.amount(kind, value, 2)
    kind, size = {"kg": ("mass", 1e3), "Pa s": ("viscosity", 1.0)}.get(
        one.measurement.unit, ("number", 1.0)
    )
    if math.isinf(value):
        return "jams"
    digits = 2 if kind == "viscosity" else 3
    value = size * max(value, 0.0)
    return show.bare(kind, value, digits) if bare else show.amount(kind, value, digits)


def _thick(band: Sequence[float]) -> str:
    """Write the 95 % band of a viscosity: one digit, or jams."""
    low, high = (numbers.significant(x, 1, "jams") for x in (band[0], band[-1]))
    return low if low == high else f"{low} to {high}"


#: A band that is narrower by less is called alike.
_NARROWER = 0.98


def _narrowed(found: Measured, show: Shown) -> str:
    """Say which parameters are known better, the two most first."""
    old, new = _both(found)
    moved = []
    for was, now in zip(old, new, strict=True):
        wide, left = _width(was), _width(now)
        if was["name"] in OF_POUR and wide > 0.0 and left < _NARROWER * wide:
            moved.append((left / wide, was, now))
    moved.sort(key=lambda one: one[0])
    if not moved:
        return "No parameter is known better for it."
    told = []
    for _, was, now in moved[:2]:
        before, after = (_cells(row, show)[1] for row in (was, now))
        told.append(f"{CALLED[was['name']][0]} {before} -> {after}")
    rest = "rest alike" if len(moved) <= 2 else f"{len(moved) - 2} more: --full"
    return f"Narrowed: {', '.join(told)}; {rest}."


def _width(row: Row) -> float:
    low, high = row["value_interval"]
    return float(high - low)


def _both(found: Measured) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the parameters before and after."""
    old, new = (
        parameter_rows(learnt.kitchen.belief, found.syrup)
        for learnt in (found.before, found.after)
    )
    return old, new


def _moved(found: Measured, show: Shown) -> Table:
    """Return all parameters before and after."""
    lines = tuple(
        (CALLED[was["name"]][0], *_cells(was, show), *_cells(now, show))
        for was, now in zip(*_both(found), strict=True)
    )
    heads = ("", "before", "95 % band", "after", "95 % band")
    return Table(heads=heads, rows=lines)


#: A parameter that moves or narrows by less of what was believed is not drawn.
_STILL = 0.05


def moved_parameters(
    found: Measured, show: Shown
) -> list[tuple[str, str, str, float, float]]:
    """Return the parameters that a measurement moves.

    Name, both bands in words, then middle and width after it, in standard deviations of
    what was believed before.
    """
    old, new = (one.kitchen.belief for one in (found.before, found.after))
    spreads = np.maximum(old.spreads(), 1e-300)  # fines have none without a grind
    moved = (new.mean - old.mean) / spreads
    widths = np.where(old.spreads() > 0.0, new.spreads() / spreads, 1.0)
    told = []
    for was, now in zip(*_both(found), strict=True):
        at = PLACE[was["name"]]
        if abs(moved[at]) > _STILL or widths[at] < 1.0 - _STILL:
            bands = (_cells(was, show)[1], _cells(now, show)[1])
            name = CALLED[was["name"]][0]
            told.append((name, *bands, float(moved[at]), float(widths[at])))
    return told


MEASURED_PARTS = {
    "measurement": Part(meaning="what was read", fields=OUTCOME_FIELDS),
    "recipe": Part(meaning="of the mix on which the change is shown"),
    "yield_stress_Pa": Part(meaning="by the spatula; null where it was not used"),
    "saved": Part(meaning="whether it stands in the bench file now"),
    "pour_viscosity_Pa_s_interval": Part(
        meaning="95 % band of that mix, before and after"
    ),
    "parameters_before": PARAMETER_PARTS["parameters"],
    "parameters_after": PARAMETER_PARTS["parameters"],
}


def measured_parts(found: Measured) -> dict[str, Any]:
    """Return the numbers of a measurement."""
    old, new = _both(found)
    return {
        "measurement": outcome_rows([found.outcome])[0],
        "recipe": composition(found.mix),
        "yield_stress_Pa": None
        if found.layer is None
        else yield_stress(found.layer, found.mix.density),
        "saved": found.saved,
        "pour_viscosity_Pa_s_interval": {
            name: [band[0], band[-1]]
            for name, band in zip(("before", "after"), found.bands, strict=True)
        },
        "parameters_before": old,
        "parameters_after": new,
    }
