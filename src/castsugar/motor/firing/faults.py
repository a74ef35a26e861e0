"""What in a recording, or in its result, looks like a fault of measuring.

Words for people; the rules are ours and stand beside each.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from castsugar.motor.firing.channel import SECOND, Channel
from castsugar.motor.firing.quantities import Measured, Stand

#: An efficiency outside these is more likely a fault than a motor: no losses would
#: give 1, and small motors that burn well reach 0.75 to 0.97 (common practice, no
#: source).
HIGHEST_EFFICIENCY, LOWEST_EFFICIENCY = 1.02, 0.7

#: A zero that moves by more than this part of the peak is worth a word.
_DRIFT = 0.02

#: A sensor that calls itself absolute reads ambient at rest, a gauge one zero, to this
#: part of the ambient pressure.
_REST = 0.3

#: The end of burning at twice the limit, earlier by this part of the burn time.
_SLOW_END = 0.1

#: Starts of pressure and thrust that differ by this part of the burning.
_APART = 0.05

#: What nitrate-sugar motors can have. Ideal c* is 850 to 950 m/s and ideal specific
#: impulse below 170 s (this library, 40 to 75 % nitrate, 1 to 10 MPa); a thrust
#: coefficient of a real nozzle lies between 0.5 and 2 (Sutton & Biblarz, ch. 3, from
#: memory). A third of it still counts as a bad motor, less does not.
VELOCITIES, IMPULSES, COEFFICIENTS = (280.0, 1100.0), (25.0, 200.0), (0.4, 2.0)

#: A throat that grows by more than this part of its diameter.
_EROSION = 0.03


def channel_cautions(channel: Channel) -> list[str]:
    """Return what is to be said of a sensor."""
    found: list[str] = []
    if channel.at_limit.any():
        time = float(channel.at_limit.mean() * (channel.time[-1] - channel.time[0]))
        found.append(
            f"{channel.name}: the sensor was at its limit for {time:.2g} s; peak and "
            "integrals are lower limits"
        )
    elif channel.flat:
        found.append(
            f"{channel.name}: {channel.flat} equal readings in a row at the very top; "
            "if the sensor or its amplifier was at its limit, peak and integrals are "
            f"too low: state its range with --{channel.name}-range"
        )
    found += _too_few(channel)
    inside = (channel.time > channel.burning.start) & (
        channel.time < channel.burning.end
    )
    lost = int((channel.bridged & inside).sum())
    if channel.bridged_share > 0.0:
        found.append(
            f"{channel.name}: {100 * channel.bridged_share:.2g} % of the burning not "
            f"recorded (samples replaced: {lost}); bridged by straight lines"
        )
    if channel.burning.dips:
        times = channel.burning.dips
        often = "once" if times == 1 else f"{times} times"
        found.append(
            f"{channel.name}: falls below {100 * channel.burning.share:.2g} % of its "
            f"peak {often} within the burning: an igniter before the grain, chuffing, "
            "or a loose connection; means and times are not those of steady burning"
        )
    before = channel.steady[channel.time < channel.burning.start]
    if (early := float(before.max(initial=0.0))) > SECOND * channel.steady_peak:
        at = float(channel.time[before.argmax()])
        found.append(
            f"{channel.name}: {100 * early / channel.steady_peak:.2g} % of the peak "
            f"already at {at:.3g} s, before the burning: an igniter, or a knock; it is "
            "not counted in"
        )
    found += _slow_end(channel)
    zero = channel.zero
    if math.isnan(zero.after) and zero.rule != "as read":
        found.append(
            f"{channel.name}: too little quiet after burnout (it counts from half a "
            f"burn time, {0.5 * channel.burning.lasting:.2g} s, after it), so the "
            "drift of the zero is unknown; record longer"
        )
    if abs(zero.drift) > _DRIFT * channel.peak:
        found.append(
            f"{channel.name}: the zero moved by {100 * zero.drift / channel.peak:.2g} "
            "% of the peak during the firing; a straight line was taken away"
        )
    return found


def _too_few(channel: Channel) -> list[str]:
    """Say what a slow recording, or a short one, leaves out."""
    found = []
    if channel.is_sparse:
        found.append(
            f"{channel.name}: only {channel.within} samples lie within the burning: "
            "its peak is a lower limit, and no burning-rate law follows; record faster"
        )
    if few := channel.zero.few:
        found.append(
            f"{channel.name}: only {few} quiet samples before ignition, which tell its "
            "zero to no better than 1 % of the peak; record earlier"
        )
    return found


def _slow_end(channel: Channel) -> list[str]:
    """Say if the end of the burning hangs on the limit."""
    own, other = channel.burning, channel.limits(2.0 * channel.burning.share)
    if other.end - own.end > -_SLOW_END * own.lasting:
        return []
    return [
        f"{channel.name}: stands between {100 * own.share:.2g} and "
        f"{100 * other.share:.2g} % of its peak for {own.end - other.end:.2g} s at the "
        "end: a slow tail, or a sensor that got hot; see what other limits give, and "
        "--threshold"
    ]


def impossible(results: Mapping[str, Measured]) -> list[str]:
    """Return which results no nitrate-sugar motor can have, whatever its mix."""
    found = []
    for name, words, low, high, unit in (
        ("characteristic_velocity", "c*", *VELOCITIES, "m/s"),
        ("specific_impulse", "specific impulse", *IMPULSES, "s"),
        ("thrust_coefficient", "thrust coefficient", *COEFFICIENTS, ""),
    ):
        result = results.get(name)
        if result is None or low <= result.value <= high:
            continue
        found.append(
            f"a {words} of {_few(result.value)} {unit}".rstrip()
            + f" is not possible (nitrate-sugar motors have {low:g} to {high:g}): look "
            "for a wrong unit (ms under s, g under kg, mm under in), a wrong throat or "
            "mass, more than one firing in the file, or a calibration that is off; "
            "nothing on this page is to be used"
        )
    return found


def starts_apart(pressure: Channel, thrust: Channel) -> list[str]:
    """Say if pressure and thrust do not start together."""
    apart = thrust.burning.start - pressure.burning.start
    if abs(apart) <= _APART * pressure.burning.lasting:
        return []
    order = "after" if apart > 0.0 else "before"
    return [
        f"the thrust starts {abs(apart):.2g} s {order} the pressure: the two clocks "
        "differ, or one sensor is slow; the thrust coefficient suffers"
    ]


def throat_cautions(pressure: Channel, stand: Stand, *, gauge: bool) -> list[str]:
    """Return what is to be said of the throat and of the zero of the pressure."""
    found: list[str] = []
    rest, ambient = pressure.zero.before, stand.ambient_pressure
    wanted = 0.0 if gauge else ambient
    other = ambient if gauge else 0.0
    if abs(rest - wanted) > _REST * ambient and abs(rest - other) < _REST * ambient:
        kind, rather = ("gauge", "absolute") if gauge else ("absolute", "gauge")
        found.append(
            f"pressure: said to be {kind}, but at rest the sensor reads like one "
            f"that is {rather}; the result counts from the reading at rest either way"
        )
    if stand.throat_after is None:
        found.append(
            "throat not measured after the firing: if it grew, the true c* is higher; "
            "give --throat-after"
        )
    elif stand.throat_diameter is not None:
        growth = stand.throat_after / stand.throat_diameter - 1.0
        if growth > _EROSION:
            found.append(
                f"the throat grew by {100 * growth:.2g} % in diameter: the pressure "
                "fell with it; a harder nozzle gives a truer test"
            )
    return found


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


def explain_nozzle(found: Measured | None) -> list[str]:
    """Say what an unlikely nozzle efficiency points to."""
    if found is None or LOWEST_EFFICIENCY <= found.value <= HIGHEST_EFFICIENCY:
        return []
    if found.value < LOWEST_EFFICIENCY:
        points = "the thrust reads low, the pressure high, or the throat was smaller"
    else:
        points = "the thrust reads high, the pressure low, or the throat was wider"
    return [
        f"a nozzle efficiency of {_few(found.value)} is not likely (small nozzles have "
        f"0.82 to 0.97): {points} than stated, or the exit is another one"
    ]


def _few(value: float) -> str:
    """Write a number with three digits, without a power of ten.

    Examples
    --------
    >>> _few(1.1672), _few(1166.7)
    ('1.17', '1170')
    """
    return f"{float(f'{value:.3g}'):.10g}"
