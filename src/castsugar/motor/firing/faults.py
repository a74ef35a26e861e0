"""What in a recording, or in its result, looks like a fault of measuring.

Words for people; the rules are ours and stand beside each.
"""

from __future__ import annotations

import math

from castsugar.motor.firing.channel import Channel
from castsugar.motor.firing.stand import Stand

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
    lost = int((channel.bridged & (channel.value > channel.burning.level)).sum())
    if channel.bridged_share > 0.0:
        found.append(
            f"{channel.name}: {100 * channel.bridged_share:.2g} % of the burning not "
            f"recorded ({lost} samples replaced); bridged by straight lines"
        )
    if channel.burning.dips:
        times = channel.burning.dips
        often = "once" if times == 1 else f"{times} times"
        found.append(
            f"{channel.name}: falls below {100 * channel.burning.share:.2g} % of its "
            f"peak {often} within the burning: an igniter before the grain, chuffing, "
            "or a loose connection"
        )
    found += _slow_end(channel)
    zero = channel.zero
    if math.isnan(zero.after) and zero.rule != "as read":
        found.append(
            f"{channel.name}: no quiet samples after burnout, so the drift of the zero "
            "is unknown; record longer"
        )
    if abs(zero.drift) > _DRIFT * channel.peak:
        found.append(
            f"{channel.name}: the zero moved by {100 * zero.drift / channel.peak:.2g} "
            "% of the peak during the firing; a straight line was taken away"
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
        "--limits"
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
