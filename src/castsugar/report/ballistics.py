"""What a ballistics calculation takes of a mix: one screen, all blocks, data."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, Final

from castsugar.ballistic_input.entry import STATUSES
from castsugar.ballistic_input.motor import DELIVERED, HABITS, joined
from castsugar.ballistic_input.states import (
    EFFECTIVE,
    EXPONENT,
    GAS,
    GAS_EXPONENT,
    TEMPERATURE,
    VELOCITY,
    key_of,
)
from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import INTERVAL, TEXT, Field, keyed
from castsugar.report.mixes import asked_again, ground, title_of, warnings
from castsugar.report.peak_causes import PARTS as CAUSE_PARTS
from castsugar.report.peak_causes import cause_parts
from castsugar.report.screen import (
    Annex,
    Block,
    Finding,
    Paragraph,
    Screen,
    Table,
)
from castsugar.report.screen import notes as notes_of
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from castsugar.ballistic_input.block import Ballistics
    from castsugar.ballistic_input.entry import Entry
    from castsugar.motor.burn_law import Band
    from castsugar.report.mixes import Mixes

# ----------------------------------------------------------------------------
# How an entry looks: its key says the unit, which is SI.

#: End of a key -> kind of number, and what the kind takes of the SI value. The longest
#: end that fits counts. No kind: the unit as it stands is put behind the label.
_ENDINGS: Final[dict[str, tuple[str, float, str]]] = {
    "_Pa_s": ("number", 1e3, "mPa s"),
    "_W_m_K": ("number", 1.0, "W/(m K)"),
    "_J_kg_K": ("number", 1.0, "J/(kg K)"),
    "_J_kg": ("number", 1e-6, "MJ/kg"),
    "_kg_m2_s": ("number", 1.0, "kg/(m² s)"),
    "_kg_mol": ("molar mass", 1e3, ""),
    "_mol_kg": ("amount", 1.0, ""),
    "_kg_m3": ("density", 1.0, ""),
    "_m_s": ("velocity", 1.0, ""),
    "_1_K": ("number", 100.0, "%/K"),
    "_mass_fraction": ("number", 1.0, ""),
    "_rad": ("number", 180.0 / math.pi, "degrees"),
    "_m3": ("volume", 1e6, ""),
    "_m2": ("area", 1e6, ""),
    "_kg": ("mass", 1e3, ""),
    "_Pa": ("pressure", 1e-6, ""),
    "_K": ("flame temperature", 1.0, ""),
    "_m": ("length", 1e3, ""),
    "_s": ("time", 1.0, ""),
}

#: Keys whose end means something else here.
_KINDS: Final = {
    "coefficient_m_s": ("rate", 1e3, ""),
    "coefficient_mm_s_MPa": ("number", 1.0, "mm/s at MPa"),
    "coefficient_in_s_psi": ("number", 1.0, "in/s at psi"),
}

_WORDS: Final = {
    "characteristic velocity": "c*",
    "specific impulse": "Isp",
    "no solidification": "no-solidification",
    "prandtl": "Prandtl number",
    "kn max": "largest Kn",
}


def field_of(key: str) -> tuple[Field, float]:
    """Return how a quantity is shown, and what its value is multiplied with.

    Examples
    --------
    >>> field_of("characteristic_velocity_frozen_m_s")[0].label
    'c* frozen'
    """
    end = next((e for e in sorted(_ENDINGS, key=len)[::-1] if key.endswith(e)), "")
    kind, factor, unit = _KINDS.get(key) or _ENDINGS.get(end, ("number", 1.0, ""))
    stem = key if end == "_mass_fraction" else key.removesuffix(end)
    label = stem.replace("_", " ")
    for word, short in _WORDS.items():
        label = label.replace(word, short)
    if label.endswith(" ln"):
        label = f"{label.removesuffix(' ln')}, ln"
    label = f"{label}, {unit}" if unit else label
    digits = 3 if end == "_mass_fraction" else 4
    return Field(key=key, label=label, kind=kind, meaning="", digits=digits), factor


def cells(key: str, one: Entry, show: Shown) -> tuple[str, str, str]:
    """Return label with unit, value and 95 % band of an entry."""
    field, factor = field_of(key)
    if isinstance(one.value, bool):
        return field.named(show), "yes" if one.value else "no", ""
    if isinstance(one.value, str | int):
        return field.named(show), str(one.value), ""
    row: dict[str, Any] = {key: factor * one.value}
    if not math.isnan(one.low):
        row[key + INTERVAL] = (factor * one.low, factor * one.high)
    return field.headed(show), *field.cells(row, show)


# ----------------------------------------------------------------------------
# The default screen.


def ballistics_screen(found: Ballistics, asked: Mixes, show: Shown) -> Screen:
    """Return what ``ballistics`` answers; `asked` is the mix as evaluate knows it."""
    return Screen(
        command="ballistics",
        title=f"Ballistics of {title_of(asked)}",
        findings=tuple(_findings(found, asked, show)),
        conditions=asked.conditions(show),
        blocks=(
            _front(found, show),
            *_rate_table(found, show),
            Paragraph(_pairing(found)),
        ),
        cautions=asked.cautions.lines,
        cautions_count=asked.cautions.count,
        next=f"castsugar ballistics {asked_again(asked, more=' --full')}",
        invented=asked.invented,
        bench=PurePath(asked.bench or "bench.toml").name,
        annexes=tuple(_annexes(found, asked, show)),
    )


def _findings(found: Ballistics, asked: Mixes, show: Shown) -> Iterator[Finding]:
    """Yield c* ideal and delivered, and what the burn rate rests on."""
    yield from warnings(asked, show)
    if (ideal := found.evaluated.get(_velocity(found))) is not None:
        values = {_velocity(found): ideal.value}
        text = f"c* {show.amount('velocity', float(ideal.value), 4)} ideal"
        if (one := found.delivered.get(DELIVERED)) is not None:
            told = show.banded("velocity", float(one.value), one.low, one.high)
            text += f"; delivered {told}, {one.status}"
            values[DELIVERED] = one.value
        yield Finding("RESULT", f"{text}.", values)
    yield _of_the_rate(found, show)


def _velocity(found: Ballistics) -> str:
    """Return the key of the ideal c* of the flow that was asked for."""
    return key_of(str(found.identity["nozzle_flow"].value), VELOCITY)


def _of_the_rate(found: Ballistics, show: Shown) -> Finding:
    """Return what the burn law is worth."""
    origin = found.burn_law["origin"]
    if not found.bands:
        return Finding("MISSING", f"No burn law: {origin.source}.")
    count = int(found.burn_law["strands_of_this_mix"].value)
    low, high = (
        show.bare("pressure", 1e-6 * float(found.burn_law[key].value), 2)
        for key in ("tested_low_Pa", "tested_high_Pa")
    )
    strands = f"{numbers.count(count, 'strand')} of this mix"
    if origin.status in ("assumed", "borrowed"):
        status = "BORROWED" if origin.status == "borrowed" else "CAUTION"
        return Finding(status, f"Burn rate {origin.value}; {strands}: burn some first.")
    tested = f"tested from {low} to {high} {show.unit('pressure')}"
    text = f"Burn rate {origin.value}; {strands}, {tested}"
    if found.burn_law["extrapolated"].value:
        return Finding("OUTSIDE", f"{text}: the pressures asked for lie outside.")
    return Finding("RESULT", f"{text}.")


def _front(found: Ballistics, show: Shown) -> Table:
    """Return the numbers that a calculation takes first."""
    here, ideal = found.evaluated, _velocity(found)
    sensitive, of = "rate_sensitivity_1_K", "burn rate"
    if "pressure_sensitivity_1_K" in found.temperature:
        sensitive, of = "pressure_sensitivity_1_K", "pressure"
    entries = (
        ("flame temperature", TEMPERATURE, here),
        ("c*, ideal", ideal, here),
        ("c*, delivered", DELIVERED, found.delivered),
        ("isentropic exponent, all products", EXPONENT, here),
        ("effective molar mass, its pair", EFFECTIVE, here),
        ("condensed mass fraction", "condensed_mass_fraction", here),
        ("density of the grain", "grain_density_kg_m3", found.density),
        (f"{of} rises by, %/K of the grain", sensitive, found.temperature),
    )
    rows = []
    for label, key, block in entries:
        if (one := block.get(key)) is not None and one.known:
            head = show.headed(label, field_of(key)[0].kind)
            status = "" if one.status == "computed" else one.status
            rows.append((head, *cells(key, one, show)[1:], status))
    heads = ("", "value", "95 % band", "")
    return Table(heads=heads, rows=tuple(rows), left=frozenset({0, 3}), drop=(3,))


def _rate_table(found: Ballistics, show: Shown) -> Iterator[Table]:
    """Yield the burn law by bands, those joined that its doubt does not tell apart."""
    if found.law is None:
        return
    first = found.bands[0]
    doubts = first["coefficient_m_s"], first["exponent"]
    # A screen that has no room for all keeps the band of the pressure asked for.
    bands = sorted(
        joined(found.law), key=lambda one: not one.low <= found.pressure <= one.high
    )
    rows = tuple(_rate_row(band, doubts, show) for band in bands)
    law = f"r = a (p / {show.typed('pressure', 1.0)})^n"
    unit, rate = show.unit("pressure"), show.unit("rate")
    yield Table(
        heads=(f"{law}, {unit}", f"a, {rate}", "95 % band", "n", "95 % band"),
        rows=rows,
        spare=len(rows) - 1,
        of="bands",
    )


def _rate_row(band: Band, doubts: Sequence[Entry], show: Shown) -> tuple[str, ...]:
    """Return pressures, coefficient and exponent of a band, each with its doubt."""
    rate, exponent = doubts
    by = 1e3 * band.rate / float(rate.value)
    away = band.exponent - float(exponent.value)
    told = (
        show.band("rate", 1e3 * band.rate, by * rate.low, by * rate.high),
        show.band("number", band.exponent, away + exponent.low, away + exponent.high),
    )
    parts = [x for value, *ends in told for x in (value, " to ".join(ends))]
    return (_between(band.low, band.high, show), *parts)


def _between(low: float, high: float, show: Shown) -> str:
    """Write a range of pressures [Pa] without its unit."""
    if low == 0.0 and math.isinf(high):
        return "any pressure"
    told = (show.bare("pressure", 1e-6 * p, 2) for p in (low, high))
    return " to ".join(told)


def _pairing(found: Ballistics) -> str:
    """Say in one sentence what goes with what."""
    here = found.evaluated
    k, gas_k, mass, gas_mass = (
        numbers.significant(float(here[key].value) * by)
        for key, by in ((EXPONENT, 1), (GAS_EXPONENT, 1), (EFFECTIVE, 1e3), (GAS, 1e3))
    )
    return (
        f"Pairs (g/mol): exponent {k} with {mass} for c*, {gas_k} with {gas_mass} for "
        "the gas alone; a mixed pair gives a c* up to a third too high."
    )


# ----------------------------------------------------------------------------
# All blocks.

_TITLES: Final = {
    "delivered": "Delivered",
    "burn_law": "Burn law",
    "temperature_sensitivity": "Temperature of the grain",
    "density": "Density",
    "gas_transport": "Gas without smoke",
    "hardware": "The motor",
}


def _annexes(found: Ballistics, asked: Mixes, show: Shown) -> Iterator[Annex]:
    """Yield every block."""
    rows = tuple(cells(key, one, show)[:2] for key, one in found.identity.items())
    table = Table(heads=("", ""), rows=rows, left=frozenset({0, 1}))
    yield Annex("What it is", (table,))
    yield _states(found, show)
    for name, block, _ in found.blocks():
        if block and name in _TITLES:
            more = tuple(_more(found, name, show))
            yield Annex(_TITLES[name], (_block_table(block, show), *more))
    names = numbers.listed([key.replace("_", " ") for key in found.draws])
    count = len(next(iter(found.draws.values())))
    drawn = f"{count} rows of {names}, drawn together: --json and --csv hold them."
    yield Annex("Joint draws", (Paragraph(drawn),))
    yield Annex("Mind", (notes_of(found.notes),))
    yield from ground(asked, show)


def _block_table(block: Mapping[str, Entry], show: Shown) -> Table:
    """Return a block, its quantities down."""
    rows = []
    for key, one in block.items():
        head, value, band = cells(key, one, show)
        said = f"{value} ({band})" if band else value
        said_of = show.said(one.source)
        if said_of.startswith(one.status):  # "measured, 1 firing" says both
            rests = said_of
        else:
            rests = "; ".join(x for x in (one.status, said_of) if x)
        rows.append((head, said, rests))
    return Table(
        heads=("", "value (95 %)", "rests on"), rows=tuple(rows), left=frozenset({0, 2})
    )


def _states(found: Ballistics, show: Shown) -> Annex:
    """Return the states, pressures across."""
    columns = found.thermochemistry
    rows = []
    for key, first in columns[-1].items():
        shown = [cells(key, one[key], show)[1] if key in one else "" for one in columns]
        rows.append((cells(key, first, show)[0], *shown))
    table = Table(heads=("", *(["at"] * len(columns))), rows=tuple(rows))
    pairs = [
        (*(field_of(key)[0].label for key in (p.exponent, p.molar_mass)), p.purpose)
        for p in found.pairs
    ]
    beside = Table(
        heads=("exponent", "molar mass", "for"),
        rows=tuple(pairs),
        left=frozenset({0, 1, 2}),
        caption="What goes with what; no other pair may be used.",
    )
    return Annex("Chamber, throat and exit, ideal", (table, beside))


def _more(found: Ballistics, name: str, show: Shown) -> Iterator[Block]:
    """Yield what stands below a block."""
    if name == "burn_law" and found.bands:
        yield _bands(found, show)
    if name == "hardware" and found.kn:
        rows = tuple(
            (show.bare("length", 1e3 * web), numbers.significant(kn, 4))
            for web, kn in found.kn
        )
        heads = (show.headed("web burnt", "length"), "Kn")
        yield Table(heads=heads, rows=rows, left=frozenset())


def _bands(found: Ballistics, show: Shown) -> Table:
    """Return every band of the burn law."""
    keys = (*("coefficient_m_s", "exponent"), *HABITS)
    rows = []
    for band in found.bands:
        low, high = (float(band[f"pressure_{x}_Pa"].value) for x in ("low", "high"))
        shown = (cells(key, band[key], show)[1] for key in keys)
        rows.append((_between(low, high, show), *shown))
    heads = (show.unit("pressure"), show.headed("a", "rate"), "n")
    habits = (" at ".join(units) for units in HABITS.values())
    return Table(heads=(*heads, *habits), rows=tuple(rows))


# ----------------------------------------------------------------------------
# JSON and CSV.

_ENTRY = keyed(
    ("value", "number", "in the SI unit of its key; a word, or yes or no, without one"),
    ("u", "number", "standard uncertainty"),
    ("low", "number", "lower end of the 95 % interval"),
    ("high", "number", "upper end of the 95 % interval"),
    ("status", TEXT, f"one of: {', '.join(STATUSES)}"),
    ("source", TEXT, "where it comes from, or what it is"),
)
_VALUES: Final = {one.key: one.schema() for one in _ENTRY}
_VALUES["value"] |= {"type": ["number", "string", "boolean", "null"]}

#: Fields of the CSV: one row a quantity.
ROW_FIELDS = (
    *keyed(
        ("block", TEXT, "which block"),
        ("place", TEXT, "which pressure, band, web or draw of it"),
        ("quantity", TEXT, "its key, with the SI unit"),
    ),
    *_ENTRY,
)

#: What the document of ballistics holds.
PARTS: dict[str, Part] = {
    "identity": Part(meaning="what it is and under what", values=_VALUES),
    "thermochemistry": Part(
        meaning="chamber, throat, exit without losses, one a pressure",
        values=_VALUES,
        many=True,
    ),
    "pairs": Part(
        meaning="which molar mass goes with which exponent; no other pair may be used",
        fields=keyed(
            ("exponent", TEXT, "key of the thermochemistry"),
            ("molar_mass", TEXT, "key of the thermochemistry"),
            ("purpose", TEXT, "what the pair is for"),
            ("characteristic_velocity_m_s", "velocity", "by the one-exponent formula"),
        ),
        many=True,
    ),
    "delivered": Part(
        meaning="efficiencies, each counted once, and what they leave", values=_VALUES
    ),
    "burn_law": Part(
        meaning="origin, covariance and scatter; origin alone where there is none",
        values=_VALUES,
    ),
    "burn_law_bands": Part(
        meaning="r = a (p / 1 MPa)^n by pressure bands", values=_VALUES, many=True
    ),
    "temperature_sensitivity": Part(meaning="of rate and pressure", values=_VALUES),
    "density": Part(meaning="without voids, of the grain", values=_VALUES),
    "gas_transport": Part(meaning="of the gas without smoke", values=_VALUES),
    "hardware": Part(meaning="the motor; empty without", values=_VALUES),
    "kn": Part(
        meaning="burning over throat area against web burnt",
        fields=keyed(("web_m", "number", "web burnt"), ("kn", "number", "Kn")),
        many=True,
    ),
    "draws": Part(meaning="rows drawn together, a list a quantity"),
    "notes": Part(meaning="what limits the use of a number"),
    "recipe": Part(meaning="what was weighed and what is cast"),
    **CAUSE_PARTS,
}


def ballistics_parts(found: Ballistics, asked: Mixes) -> dict[str, Any]:
    """Return what the JSON of ballistics holds."""
    more = {"recipe": found.mix.to_dict()}
    return found.to_dict() | more | cause_parts(asked.names, asked.causes)
