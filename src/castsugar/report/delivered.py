"""What is lost between the ideal and the motor, and what is delivered."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from castsugar.report import numbers
from castsugar.report.document import Part
from castsugar.report.field import (
    FIELDS,
    INTERVAL,
    TEXT,
    Row,
    fields,
    keyed,
    row_in_order,
)
from castsugar.report.screen import Annex, Block, Listing, Paragraph, Table
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from castsugar.motor.delivered import Delivered, InUse, Share
    from castsugar.motor.losses import Losses

# ----------------------------------------------------------------------------
# What a motor adds to the row of a mix.

DELIVERED = fields(
    ("delivered_characteristic_velocity_m_s", "delivered c*", "velocity",
     "ideal times the efficiency in use"),
    ("delivered_specific_impulse_s", "delivered Isp", "specific impulse",
     "through the nozzle of the motor, with the efficiencies in use"),
    ("delivered_thrust_coefficient", "delivered thrust coefficient", "number",
     "of the nozzle of the motor, with the efficiency in use"),
    ("efficiency_origin", "c* efficiency", TEXT,
     "stated; measured, and by how many firings; or expected: then what is "
     "delivered is assumed"),
)  # fmt: skip

#: Of these, what a default screen shows where the efficiency is known.
KNOWN = tuple(one.key for one in DELIVERED[:2])


def delivered_row(found: Delivered) -> dict[str, Any]:
    """Return what a motor adds to a row."""
    origin = found.efficiencies.characteristic_velocity.origin
    row: dict[str, Any] = {"efficiency_origin": origin}
    told = (
        found.characteristic_velocity,
        found.specific_impulse,
        found.thrust_coefficient,
    )
    for one, value in zip(DELIVERED, told, strict=False):
        if math.isfinite(value.value):
            row |= {one.key: value.value, one.key + INTERVAL: (value.low, value.high)}
    return row


# ----------------------------------------------------------------------------
# The annex.

_TITLE = "What is lost, and what is delivered"

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
        Paragraph(_nozzle_words(known[0][0], known[0][2], several=len(known) > 1)),
    ]
    first = next((one for one in losses if one is not None), None)
    if first is not None:
        lost = tuple(_lost(names, losses))
        blocks += [_taken(lost), Listing(tuple(_conditions(first)))]
    yield Annex(_TITLE, tuple(blocks))


def _efficiencies(used: InUse) -> Table:
    """Return the efficiencies, each with its band."""
    rows = []
    for label, one in _shares(used).items():
        value, low, high = numbers.with_band(one.value, one.low, one.high)
        rows.append((label, value, f"{low} to {high}"))
    heads = ("delivered over ideal", "efficiency", "95 % band")
    return Table(heads=heads, rows=tuple(rows), left=frozenset({0}))


def _shares(used: InUse) -> dict[str, Share]:
    """Return the efficiencies by what they are of."""
    return {
        "c*": used.characteristic_velocity,
        "thrust coefficient": used.nozzle,
        "Isp, both together": used.impulse,
    }


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


def _nozzle_words(name: str, one: Delivered, *, several: bool) -> str:
    """Say what the expansion of the nozzle does."""
    whose = f" ({name})" if several else ""
    return (
        "Delivered Isp and thrust coefficient are those of your nozzle: without losses "
        f"it has {numbers.significant(one.expansion)} of the thrust of full "
        f"expansion{whose}."
    )


def _taken(lost: Sequence[tuple[Any, ...]]) -> Table:
    """Return the size of each loss."""
    several = len(lost) > len({cause for _, cause, *_ in lost})
    rows = []
    for name, cause, of, low, high, standing in lost:
        line = (cause, _range(low, high), of, standing)
        rows.append((name, *line) if several else line)
    heads = (*([""] if several else []), "expected loss", "%", "of", "")
    right = len(heads) - 3
    return Table(
        heads=heads,
        rows=tuple(rows),
        left=frozenset(i for i in range(len(heads)) if i != right),
    )


def _lost(
    names: Sequence[str], losses: Sequence[Losses | None]
) -> Iterator[tuple[Any, ...]]:
    """Yield mix, cause, what it takes from, least and most of it, how firm it is."""
    for name, one in zip(names, losses, strict=False):
        if one is None:
            continue
        cone = "no cone" if one.cone == "none" else f"{one.cone} half angle"
        heat = (
            "bound of this motor" if one.heat_of_motor else "assumed, of small motors"
        )
        yield name, "droplets that lag", "c* and Isp", *one.lag, "bound, size assumed"
        yield name, "cone", "thrust", *one.divergence, cone
        yield name, "heat into walls", "c*", *one.heat, heat


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
        columns = PARTS["efficiencies"].fields
        parts["efficiencies"] = [
            row_in_order(
                columns,
                label,
                (one.value, (one.low, one.high)),
                one.origin,
                "no" if one.known else "yes",
            )
            for label, one in _shares(used).items()
        ]
    columns = PARTS["expected_losses"].fields
    lost = [
        row_in_order(columns, name, cause, of, 100.0 * low, 100.0 * high, standing)
        for name, cause, of, low, high, standing in _lost(names, losses)
    ]
    return parts | ({"expected_losses": lost} if lost else {})
