"""What can raise the peak, in words: an annex, what forbids a firing, documents."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import TEXT, keyed, row_in_order
from castsugar.report.screen import Annex, Block, Finding, Paragraph, Table
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from castsugar.motor.peak_causes import Cause

    Causes = Sequence[Cause]

TITLE = "What can raise the peak"

_UNBOUNDED = "no bound"

#: Verdict -> whether the peak stays below the case.
_BELOW = {"below": "yes", "next batches above": "not p95", "above": "no"}

_ALONE = (
    "Each cause stands alone; where causes meet their factors multiply. up to: best "
    "estimate by the high end of the factor; p95: by its middle. Sizes of your own in "
    "place of assumed ones: --crack, --debond, and under [motor] hottest_grain, "
    "throat_after, igniter_mass."
)
_LAWS = (
    "Erosive burning{whose}: {flux} at the nozzle end of the core at first, {word}. "
    "Mach {mach}, static pressure falls by {half} to {drop} % along the core, port "
    "{port} x throat. Burning rate there, mean of the core: up by {middle} % "
    "(Mukunda-Paul) to {high} % (Lenoir-Robillard); neither was fitted to these mixes. "
    "The core widens, so that a later peak is raised by less. Pressures are those of "
    "the nozzle end; the head stands higher by that fall."
)
_DOUBLING = (
    "Igniter{whose} not stated: from {mass} of charge in {time} ms on it could double "
    "the pressure of the start."
)
_STRONG = (
    "Igniter{whose}: its charge burns {share} x as fast as the grain at the start"
    "{strong}. Grain lit at once, {free} of gas before it, at the high end {least}; a "
    "grain that lights late meets no igniter."
)


def cause_annex(
    names: Sequence[str], causes: Sequence[Causes], show: Shown
) -> Iterator[Annex]:
    """Yield what can raise the peak of each mix, by how much, and against the case."""
    known = [(n, own) for n, own in zip(names, causes, strict=False) if own]
    if not known:
        return
    alone, blocks = len(known) == 1, list[Block]()
    for name, own in known:
        blocks.append(_table("" if alone else name, own, show))
        whose = "" if alone else f" of {name}"
        blocks += [Paragraph(text) for text in _remarks(own, whose, show)]
    blocks.append(Paragraph(_ALONE))
    yield Annex(TITLE, tuple(blocks))


def _table(name: str, causes: Causes, show: Shown) -> Table:
    """Return the causes of one mix, going down."""
    unit, first = show.unit("pressure"), causes[0]
    peaks = [_pressure(x, show) for x in (first.best, first.p95)]
    rows = tuple(
        (
            one.name,
            _below(one),
            _factor(one),
            _pressure(one.pressure[1], show),
            _pressure(one.pressure_p95[0], show),
            size_words(one, show),
        )
        for one in causes
    )
    heads = ("below the\ncase?", "factor", f"up to,\n{unit}", f"p95,\n{unit}", "size")
    bare = replace(first, low=1.0, middle=1.0, high=1.0, why="")
    without = ("none of these", _below(bare), "1", *peaks, "")
    left = frozenset({0, 1, 5})
    return Table(heads=(name, *heads), rows=(without, *rows), left=left)


def _below(one: Cause) -> str:
    return _BELOW.get(one.verdict, one.verdict)


def _factor(one: Cause) -> str:
    low, high = (
        numbers.significant(x, 3, endless=_UNBOUNDED) for x in (one.low, one.high)
    )
    return low if low == high else f"{low} to {high}"


def _pressure(value: float, show: Shown) -> str:
    told = show.number("pressure", 1e-6 * value)
    return numbers.significant(told, 3, endless=_UNBOUNDED)


def size_words(one: Cause, show: Shown) -> str:
    """Say how large a cause is, and whether that was assumed."""
    if one.why:
        return one.why
    told = _SIZES[one.name](one.sizes, show)
    return f"{told}, assumed" if one.origin == "assumed" else told


def _deposit(sizes: Any, show: Shown) -> str:
    if not sizes["share"]:
        return "none: it wears"
    return f"throat {numbers.typed(numbers.three(-100.0 * sizes['share']))} %"


def _igniter(sizes: Any, show: Shown) -> str:
    mass = show.typed("mass", 1e3 * sizes["mass"])
    return f"{mass} in {_milliseconds(sizes['time'])} ms"


def _warmer(sizes: Any, show: Shown) -> str:
    return f"at {show.typed('temperature', sizes['temperature'] - 273.15)}"


_SIZES = {
    "start and igniter": _igniter,
    "erosive burning": lambda sizes, show: show.amount("mass flux", sizes["flux"]),
    "crack": lambda sizes, show: f"{_share(sizes)} % of area",
    "debond": lambda sizes, show: f"{_share(sizes)} % of face",
    "hot day": _warmer,
    "throat deposit": _deposit,
}


def _share(sizes: Any) -> str:
    return numbers.typed(numbers.tidy(100.0 * sizes["share"]))


def _milliseconds(time: float) -> str:
    return numbers.typed(numbers.three(1e3 * time))


# ----------------------------------------------------------------------------
# Below the table.


def _remarks(causes: Causes, whose: str, show: Shown) -> Iterator[str]:
    """Yield what the table has no room for."""
    by_name = {one.name: one for one in causes}
    yield from _start(by_name["start and igniter"], whose, show)
    if flow := by_name["erosive burning"].sizes:
        yield _LAWS.format(
            whose=whose,
            flux=show.amount("mass flux", flow["flux"]),
            word=core_word(flow["flux"], flow["mach"], flow["port_to_throat"]),
            mach=numbers.significant(flow["mach"], 2),
            half=numbers.percent(0.5 * flow["drop"]),
            drop=numbers.percent(flow["drop"]),
            port=numbers.significant(flow["port_to_throat"]),
            middle=numbers.percent(flow["rise_middle"]),
            high=numbers.percent(flow["rise_high"]),
        )
    for one in causes:
        if one.origin == "assumed" and one.verdict == "above" and not one.forbids:
            yield (
                f"CAUTION{whose}: {one.name} ({size_words(one, show)}) takes the peak "
                f"above the case at its high end, {_taken(one.pressure[1], show)}."
            )


def _start(one: Cause, whose: str, show: Shown) -> Iterator[str]:
    sizes = one.sizes
    if "doubling" in sizes:
        mass = show.amount("mass", 1e3 * sizes["doubling"], 2)
        yield _DOUBLING.format(
            whose=whose, mass=mass, time=_milliseconds(sizes["time"])
        )
        return
    if "flow_share" not in sizes:
        return
    from castsugar.motor.peak_causes import STRONG_IGNITER

    strong = sizes["flow_share"] > STRONG_IGNITER
    limit = numbers.typed(STRONG_IGNITER)
    yield _STRONG.format(
        whose=whose,
        share=numbers.significant(sizes["flow_share"], 2),
        strong=f", more than {limit}: a strong one" if strong else "",
        free=show.amount("volume", 1e6 * sizes["free"]),
        least=show.amount("volume", 1e6 * sizes["free_least"]),
    )


def core_word(flux: float, mach: float, port_to_throat: float) -> str:
    """Say what a core mass flux [kg/(m2 s)], Mach number and port lead to.

    Examples
    --------
    >>> [core_word(g, 0.1, 3.0) for g in (699.0, 700.0, 1050.0)]
    ['no start peak', 'slight start peak', 'expect a start peak']
    >>> core_word(400.0, 0.3, 1.8), core_word(400.0, 0.6, 1.3)
    ('expect a start peak', 'outside these models')
    """
    from castsugar.motor.erosive_burning import BEYOND, PEAK, SLIGHT
    from castsugar.motor.peak_causes import FASTEST_CORE, NARROWEST_PORT

    if flux > BEYOND or mach > FASTEST_CORE:
        return "outside these models"
    if flux >= PEAK or port_to_throat < NARROWEST_PORT:
        return "expect a start peak"
    return "slight start peak" if flux >= SLIGHT else "no start peak"


# ----------------------------------------------------------------------------
# What forbids a firing.


def cause_finding(
    names: Sequence[str], causes: Sequence[Causes], show: Shown
) -> Iterator[Finding]:
    """Yield at most one finding: the worst cause that takes a peak above the case.

    By :attr:`castsugar.motor.peak_causes.Cause.forbids`; silent about a mix whose peak
    is above without any cause, of which the limits speak.
    """
    if not any(causes):
        return
    from castsugar.motor.peak_causes import worst

    found = [
        (name, one)
        for name, own in zip(names, causes, strict=False)
        if (one := worst(tuple(own))) is not None
    ]
    if not found:
        yield from _warning(names, causes, show)
        return
    name, one = max(found, key=lambda pair: pair[1].above)
    whose = "it" if len(names) == 1 else name
    rating = show.bound("pressure", 1e-6 * one.allowable)
    pressure = one.allowable * (1.0 + one.above)
    if math.isinf(pressure):
        told = f"leaves it no stable pressure; {one.whose} {rating}"
    else:
        more = numbers.percent(one.above)
        told = f"takes the peak to {_taken(pressure, show)}, {more} % above "
        told += f"{one.whose} {rating}"
    others = [other for other, _ in found if other != name]
    also = f" So do causes of {numbers.listed(others)}." if others else ""
    yield Finding(
        "DO NOT",
        f"fire {whose}: {one.name} ({size_words(one, show)}) {told}.{also}",
        {"pressure_MPa": 1e-6 * pressure, "allowable_MPa": 1e-6 * one.allowable},
    )


def _warning(
    names: Sequence[str], causes: Sequence[Causes], show: Shown
) -> Iterator[Finding]:
    """Yield at most one finding: a cause that is said first and forbids nothing."""
    found = [
        (name, one)
        for name, own in zip(names, causes, strict=False)
        for one in own
        if one.warns
    ]
    if not found:
        return
    name, one = max(found, key=lambda pair: pair[1].pressure_p95[0])
    whose = "" if len(names) == 1 else f" of {name}"
    high = max(one.pressure_p95[0], one.pressure[1])
    if one.p95 <= one.allowable < high:
        text = (
            f"With {one.name}{whose} ({size_words(one, show)}) 95 of 100 next batches "
        )
        text += f"below {_taken(high, show)}; {one.whose} "
        text += f"{show.bound('pressure', 1e-6 * one.allowable)}."
    else:
        port = numbers.significant(one.sizes["port_to_throat"])
        mach = numbers.significant(one.sizes["mach"], 2)
        text = f"Port{whose} {port} x throat, Mach {mach}: a start peak that cannot be "
        text += "told; widen the core."
    yield Finding("CAUTION", text)


def _taken(pressure: float, show: Shown) -> str:
    if math.isinf(pressure):
        return "without a stable pressure"
    return show.amount("pressure", 1e-6 * pressure)


# ----------------------------------------------------------------------------
# JSON.

#: Key of a size in a document -> its name in a cause, the factor between them, kind,
#: meaning.
_KEYS = {
    "share_percent": ("share", 100.0, "fraction",
        "of burning area, outer face or diameter"),
    "area_added_percent": ("area", 100.0, "fraction",
        "by a debond, over the largest area"),
    "warmer_K": ("warmer", 1.0, "temperature difference", "than the grain temperature"),
    "pressure_sensitivity_percent_K": ("sensitivity", 100.0, "fraction",
        "of the pressure to the grain temperature, in per cent a kelvin"),
    "throat_diameter_mm": ("diameter", 1e3, "length", "with the deposit"),
    "igniter_mass_g": ("mass", 1e3, "mass", "of its charge"),
    "igniter_time_s": ("time", 1.0, "time", "that it burns"),
    "igniter_over_grain_flow": ("flow_share", 1.0, "number",
        "its rate over that of the grain"),
    "igniter_doubling_g": ("doubling", 1e3, "mass",
        "charge that could double the start"),
    "free_volume_ml": ("free", 1e6, "volume", "of gas before ignition"),
    "free_volume_low_ml": ("free_least", 1e6, "volume", "that of the high factor"),
    "core_mass_flux_kg_m2_s": ("flux", 1.0, "number",
        "at the nozzle end, at the start"),
    "core_mach": ("mach", 1.0, "number", "there"),
    "static_drop_percent": ("drop", 100.0, "fraction",
        "along the core at most, half at least"),
    "port_to_throat": ("port_to_throat", 1.0, "number", "port area over throat area"),
    "rate_rise_percent": ("rise_middle", 100.0, "fraction",
        "Mukunda-Paul, mean of the core"),
    "rate_rise_high_percent": ("rise_high", 100.0, "fraction",
        "Lenoir-Robillard, the same"),
}  # fmt: skip

_FIELDS = keyed(
    ("mix", TEXT, "name"),
    ("cause", TEXT, "name"),
    ("origin", TEXT, "of its size: stated, computed, assumed or not told"),
    ("factor_low", "number", "on the peak"),
    ("factor", "number", "on the peak, the middle; null: none, or no bound"),
    ("factor_high", "number", "on the peak"),
    ("pressure_MPa", "pressure", "best estimate by the middle factor"),
    ("pressure_high_MPa", "pressure", "best estimate by the high factor"),
    ("pressure_p95_MPa", "pressure", "p95 by the middle factor"),
    ("pressure_p95_high_MPa", "pressure", "p95 by the high factor"),
    ("verdict", TEXT, "below, next batches above, above, no case, not told"),
    ("forbids", TEXT, "yes if it takes a peak that the case holds above it"),
    ("reason", TEXT, "why no factor is told"),
    *((key, kind, meaning) for key, (_, _, kind, meaning) in _KEYS.items()),
)

PARTS: dict[str, Part] = {
    "peak_causes": Part(
        meaning="what can raise the peak, one a mix and cause, each alone",
        fields=_FIELDS,
        many=True,
        needed=False,
    )
}


def cause_parts(names: Sequence[str], causes: Sequence[Causes]) -> dict[str, Any]:
    """Return what a document says of it; nothing without a motor."""
    pairs = zip(names, causes, strict=False)
    rows = [_row(name, one) for name, own in pairs for one in own]
    return {"peak_causes": rows} if rows else {}


def _row(name: str, one: Cause) -> dict[str, Any]:
    """Return what a document says of a cause of a mix."""
    pressures = (1e-6 * p for p in (*one.pressure, *one.pressure_p95))
    forbids = "yes" if one.forbids else "no"
    factors = one.low, one.middle, one.high
    told = (one.origin, *factors, *pressures, one.verdict, forbids, one.why)
    sizes = {
        key: factor * one.sizes[size]
        for key, (size, factor, *_) in _KEYS.items()
        if size in one.sizes
    }
    return row_in_order(_FIELDS, name, one.name, *told) | sizes
