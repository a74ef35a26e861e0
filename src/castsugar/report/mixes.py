"""Mixes with everything that a screen says of them: alone, or side by side."""

from __future__ import annotations

import math
import shlex
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import field
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from castsugar.columns import COLUMNS, DOUBTS
from castsugar.frozen import dataclass
from castsugar.limits import NOT_GIVEN
from castsugar.report import numbers
from castsugar.report.cautions import Chosen, do_nots
from castsugar.report.delivered import (
    KNOWN,
    delivered_annex,
    delivered_parts,
)
from castsugar.report.delivered import PARTS as DELIVERED_PARTS
from castsugar.report.document import Part
from castsugar.report.field import FIELDS, INTERVAL, Field, Row, chosen
from castsugar.report.fired import (
    FIRING,
    IMPULSE,
    fired_fields,
    firing_row,
    impulse_of,
)
from castsugar.report.limit_words import (
    LIMITS,
    P95,
    PEAK,
    Judged,
    finding_of,
    findings_of_many,
    limit_cell,
    limit_rows,
    margin_cell,
    pouring,
    rests_on,
)
from castsugar.report.mix_words import composition, recipe_argument, short_names, titled
from castsugar.report.next_step import ALL, OPEN, UNKNOWN, Change, advice, rule_of
from castsugar.report.peak_causes import PARTS as CAUSE_PARTS
from castsugar.report.peak_causes import cause_annex, cause_finding, cause_parts
from castsugar.report.pressure_words import PARTS as DOUBT_PARTS
from castsugar.report.pressure_words import doubt_annex, doubt_line, doubt_parts
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

if TYPE_CHECKING:
    from castsugar.comparison.draws import Draws
    from castsugar.mix.mix import Mix
    from castsugar.motor.delivered import Delivered
    from castsugar.motor.fired_mixes import Firing
    from castsugar.motor.losses import Losses
    from castsugar.motor.peak_causes import Cause
    from castsugar.motor.pressure_doubt import PressureDoubt


def row_of(
    row: Row, fired: Firing | None, drawn: Draws | None, place: int
) -> dict[str, Any]:
    """Return the row of a screen: columns, bands of the draws, what a firing adds."""
    known = {key: value for key, value in row.items() if key in FIELDS}
    if fired is not None:
        known |= firing_row(fired)
    if drawn is None:
        return known | dict(_of_the_data(row))
    for column in drawn.columns:
        low, high = drawn.interval(column, place)
        if low == low:  # not NaN
            known[column + INTERVAL] = (low, high)
    return known


def _of_the_data(row: Row) -> Iterator[tuple[str, tuple[float, float]]]:
    """Yield the bands that the data alone leave, where they were asked for."""
    for column, doubt in DOUBTS.items():
        half = 1.96 * row.get(doubt, math.nan)
        if half == half:
            yield column + INTERVAL, (row[column] - half, row[column] + half)


#: Keys of the rows of a default screen beside those that a limit names, by weight.
_SHOWN = (
    "characteristic_velocity_m_s",
    "specific_impulse_s",
    "flame_temperature_K",
)
_FIRED = ("burn_time_s", "total_impulse_N_s")

#: What a mix has on a screen without kitchen and motor.
_BURNING = (
    *_SHOWN,
    "gas_molar_mass_g_mol",
    "effective_molar_mass_g_mol",
    "isentropic_exponent",
    "condensed_mass_fraction",
    "density_kg_m3",
    "density_impulse_kg_s_m3",
)

_FIELDS = {**FIELDS, **{one.key: one for one in FIRING}}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixes:
    """What a command knows of some mixes.

    Attributes
    ----------
    rows : tuple of mapping
        Columns of the table, 95 % bands under ``<key>_interval``, those of FIRING.
    judged : tuple of tuple of Judged
        Of each mix the limits of the bench; empty without.
    conditions : callable
        Says in units under what the numbers hold, in one line.
    notes : tuple of str
        What was assumed, in full.
    misfits : tuple of tuple of str
        Of each mix what is wrong with its own strands.
    contradicted : tuple of str
        What in the bench file contradicts something else in it.
    recipes : collection of str
        Names that stand for recipes on a command line.
    cast : tuple of Mix
        The mixes with the water that the kitchen leaves in them.
    not_modelled : tuple of str
        What the motor leaves out.
    draws : Draws or None
        Of the bands, with the parts of the uncertainty.
    doubts : tuple of PressureDoubt or None
        Of each mix where the doubt of its peak pressure comes from.
    delivered, losses : tuple, of Delivered and of Losses or None
        Of each mix what the motor delivers of it, and bounds of what takes the rest.
    causes : tuple of tuple of Cause
        Of each mix what can raise its peak; none without a pressure.
    species : tuple of mapping
        Of each mix the main species: amounts in chamber, throat and exit [mol/kg].
    flows : tuple of (str, rows)
        The rows of other nozzle flows, for the full answer.
    bench_option : str
        How to ask again: without the bench file of the folder, with another cook.
    searchable : bool
        Whether the bench says what is searched for.
    pan : mapping
        Facts of the pan: what must not be done with it.
    bench, invented
        As in Screen; `bench_said`: "(bench.toml)" where nobody typed it.
    least_sure, next : str
        What a command says of itself; empty: by the draws, by the worst finding.
    change : Change or None
        The smallest change that keeps every limit, of one mix, where it was tried.
    """

    mixes: tuple[Mix, ...]
    rows: tuple[Row, ...]
    judged: tuple[tuple[Judged, ...], ...]
    conditions: Any
    notes: tuple[str, ...]
    cautions: Chosen
    cautions_in_full: tuple[str, ...] = ()
    misfits: tuple[tuple[str, ...], ...] = ()
    contradicted: tuple[str, ...] = ()
    not_modelled: tuple[str, ...] = ()
    recipes: Collection[str] = ()
    cast: tuple[Mix, ...] = ()
    draws: Draws | None = None
    doubts: tuple[PressureDoubt | None, ...] = ()
    delivered: tuple[Delivered | None, ...] = ()
    losses: tuple[Losses | None, ...] = ()
    causes: tuple[tuple[Cause, ...], ...] = ()
    species: tuple[Mapping[str, Sequence[float]], ...] = ()
    flows: tuple[tuple[str, tuple[Row, ...]], ...] = ()
    bench_option: str = ""
    searchable: bool = True
    pan: Mapping[str, Any] = field(default_factory=dict)
    bench: str = ""
    bench_said: str = ""
    invented: tuple[str, ...] = ()
    least_sure: str = ""
    next: str = ""
    change: Change | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """Return short names; letters go before them where there are several."""
        own = short_names(self.mixes)
        if len(own) == 1:
            return tuple(own)
        return tuple(f"{letter(i)} {name}" for i, name in enumerate(own))


def letter(index: int) -> str:
    """Return A, B, ... Z, AA, ...

    Examples
    --------
    >>> letter(0), letter(27)
    ('A', 'AB')
    """
    name = ""
    while index >= 0:
        name, index = chr(ord("A") + index % 26) + name, index // 26 - 1
    return name


# ----------------------------------------------------------------------------
# evaluate.


def evaluate_screen(found: Mixes, show: Shown) -> Screen:
    """Return what evaluate answers."""
    alone, told = len(found.mixes) == 1, tuple(findings(found, show))
    return Screen(
        command="evaluate",
        title=title_of(found),
        findings=told,
        conditions=found.conditions(show),
        blocks=(*_alone(found, show),) if alone else (side_by_side(found, show),),
        least_sure=least_sure(found),
        cautions=found.cautions.lines,
        cautions_count=found.cautions.count,
        next=next_step(found, show, told),
        invented=found.invented,
        bench=PurePath(found.bench or "bench.toml").name,
        annexes=tuple(annexes(found, show)),
    )


def title_of(found: Mixes) -> str:
    """Return what is in the mixes."""
    alone = len(found.mixes) == 1
    told = titled(found.mixes[0]) if alone else ", ".join(found.names)
    return f"{told} {found.bench_said}".rstrip()


def findings(found: Mixes, show: Shown) -> Iterator[Finding]:
    """Yield what is to be said first: limits, faults, and else the performance."""
    told = [*warnings(found, show), *_limits(found, show)]
    yield from told
    if not any(one.status in ("KEPT", "BROKEN", "DO NOT") for one in told):
        yield from _performance(found, show)


def warnings(found: Mixes, show: Shown) -> Iterator[Finding]:
    """Yield what must not be done, and what is wrong with a mix or its strands."""
    yield from do_nots(found.pan, show)
    yield from faults(found)
    for text in found.contradicted:
        yield Finding("MISFIT", f"{text[0].upper()}{text[1:]}.")
    yield from misfits(found)
    yield from cause_finding(found.names, found.causes, show)


def _limits(found: Mixes, show: Shown) -> Iterator[Finding]:
    """Yield what became of the limits."""
    if len(found.mixes) > 1:
        yield from findings_of_many(found.names, found.judged, found.rows, show)
        return
    for one in found.judged[0] if found.judged else ():
        origin = rests_on(str(found.rows[0].get("burn_law_origin") or ""))
        yield finding_of(one, found.rows[0], show, origin)


def faults(found: Mixes) -> Iterator[Finding]:
    """Yield mixes that could not be computed, and those that must not be fired."""
    unfinished = (note for note in found.notes if note.startswith("INCOMPLETE"))
    yield from (Finding("CAUTION", f"{note}.") for note in unfinished)
    judged = found.judged or ((),) * len(found.mixes)
    for name, row, own in zip(found.names, found.rows, judged, strict=True):
        whose = name if len(found.mixes) > 1 else "it"
        status = str(row.get("status", "ok"))
        if status == "cold":
            yield Finding("RESULT", f"{_titled(whose)} is cold: {_COLD}.")
        elif status != "ok":
            yield Finding("CANNOT TELL", f"{_titled(whose)}: {status}.")
        yield from _flagged(whose, row, own)


def _flagged(whose: str, row: Row, own: Sequence[Judged]) -> Iterator[Finding]:
    """Yield the flags of a row that no limit speaks of."""
    pressed = any(one.column in (PEAK, P95) for one in own)
    for flag in str(row.get("flags") or "").split("; "):
        if " not computed: " in flag and not own:
            yield Finding("CANNOT TELL", f"{_titled(whose)}: {flag}.")
        if flag.startswith("flame below"):
            yield Finding("CAUTION", f"{_titled(whose)}: {flag}.")
        if "do not fire it" in flag and not pressed:
            yield Finding("DO NOT", f"fire {whose}: {flag.partition(':')[0]}.")


def misfits(found: Mixes) -> Iterator[Finding]:
    """Yield what is wrong with the strands of a mix."""
    for name, own in zip(found.names, found.misfits, strict=False):
        for text in own:
            status = "MISFIT" if text.startswith("lack of fit") else "CAUTION"
            yield Finding(status, f"Strands of {name}: {text}.")


def _titled(whose: str) -> str:
    return "This mix" if whose == "it" else whose


_COLD = (
    "it does not burn by this model, for its products at 600 K already hold more "
    "enthalpy than the mix"
)


def _performance(found: Mixes, show: Shown) -> Iterator[Finding]:
    """Yield what a mix does, in one sentence; of several, which has the most."""
    rows = [
        (name, row)
        for name, row in zip(found.names, found.rows, strict=True)
        if row.get("status") == "ok"
    ]
    if not rows:
        return
    keys = [k for k in _SHOWN if not math.isnan(rows[0][1].get(k, math.nan))]
    if len(rows) == 1:
        told = ", ".join(_told(FIELDS[key], rows[0][1], show) for key in keys)
        values = {key: rows[0][1].get(key) for key in keys}
        yield Finding("RESULT", f"{told}; ideal, no losses.", values)
        return
    key = keys[0]
    name, best = max(rows, key=lambda pair: float(pair[1][key]))
    last, least = min(rows, key=lambda pair: float(pair[1][key]))
    told = f"Largest {_told(FIELDS[key], best, show)} of {name}"
    told += f"; smallest {FIELDS[key].text(least, show)} of {last}; ideal, no losses."
    yield Finding("RESULT", told, {name: best[key], last: least[key]})


def _told(one: Field, row: Row, show: Shown) -> str:
    unit = show.unit(one.kind)
    return f"{one.short or one.label} {one.text(row, show)} {unit}".rstrip()


def least_sure(found: Mixes) -> str:
    """Say which input is behind most of the uncertainty of what decides."""
    if found.draws is None or not found.judged:
        return found.least_sure
    order = [
        (one.verdict == "kept", abs(one.margin), one.column, i)
        for i, own in enumerate(found.judged)
        for one in own
        if one.column in found.draws.columns and one.margin == one.margin
    ]
    for _, _, column, i in sorted(order):
        if parts := found.draws.parts(column, i):
            first = parts[0]
            whose = f" of {found.names[i]}" if len(found.mixes) > 1 else ""
            return (
                f"{first.input.label}: {numbers.percent(first.share)} % of the "
                f"uncertainty of the {FIELDS[column].label}{whose}"
            )
    return ""


def next_step(found: Mixes, show: Shown, told: Sequence[Finding]) -> str:
    """Return what to do next, by the worst that was found."""
    if found.next:
        return found.next
    if found.change is not None:
        return _tried(found, found.change)
    pairs = zip(found.judged, found.rows, strict=True) if found.judged else ()
    rules = [rule_of(judged, row, told) for judged, row in pairs]
    if any(rule not in (ALL, OPEN) for rule in rules):
        own = rules[0] if len(rules) == 1 else ""
        command = _other(found)
        if own == UNKNOWN:
            command = f"castsugar weigh {asked_again(found, more=' --strands 3')}"
        return f"{command}   ({advice(own, found.rows[0], show)})".removesuffix("   ()")
    if {one.reason for own in found.judged for one in own} & {*NOT_GIVEN.values()}:
        return f"castsugar check{_bench(found)}"
    if found.judged:
        return f"castsugar weigh {asked_again(found)}"
    return _more(found)


def _other(found: Mixes) -> str:
    """Return how to find another mix: a search where the bench states one."""
    return f"castsugar search{_bench(found)}" if found.searchable else _more(found)


def _more(found: Mixes) -> str:
    """Return how to see more of the mix; of the bench, where all is seen."""
    if not found.flows:
        return f"castsugar evaluate {asked_again(found, more=' --full')}"
    return f"castsugar check{_bench(found)}" if found.bench else "castsugar init"


def _tried(found: Mixes, change: Change) -> str:
    """Return how to go on with a change that keeps all limits."""
    command = _other(found)
    if "parts" in change.typed:
        parts = " ".join(f"{name}:{x}" for name, x in change.typed["parts"])
        command = f'castsugar weigh "{parts}"{_bench(found)}{found.bench_option}'
    elif "cook" in change.typed and "--cook" not in found.bench_option:
        cook = f" --cook {shlex.quote(change.typed['cook'])}"
        command = f"castsugar weigh {asked_again(found, more=cook)}"
    return f"{command}   ({change.words} keeps all limits)"


def asked_again(found: Mixes, place: int = 0, more: str = "") -> str:
    """Return a mix, options and bench as they are typed behind a command."""
    mix = found.mixes[place]
    known = mix.name in found.recipes
    told = shlex.quote(mix.name) if known else recipe_argument(mix)
    return f"{told}{more}{_bench(found)}{found.bench_option}"


def _bench(found: Mixes) -> str:
    """Return the option that names the bench file, where somebody typed it."""
    typed = bool(found.bench) and not found.bench_said
    return f" --bench {shlex.quote(found.bench)}" if typed else ""


# ----------------------------------------------------------------------------
# Tables.


def _down(found: Mixes, show: Shown) -> Table:
    """Return one mix, its quantities down, each with band, limit and margin."""
    row, judged = found.rows[0], found.judged[0] if found.judged else ()
    limits = {("peak_pressure_MPa" if j.column == P95 else j.column): j for j in judged}
    keys = [*limits, *(k for k in _others(found) if k not in limits)]
    lines = []
    for key in keys:
        one = impulse_of(found.delivered) if key == IMPULSE.key else _FIELDS[key]
        told, band = one.cells(row, show)
        limit = limits.get(key)
        cells = (limit_cell(limit, show), margin_cell(limit)) if limit else ("", "")
        lines.append((one.headed(show), told, band, *cells))
    heads = ("", "value", "95 % band", "limit", "margin")
    used = [i for i in range(5) if i < 2 or any(line[i] for line in lines)]
    return Table(
        heads=tuple(heads[i] for i in used),
        rows=tuple(tuple(line[i] for i in used) for line in lines),
        spare=max(len(lines) - max(len(limits), 3), 0),
    )


def _alone(found: Mixes, show: Shown) -> Iterator[Block]:
    """Yield the numbers of one mix, and where the doubt of its pressure comes from."""
    yield _down(found, show)
    if found.doubts and (doubt := found.doubts[0]) is not None:
        yield Paragraph(doubt_line(doubt))


def _others(found: Mixes) -> list[str]:
    """Return the keys of a default screen that no limit names."""
    known: tuple[str, ...] = _SHOWN if found.judged else _BURNING
    row = found.rows[0]
    if any(one is not None and one.known for one in found.delivered):
        known = (known[0], *KNOWN, *(k for k in known[1:] if k != _SHOWN[1]))
    keys = [*known, *(_FIRED if row.get("burn_law_origin") else ())]
    return [k for k in keys if not _missing(row.get(k))]


def side_by_side(found: Mixes, show: Shown, leave: Collection[str] = ()) -> Table:
    """Return several mixes, going down, the columns that decide but for some."""
    columns = [column for column in _columns(found, show, leave) if any(column[1])]
    heads = ("", *(head for head, _ in columns))
    rows = tuple(
        (name, *(cells[i] for _, cells in columns))
        for i, name in enumerate(found.names)
    )
    return Table(
        heads=heads,
        rows=rows,
        drop=tuple(range(len(heads) - 1, 3, -1)),
        spare=max(len(rows) - 4, 0),
        of="mixes",
    )


def _columns(
    found: Mixes, show: Shown, leave: Collection[str]
) -> Iterator[tuple[str, list[str]]]:
    """Yield head and cells of every column of several mixes."""
    rows = found.rows
    if any(not _missing(row.get("pours_probability")) for row in rows):
        yield "pours\nof 100", [_pours(found, place) for place in range(len(rows))]
    if any(not _missing(row.get(P95)) for row in rows):
        yield _column(P95, rows, show)
    keys = [
        "pressure_margin_percent",
        "relative_solids_20C",
        *_SHOWN,
        "density_impulse_kg_s_m3",
    ]
    limited = [one.column for own in found.judged[:1] for one in own]
    keys += [k for k in limited if k not in (*keys, PEAK, P95, "pour_viscosity_Pa_s")]
    for key in [*keys, "total_impulse_N_s"]:
        if key not in leave and any(not _missing(row.get(key)) for row in rows):
            yield _column(key, rows, show)


def _pours(found: Mixes, place: int) -> str:
    """Write in how many of 100 draws a mix pours, as its limit is told of."""
    row = found.rows[place]
    held = found.judged[place] if found.judged else ()
    for one in held:
        if one.column == "pour_viscosity_Pa_s" and one.probability is not None:
            return pouring(one, row)
    return numbers.of_100(row.get("pours_probability", math.nan))


def _column(key: str, rows: Sequence[Row], show: Shown) -> tuple[str, list[str]]:
    """Return head, its unit below, and the cells of a column."""
    one = _FIELDS[key]
    head = one.short or one.named(show)
    unit = show.unit(one.kind)
    return f"{head}\n{unit}" if unit else head, [one.text(row, show) for row in rows]


def _missing(value: Any) -> bool:
    return value in (None, "", "not asked") or value != value  # NaN


# ----------------------------------------------------------------------------
# Annexes.


def annexes(found: Mixes, show: Shown) -> Iterator[Annex]:
    """Yield all that there is to say of the mixes."""
    yield from levels(found, show)
    told = (found.names, found.rows, found.delivered, found.losses)
    yield from delivered_annex(*told, show)
    again = (asked_again(found, place) for place in range(len(found.mixes)))
    lines = Listing(tuple(f"castsugar ballistics {one}" for one in again))
    yield Annex("What a ballistics calculation takes", (lines,))
    yield from _flows(found, show)
    yield from _species(found)
    yield from ground(found, show)


def ground(found: Mixes, show: Shown) -> Iterator[Annex]:
    """Yield what is special about a row, and what was assumed."""
    yield from cause_annex(found.names, found.causes, show)
    yield from doubt_annex(found.names, found.doubts, show)
    yield from flags(found)
    if found.not_modelled:
        yield Annex("Not modelled in the motor", (Listing(found.not_modelled),))
    yield Annex("Assumed", (Listing(tuple(show.said(x) for x in found.notes)),))


def levels(found: Mixes, show: Shown) -> Iterator[Annex]:
    """Yield what is in the mixes, and every quantity of them, group by group."""
    if len(found.mixes) > 1:
        told = (
            f"{n}: {composition(m)}"
            for n, m in zip(found.names, found.mixes, strict=True)
        )
        yield Annex("The mixes as weighed, parts of 100", (Listing(tuple(told)),))
    groups: dict[str, list[Field]] = {}
    for column in COLUMNS:
        groups.setdefault(column.group, []).append(FIELDS[column.key])
    for group, title in _GROUPS.items():
        fields = [f for f in groups.get(group, []) if f.key not in _NO_ROWS]
        laws = group == "motor"
        fields += fired_fields(found.delivered) if laws else ()
        if laws:  # too long for columns
            fields = [f for f in fields if f.key != "burn_law_origin"]
        if table := quantities(found, fields, show):
            yield Annex(title, (table, *_laws(found)) if laws else (table,))


_GROUPS = {
    "uncertainty": "Standard uncertainty of the data alone",
    "mix": "The mix as cast",
    "chamber": "In the chamber",
    "nozzle": "Through an ideal nozzle, no losses",
    "kitchen": "In the kitchen",
    "motor": "In your motor, an estimate about an unproved case",
    "row": "Independent check",
}
_NO_ROWS = ("name", "status", "flags")


def _laws(found: Mixes) -> Iterator[Block]:
    """Yield what the burning-rate law of each of several mixes is."""
    for name, row in zip(found.names, found.rows, strict=True):
        if origin := row.get("burn_law_origin"):
            yield Paragraph(f"Burning-rate law of {name}: {origin}.")


def quantities(found: Mixes, fields: Sequence[Field], show: Shown) -> Table | None:
    """Return quantities down, mixes across; None where there is no number."""
    known = [f for f in fields if any(not _missing(f.raw(row)) for row in found.rows)]
    if not known:
        return None
    if len(found.rows) == 1:
        lines = tuple((f.headed(show), *f.cells(found.rows[0], show)) for f in known)
        return Table(heads=("", "value", "95 % band"), rows=lines, left=frozenset({0}))
    heads = ("", *(letter(i) for i in range(len(found.rows))))
    across = tuple(
        (f.headed(show), *(f.text(row, show) for row in found.rows)) for f in known
    )
    return Table(heads=heads, rows=across, drop=tuple(range(len(heads) - 1, 1, -1)))


def _flows(found: Mixes, show: Shown) -> Iterator[Annex]:
    """Yield the flows side by side."""
    if not found.flows:
        return
    keys = ("characteristic_velocity_m_s", "specific_impulse_s", "throat_temperature_K")
    fields = chosen((*keys, "exit_temperature_K"))
    lines = [
        (name, flow, *(f.text(row, show) for f in fields))
        for i, name in enumerate(found.names)
        for flow, rows in found.flows
        for row in (rows[i],)
    ]
    units = [f"{f.short or f.label}, {show.unit(f.kind)}" for f in fields]
    heads = ("", "nozzle flow", *units)
    yield Annex(
        "The three nozzle flows",
        (Table(heads=heads, rows=tuple(lines), left=frozenset({0, 1}), drop=(5, 4)),),
    )


def _species(found: Mixes) -> Iterator[Annex]:
    """Yield the main species, station by station."""
    for name, own in zip(found.names, found.species, strict=False):
        rows = tuple(
            (species, *(numbers.significant(x) for x in amounts))
            for species, amounts in own.items()
        )
        if rows:
            heads = ("mol/kg", "chamber", "throat", "exit")[: len(rows[0])]
            yield Annex(f"Main species of {name}", (Table(heads=heads, rows=rows),))


def flags(found: Mixes) -> Iterator[Annex]:
    """Yield what is special about a row."""
    lines = [
        f"{name}: {flag}"
        for name, row in zip(found.names, found.rows, strict=True)
        for flag in str(row.get("flags") or "").split("; ")
        if flag
    ]
    if lines:
        yield Annex("Notes on the mixes", (Listing(tuple(lines)),))


# ----------------------------------------------------------------------------
# JSON.

#: What the document of evaluate holds.
PARTS: dict[str, Part] = {
    "mixes": Part(
        meaning="one a mix, in the order asked for",
        fields=(*FIELDS.values(), *FIRING),
        many=True,
    ),
    "recipes": Part(meaning="what was weighed and what is cast, one a mix"),
    "limits": LIMITS,
    **CAUSE_PARTS,
    **DOUBT_PARTS,
    **DELIVERED_PARTS,
    "species_chamber_throat_exit_mol_kg": Part(
        meaning="main species of each mix, station by station", needed=False
    ),
}


def mixes_parts(found: Mixes) -> dict[str, Any]:
    """Return what the JSON of evaluate holds."""
    parts: dict[str, Any] = {
        "mixes": [dict(row) for row in found.rows],
        "recipes": [mix.to_dict() for mix in found.cast],
        "limits": limit_rows([m.name for m in found.mixes], found.judged or ()),
        **cause_parts([m.name for m in found.mixes], found.causes),
        **doubt_parts([m.name for m in found.mixes], found.doubts),
        **delivered_parts([m.name for m in found.mixes], found.delivered, found.losses),
    }
    if found.species:
        parts["species_chamber_throat_exit_mol_kg"] = list(found.species)
    return parts
