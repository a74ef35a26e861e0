"""What a recording shows of itself, the throat or the results that looks like a fault.

Beside the tests of sensors: samples that are missing, a burning in pieces, results that
no motor can have. The rules are ours and stand beside each.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from castsugar.motor.firing.alarms import ALARM, NOT_TOLD, UNUSUAL, Alarm
from castsugar.motor.firing.channel import FEWEST_FOR_PEAK, SECOND, Channel
from castsugar.motor.firing.quantities import Measured, Stand

#: An efficiency of c* outside these is more likely a fault than a motor: no losses
#: would give 1, and small motors that burn well reach 0.75 to 0.97 (common practice, no
#: source). The same of the specific impulse.
LOWEST_EFFICIENCY, HIGHEST_EFFICIENCY = 0.7, 1.02
IMPULSE_EFFICIENCIES = (0.6, 0.98)

#: A zero that moves by more than this part of the peak is worth a word.
_DRIFT = 0.02

#: A sensor that calls itself absolute reads ambient at rest, a gauge one zero, to this
#: part of the ambient pressure.
_REST = 0.3

#: The end of burning at twice the limit, earlier by this part of the burn time.
_SLOW_END = 0.1

#: Part of the burning that may be missing in a record that is called complete.
_COMPLETE = 0.02

#: What nitrate-sugar motors can have. Ideal c* is 850 to 950 m/s and ideal specific
#: impulse below 170 s (this library, 40 to 75 % nitrate, 1 to 10 MPa); a thrust
#: coefficient of a real nozzle lies between 0.5 and 2 (Sutton & Biblarz, ch. 3, from
#: memory). A third of it still counts as a bad motor, less does not.
VELOCITIES, IMPULSES, COEFFICIENTS = (280.0, 1100.0), (25.0, 200.0), (0.4, 2.0)

#: A throat that grows by more than this part of its diameter.
_EROSION = 0.03


def found(
    test: str,
    sensor: str,
    text: str,
    *,
    level: str = ALARM,
    value: float = math.nan,
    limit: float = math.nan,
) -> Alarm:
    """Return what was found."""
    return Alarm(
        test=test, sensor=sensor, level=level, value=value, limit=limit, text=text
    )


def judge_record(channel: Channel, *, alone: bool) -> Iterator[Alarm]:
    """Say what is missing in a sensor's recording, or in pieces.

    Parameters
    ----------
    alone : bool
        No other sensor stands beside it.
    """
    yield from _at_limit(channel)
    name, b = channel.name, channel.burning
    inside = (channel.time > b.start) & (channel.time < b.end)
    if (lost := channel.bridged_share) > 0.0:
        count = int((channel.bridged & inside).sum())
        yield found(
            "record",
            name,
            f"{name}: {100 * lost:.2g} % of the burning not recorded (samples "
            f"replaced: {count}); bridged by straight lines",
            level=ALARM if lost > _COMPLETE else UNUSUAL,
            value=lost,
            limit=_COMPLETE,
        )
    if b.dips:
        often = "once" if b.dips == 1 else f"{b.dips} times"
        yield found(
            "record",
            name,
            f"{name}: falls below {100 * b.share:.2g} % of its peak {often} within the "
            "burning: chuffing, or a loose connection; means and times are not those "
            "of steady burning",
        )
    yield from _toofew(channel)
    yield from _before(channel)
    yield from _slow_end(channel, alone=alone)
    yield from _zero(channel)


def _at_limit(channel: Channel) -> Iterator[Alarm]:
    """Say if readings stand at the limit of the sensor."""
    name = channel.name
    if channel.at_limit.any():
        time = float(channel.at_limit.mean() * (channel.time[-1] - channel.time[0]))
        yield found(
            "limit",
            name,
            f"{name}: the sensor was at its limit for {time:.2g} s; peak and integrals "
            "are lower limits",
        )
    elif channel.flat:
        yield found(
            "limit",
            name,
            f"{name}: {channel.flat} equal readings in a row at the very top; if the "
            "sensor or its amplifier was at its limit, peak and integrals are too low: "
            f"state its range with --{name}-range",
        )


def _before(channel: Channel) -> Iterator[Alarm]:
    """Say if something stands before the burning."""
    before = channel.steady[channel.time < channel.burning.start]
    early = float(before.max(initial=0.0))
    if early > SECOND * channel.steady_peak:
        at = float(channel.time[before.argmax()])
        yield found(
            "record",
            channel.name,
            f"{channel.name}: {100 * early / channel.steady_peak:.2g} % of the peak "
            f"already at {at:.3g} s, before the burning: an igniter, or a knock; it is "
            "not counted in",
            level=UNUSUAL,
        )


def _toofew(channel: Channel) -> Iterator[Alarm]:
    """Say what a slow recording, or a short one, leaves out."""
    name, within, few = channel.name, channel.within, channel.zero.few
    if channel.is_sparse:
        yield found(
            "record",
            name,
            f"{name}: only {within} samples lie within the burning: its peak is a "
            "lower limit, and no burning-rate law follows; record faster",
            level=UNUSUAL,
            value=within,
            limit=FEWEST_FOR_PEAK,
        )
    if few:
        yield found(
            "zero",
            name,
            f"{name}: only {few} quiet samples before ignition, which tell its zero to "
            "no better than 1 % of the peak; record earlier",
            level=UNUSUAL,
            value=few,
        )


def _slow_end(channel: Channel, *, alone: bool) -> Iterator[Alarm]:
    """Say if the end of the burning hangs on the limit."""
    own, other = channel.burning, channel.limits(2.0 * channel.burning.share)
    if other.end - own.end > -_SLOW_END * own.lasting:
        return
    yield found(
        "record",
        channel.name,
        f"{channel.name}: stands between {100 * own.share:.2g} and "
        f"{100 * other.share:.2g} % of its peak for {own.end - other.end:.2g} s at the "
        "end: a slow tail, or a sensor that got hot; see what other limits give, and "
        "--threshold",
        level=ALARM if alone else UNUSUAL,
    )


def _zero(channel: Channel) -> Iterator[Alarm]:
    """Say what is not known of a zero, or how far it moved."""
    name, zero = channel.name, channel.zero
    if math.isnan(zero.after) and zero.rule != "as read":
        yield found(
            "zero",
            name,
            f"{name}: too little quiet after burnout (it counts from half a burn time, "
            f"{0.5 * channel.burning.lasting:.2g} s, after it), so the drift of the "
            "zero is unknown; record longer",
            level=UNUSUAL,
        )
    share = abs(zero.drift) / channel.peak
    if share > _DRIFT:
        yield found(
            "zero",
            name,
            f"{name}: the zero moved by {100 * share:.2g} % of the peak during the "
            "firing; a straight line was taken away",
            level=UNUSUAL,
            value=share,
            limit=_DRIFT,
        )


def not_cleared(pressure: Channel, *, ranged: bool) -> Alarm:
    """Say that a pressure alone never clears its sensor, whose range may be known."""
    read = f"{1e-6 * pressure.peak:.3g} MPa over the air"
    text = (
        f"an amplifier may end before the range that was stated; it read {read}"
        if ranged
        else "what is the range of the pressure sensor (--pressure-range)? It read "
        f"{read}"
    )
    return found(
        "mean",
        "pressure",
        f"saturation cannot be excluded without a thrust: {text}",
        level=NOT_TOLD,
    )


def impossible(results: Mapping[str, Measured]) -> list[str]:
    """Return which results no nitrate-sugar motor can have, whatever its mix."""
    texts = []
    for name, words, low, high, unit in (
        ("characteristic_velocity", "c*", *VELOCITIES, "m/s"),
        ("specific_impulse", "specific impulse", *IMPULSES, "s"),
        ("thrust_coefficient", "thrust coefficient", *COEFFICIENTS, ""),
    ):
        result = results.get(name)
        if result is None or result.lies_within(low, high):
            continue
        texts.append(
            f"a {words} of {few(result.value)} {unit}".rstrip()
            + f" is not possible (nitrate-sugar motors have {low:g} to {high:g}): look "
            "for a wrong unit (ms under s, g under kg, mm under in), a wrong throat or "
            "mass, more than one firing in the file, or a calibration that is off; "
            "nothing on this page is to be used"
        )
    return texts


def judge_throat(pressure: Channel, stand: Stand, *, gauge: bool) -> Iterator[Alarm]:
    """Say what is to be said of the throat and of the zero of the pressure."""
    rest, ambient = pressure.zero.before, stand.ambient_pressure
    wanted = 0.0 if gauge else ambient
    other = ambient if gauge else 0.0
    if abs(rest - wanted) > _REST * ambient and abs(rest - other) < _REST * ambient:
        kind, rather = ("gauge", "absolute") if gauge else ("absolute", "gauge")
        yield found(
            "zero",
            "pressure",
            f"pressure: said to be {kind}, but at rest the sensor reads like one that "
            f"is {rather}; the result counts from the reading at rest either way",
            level=UNUSUAL,
        )
    if stand.throat_diameter is None:
        return
    if stand.throat_after is None:
        yield found(
            "throat",
            "motor",
            "throat not measured after the firing: if it grew, the true c* is higher; "
            "give --throat-after",
            level=UNUSUAL,
        )
        return
    growth = stand.throat_after / stand.throat_diameter - 1.0
    if growth > _EROSION:
        yield found(
            "throat",
            "motor",
            f"the throat grew by {100 * growth:.2g} % in diameter: the pressure fell "
            "with it; a harder nozzle gives a truer test",
            level=UNUSUAL,
            value=growth,
            limit=_EROSION,
        )


def explain_efficiency(efficiency: float, *, eroded: bool = False) -> str:
    """Say what an unlikely c* efficiency points to; empty for a likely one."""
    if efficiency > HIGHEST_EFFICIENCY:
        return (
            f"an efficiency of {efficiency:.3g} is above 1: no motor delivers more "
            "than its propellant holds. Likely a fault of measuring: throat smaller "
            "than stated (deposit, bore not round), less propellant weighed than "
            "burned, a pressure calibration that reads high, gauge readings taken for "
            "absolute ones, or a zero that moved. Look for it before using the number"
        )
    if efficiency < LOWEST_EFFICIENCY:
        throat = "" if eroded else "a throat that grew and was not measured after, "
        return (
            f"an efficiency of {efficiency:.3g} is very low. Likely a fault of "
            f"measuring: {throat}gas that leaked past nozzle or closure, propellant "
            "that was thrown out or left unburned, a sensor at its limit or behind a "
            "blocked line, limits that cut the burning. A wet or badly mixed grain "
            "comes after those"
        )
    return ""


def suspects(velocity: float, nozzle: float, impulse: float) -> str:
    """Name what the pattern of the three efficiencies points to; empty for a usual one.

    Errors cancel in pairs: what moves c* one way and the thrust coefficient the other
    is throat or pressure; what moves c* and impulse alike is the mass.

    Parameters
    ----------
    velocity, nozzle, impulse : float
        Delivered over ideal: c*, thrust coefficient, specific impulse. NaN is unknown.

    Examples
    --------
    >>> suspects(0.99, 0.83, 0.82)
    'throat, deposit, or a pressure that reads high'
    >>> suspects(0.92, 0.91, 0.84)
    ''
    """
    first, second, third = (
        _side(value, *usual)
        for value, usual in zip((velocity, nozzle, impulse), _USUAL, strict=True)
    )
    return _PATTERNS.get((first, second, third), "")


#: Usual efficiencies of c*, thrust coefficient and specific impulse. Common practice,
#: no source.
_USUAL = ((0.82, 0.98), (0.82, 0.97), (0.72, 0.92))

_PATTERNS = {
    (1, -1, 0): "throat, deposit, or a pressure that reads high",
    (1, 0, 0): "throat, deposit, or a pressure that reads high",
    (0, -1, 0): "throat, deposit, or a pressure that reads high",
    (-1, 1, 0): "a throat wider than stated, or a pressure that reads low",
    (-1, 0, 0): "a throat wider than stated, or a pressure that reads low",
    (0, 1, 0): "a throat wider than stated, or a pressure that reads low",
    (0, 1, 1): "a thrust that reads high",
    (0, -1, -1): "a thrust that reads low, or a poor nozzle",
    (0, 0, 1): "a thrust that reads high",
    (-1, -1, -1): "unburned propellant, a leak, or a damp grain",
    (-1, 0, -1): "the mass (more weighed than burned), unburned propellant, or a leak",
    (1, 0, 1): "the mass (less weighed than burned)",
}


def _side(value: float, low: float, high: float) -> int:
    """Return 1 above, -1 below, 0 within or unknown."""
    return int(value > high) - int(value < low)


def few(value: float) -> str:
    """Write a number with three digits, without a power of ten.

    Examples
    --------
    >>> few(1.1672), few(1166.7)
    ('1.17', '1170')
    """
    return f"{float(f'{value:.3g}'):.10g}"
