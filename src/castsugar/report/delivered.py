"""What is lost between the ideal and the motor, and what is delivered."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from castsugar.columns import DOUBTS
from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import FIELDS, INTERVAL, TEXT, Row, fields, keyed
from castsugar.report.screen import Annex, Block, Listing, Paragraph, Table
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from castsugar.motor.delivered import Delivered, InUse, Share
    from castsugar.motor.losses import Losses

# ----------------------------------------------------------------------------
# What a motor adds to the row of a mix.

DELIVERED = fields(
    (
        "delivered_characteristic_velocity_m_s",
        "delivered c*",
        "velocity",
        "ideal times the efficiency in use",
    ),
    (
        "delivered_specific_impulse_s",
        "delivered Isp",
        "specific impulse",
        "through the nozzle of the motor, with the efficiencies in use",
    ),
    (
        "delivered_thrust_coefficient",
        "delivered thrust coefficient",
        "number",
        "of the nozzle of the motor, with the efficiency in use",
    ),
    (
        "efficiency_origin",
        "c* efficiency",
        TEXT,
        "stated; measured, and by how many firings; or expected: then what is "
        "delivered is assumed",
    ),
)

#: Of these, what a default screen shows where the efficiency is known.
KNOWN = tuple(one.key for one in DELIVERED[:2])


def delivered_row(found: Delivered) -> dict[str, Any]:
    """Return what a motor adds to a row."""
    row: dict[str, Any] = {"efficiency_origin": found.origin}
    for one in DELIVERED[:3]:
        value = getattr(found, _NAMES[one.key])
        if math.isfinite(value.value):
            row |= {one.key: value.value, one.key + INTERVAL: (value.low, value.high)}
    return row


_NAMES = {
    "delivered_characteristic_velocity_m_s": "characteristic_velocity",
    "delivered_specific_impulse_s": "specific_impulse",
    "delivered_thrust_coefficient": "thrust_coefficient",
}


def ideal_doubts(row: Row) -> dict[str, float]:
    """Return standard uncertainties of a row, from its 95 % bands."""
    found = {}
    for column, doubt in DOUBTS.items():
        low, high = row.get(column + INTERVAL) or (math.nan, math.nan)
        if low == low:
            found[doubt] = (high - low) / 3.92
    return found


# ----------------------------------------------------------------------------
# The annex.

_TITLE = "What is lost, and what is delivered"

_USED = (
    ("c*", "characteristic_velocity"),
    ("thrust coefficient", "nozzle"),
    ("Isp, both together", "impulse"),
)

_PAIRS = (
    ("characteristic_velocity_m_s", DELIVERED[0]),
    ("thrust_coefficient", DELIVERED[2]),
    ("specific_impulse_s", DELIVERED[1]),
)


def delivered_annex(
    names: Sequence[str],
    rows: Sequence[Row],
    found: Sequence[Delivered | None],
    losses: Sequence[Losses | None],
    show: Shown,
) -> Iterator[Annex]:
    """Yield what every mix delivers in the motor, and what takes the rest."""
    known = [
        (name, row, one)
        for name, row, one in zip(names, rows, found, strict=False)
        if one is not None and row.get(KNOWN[0]) is not None
    ]
    if not known:
        return
    used = known[0][2].efficiencies
    blocks: list[Block] = [
        _efficiencies(used),
        Paragraph(_origins(used)),
        _delivered(known, show),
        Paragraph(_nozzle_words(*known[0], several=len(known) > 1)),
    ]
    told = [(n, one) for n, one in zip(names, losses, strict=False) if one is not None]
    if told:
        blocks += [_taken(told), Listing(tuple(_conditions(told[0][1])))]
    yield Annex(_TITLE, tuple(blocks))


def _efficiencies(used: InUse) -> Table:
    """Return the efficiencies, each with its band."""
    shares = ((label, getattr(used, name)) for label, name in _USED)
    rows = tuple((label, *_cells(one)) for label, one in shares)
    heads = ("delivered over ideal", "efficiency", "95 % band")
    return Table(heads=heads, rows=rows, left=frozenset({0}))


def _cells(one: Share) -> tuple[str, str]:
    value, low, high = numbers.with_band(one.value, one.low, one.high)
    return value, f"{low} to {high}"


def _origins(used: InUse) -> str:
    """Say where the efficiencies come from; expected ones are assumed."""
    velocity, nozzle = used.characteristic_velocity, used.nozzle
    told = f"Efficiency of c*: {_origin(velocity)}. Of the nozzle: {_origin(nozzle)}."
    if velocity.origin == nozzle.origin:
        told = f"Both efficiencies: {_origin(velocity)}."
    return (
        f"{told} A throat that discharges less than its area lifts that of c*, even "
        "above 1, and lowers that of the nozzle; Isp stays: its band is not the "
        "product of extremes."
    )


def _origin(one: Share) -> str:
    return one.origin if one.known else f"{one.origin} (assumed)"


def _delivered(known: Sequence[tuple[str, Row, Delivered]], show: Shown) -> Table:
    """Return ideal beside delivered."""
    several = len(known) > 1
    rows = []
    for name, row, _ in known:
        for ideal, one in _PAIRS:
            value, band = one.cells(row, show)
            label = FIELDS[ideal].headed(show).replace(", ideal", "")
            told = (label, FIELDS[ideal].text(row, show), value, band)
            rows.append((name, *told) if several else told)
    heads = (*([""] if several else []), "", "ideal", "delivered", "95 % band")
    return Table(heads=heads, rows=tuple(rows), left=frozenset(range(len(heads) - 3)))


def _nozzle_words(name: str, _: Row, one: Delivered, *, several: bool) -> str:
    """Say what the expansion of the nozzle does."""
    whose = f" ({name})" if several else ""
    return (
        "Delivered Isp and thrust coefficient are those of your nozzle: without losses "
        f"it has {numbers.significant(one.expansion)} of the thrust of full "
        f"expansion{whose}."
    )


_LOSSES = (
    ("droplets that lag", "lag", "c* and Isp", "bound, size assumed"),
    ("cone", "divergence", "thrust", ""),
    ("heat into walls", "heat", "c*", ""),
)


def _taken(told: Sequence[tuple[str, Losses]]) -> Table:
    """Return the size of each loss."""
    rows = []
    for name, one in told:
        for label, key, of, standing in _LOSSES:
            low, high = getattr(one, key)
            line = (label, _range(low, high), of, standing or _standing(one, key))
            rows.append((name, *line) if len(told) > 1 else line)
    heads = (*([""] if len(told) > 1 else []), "expected loss", "%", "of", "")
    right = len(heads) - 3
    return Table(
        heads=heads,
        rows=tuple(rows),
        left=frozenset(i for i in range(len(heads)) if i != right),
    )


def _standing(one: Losses, key: str) -> str:
    """Say how firm the size of a loss is."""
    if key == "divergence":
        return "no cone" if one.cone == "none" else f"{one.cone} half angle"
    return "bound of this motor" if one.heat_of_motor else "assumed, of small motors"


def _range(low: float, high: float) -> str:
    """Write the range of a loss in per cent."""
    if low == high:
        return numbers.percent(low)
    if low == 0.0:
        return f"at most {numbers.percent(high)}"
    return f"{numbers.percent(low)} to {numbers.percent(high)}"


def _conditions(one: Losses) -> Iterator[str]:
    """Say under what each bound holds."""
    from castsugar.motor.losses import DROPLETS

    small, large = (numbers.typed(1e6 * d) for d in DROPLETS)
    speeds = [numbers.significant(x, 2) for x in one.lags]
    yield (
        f"Droplets of K2CO3 of {small} to {large} um (assumed), {speeds[0]} to "
        f"{speeds[1]} as fast as the gas: Stokes drag, a round entry of the throat "
        "radius, heat that lags as much, nothing solidifies."
    )
    if one.cone != "none":
        angles = [numbers.significant(math.degrees(a), 2) for a in one.half_angles]
        half = angles[0] if one.cone == "stated" else " to ".join(angles)
        yield f"Cone of {half}° half angle ({one.cone}): (1 + cos a)/2."
    if one.heat_of_motor:
        flow = numbers.significant(1e-6 * one.heat_flow, 2)
        yield (
            f"Heat: {flow} MW/m² into both closures and half the wall of the case, "
            "bare and cool: more than a grain that sticks to the wall lets through."
        )
    yield (
        "Unburnt mix, friction and a sharp throat come on top; the efficiency above "
        "holds all of it."
    )


# ----------------------------------------------------------------------------
# JSON.

PARTS: dict[str, Part] = {
    "efficiencies": Part(
        meaning="delivered over ideal, of the next firing: those that count",
        fields=keyed(
            ("of", TEXT, "c*, thrust coefficient, or Isp: both together"),
            ("efficiency", "number", "best estimate"),
            ("origin", TEXT, "stated; measured, by how many firings; or expected"),
            ("assumed", TEXT, "yes if nothing was stated and nothing fired"),
        ),
        many=True,
        needed=False,
    ),
    "expected_losses": Part(
        meaning="bounds of what takes part of the ideal, one a mix and a cause",
        fields=keyed(
            ("mix", TEXT, "name"),
            ("cause", TEXT, "of the loss"),
            ("of", TEXT, "what it takes from"),
            ("least_percent", "fraction", "least"),
            ("most_percent", "fraction", "most"),
            ("standing", TEXT, "bound, stated or assumed"),
        ),
        many=True,
        needed=False,
    ),
}


def delivered_parts(
    names: Sequence[str],
    found: Sequence[Delivered | None],
    losses: Sequence[Losses | None],
) -> dict[str, Any]:
    """Return what a document says of it; nothing without a motor."""
    parts: dict[str, Any] = {}
    used = next((one.efficiencies for one in found if one is not None), None)
    if used is not None:
        shares = [(label, getattr(used, name)) for label, name in _USED]
        parts["efficiencies"] = [
            {
                "of": label,
                "efficiency": one.value,
                "efficiency" + INTERVAL: (one.low, one.high),
                "origin": one.origin,
                "assumed": "no" if one.known else "yes",
            }
            for label, one in shares
        ]
    told = [(n, one) for n, one in zip(names, losses, strict=False) if one is not None]
    if told:
        parts["expected_losses"] = [
            {
                "mix": name,
                "cause": label,
                "of": of,
                "least_percent": 100.0 * getattr(one, key)[0],
                "most_percent": 100.0 * getattr(one, key)[1],
                "standing": standing or _standing(one, key),
            }
            for name, one in told
            for label, key, of, standing in _LOSSES
        ]
    return parts
