"""What was read, how it was reduced, and what it rests on: text."""

from __future__ import annotations

import math

import numpy as np

from castsugar.motor.firing.channel import Channel
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Reduction
from castsugar.report.firing_words import CURES, INPUTS, KINDS, Asked, change
from castsugar.report.layout import number, wrapped
from castsugar.report.strand_units import percent, short, significant
from castsugar.static_test import StaticTest

#: Shares of the variance below this are told together.
_SMALL = 0.005

_QUANTITY = {"pressure": "pressure", "thrust": "force"}


def seconds(time: float) -> str:
    """Write a time of the recording, to a millisecond."""
    return number(time, 3)


def _chosen(share: float) -> str:
    """Write a share that was chosen, in percent: no zeros at its end."""
    return short(100.0 * share, 2)


def doubt_lines(test: StaticTest) -> list[str]:
    """Say where the doubt of c*, or else of the specific impulse, comes from."""
    results = test.reduction.results
    name = next(
        n for n in ("characteristic_velocity", "specific_impulse") if n in results
    )
    shares = results[name].shares()
    if not shares:
        return []
    label = KINDS[name].label.removeprefix("delivered ")
    lines = [f"{'Where the doubt of ' + label + ' comes from':<54}{'% of it':>10}"]
    large = {part: share for part, share in shares.items() if share >= _SMALL}
    for part, share in large.items():
        cell = number(100.0 * share, 0)
        lines.append(f"  {INPUTS.get(part, part):<52}{cell:>10}")
    small = [INPUTS.get(p, p) for p, s in shares.items() if p not in large and s > 0.0]
    if small:
        lines += wrapped(f"Below {_chosen(_SMALL)} % each: {', '.join(small)}.")
    largest = next(iter(shares))
    lines += wrapped(
        "Shares of the variance."
        + (f" To know it better: {CURES[largest]}." if largest in CURES else "")
    )
    return lines


def read_lines(reduction: Reduction, asked: Asked) -> list[str]:
    """Say what was read of each sensor, and what was done to it."""
    lines = ["What was read"]
    channels = [c for c in (reduction.pressure, reduction.thrust) if c is not None]
    lines += wrapped(_record(channels[0]))
    for channel in channels:
        lines += wrapped(_sensor(channel, asked), "    ", "  - ")
    return lines


def _record(channel: Channel) -> str:
    """Say how many samples there are, and how fast they came."""
    time = channel.time
    rate = 1.0 / float(np.median(np.diff(time)))
    text = (
        f"{len(time)} samples from {seconds(float(time[0]))} s to "
        f"{seconds(float(time[-1]))} s, {short(rate, 3)} a second"
    )
    gaps = int(channel.gap.sum())
    if gaps:
        holes = _count(gaps, "gap")
        return f"{text}; {holes} in the times, bridged by straight lines."
    return f"{text}, no gaps in the times."


def _sensor(channel: Channel, asked: Asked) -> str:
    """Say noise, zero, bridges and dips of one sensor."""
    quantity = _QUANTITY[channel.name]
    parts = [
        f"{channel.name}: noise {asked.text(channel.noise, quantity, 2)}, "
        f"{percent(channel.noise / channel.peak)} % of the peak",
        _zero(channel, asked, quantity),
    ]
    bridged = int(channel.bridged.sum())
    if bridged:
        parts.append(
            f"{_count(bridged, 'sample')} missing or stray, bridged by straight lines; "
            f"{percent(channel.bridged_share)} % of the burn time is not recorded"
        )
    limit = int(channel.at_limit.sum())
    if limit:
        parts.append(f"{_count(limit, 'sample')} at the limit of the sensor")
    if channel.burning.dips:
        dips = _count(channel.burning.dips, "dip")
        parts.append(f"{dips} below the limits while burning")
    return "; ".join(parts) + "."


def _count(count: int, what: str) -> str:
    """Write a count of things."""
    return f"1 {what}" if count == 1 else f"{count} {what}s"


def _zero(channel: Channel, asked: Asked, quantity: str) -> str:
    """Say which zero was taken away."""
    zero = channel.zero
    if zero.rule == "as read":
        return "taken as read, no zero taken away"
    before = asked.text(zero.before, quantity)
    if math.isnan(zero.after):
        return f"read {before} at rest before; that was taken away all along"
    after = asked.text(zero.after, quantity)
    return (
        f"read {before} at rest before and {after} after; a straight line between "
        "the two was taken away"
    )


def zero_words(channel: Channel) -> str:
    """Say in few words which zero was taken away."""
    return {
        "as read": "as read",
        "before only": "reading at rest before",
        "line": "line from the reading at rest before to that after",
    }[channel.zero.rule]


def input_lines(reduction: Reduction, asked: Asked) -> list[str]:
    """Say what the results rest on: each with its standard uncertainty."""
    lines = ["Measured beside it (± one standard uncertainty)"]
    stand = reduction.stand
    mass = 1e3 * stand.propellant_mass
    rows = [("propellant that burned", f"{short(mass)} g ± {_chosen(stand.mass_u)} %")]
    if reduction.pressure is not None:
        rows += _pressure_inputs(stand)
    if reduction.thrust is not None:
        doubt = f"± {_chosen(stand.thrust_calibration_u)} %"
        rows.append(("calibration of the load cell", doubt))
    lines += [f"  {label:<38}{text}" for label, text in rows]
    if asked.typed:
        typed = "; ".join(f"{what} {text}" for what, text in asked.typed)
        lines += wrapped(f"As typed: {typed}.")
    for text in asked.assumptions:
        lines += wrapped(f"assumed: {text}", "    ", "  - ")
    return lines


def _pressure_inputs(stand: Stand) -> list[tuple[str, str]]:
    """Return what the results of the pressure rest on."""
    return [
        ("throat before", _diameter(stand.throat_diameter, stand)),
        ("throat after", _diameter(stand.throat_after, stand)),
        (
            "pressure of the air",
            f"{short(1e-3 * stand.ambient_pressure)} kPa ± "
            f"{short(1e-3 * stand.ambient_u, 2)} kPa",
        ),
        (
            "calibration of the pressure sensor",
            f"± {_chosen(stand.pressure_calibration_u)} %",
        ),
    ]


def _diameter(value: float | None, stand: Stand) -> str:
    if value is None:
        return "not measured"
    return f"{short(1e3 * value)} mm ± {short(1e3 * stand.throat_u, 2)} mm"


def limit_rule(channel: Channel, asked_share: float) -> str:
    """Say by which rule burning starts and ends."""
    share = channel.burning.share
    over = " over the air" if channel.name == "pressure" else ""
    text = (
        f"first and last time at {_chosen(share)} % of the peak of the "
        f"{channel.name}{over}"
    )
    if share > asked_share * 1.001:
        text += f" ({_chosen(asked_share)} % lies in the noise)"
    return text


def limits_lines(reduction: Reduction, asked: Asked) -> list[str]:
    """Return start and end with their rule, and what other limits would give."""
    lines = ["Start and end of burning"]
    for channel in (reduction.pressure, reduction.thrust):
        if channel is None:
            continue
        b = channel.burning
        level = asked.text(b.level, _QUANTITY[channel.name])
        lines += wrapped(
            f"{channel.name}: {seconds(b.start)} s to {seconds(b.end)} s; "
            f"{limit_rule(channel, reduction.stand.share)}, that is {level}.",
            "    ",
            "  - ",
        )
    return [*lines, *_effects(reduction)]


def _effects(reduction: Reduction) -> list[str]:
    """Return the table of other limits."""
    names = [
        n
        for n in ("burn_time", "characteristic_velocity", "total_impulse")
        if n in reduction.results
    ]
    heads = {
        "burn_time": "burn time, s",
        "characteristic_velocity": "c*, m/s",
        "total_impulse": "impulse, N s",
    }
    mark = ", marked *" if reduction.stand.share in reduction.effects else ""
    lines = [f"  Other limits would give (change in % of what is used{mark})"]
    cells = "".join(f"{heads[n]:>14}{'change':>8}" for n in names)
    lines.append(f"  {'% of peak':>9}{cells}")
    for share, values in reduction.effects.items():
        used = "*" if share == reduction.stand.share else ""
        text = ""
        for name in names:
            moved = change(values[name], reduction.results[name].value)
            text += f"{significant(values[name]):>14}{moved:>8}"
        lines.append(f"  {_chosen(share) + used:>9}{text}")
    return lines
