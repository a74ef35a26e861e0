"""What ``castsugar sweep`` and ``map`` answer: many mixes, judged, ranges first."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castsugar.columns import COLUMN, Column
from castsugar.frozen import dataclass
from castsugar.limits import Judgement
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.document import Part
from castsugar.report.field import CHANCE, FIELDS, TEXT, Field, Row, field_of
from castsugar.report.limit_words import P95, PEAK, POUR, THIS_BATCH, all_limits
from castsugar.report.screen import (
    Annex,
    Block,
    Finding,
    Listing,
    Paragraph,
    Screen,
    Table,
)
from castsugar.report.shown import Shown
from castsugar.report.terminal import WIDTH
from castsugar.rows import FAINT_FLAME

Mask = NDArray[np.bool_]

_C_STAR, _T = "characteristic_velocity_m_s", "flame_temperature_K"
_OXYGEN = "oxygen_balance_percent"
_MARGIN = "pressure_margin_percent"

#: What the pressures of a sweep are of.
_P95 = (
    "p95: 95 of 100 next batches stay below; this batch: grains of the batch whose "
    "strands burned, where the mix is one of those."
)

#: Share of the largest c* within which a field counts as flat: what c* is known to.
_FLAT = 0.01

#: Columns of the table of a sweep, at most; fewer where they do not fit.
_MOST = (12, 10, 8, 6, 4)

#: Not stored in the table: how wide the pour window is.
WINDOW = Column(
    "pour_window_width_K",
    "width of the pour window",
    "K",
    0,
    "highest less lowest temperature of the window",
    "kitchen",
)

#: Which limits a mix breaks, as a column of its own.
BREAKS = Field(
    key="limits_broken",
    label="limits broken",
    kind=TEXT,
    meaning="keys of the limits that it breaks, with a semicolon between; those that "
    "were not computed follow a question mark",
)

_COUNTED = ("kept", "broken", "not_computed")

#: Flags of a cook that all mixes share: too hot for the kitchen, browned sugar.
_COOKED = ("kitchen not computed", "browned", "degraded")

#: What must stand out in a table of mixes, whoever has limits.
_STOP, _FAINT, _FREEZING = "do not fire it", "flame below", "freezing"


_NO_CAUTIONS = Chosen(lines=(), keys=(), rest=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Many:
    """Many mixes with everything that a screen says of them."""

    command: str
    title: str = ""
    #: Columns, one value a mix: ``recipe.<name>_mass_percent`` of every ingredient, and
    #: of those of columns.COLUMNS what was kept.
    table: Mapping[str, Any]
    #: The ingredients as typed, and the keys of their shares.
    names: tuple[str, ...]
    shares: tuple[str, ...]
    varied: str = ""  # key of the one that runs; empty on a map
    judged: tuple[Judgement, ...] = ()
    columns: tuple[Column, ...] = ()  # what was asked to be shown
    #: Says in units under what the numbers hold, in one line.
    conditions: Callable[[Shown], str]
    notes: tuple[str, ...] = ()
    cautions: Chosen = _NO_CAUTIONS
    cautions_in_full: tuple[str, ...] = ()
    next: str = ""
    complete: bool = True  # False if it was interrupted
    draws: str = ""  # what is said where a large table takes few draws
    #: Places of mixes that keep all limits by few draws and not by all of them; none
    #: that is left has a larger c* than one that was looked at and stands.
    fallen: tuple[int, ...] = ()
    bench: str = ""
    invented: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.table["status"])

    def values(self, key: str) -> NDArray[np.float64]:
        """Return a column, NaN where there is none."""
        found = self.table.get(key, [math.nan] * len(self))
        return np.asarray(found, dtype=float)

    def row(self, place: int) -> dict[str, Any]:
        """Return the values of one mix."""
        return {k: values[place] for k, values in self.table.items()}

    def are(self, key: str, *words: str) -> Mask:
        """Return which mixes have one of some words in a column."""
        return np.array([text in words for text in self.table[key]], dtype=bool)

    def flagged(self, word: str) -> Mask:
        """Return which mixes have a word among their flags."""
        having = {text for text in {*self.table["flags"]} if word in text}
        return self.are("flags", *having)

    @property
    def usable(self) -> Mask:
        """Return which mixes count for the best: they burn, and freeze not."""
        fine = self.are("status", "ok")
        return fine & ~self.flagged(_FAINT) & ~self.flagged(_FREEZING)

    @property
    def kept(self) -> Mask:
        """Return which mixes are usable and keep all limits."""
        kept = self.usable
        for one in self.judged:
            kept &= one.kept
        kept[list(self.fallen)] = False
        return kept

    def mix(self, place: int) -> str:
        """Return the shares of a mix, as people say them: 60/20/20."""
        return "/".join(numbers.typed(self.table[k][place]) for k in self.shares)

    def where(self, mask: Mask) -> str:
        """Say which mixes are meant: ranges of what runs, or how many.

        Examples: "below 60 or above 64 % KNO3", "368 of 1,326 mixes".
        """
        if not self.varied:
            return f"{mask.sum():,} of {len(mask):,} mixes"
        name = self.names[self.shares.index(self.varied)]
        x = self.values(self.varied).tolist()
        told = [_range(x, run) for run in runs(mask)]
        return f"{' or '.join(told)} % {name}"


def broken_limits(judged: Sequence[Judgement]) -> list[str]:
    """Return of every mix the limits that it breaks; see :data:`BREAKS`."""
    told = [[""] * len(one) for one in judged[:1]]
    for one in judged:
        for mark, mask in (("", one.broken), ("?", np.isnan(one.values))):
            told.append([(mark + one.limit.key) * hit for hit in mask.tolist()])
    return ["; ".join(filter(None, own)) for own in zip(*told, strict=True)]


def runs(mask: Mask) -> Iterator[tuple[int, int]]:
    """Yield first and last place of every stretch that is set.

    Examples
    --------
    >>> list(runs(np.array([True, False, True, True])))
    [(0, 0), (2, 3)]
    """
    for hit, group in groupby(range(len(mask)), key=mask.__getitem__):
        if hit:
            places = list(group)
            yield places[0], places[-1]


def _range(x: Sequence[float], run: tuple[int, int]) -> str:
    """Write a stretch of a sweep; an open one ends at the first that is not in it."""
    first, last = run
    if last == len(x) - 1 and first > 0:
        return f"above {numbers.typed(x[first - 1])}"
    if first == 0 and last < len(x) - 1:
        return f"below {numbers.typed(x[last + 1])}"
    low, high = numbers.typed(x[first]), numbers.typed(x[last])
    return f"at {low}" if 0 < first == last else f"from {low} to {high}"


def many_screen(found: Many, show: Shown) -> Screen:
    """Return what sweep or map answers."""
    return Screen(
        command=found.command,
        title=found.title,
        findings=tuple(_findings(found, show)),
        conditions="; ".join(filter(None, (found.conditions(show), found.draws))),
        blocks=tuple(_blocks(found, show)),
        cautions=found.cautions.lines,
        cautions_count=len(found.cautions.lines) + found.cautions.rest,
        next=found.next,
        invented=found.invented,
        bench=found.bench or "bench.toml",
        annexes=tuple(_annexes(found, show)),
    )


# ----------------------------------------------------------------------------
# Findings: what must not be fired, what breaks a limit, where the best lies.


def _findings(found: Many, show: Shown) -> Iterator[Finding]:
    """Yield counts and ranges, the gravest first."""
    if not found.complete:
        yield Finding(
            "CAUTION", "INCOMPLETE: interrupted; the rows left say so in their status."
        )
    stopped = found.flagged(_STOP)
    for one in found.judged:
        yield from _judged(found, one, show)
        if _presses(one):
            stopped &= ~one.broken
    if stopped.any():
        reason = _reason(found, stopped)
        yield Finding("DO NOT", f"fire {found.where(stopped)}: {reason}.")
    if found.judged:
        yield from _keeping(found, show)
    yield from _cooked(found)
    yield from _unburned(found, show)
    yield from _best(found, show)
    if not found.judged and found.command == "map":
        yield Finding(
            "CANNOT TELL",
            "Pouring and pressure: give --bench FILE with [kitchen], [motor] and "
            "[limits]; c* does not choose a mix.",
        )


def _presses(one: Judgement) -> bool:
    return one.limit.key in (PEAK, P95, _MARGIN)


def _reason(found: Many, mask: Mask) -> str:
    """Return the flag that says not to fire the first of some mixes."""
    flags = str(found.table["flags"][int(np.flatnonzero(mask)[0])]).split("; ")
    return next(flag for flag in flags if _STOP in flag).partition(":")[0]


def _judged(found: Many, one: Judgement, show: Shown) -> Iterator[Finding]:
    """Yield where a limit is broken, and where it is not computed."""
    values = dict(zip(_COUNTED, _counts(one), strict=True))
    if one.broken.any():
        status = "DO NOT" if _presses(one) else "BROKEN"
        yield Finding(status, f"{_broken(found, one, show)}.", values)
    gaps = np.isnan(one.values) & found.usable
    if gaps.any():
        first = one.reasons[int(np.flatnonzero(gaps)[0])]
        label = FIELDS[one.limit.key].named(show)
        text = f"{numbers.capitalized(label)} of {found.where(gaps)}: {first}."
        yield Finding("CANNOT TELL", text, values)


def _broken(found: Many, one: Judgement, show: Shown) -> str:
    """Say where a limit is broken."""
    limit, kind = one.limit, FIELDS[one.limit.key].kind
    bound = show.bound(kind, limit.value)
    where = found.where(one.broken)
    if limit.key in (PEAK, P95):
        if limit.probability is None:
            return f"fire {where}: the peak exceeds {limit.whose}, {bound}"
        more = numbers.of_100(1.0 - limit.probability)
        over = f"more than {more} of 100 next batches exceed {limit.whose}, {bound}"
        return f"fire {where}: {over}"
    if limit.key == POUR and limit.probability is not None:
        share = numbers.percent(limit.probability)
        if not one.kept.any():
            return f"Nowhere do {share} of 100 draws pour: {_pours(found)}"
        return f"Pours in fewer than {share} of 100 draws {_at(where)}"
    word = "above" if limit.sense == "<=" else "below"
    label = FIELDS[limit.key].named(show)
    return f"{numbers.capitalized(label)} {word} {bound} {_at(where)}"


def _at(where: str) -> str:
    """Return where with the word that a count needs: "in 3 of 9 mixes"."""
    return f"in {where}" if where.endswith("mixes") else where


def _pours(found: Many) -> str:
    """Say how often mixes pour: at some shares of a sweep, the most of a map."""
    chances = found.values("pours_probability")
    known = np.flatnonzero(~np.isnan(chances))
    if not len(known):
        return "not computed"
    if not found.varied:
        return f"at most {numbers.of_100(float(chances[known].max()))}"
    some = known[np.linspace(0, len(known) - 1, 3).astype(int)]
    return ", ".join(
        f"{numbers.of_100(float(chances[i]))} at "
        f"{numbers.typed(found.table[found.varied][i])} %"
        for i in dict.fromkeys(some.tolist())
    )


def _keeping(found: Many, show: Shown) -> Iterator[Finding]:
    """Yield which mixes keep all limits, and the best of them."""
    kept, words = found.kept, all_limits(len(found.judged))
    values = {"kept": int(kept.sum()), "mixes": len(kept)}
    if not kept.any():
        if found.fallen:
            text = f"{len(found.fallen):,} mixes keep {words} by few draws, none by all"
            yield Finding("BROKEN", f"{text}.", values)
            return
        broken = np.any([one.broken for one in found.judged], axis=0)
        if (broken | ~found.usable).all() and broken.any():
            yield Finding("BROKEN", f"No mix of these keeps {words}.", values)
        return
    text = f"{numbers.capitalized(found.where(kept))}: {words}"
    if not found.varied:
        verb = "keeps" if kept.sum() == 1 else "keep"
        text = f"{found.where(kept)} {verb} {words}: {_spans(found, kept)}"
    place = _top(found, _C_STAR, kept)
    if place is not None and (found.complete or not found.draws):
        told = _told(found, _C_STAR, place, show)
        text += f"; of these the largest c* is {told}"
        text += ", by all draws" if found.draws else ""
    yield Finding("KEPT", f"{text}.", values)


def _spans(found: Many, mask: Mask) -> str:
    """Say from where to where every ingredient runs among some mixes."""
    told = []
    for name, key in zip(found.names, found.shares, strict=True):
        x = found.values(key)[mask]
        low, high = numbers.typed(float(x.min())), numbers.typed(float(x.max()))
        told.append(f"{name} {low} to {high} %" if low != high else f"{name} {low} %")
    return ", ".join(told)


def _cooked(found: Many) -> Iterator[Finding]:
    """Yield what a cook does to all mixes alike."""
    first = str(found.table["flags"][0])
    flags = [text.split("; ") for text in {*found.table["flags"]}]
    for flag in first.split("; "):
        if any(word in flag for word in _COOKED) and all(flag in own for own in flags):
            status = "CANNOT TELL" if "not computed" in flag else "CAUTION"
            yield Finding(status, f"All of these mixes: {flag}.")


def _unburned(found: Many, show: Shown) -> Iterator[Finding]:
    """Yield how many mixes do not burn, hardly burn, or were not computed."""
    ok, cold = found.are("status", "ok"), found.are("status", "cold")
    faint = found.flagged(_FAINT) & ok
    told = [
        f"{found.where(mask) if found.varied else f'{mask.sum():,}'} {how}"
        for mask, how in (
            (cold, "not at all by this model"),
            (faint, f"only below {show.typed('flame temperature', FAINT_FLAME)}"),
        )
        if mask.any()
    ]
    if told:
        burn = int(ok.sum() - faint.sum())
        text = f"{burn:,} of {len(ok):,} burn; {', '.join(told)}."
        yield Finding("RESULT", text)
    rest = ~cold & ~ok
    if rest.any() and found.complete:
        first = found.table["status"][int(np.flatnonzero(rest)[0])]
        yield Finding(
            "CANNOT TELL", f"{numbers.capitalized(found.where(rest))}: {first}."
        )
    freezing = found.flagged(_FREEZING)
    if freezing.any():
        text = "freezing at the throat makes their c* an artefact; left out below"
        yield Finding(
            "CAUTION", f"{numbers.capitalized(found.where(freezing))}: {text}."
        )


def _top(found: Many, key: str, mask: Mask) -> int | None:
    """Return the place of the largest value among some mixes."""
    values = np.where(mask, found.values(key), math.nan)
    return None if np.isnan(values).all() else int(np.nanargmax(values))


def _told(found: Many, key: str, place: int, show: Shown) -> str:
    """Write a value of a mix, and which mix it is."""
    one = _field(key)
    row = found.row(place)
    if one.kind == CHANCE:
        value = one.text(row, show)
    else:
        value = show.amount(one.kind, float(row[key]), 1 if one.factor_of else 3)
    if found.varied:
        return f"{value} at {numbers.typed(row[found.varied])} %"
    return f"{value} at {found.mix(place)}"


def _best(found: Many, show: Shown) -> Iterator[Finding]:
    """Yield where c* and what was asked for are largest, and how flat c* is."""
    usable = found.usable
    place = _top(found, _C_STAR, usable)
    if place is not None:
        values = found.values(_C_STAR)
        near = usable & (values >= (1.0 - _FLAT) * values[place])
        text = f"Largest c*, ideal: {_told(found, _C_STAR, place, show)}"
        if near.sum() > 1:
            wide = found.where(near)
            if not found.varied:
                wide = f"{near.sum():,} mixes, {_spans(found, near)}"
            text += f"; within the 1 % it is known to: {wide}"
        left = usable & (found.values(_OXYGEN) > 0.0)
        if found.varied and left.any():
            text += f"; oxygen is left over {found.where(left)}"
        yield Finding("RESULT", f"{text}.", {_C_STAR: float(values[place])})
    for column in found.columns:
        if column.key in (_C_STAR, _T):
            continue
        high = _top(found, column.key, usable & np.isfinite(found.values(column.key)))
        if high is None:
            continue
        low = int(np.nanargmin(np.where(usable, found.values(column.key), math.nan)))
        label = _field(column.key).named(show)
        told = _told(found, column.key, high, show)
        text = f"{numbers.capitalized(label)}: largest {told}, smallest "
        yield Finding("RESULT", f"{text}{_told(found, column.key, low, show)}.")


# ----------------------------------------------------------------------------
# Tables.


def _blocks(found: Many, show: Shown) -> Iterator[Block]:
    """Yield the table of a sweep: shares across, quantities down."""
    if found.varied and (keys := _known(found, _keys(found))):
        yield _across(found, keys, show)


def _keys(found: Many) -> list[str]:
    """Return the rows of the table: asked for, then those that a limit needs."""
    asked = [column.key for column in found.columns]
    limited = [one.limit.key for one in found.judged]
    limited = [P95 if k == PEAK else k for k in limited if k != POUR]
    return [*(asked or [_T, _C_STAR]), "pours_probability", P95, *limited]


def _known(found: Many, keys: Sequence[str]) -> list[str]:
    """Return the keys of which any mix has a number."""
    return [key for key in dict.fromkeys(keys) if not np.isnan(found.values(key)).all()]


def _across(found: Many, keys: Sequence[str], show: Shown) -> Table:
    """Return the widest table of a sweep that fits."""
    name = found.names[found.shares.index(found.varied)]
    for most in _MOST:
        stride = max(1, -(-(len(found) - 1) // (most - 1)))
        rows = [found.row(place) for place in range(0, len(found), stride)]
        heads = (f"{name}, %", *(numbers.typed(row[found.varied]) for row in rows))
        lines = tuple(
            (_label(key, show), *(_cell(key, row, show) for row in rows))
            for key in keys
        )
        widths = [max(map(len, cells)) for cells in zip(heads, *lines, strict=True)]
        if sum(widths) + 2 * len(rows) <= WIDTH:
            break
    return Table(heads=heads, rows=lines, drop=tuple(range(len(rows), 1, -1)))


def _field(key: str) -> Field:
    """Return the field of a column, that of the pour window too."""
    return FIELDS.get(key) or field_of(WINDOW)


def _label(key: str, show: Shown) -> str:
    one = _field(key)
    label = one.short or one.named(show)
    if one.key == "pours_probability":
        return "pours, of 100"
    return show.headed(label, one.kind)


def _cell(key: str, row: Row, show: Shown) -> str:
    """Write a value; whole numbers from 1,000 on, for neighbours differ by little."""
    one = _field(key)
    value = row.get(key)
    plain = one.kind not in (TEXT, CHANCE, "fraction") and not one.factor_of
    if plain and value is not None and math.isfinite(value):
        shown = show.number(one.kind, float(value))
        return numbers.significant(shown, 4 if abs(shown) >= 1000.0 else 3)
    return one.text(row, show)


def _annexes(found: Many, show: Shown) -> Iterator[Annex]:
    """Yield the limits in numbers, what was left out and what was assumed."""
    if found.judged:
        rows = [
            (
                FIELDS[one.limit.key].named(show),
                *(f"{n:,}" for n in _counts(one)),
                next((why for why in one.reasons if why), ""),
            )
            for one in found.judged
        ]
        heads = ("limit", "kept", "broken", "not computed", "why not")
        table = Table(heads=heads, rows=tuple(rows), left=frozenset({0, 4}))
        yield Annex("Limits, mixes", (table,))
    if found.varied and (keys := _known(found, (PEAK, P95, THIS_BATCH, _MARGIN))):
        yield Annex("In your motor", (_across(found, keys, show), Paragraph(_P95)))
    notes = [*found.notes, *([found.draws] if found.draws else [])]
    notes += ["independent check not asked", "all rows with all columns: --csv"]
    yield Annex("Assumed", (Listing(tuple(notes)),))


def _counts(one: Judgement) -> tuple[int, int, int]:
    """Return how many mixes keep a limit, break it, and were not computed."""
    gaps = int(np.isnan(one.values).sum())
    return int(one.kept.sum()), int(one.broken.sum()), gaps


# ----------------------------------------------------------------------------
# JSON and CSV.

PARTS: dict[str, Part] = {
    "ingredients_as_typed": Part(meaning="in the order of the shares"),
    "limits": Part(meaning="each limit, and how many mixes keep it"),
    "draws": Part(meaning="what a large table takes; empty for all of them"),
    "complete": Part(meaning="false if it was interrupted"),
    "mixes": Part(
        meaning="rows of the table; shares under recipe.<catalogue_name>_mass_percent",
        fields=(BREAKS, *(f for f in FIELDS.values() if "_u_" not in f.key)),
        many=True,
    ),
}


def many_parts(found: Many) -> dict[str, Any]:
    """Return what the JSON of a sweep or map holds."""
    return {
        "ingredients_as_typed": list(found.names),
        "limits": [
            {
                "key": one.limit.key,
                "sense": one.limit.sense,
                "limit": one.limit.value,
                "probability": one.limit.probability,
                **dict(zip(_COUNTED, _counts(one), strict=True)),
            }
            for one in found.judged
        ],
        "draws": found.draws,
        "complete": found.complete,
        "mixes": many_rows(found),
    }


def many_rows(found: Many) -> list[dict[str, Any]]:
    """Return the mixes as rows; quantiles of single limits left out."""
    keys = [key for key in found.table if ", " not in key]
    columns = [np.asarray(found.table[k], dtype=object).tolist() for k in keys]
    return [dict(zip(keys, row, strict=True)) for row in zip(*columns, strict=True)]


def many_fields(found: Many) -> list[Field]:
    """Return the fields of the rows, in the order of the CSV."""
    shares = [
        Field(key=key, label=name, kind="fraction", meaning="share as weighed")
        for name, key in zip(found.names, found.shares, strict=True)
    ]
    keys = [key for key in found.table if key in COLUMN or key == WINDOW.key]
    more = [BREAKS] if found.judged else []
    return [*shares, *(_field(key) for key in keys), *more]
