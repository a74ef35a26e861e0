"""What batches taught: were predictions right, and what would saving change."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from castsugar.data.records import Syrup
from castsugar.frozen import dataclass
from castsugar.motor.pressure_table import untold
from castsugar.records.learning.alarms import PEAK, Alarm
from castsugar.records.learning.checks import (
    ODD,
    Check,
    Inflation,
    Skipped,
    Tally,
)
from castsugar.records.learning.firings import Fired
from castsugar.records.learning.learnt import Learning, Moved
from castsugar.report import numbers
from castsugar.report.batch_findings import highest_pressure
from castsugar.report.cautions import Chosen
from castsugar.report.field import FIELDS, Field, Row
from castsugar.report.learn_data import (
    efficiencies_of,
    firings_of,
    forecasts_of,
    kinds_of,
    laws_of,
    parameters_of,
    predicted,
    predicted_of,
    with_band,
)
from castsugar.report.mix_words import shares
from castsugar.report.numbers import count
from castsugar.report.screen import (
    Annex,
    Block,
    Figure,
    Finding,
    Paragraph,
    Screen,
    Table,
    notes,
)
from castsugar.report.shown import Shown

#: Rows of a table that a default screen keeps.
_ROWS = 6

#: Names that are listed one by one.
_NAMES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a screen says beside what was learnt.

    `syrup`: the one that the kitchen measures; `cautions`: chooses them for a system of
    units; `saved`: whether it went into the bench file; `invented`: entries with
    invented numbers that it rests on; `counted`, `every`: pictures for a page, of what
    counts and of all checks.
    """

    syrup: Syrup
    cautions: Callable[[Shown], Chosen]
    next: str
    saved: bool = False
    invented: tuple[str, ...] = ()
    counted: tuple[Figure, ...] = ()
    every: tuple[Figure, ...] = ()


def learn_screen(learning: Learning, told: Told, show: Shown) -> Screen:
    """Return what batches taught."""
    cautions = told.cautions(show)
    learnt = (
        *_kitchen(learning, told.syrup, show),
        *_burning(learning, show),
        *_efficiency(learning, show),
    )
    annexes = {
        "Predictions against measurements": (*_compared(learning), *told.every),
        "Predictions now and after saving": tuple(_moved(learning, show)),
        "What was learnt, 95 %": learnt,
        "Bench file, and what was left out": (
            *_bench(learning, told.saved),
            *_aside(learning),
        ),
    }
    return Screen(
        command="learn",
        title=_title(learning),
        findings=tuple(_findings(learning, show, told.saved)),
        blocks=tuple(_deciding(learning, show, told.saved)),
        least_sure=_least_sure(learning),
        cautions=cautions.lines,
        cautions_count=len(cautions.lines) + cautions.rest,
        next=told.next,
        invented=told.invented,
        bench=learning.bench.path.name,
        sheet=told.counted,
        annexes=tuple(
            Annex(title, blocks) for title, blocks in annexes.items() if blocks
        ),
    )


def named(names: Sequence[str]) -> str:
    """Write names, the first few of many."""
    rest = len(names) - _NAMES
    shown = ", ".join(names[:_NAMES])
    return f"{shown} and {rest} more" if rest > 0 else shown


def _title(learning: Learning) -> str:
    kitchen, burning = learning.kitchen, learning.burning
    batches = len(learning.material.batches)
    parts = (
        count(len(kitchen.outcomes) - kitchen.own, "kitchen measurement"),
        count(sum(m.from_batches for m in burning.mixes), "strand"),
        count(len(learning.firing.firings), "firing"),
    )
    closed = count(batches, "closed batch", "closed batches")
    return f"Learning from {closed}: {', '.join(parts)}"


# ----------------------------------------------------------------------------
# Findings.


def _findings(learning: Learning, show: Shown, saved: bool) -> Iterator[Finding]:
    yield from (_alarm(alarm, show) for alarm in learning.alarms)
    yield from _over(learning, show)
    for damaged in learning.material.damaged:
        yield Finding("MISFIT", f"Damaged, left out: {damaged.fault}")
    yield from _doubted(learning, show)
    for outcome in learning.kitchen.contradictions:
        yield Finding("MISFIT", f"Set aside: {outcome.sentence()}")
    for fault in learning.faults:
        what = "has changed since" if fault.fault == "changed" else "is missing"
        yield Finding(
            "CAUTION", f"{fault.batch}: {fault.path.name} {what}; {fault.done}."
        )
    for name in learning.kitchen.stale:
        yield Finding(
            "CAUTION",
            f"The bench file holds {name}, which no closed batch has (any more): it "
            "counts as its own; delete it there if it was corrected.",
        )
    yield from (Finding("CAUTION", _sentence(t)) for t in learning.warnings)
    for row in forecasts_of(learning)[-1:]:
        yield Finding("CHANGES", f"{_forecast(row, show)}.")
    yield from () if saved else _stale(learning)
    yield from _shown_outside(learning.checks)
    yield from _withheld(learning)
    yield from _tally(learning.tally, learning.checks)
    yield from _narrow(learning.inflations)
    yield _saved(learning, saved)


def _alarm(alarm: Alarm, show: Shown) -> Finding:
    peak, band, allowed = (
        1e-6 * p for p in (alarm.measured, alarm.band_high, alarm.allowed)
    )
    over = []
    if math.isfinite(band):
        over.append(f"above its 95 % band (to {show.amount('pressure', band)})")
    if math.isfinite(allowed):
        over.append(f"above the allowed pressure ({show.amount('pressure', allowed)})")
    return Finding(
        "DO NOT",
        f"fire this case again before you know why: {alarm.batch}, {alarm.file}: peak "
        f"{show.amount('pressure', peak)}, {' and '.join(over)}.",
        {"peak_pressure_MPa": peak, "allowed_pressure_MPa": allowed},
    )


def _short(learning: Learning, recipe: str) -> str:
    """Return a short name of one of the recipes that are told of."""
    told = [moved.name for moved in learning.moved]
    return shares(recipe, told + [mix.recipe for mix in learning.burning.mixes])


def _over(learning: Learning, show: Shown) -> Iterator[Finding]:
    for moved in learning.moved:
        row = moved.after
        if not row.get("pressure_margin_percent", math.nan) < 0.0:
            continue
        told = highest_pressure(row, show, "no stable pressure is told")
        values = {
            key: row[key]
            for key in ("peak_pressure_p95_MPa", "pressure_margin_percent")
        }
        yield Finding(
            "DO NOT",
            f"fire {_short(learning, moved.name)} in this case, after what was "
            f"learnt: {told}.",
            values,
        )


def _doubted(learning: Learning, show: Shown) -> Iterator[Finding]:
    """Say which firings are left out and why, and how to have them count."""
    out = [f for f in learning.firing.firings if f.left_out]
    for fired in out[:1]:
        why, *more = (fired.why_not,) if fired.why_not else fired.doubts
        rest = f" (and {len(more)} more: --full)" if more else ""
        text = f"Nothing learnt from {fired.name}: {why}{rest}."
        if not fired.why_not:
            text += f" If it is sound: --accept '{fired.batch.id}: why'."
        others = f" {len(out) - 1} more left out: --full." if out[1:] else ""
        yield Finding("MISFIT", show.said(text) + others)
    for fired in learning.firing.firings:
        if fired.accepted and not fired.left_out:
            text = f"{fired.name} is doubted, and counts: {fired.accepted!r}."
            yield Finding("CAUTION", text, {"look_again": list(fired.doubts)})


#: A forecast that moves by less than this part was not moved.
_STILL = 0.005


def _forecast(row: Row, show: Shown) -> str:
    """Say how the forecast of a firing moved, and by what."""
    keys = ("predicted", "by_rate", "now", "measured")
    told = {key: show.bare("pressure", row[f"{key}_MPa"]) for key in keys}
    before, by_rate, now = (row[f"{key}_MPa"] for key in keys[:3])
    text = (
        f"{row['batch']}, {show.unit('pressure')}: peak predicted {told['predicted']}, "
        f"measured {told['measured']}, now predicted {told['now']}"
    )
    rate_moved = abs(by_rate / before - 1.0) > _STILL
    if rate_moved and abs(now / by_rate - 1.0) > _STILL:
        text += f" (to {told['by_rate']} by the burning rate, from there by c*)"
    return f"{text}: the rest is taken as this batch's own"


def _withheld(learning: Learning) -> Iterator[Finding]:
    for moved in learning.moved:
        if not moved.fault and (why := untold(moved.after)):
            told = f"no pressure is told, so no margin: {why}."
            yield Finding("CANNOT TELL", f"{_short(learning, moved.name)}: {told}")


def _stale(learning: Learning) -> Iterator[Finding]:
    """Say what learn wrote earlier and the records do not say any more."""
    planned = learning.planned
    told = [
        f"{text}. Other commands believe it until castsugar learn --save takes it out."
        for text in planned.removed
    ]
    told += [
        "an older reading of a firing; castsugar learn --save puts it right."
        for text in planned.written
        if "in the place of line" in text
    ][:1]
    for text in told:
        yield Finding("CAUTION", f"{planned.path.name} still holds {text}")


def _shown_outside(checks: Sequence[Check]) -> Iterator[Finding]:
    """Say which results lie outside their bands, and are not counted, and why."""
    groups: dict[str, list[Check]] = {}
    for check in checks:
        if not check.counts:
            groups.setdefault(check.note, []).append(check)
    for note, group in groups.items():
        out = list(dict.fromkeys(c.quantity for c in group if not c.inside))
        if out:
            gone = sum(not c.inside for c in group)
            yield Finding(
                "OUTSIDE",
                f"{gone} of {count(len(group), 'result')} ({', '.join(out)}) outside, "
                f"not counted: {note}.",
                {"outside": gone, "of": len(group)},
            )


def _tally(found: Tally, checks: Sequence[Check]) -> Iterator[Finding]:
    high = [c.batch for c in checks if c.quantity == PEAK and c.above]
    if high:
        yield Finding(
            "OUTSIDE",
            f"{count(len(high), 'measured peak')} above the band ({named(high)}): lean "
            "on no pressure predicted here before you know why.",
        )
    if not found.count:
        more = "; what was measured had no band to be tested by" if checks else ""
        yield Finding(
            "CANNOT TELL", f"No prediction was measured later and counts{more}."
        )
        return
    values = {"inside": found.inside, "counted": found.count}
    wide = f"; {found.wide} of them span more than a factor of 10" if found.wide else ""
    status, told = "INSIDE", "no sign that they are too narrow."
    if found.so_few < ODD:
        chance = numbers.percent(found.so_few)
        status = "OUTSIDE"
        told = f"too many outside (by chance {chance} %); do not lean on these bands."
    elif found.few:
        status, told = "CANNOT TELL", "too few to say whether the bands are honest."
    text = f"{found.inside} of {found.count} counted predictions inside their 95 % "
    yield Finding(status, f"{text}bands{wide}: {told}", values)


def _narrow(found: Sequence[Inflation]) -> Iterator[Finding]:
    """Say which bands are too narrow, all in one line."""
    told = [f"{one.quantity} {_factor(one)}" for one in found if one.factor > 1.0]
    if told:
        yield Finding(
            "CAUTION",
            f"Uncertainties were stated too small: {numbers.listed(told)}.",
            {one.quantity: one.factor for one in found if one.factor > 1.0},
        )


def _factor(one: Inflation) -> str:
    return f"x {numbers.significant(one.factor, 2)}"


def _saved(learning: Learning, saved: bool) -> Finding:
    planned = learning.planned
    kinds = (
        ("kitchen.measured", "kitchen measurement", ""),
        ("motor.burn_law", "burning-rate law", ""),
        ("motor.firing", "firing", ""),
    )
    parts = [
        count(number, *words)
        for key, *words in kinds
        if (number := sum(key in text for text in planned.written))
    ]
    if planned.removed:
        parts.append(f"{count(len(planned.removed), 'entry', 'entries')} taken out")
    would = f"In {planned.path.name}:" if saved else "--save would write"
    told = f"{would} {numbers.listed(parts)}." if parts else "Nothing new."
    if planned.refused:
        told += f" Not written: {len(planned.refused)} (--full says why)."
    return Finding("SAVED" if saved else "NOT SAVED", told)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


# ----------------------------------------------------------------------------
# The numbers that decide.


def _deciding(learning: Learning, show: Shown, saved: bool) -> Iterator[Block]:
    checks = learning.checks
    if len(checks) > _ROWS:  # those that say most come first
        checks = tuple(sorted(checks, key=lambda c: (c.inside, not c.counts)))
    if checks:
        yield check_table(checks, show)
    rows = [*_efficiency_row(learning), *_pressure_rows(learning, show)]
    if rows:
        heads = ("", "before", "now") if saved else ("", "now", "after --save")
        yield Table(
            heads=heads,
            rows=tuple(rows),
            left=frozenset({0, 1, 2}),
            spare=max(len(rows) - 2, 0),
        )


def check_table(checks: Sequence[Check], show: Shown) -> Table:
    """Return every prediction with its measurement."""
    one = len({check.batch for check in checks}) == 1
    return Table(
        heads=(checks[0].batch if one else "", "predicted", "95 %", "measured", ""),
        rows=tuple(
            _check_cells(c, show, f"{'' if one else c.batch + ' '}{c.quantity}")
            for c in checks
        ),
        left=frozenset({0, 4}),
        spare=max(len(checks) - 1, 0),
    )


def _check_cells(check: Check, show: Shown, label: str) -> tuple[str, ...]:
    """Return label, predicted, band, measured, verdict."""
    kind = kinds_of(check.unit)
    cells = predicted(kind).cells(predicted_of(check), show)
    measured = show.bare(kind, check.measured)
    word = "inside" if check.inside else "OUTSIDE"
    if check.counts:
        word = f"{word.upper()}, counted"
    if check.discarded:
        word += ", discarded"
    return show.headed(label, kind), *cells, measured, word


def _efficiency_row(learning: Learning) -> Iterator[tuple[str, ...]]:
    row = efficiencies_of(learning)[0]
    if row["saved_firings"]:
        now, saved = _now_and_saved(row, "{}_efficiency", "number", Shown())
        stated = learning.before and learning.before.efficiency
        if stated and not row["now_firings"]:
            now = f"{numbers.typed(stated)}, stated"
        elif not row["now_firings"]:
            now = "assumed " + now.partition("(")[2].rstrip(")")
        firings = count(row["saved_firings"], "firing")
        yield "c* efficiency", now, f"{saved}, {firings}"


def _pressure_rows(learning: Learning, show: Shown) -> Iterator[tuple[str, ...]]:
    unit = show.unit("pressure")
    for moved in learning.moved:
        if "peak_pressure_p95_MPa" in moved.after and not moved.fault:
            both = (_p95(row, show) for row in (moved.before, moved.after))
            yield f"{_short(learning, moved.name)} p95, {unit}; margin", *both


def _p95(row: Mapping[str, Any], show: Shown) -> str:
    high = numbers.significant(show.number("pressure", row["peak_pressure_p95_MPa"]), 2)
    margin = row["pressure_margin_percent"]
    if not math.isfinite(margin):
        return high
    return f"{high}; {numbers.percent(0.01 * margin)} %"


def _least_sure(learning: Learning) -> str:
    found = learning.efficiencies[1].characteristic_velocity
    if not found.count:
        return ""
    if found.count == 1:
        return "the c* efficiency rests on one firing: fire a second one"
    scatter = numbers.percent(found.scatter)
    told = f"the c* efficiency: from firing to firing it scatters by {scatter} %"
    return f"{told}, as {found.count} firings show it"


# ----------------------------------------------------------------------------
# Annexes.


def _compared(learning: Learning) -> Iterator[Block]:
    found = learning.tally
    if found.count:
        low, high = (numbers.percent(x) for x in (found.share_low, found.share_high))
        yield Paragraph(
            f"{found.inside} of {found.count} inside, "
            f"{numbers.significant(found.expected, 2)} expected; the share inside lies "
            f"between {low} and {high} % (95 %, exact). A band holds the uncertainty "
            "of the prediction and that of the reading. Of one firing one comparison "
            "counts, the peak or else c*: they hang together."
        )
    if learning.inflations:
        yield Table(
            heads=("", "compared", "uncertainty"),
            rows=tuple(
                (one.quantity, str(one.count), _factor(one))
                for one in learning.inflations
            ),
            caption="What its stated uncertainty has to be multiplied with; 8 "
            "comparisons with a band that is right are believed beforehand",
        )
    remarks: dict[str, list[str]] = {}
    told: list[tuple[str, Check | Skipped]]
    told = [(c.note, c) for c in learning.checks if c.note]
    told += [(f"not compared: {s.why}", s) for s in learning.skipped]
    for why, one in told:
        remarks.setdefault(why, []).append(f"{one.batch} {one.quantity}")
    if remarks:
        yield notes([f"{named(who)}: {why}" for why, who in remarks.items()])


def _moved(learning: Learning, show: Shown) -> Iterator[Block]:
    known = [m for m in learning.moved if not m.fault]
    rows = tuple(row for m in known for row in _both(learning, m, show))
    if rows:
        yield Table(
            heads=("", "", "now", "after saving"),
            rows=rows,
            left=frozenset({0, 1}),
            caption="In brackets 95 %",
        )
    said = [_forecast(row, show) for row in forecasts_of(learning)]
    said += [f"{m.name}: not predicted: {m.fault}" for m in learning.moved if m.fault]
    if learning.not_shown:
        said.append(f"{count(learning.not_shown, 'older recipe')} not shown")
    if said:
        yield notes(said)


#: Columns of a recipe that learning moves.
_MOVED = (
    "pour_viscosity_Pa_s",
    "peak_pressure_MPa",
    "peak_pressure_p95_MPa",
    "pressure_margin_percent",
)


def _both(learning: Learning, moved: Moved, show: Shown) -> Iterator[tuple[str, ...]]:
    name, sides = (
        _short(learning, moved.name),
        [*map(with_band, (moved.before, moved.after))],
    )
    if moved.cook:
        told = (numbers.of_100(float(s["pours_probability"])) for s in sides)
        yield name, "pours, of 100", *told
    for key in _MOVED:
        if key in sides[1] and (moved.cook or key not in _MOVED[:1]):
            cells = (FIELDS[key].bracketed(side, show) for side in sides)
            yield name, FIELDS[key].headed(show), *cells


def _kitchen(learning: Learning, syrup: Syrup, show: Shown) -> Iterator[Block]:
    if len(learning.kitchen.outcomes) == learning.kitchen.own:
        return
    rows = []
    for row in parameters_of(learning, syrup):
        kind = kinds_of(row["unit"])
        unit = show.unit(kind) if kind != "number" else row["unit"]
        label = row["meaning"] + (f", {unit}" if unit else "")
        rows.append((label, *_now_and_saved(row, "{}", kind, show)))
    heads = ("", "now", "after saving")
    yield Table(heads=heads, rows=tuple(rows), caption="Kitchen parameters")


def _now_and_saved(row: Row, key: str, kind: str, show: Shown) -> Iterator[str]:
    """Yield both values of a row with their bands."""
    return (_band(row, key.format(side), kind, show) for side in ("now", "saved"))


def _burning(learning: Learning, show: Shown) -> Iterator[Block]:
    laws = [row for row in laws_of(learning) if row["strands_from_batches"]]
    if not laws:
        return
    rows = []
    for row in laws:
        at = show.amount("pressure", row["pressure_MPa"])
        told = f"{_short(learning, row['recipe'])}, {count(row['strands'], 'strand')}"
        head = show.headed(f"rate at {at}", "rate")
        rows += [
            (told, head, *_now_and_saved(row, "{}_rate_mm_s", "rate", show)),
            ("", "n", *_now_and_saved(row, "{}_n", "number", show)),
        ]
    yield Table(
        heads=("", "", "now", "after saving"),
        rows=tuple(rows),
        left=frozenset({0, 1}),
        caption="Burning-rate laws",
    )
    said = [f"{_short(learning, r['recipe'])}, now: {r['now_origin']}" for r in laws]
    for mix in learning.burning.mixes:
        if mix.result is not None and mix.from_batches:
            if mix.result.reason:
                said.append(
                    f"{_short(learning, mix.recipe)}: no law: {mix.result.reason}"
                )
            said += [
                f"{_short(learning, mix.recipe)}: {text}"
                for text in mix.result.cautions
            ]
    yield notes(said)


def _band(row: Row, key: str, kind: str, show: Shown) -> str:
    return Field(key=key, label="", kind=kind, meaning="").bracketed(row, show)


def _efficiency(learning: Learning, show: Shown) -> Iterator[Block]:
    if not learning.firing.firings:
        return
    rows, kinds = [], ("number", "number", "rate")
    keys = ("efficiency", "nozzle_efficiency", "rate_mm_s")
    for row in firings_of(learning):
        cells = [_band(row, *one, show) for one in zip(keys, kinds, strict=True)]
        bounds = (row["efficiency_bound"], row["nozzle_efficiency_bound"], "")
        cells = [f"{b} {c}".lstrip() for b, c in zip(bounds, cells, strict=True)]
        rows.append((f"{row['batch']} {row['file']}", *cells))
    yield Table(
        heads=("", "of ideal c*", "of ideal thrust", f"rate, {show.unit('rate')}"),
        rows=tuple(rows),
    )
    yield notes([_counts(fired, show) for fired in learning.firing.firings])
    yield from _alarm_counts(learning.firing.firings)
    table = [
        (f"{row['quantity']}{what}", *_now_and_saved(row, f"{{}}_{key}", kind, show))
        for row in efficiencies_of(learning)
        for what, key, kind in (
            (" efficiency", "efficiency", "number"),
            (", next firing", "next_efficiency", "number"),
            (", firing to firing, %", "scatter_percent", "fraction"),
        )
    ]
    caption = "Efficiencies, learnt as a pair"
    yield Table(heads=("", "now", "after saving"), rows=tuple(table), caption=caption)


def _alarm_counts(firings: Sequence[Fired]) -> Iterator[Block]:
    """Count the alarms, so that a limit that does not fit the stand shows."""
    named = Counter(name for fired in firings for name in fired.alarms)
    if not named:
        return
    alarmed = sum(bool(fired.alarms) for fired in firings)
    each = ", ".join(f"{name} {times}" for name, times in sorted(named.items()))
    yield Paragraph(
        f"Alarms: {alarmed} of {count(len(firings), 'firing')} ({each}). Of sound "
        "simulated firings 1 to 5 of 100 have one; a stand whose sound firings have "
        "more needs another look at its sensors."
    )


def _counts(fired: Fired, show: Shown) -> str:
    """Say whether a firing counts, and why."""
    told = f"{fired.name}: "
    if fired.left_out:
        told += f"left out: {fired.left_out}"
    elif fired.accepted:
        told += f"accepted ({fired.accepted}): {'; '.join(fired.doubts)}"
    else:
        told += "counts"
    return show.said(told) + (f"; {fired.why_frozen}" if fired.why_frozen else "")


def _bench(learning: Learning, saved: bool) -> Iterator[Block]:
    planned = learning.planned
    verbs = ("Written", "Taken out") if saved else ("To write", "To take out")
    lists = (planned.written, planned.removed, planned.refused)
    for title, texts in zip((*verbs, "Not written"), lists, strict=True):
        if texts:
            yield Paragraph(f"{title}:")
            yield notes(texts)


def _aside(learning: Learning) -> Iterator[Block]:
    """Name everything that was left out, set aside or is not as it was."""
    material, kitchen = learning.material, learning.kitchen
    items = [
        f"{_LEFT.get(why, why)}: {named(names)}"
        for why, names in material.left_out.items()
        if names
    ]
    burning, firing = learning.burning, learning.firing
    items += [f"{name}: cannot be used: {why}" for name, why in kitchen.unusable]
    items += [f"{name}: {why}" for name, why in burning.unusable]
    same = "the same strands stand in two places"
    items += [f"{name}: {same}; counted once" for name in burning.twice]
    same = "the same recording as"
    items += [f"{name}: {same} {first}; counted once" for name, first in firing.twice]
    items += [
        f"{f.name}: not read anew ({f.why_frozen}); the results of that day stand"
        for f in firing.firings
        if f.why_frozen and not f.why_frozen.startswith("the file ")
    ]
    items += [
        f"{name}, line {line} was corrected ({why}) and does not count"
        for name, line, why in material.corrected
    ]
    items += [
        f"{name}: as weighed {numbers.percent(share)} % of the mass lies elsewhere "
        "than planned; its strands count as those of the planned mix"
        for name, share in material.off_plan
    ]
    if items:
        yield Paragraph("Set aside and left out:")
        yield notes(items)


#: Why batches are left out, where a word is not enough.
_LEFT = {"discarded": "discarded (compared, not learnt from)"}
