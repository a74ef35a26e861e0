"""A batch: plan and scale, predictions and measurements, its history, its lab sheet."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Any

from castsugar.constants import COVERAGE
from castsugar.frozen import dataclass
from castsugar.mix.text import parse_recipe
from castsugar.records.batch import Batch
from castsugar.records.learning.checks import Check, Skipped
from castsugar.records.prediction import RESULTS, allowed_pressure, bound_of, key_of
from castsugar.records.record import Event
from castsugar.report import numbers
from castsugar.report.batch_list import printable
from castsugar.report.cautions import Chosen
from castsugar.report.document import Part, part, read_parts
from castsugar.report.field import FIELDS, TEXT, Row, chosen, fields
from castsugar.report.learn import check_table
from castsugar.report.learn_data import (
    CHECKS,
    checks_of,
    kinds_of,
    predicted,
    predicted_of,
    skipped_of,
    with_band,
)
from castsugar.report.limit_words import no_upper_limit, rests_on
from castsugar.report.screen import (
    Annex,
    Blanks,
    Block,
    Finding,
    Paragraph,
    Screen,
    Table,
    Ticks,
    notes,
)
from castsugar.report.shown import SI, Shown
from castsugar.units import to_celsius

#: Letters of a title on one line.
_WIDTH = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a screen says of a batch beside the batch.

    `checks` and `skipped`: what was predicted and measured, and what no prediction
    answers; `asked`: the share of draws that the bench asks to pour; `saved`: the file
    that was written, of a new batch; `grains`: how many are cast, for the lab sheet.
    """

    warnings: Sequence[Finding]
    cautions: Chosen
    next: str
    checks: Sequence[Check] = ()
    skipped: Sequence[Skipped] = ()
    asked: float | None = None
    saved: str = ""
    grains: int = 0
    invented: tuple[str, ...] = ()
    bench: str = "bench.toml"

    def ending(self) -> dict[str, Any]:
        """Return what a screen has beside its own."""
        return {
            "cautions": self.cautions.lines,
            "cautions_count": len(self.cautions.lines) + self.cautions.rest,
            "next": self.next,
            "invented": self.invented,
            "bench": self.bench,
        }


def batch_screen(batch: Batch, told: Told, show: Shown) -> Screen:
    """Return a batch; as long as it is open, its page is a lab sheet."""
    made = batch.made
    cook = f"cook {made.cook}" if made.cook else "no cook stated: kitchen not asked"
    if made.cook and made.minutes is not None:
        cook += f" {numbers.typed(made.minutes)} min"
    note = f"; note: {printable(made.note)}" if made.note else ""
    findings = [*told.warnings, *_compared(told.checks, show), *_seen(batch, show)]
    if not batch.firings():
        findings += _predicted(batch.predictions, told.asked, show)
    if told.saved:
        findings.append(Finding("SAVED", told.saved))
    return Screen(
        command="batch",
        title=title_of(batch, show),
        findings=tuple(findings or [Finding("READ", "Nothing was predicted of it.")]),
        conditions=f"Made {made.date}; {cook}{note}",
        blocks=(_masses(batch, show), *_history(batch, show)),
        sheet=tuple(_sheet(batch, told, show)),
        annexes=tuple(a for a in _annexes(batch, told, show) if a.blocks),
        **told.ending(),
    )


def added_screen(
    batch: Batch, events: Sequence[Event], told: Told, show: Shown
) -> Screen:
    """Return what was added to a batch."""
    saved = [
        Finding("SAVED", f"Line {e.line}, {e.date}: {event_words(e, show)}")
        for e in events
    ]
    return Screen(
        command="batch",
        title=title_of(batch, show),
        findings=(*told.warnings, *saved),
        **(told.ending() | {"cautions": (), "cautions_count": 0}),
    )


def state(batch: Batch) -> str:
    """Say what became of a batch."""
    return batch.outcome or "open"


def title_of(batch: Batch, show: Shown) -> str:
    """Return identity, state, mix by mass, mass."""
    parts = parse_recipe(batch.made.recipe).parts
    whole = sum(share for _, share in parts)
    mix = ", ".join(f"{n} {numbers.typed(100.0 * x / whole)}" for n, x in parts)
    name = f"{batch.made.name}, " if batch.made.name else ""
    mass = show.amount("mass", 1e3 * batch.made.mass, 4)
    title = printable(f"Batch {batch.id}, {state(batch)}: {name}{mix}")
    return title if len(title) + len(mass) + 2 > _WIDTH else f"{title}; {mass}"


# ----------------------------------------------------------------------------
# Findings: what was predicted, and what came of it.


def _predicted(row: Row, asked: float | None, show: Shown) -> Iterator[Finding]:
    share = float(row.get("pours_probability", math.nan))
    if not math.isnan(share):
        told = numbers.of_100(share)
        if asked is not None and share < asked and told == numbers.of_100(asked):
            told = numbers.at_place(100.0 * share, -1)
        text = f"Pours in {told} of 100 draws (predicted)"
        key = "pour_viscosity_Pa_s"
        middle, band = FIELDS[key].cells(with_band(row), show)
        text += f", {middle} Pa s ({band})" if band else ""
        status = "RESULT"
        if asked is not None:
            status = "KEPT" if share >= asked else "BROKEN"
            text += f"; your limit asks {numbers.of_100(asked)}"
        yield Finding(status, f"{text}.", {"pours_probability": share})
    high = float(row.get("peak_pressure_p95_MPa", math.nan))
    margin = float(row.get("pressure_margin_percent", math.nan))
    if not math.isfinite(high):
        if math.isinf(high):
            text = f"Peak pressure: {no_upper_limit()}. Burn strands of this mix."
            yield Finding("CANNOT TELL", text)
        return
    text = f"Peak pressure: 95 of 100 next batches below {show.bare('pressure', high)}"
    values = {"peak_pressure_p95_MPa": high, "pressure_margin_percent": margin}
    if math.isnan(margin):
        text = f"{text} {show.unit('pressure')}; no allowed pressure is known."
        yield Finding("RESULT", text, values)
    elif margin >= 0.0:
        allowed = show.amount("pressure", allowed_pressure(row))
        origin = rests_on(str(row.get("burn_law_origin")))
        yield Finding(
            "KEPT",
            f"{text}; allowed pressure, unproved, {allowed}: margin "
            f"{numbers.percent(0.01 * margin)} %. Rate: {origin}.",
            values,
        )


def _compared(checks: Sequence[Check], show: Shown) -> Iterator[Finding]:
    for status, inside in (("OUTSIDE", False), ("INSIDE", True)):
        group = [c for c in checks if c.inside is inside]
        if not group:
            continue
        parts = [
            f"{c.quantity} {show.amount(kind, c.measured)} ({band} predicted)"
            for c in group
            for kind in [kinds_of(c.unit)]
            for _, band in [predicted(kind).cells(predicted_of(c), show)]
        ]
        notes = sorted({c.note for c in group if c.note and not inside})
        why = f"; {'; '.join(notes)}" if notes else ""
        yield Finding(status, f"{'; '.join(parts)}{why}.")


def _seen(batch: Batch, show: Shown) -> Iterator[Finding]:
    flows = [e.values["flow_class"] for e in batch.standing if e.kind == "observed"]
    flows = [flow for flow in flows if flow]
    share = float(batch.predictions.get("pours_probability", math.nan))
    if flows:
        told = f"; predicted to pour in {numbers.of_100(share)} of 100 draws"
        told = "" if math.isnan(share) else told
        yield Finding("RESULT", f"At the pour: {', '.join(flows)}{told}.")
    name = "characteristic_velocity_efficiency"
    for link in batch.firings():
        if name in link.results:
            text = _result(link.results, name, "", "number", show)
            yield Finding("RESULT", f"c* efficiency {text}, {link.path.name}.")


# ----------------------------------------------------------------------------
# Masses and history.

INGREDIENTS = fields(
    ("ingredient", "ingredient", TEXT, "catalogue name"),
    ("planned_g", "planned", "mass", "on the scale"),
    ("actual_g", "made", "mass", "read off the scale; empty if nobody said"),
    ("cup_g", "in the cup", "mass", "stays in its cup"),
    ("planned_percent", "planned", "fraction", "of the mix"),
    ("made_percent", "made", "fraction", "of what was in the pan"),
    ("lot", "lot", TEXT, "bag or bottle, of the bench"),
)


def ingredient_rows(batch: Batch, *_: Any) -> list[dict[str, Any]]:
    """Return plan and scale, one row an ingredient."""
    made = batch.made
    return [
        {
            "ingredient": name,
            "planned_g": 1e3 * plan,
            "actual_g": 1e3 * made.actual[name] if name in made.actual else None,
            "cup_g": 1e3 * made.cups.get(name, 0.0),
            "planned_percent": 100.0 * made.fractions[name],
            "made_percent": 100.0 * made.masses[name] / made.mass,
            "lot": str(made.lots.get(name, {}).get("name", "")),
        }
        for name, plan in made.planned.items()
    ]


def _gram(show: Shown, grams: float) -> str:
    """Write a mass off a scale: tenths of a gram, hundredths where it has them."""
    shown = show.number("mass", grams)
    fine = show.system != SI or abs(10.0 * grams - round(10.0 * grams)) > 1e-3
    return numbers.at_place(shown, -2 if fine else -1)


def _masses(batch: Batch, show: Shown) -> Table:
    made = batch.made
    lines = [
        (r["ingredient"], r["planned_g"], r["actual_g"]) for r in ingredient_rows(batch)
    ]
    whole = 1e3 * sum(made.on_scale.values()) if made.actual else None
    lines.append(("together", 1e3 * made.batch, whole))
    heads = [show.headed(head, "mass") for head in ("planned", "made", "off")]
    rows = tuple(_mass_cells(show, *line) for line in lines)
    return Table(heads=("", *heads), rows=rows)


def _mass_cells(
    show: Shown, name: str, plan: float, mass: float | None
) -> tuple[str, ...]:
    cells = printable(name), _gram(show, plan)
    if mass is None:
        return *cells, numbers.DASH, numbers.DASH
    off = _gram(show, mass - plan)
    sign = "+" if mass > plan and off.strip("0.") else ""
    return *cells, _gram(show, mass), sign + off


def _history(batch: Batch, show: Shown) -> Iterator[Block]:
    told = [
        f"{e.date[5:]} "
        + (_SHORT[e.kind](e.values) if e.kind in _SHORT else event_words(e, show))
        for e in batch.standing
    ]
    if told:
        made = f"{batch.made.date[5:]} made"
        yield Paragraph(" | ".join([made, *told]), spare=True)


#: Kind of an event -> what a line of many events says of it.
_SHORT: dict[str, Callable[[Any], str]] = {
    "measured": lambda values: values["measurement"]["kind"],
    "burned": lambda values: f"{values['strands']} strands",
    "fired": lambda values: f"fired {values['file'].rpartition('/')[2]}",
}


def event_words(event: Event, show: Shown) -> str:
    """Say what an event is, with its note."""
    words = _WORDS[event.kind](event, show)
    note = f" [{event.note}]" if event.note and event.kind != "corrected" else ""
    return printable(words + note)


def _observed(event: Event, show: Shown) -> str:
    values = event.values
    kelvin = values["temperature_K"]
    warm = "" if kelvin is None else show.typed("temperature", to_celsius(kelvin))
    return ", ".join(filter(None, (values["text"], warm, values["flow_class"])))


def _measured(event: Event, show: Shown) -> str:
    entry = dict(event.values["measurement"])
    kind = entry.pop("kind")
    hidden = ("recipe", "cook", "minutes", "batch", "date")
    told = ", ".join(f"{k} {v}" for k, v in entry.items() if k not in hidden)
    return f"{kind}, {told}"


def _burned(event: Event, show: Shown) -> str:
    values = event.values
    mix = f" of {values['mix']!r}" if values["mix"] else ""
    return f"{values['strands']} strands{mix} in {values['file']}"


#: Results of a firing that a line tells: label, name, kind.
_FIRED = (
    ("peak pressure", "peak_pressure", "pressure"),
    ("c*", "characteristic_velocity", "velocity"),
    ("c* efficiency", "characteristic_velocity_efficiency", "number"),
    ("burn time", "burn_time", "time"),
    ("total impulse", "total_impulse", "impulse"),
)


def _fired(event: Event, show: Shown) -> str:
    row = event.values["results"]
    told = [
        f"{label} {_result(row, name, unit, kind, show)}"
        for label, name, kind in _FIRED
        for unit in [RESULTS.get(name, ("", 1.0))[0]]
        if key_of(name, unit) in row
    ]
    return f"fired {event.values['file']}: {', '.join(told)}"


def _result(row: Row, name: str, unit: str, kind: str, show: Shown) -> str:
    """Write a result of a firing with its 95 % band."""
    value = float(row[key_of(name, unit)])
    u = float(row.get(key_of(f"{name}_uncertainty", unit), math.nan))
    bound = bound_of(row, name)
    least = f"{bound} " if bound else ""
    if not u > 0.0:
        return f"{least}{show.amount(kind, value)}"
    step = COVERAGE * u
    return least + show.banded(kind, value, value - step, value + step)


_WORDS: dict[str, Callable[[Event, Shown], str]] = {
    "observed": _observed,
    "measured": _measured,
    "grains": lambda event, show: (
        f"{numbers.count(len(event.values['grains']), 'grain')} measured, together "
        + show.amount(
            "mass", 1e3 * sum(o["mass_kg"] for o in event.values["grains"]), 4
        )
        + ", in the place of any before"
    ),
    "cast": lambda event, show: (
        f"grains cast {show.amount('mass', 1e3 * event.values['mass_kg'], 4)}"
    ),
    "burned": _burned,
    "fired": _fired,
    "corrected": lambda event, _: (
        f"correction of line {event.values['line']}: {event.note}"
    ),
    "closed": lambda event, _: f"closed: {event.values['outcome']}",
}


# ----------------------------------------------------------------------------
# Annexes, and the lab sheet.


def _annexes(batch: Batch, told: Told, show: Shown) -> Iterator[Annex]:
    yield Annex("Masses and lots", tuple(_shares(batch, show)))
    yield Annex("Predictions", tuple(_predictions(batch, show)))
    checks: list[Block] = [check_table(told.checks, show)] if told.checks else []
    if told.skipped:
        checks.append(
            notes([f"{s.quantity}: not compared: {s.why}" for s in told.skipped])
        )
    yield Annex("Predictions against measurements", tuple(checks))
    yield Annex("History, by date; lines as in the file", (_events(batch, show),))
    changed = tuple(
        f"{path.as_posix()} (line {line}) {fault}; the record keeps what it gave"
        for line, path, fault in batch.changed_files()
    )
    yield Annex("Files", (notes(changed),) if changed else ())


def _shares(batch: Batch, show: Shown) -> Iterator[Block]:
    rows = []
    for row in ingredient_rows(batch):
        both = (row[f"{side}_percent"] for side in ("planned", "made"))
        told = (numbers.at_place(x, -2) for x in both)
        rows.append((row["ingredient"], *told, row["lot"]))
    heads = ("", "planned, %", "made, %", "from lot")
    yield Table(heads=heads, rows=tuple(rows), left=frozenset({0, 3}))
    if batch.made.process:
        yield Paragraph(f"Process: {batch.made.process}.")
    for name, cup in batch.made.cups.items():
        yield Paragraph(
            f"{show.amount('mass', 1e3 * cup, 2)} of the {name} stay in its cup: what "
            "was made, and what is predicted, are without them."
        )


#: What a record froze of the day that is told.
_FROZEN = chosen(
    (
        "characteristic_velocity_m_s",
        "specific_impulse_s",
        "flame_temperature_K",
        "relative_solids_20C",
        "peak_pressure_MPa",
        "peak_pressure_p95_MPa",
        "storage_humidity_max_percent",
    )
)


def _predictions(batch: Batch, show: Shown) -> Iterator[Block]:
    row = batch.predictions
    cells = [
        (one.headed(show), one.text(row, show))
        for one in _FROZEN
        if isinstance(row.get(one.key), float) and not math.isnan(row[one.key])
    ]
    if cells:
        pressure = show.amount("pressure", 1e-6 * batch.made.pressure)
        versions = batch.made.versions.get("castsugar", "")
        yield Table(
            heads=("", "predicted"),
            rows=tuple(cells),
            caption=f"Ideal values at {pressure}; frozen when it was made, by "
            f"castsugar {versions}".rstrip(),
        )


def _events(batch: Batch, show: Shown) -> Table:
    gone = batch.set_aside
    rows = [("1", batch.made.date, "made")]
    for event in sorted(batch.events, key=lambda e: (e.date, e.line)):
        words = event_words(event, show)
        if event.line in gone:
            words = f"WRONG ({printable(gone[event.line])}): {words}"
        rows.append((str(event.line), event.date, words))
    return Table(
        heads=("line", "date", ""), rows=tuple(rows), left=frozenset({0, 1, 2})
    )


def _sheet(batch: Batch, told: Told, show: Shown) -> Iterator[Block]:
    """Return what is ticked and filled in by hand, while the batch is open."""
    if not batch.outcome:
        unit = show.unit("mass")
        lines = (
            f"{_gram(show, row['planned_g'])} {unit} {printable(row['ingredient'])}"
            + (f", {printable(row['lot'])}" if row["lot"] else "")
            for row in ingredient_rows(batch)
        )
        yield Ticks(tuple(lines), "Weigh, tick each")
        grains = [f"grain {i + 1} as cast" for i in range(told.grains)]
        pan = ("pan and mix before heat", "pan and mix at the pour")
        weighed = ("cup empty", "cup scraped", *pan, "pan scraped", "pan empty")
        yield Blanks(
            (
                *(f"{what}, {unit}" for what in weighed),
                show.headed("bulk at the pour", "temperature"),
                "flow at the pour",
                "strands cast, lot name",
                *(f"{what}, {unit}" for what in grains or ["grains as cast"]),
            )
        )
    yield Blanks(("made by", "date", "signature"))


# ----------------------------------------------------------------------------
# Documents.


def event_rows(events: Sequence[Event]) -> list[dict[str, Any]]:
    """Return events as plain values."""
    return [
        {"line": e.line, "event": e.kind, "date": e.date, **e.values, "note": e.note}
        for e in events
    ]


_EVENTS = "line, event, date, note and the keys of its kind (SI)"

#: The document ``castsugar.batch_shown/2``: of a batch, its checks, what was skipped.
PARTS: dict[str, Part] = {
    "id": part("date and number of the day", "id"),
    "state": part("open, used, partly or discarded", lambda batch, *_: state(batch)),
    "date": part("when it was made", "made.date"),
    "recipe": part("as typed", "made.recipe"),
    "name": part("of the recipe, or empty", "made.name"),
    "batch_g": part(
        "planned mass on the scale", lambda batch, *_: 1e3 * batch.made.batch
    ),
    "ingredients": part("plan and scale", ingredient_rows, INGREDIENTS),
    "lots": part(
        "what was known of each bag or bottle",
        lambda batch, *_: {name: dict(lot) for name, lot in batch.made.lots.items()},
    ),
    "cook": part("as typed; empty without one", "made.cook"),
    "minutes": part("how long it was held", "made.minutes"),
    "process": part("how it was made; empty in records of once", "made.process"),
    "water_lost": part(
        "share of its water that the predictions take to leave", "made.water_lost"
    ),
    "predictions": Part(
        meaning="frozen on the day",
        fields=tuple(FIELDS.values()),
        read=lambda batch, *_: with_band(batch.predictions),
    ),
    "checks": part(
        "predictions against measurements",
        lambda _, checks, __: checks_of(checks),
        CHECKS,
    ),
    "not_checked": part(
        "what no prediction answers: quantity, why",
        lambda _, __, skipped: skipped_of(skipped, "quantity", "why"),
    ),
    "events": part(_EVENTS, lambda batch, *_: event_rows(batch.events)),
    "set_aside": part(
        "lines that were corrected: line, why",
        lambda batch, *_: [
            {"line": line, "why": why} for line, why in batch.set_aside.items()
        ],
    ),
    "changed_files": part(
        "linked files not as they were: line, file, fault",
        lambda batch, *_: [
            {"line": line, "file": path.as_posix(), "fault": fault}
            for line, path, fault in batch.changed_files()
        ],
    ),
    "record_versions": part(
        "that made the predictions", lambda batch, *_: dict(batch.made.versions)
    ),
    "note": part("as typed", "made.note"),
}

batch_parts = partial(read_parts, PARTS)

#: The document ``castsugar.batch_added/2``: of a batch and new events.
ADDED_PARTS: dict[str, Part] = {
    "id": PARTS["id"],
    "state": PARTS["state"],
    "events": part(_EVENTS, lambda _, events: event_rows(events)),
}

added_parts = partial(read_parts, ADDED_PARTS)
