"""Options of ``castsugar firing``: what was weighed and measured beside the trace."""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.cli.quantities import dest, given, in_si, read
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.motor.firing.quantities import Stand
    from castsugar.motor.firing.reduction import Recorded
    from castsugar.motor.hardware import Hardware
    from castsugar.readings.recordings import Recording

#: Option -> metavar and help.
STAND = {
    "--propellant-mass": ("MASS", "propellant that burned, '180 g'"),
    "--mass-uncertainty": ("MASS", "standard, '1 g' or '0.5 %%'"),
    "--igniter-mass": (
        "MASS", "igniter whose gas left through the throat, '1.5 g'"),
    "--throat": ("DIAMETER", "throat before firing (default: that of the bench file)"),
    "--throat-after": ("DIAMETER", "throat after firing, cleaned"),
    "--exit": ("DIAMETER", "exit of the nozzle (default: that of the bench file)"),
    "--throat-uncertainty": (
        "LENGTH", "standard uncertainty of a throat diameter (default '0.05 mm')"),
    "--grain-uncertainty": (
        "LENGTH", "standard uncertainty of the sizes of the grain (default '0.1 mm')"),
}  # fmt: skip
#: A firing without a recording -> metavar and help.
FILMED = {
    "--frames": (
        "FRAMES", "instead of FILE: frames of a video in which burning starts and "
        "ends, and frames a second, 'first=12 last=74 rate=30'"),
    "--peak-scale": (
        "FORCE", "highest reading of a kitchen scale under it, '2.1 kgf': the peak "
        "was at least that"),
}  # fmt: skip
SENSORS = {
    "--pressure-per-volt": ("PRESSURE", "for a pressure in volts, '2 MPa'"),
    "--thrust-per-volt": ("FORCE", "for a thrust in volts, '100 N'"),
    "--pressure-calibration": (
        "SHARE", "standard uncertainty of the sensor (default 1 %%)"),
    "--thrust-calibration": (
        "SHARE", "standard uncertainty of the load cell (default 1 %%)"),
    "--pressure-range": ("PRESSURE", "highest reading of the sensor"),
    "--pressure-lag": (
        "TIME", "time constant of a slow sensor or its line, '20 ms': corrected"),
    "--thrust-range": ("FORCE", "highest reading of the load cell"),
}  # fmt: skip

#: What is told as typed, in this order.
_TOLD = (
    "--time-unit",
    "--sampling-rate",
    *STAND,
    *FILMED,
    "--ambient",
    "--pressure-is",
    *SENSORS,
    "--zero",
    "--limits",
    "--bench",
)

#: Attribute of a stand -> option.
_OF_STAND = {
    "propellant_mass": "--propellant-mass",
    "igniter_mass": "--igniter-mass",
    "pressure_lag": "--pressure-lag",
    "throat_diameter": "--throat",
    "throat_after": "--throat-after",
    "exit_diameter": "--exit",
    "throat_u": "--throat-uncertainty",
    "pressure_calibration_u": "--pressure-calibration",
    "thrust_calibration_u": "--thrust-calibration",
    "ambient_pressure": "--ambient",
    "share": "--limits",
}


def add_stand_options(parser: argparse.ArgumentParser) -> None:
    """Add the options about the stand and its sensors."""
    stand = parser.add_argument_group("the motor on the stand")
    for name, (metavar, words) in STAND.items():
        stand.add_argument(name, metavar=metavar, help=words)
    stand.add_argument(
        "--ambient",
        default="1 atm",
        metavar="PRESSURE",
        help="air pressure at the stand, not reduced to sea level (default '1 atm')",
    )
    file = parser.add_argument_group("what the file does not say")
    file.add_argument(
        "--time-unit",
        choices=("s", "ms", "us", "min"),
        help="of a time whose title has none",
    )
    file.add_argument(
        "--sampling-rate",
        metavar="RATE",
        help="time the rows by count, '1000 /s', where times are too coarse or none",
    )
    file.add_argument(
        "--kilograms-are-force",
        action="store_true",
        help="a thrust in kg, g or lb is one in kgf, gf or lbf",
    )
    filmed = parser.add_argument_group(
        "a firing that was filmed",
        "Without a recording: burn time, mean pressure and mean burning rate, each\n"
        "with a wide band; no peak, no exponent.",
    )
    for name, (metavar, words) in FILMED.items():
        filmed.add_argument(name, metavar=metavar, help=words)
    sensors = parser.add_argument_group("sensors")
    sensors.add_argument(
        "--pressure-is",
        choices=("gauge", "absolute"),
        help="what the pressure sensor reads, where the header does not say",
    )
    for name, (metavar, words) in SENSORS.items():
        sensors.add_argument(name, metavar=metavar, help=words)
    for name in ("pressure", "thrust"):
        sensors.add_argument(
            f"--invert-{name}", action="store_true", help=f"turn the sign of the {name}"
        )
    sensors.add_argument(
        "--zero",
        choices=("line", "as-read"),
        default="line",
        help="take away the readings at rest, on a line from before to after "
        "(default), or nothing",
    )
    sensors.add_argument(
        "--threshold",
        "--limits",
        dest="limits",  # the name that kept records have
        default="5%",
        metavar="SHARE",
        help="of the peak, where burning starts and ends (default 5%%)",
    )


def read_stand(
    options: argparse.Namespace,
    hardware: Hardware | None,
    recording: Recording | None = None,
) -> Stand:
    """Return what was measured beside the trace, or the video.

    Two pressure sensors halve the variance of the calibration.

    Raises
    ------
    InputError
        Names the option.
    """
    from castsugar.motor.firing.quantities import Stand

    typed = {key: given(options, option) for key, option in _OF_STAND.items()}
    known = {key: one.value for key, one in typed.items() if one is not None}
    if hardware is not None:
        known.setdefault("throat_diameter", hardware.throat_diameter)
        exit_, throat = hardware.exit_diameter, known["throat_diameter"]
        if exit_ is not None and exit_ >= throat:
            known.setdefault("exit_diameter", exit_)
    if (doubt := options.mass_uncertainty) is not None:
        if "propellant_mass" not in known:
            raise InputError(
                "--mass-uncertainty, but no mass; add --propellant-mass '180 g'"
            )
        known["mass_u"] = _mass_uncertainty(doubt, known["propellant_mass"])
    stand = Stand(**known)
    if recording is None or recording.second_pressure is None:
        return stand
    return replace(stand, pressure_calibration_u=_calibration(options) / math.sqrt(2.0))


def _calibration(options: argparse.Namespace) -> float:
    """Return the relative standard uncertainty of a pressure sensor."""
    from castsugar.motor.firing.quantities import CALIBRATION_DOUBT

    typed = in_si(given(options, "--pressure-calibration"))
    return CALIBRATION_DOUBT if typed is None else typed


def _mass_uncertainty(text: str, mass: float) -> float:
    """Return the relative uncertainty of a mass, typed as a mass or as a share."""
    where = "--mass-uncertainty"
    if "%" in text:
        return plausible.read(text, "share of uncertainty", where=where).value
    own = plausible.read(text, "uncertainty of the propellant mass", where=where)
    return own.value / mass


def read_size(options: argparse.Namespace) -> float:
    """Return the standard uncertainty of the sizes of the grain. [m]"""
    from castsugar.motor.firing.law_doubts import SIZE_DOUBT

    size = in_si(given(options, "--grain-uncertainty"))
    return SIZE_DOUBT if size is None else size


def read_ends(options: argparse.Namespace) -> tuple[float, float]:
    """Return the air pressure [Pa], and the share of the peak that ends burning."""
    ambient = read("--ambient", options.ambient)
    return ambient.value, read("--threshold", options.limits).value


def read_file(options: argparse.Namespace, path: str | Path) -> Recording:
    """Return a recording as read, with what was said of its file.

    Raises
    ------
    InputError
        For a file that cannot be read; names the option that would help.
    """
    from castsugar.readings.recordings import read_trace

    if options.time_unit and options.sampling_rate:
        raise InputError(
            "--time-unit and --sampling-rate: rows timed by count need no unit; leave "
            "one out"
        )
    return read_trace(
        path,
        time_unit=options.time_unit or "",
        sampling_rate=in_si(given(options, "--sampling-rate")) or 0.0,
        mass_is_force=options.kilograms_are_force,
    )


def read_recorded(
    options: argparse.Namespace, recording: Recording, stand: Stand | None = None
) -> Recorded:
    """Return the samples in SI, as the sensors read.

    With the stand, two pressures that disagree are held against the thrust.

    Raises
    ------
    InputError
        A pressure that is neither gauge nor absolute, volts without calibration.
    """
    from castsugar.motor.firing.reduction import Recorded

    as_read = options.zero == "as-read"
    kind = recording.pressure_kind
    if kind == "volts" and options.pressure_per_volt is not None:
        kind = "gauge"
    if kind == "unstated":
        if options.pressure_is is None:
            raise InputError(
                f"{recording.file}: the header does not say whether the pressure is "
                "gauge or absolute; add --pressure-is gauge or --pressure-is absolute "
                "(or write psig, psia, kPa(g), bara in the header)"
            )
        kind = options.pressure_is
    elif options.pressure_is not in (None, kind) and kind:
        raise InputError(
            f"--pressure-is {options.pressure_is}, but the header of "
            f"{recording.file} says {kind}; one of them is wrong"
        )
    in_volts = "volts" in (recording.pressure_kind, recording.thrust_kind)
    if as_read and in_volts:
        raise InputError(
            "--zero as-read needs readings in pressure and force; volts have no zero"
        )
    recorded = Recorded(
        time=recording.time,
        pressure=_in_units(options, recording, "pressure"),
        thrust=_in_units(options, recording, "thrust"),
        pressure_is_gauge=kind != "absolute",
        taken_as_read=as_read,
        pressure_ceiling=_span(options, "--pressure-range") or math.inf,
        thrust_ceiling=_span(options, "--thrust-range") or math.inf,
    )
    return _averaged(options, recording, recorded, stand)


def _averaged(
    options: argparse.Namespace,
    recording: Recording,
    recorded: Recorded,
    stand: Stand | None,
) -> Recorded:
    """Return the samples with the mean of two pressures, if they agree."""
    from castsugar.motor.firing.two_sensors import likelier, mean_of_two

    first, second = recorded.pressure, recording.second_pressure
    if first is None or second is None:
        return recorded
    if options.invert_pressure:
        second = -second
    names = recording.pressure_titles
    try:
        mean = mean_of_two(
            recording.time,
            first,
            second,
            names=names,
            calibration_u=_calibration(options),
        )
    except InputError as error:
        pair = recorded, replace(recorded, pressure=second)
        hint = "" if stand is None else likelier(pair, names, stand)
        raise InputError(f"{recording.file}: {error}{hint}") from None
    return replace(recorded, pressure=mean)


def _in_units(options: argparse.Namespace, recording: Recording, name: str) -> Any:
    """Return a course in SI: volts scaled, the sign turned where asked."""
    values = getattr(recording, name)
    if values is None:
        return None
    factor = -1.0 if getattr(options, f"invert_{name}") else 1.0
    per_volt = _span(options, f"--{name}-per-volt")
    if getattr(recording, f"{name}_kind") == "volts":
        if not per_volt:
            example = {"pressure": "'2 MPa'", "thrust": "'100 N'"}[name]
            raise InputError(
                f"{recording.file}: the {name} is in volts and no calibration is "
                f"given; add --{name}-per-volt {example} from the calibration of the "
                "sensor"
            )
        factor *= per_volt
    elif per_volt is not None:
        raise InputError(
            f"--{name}-per-volt, but {recording.file} has no {name} in volts"
        )
    return factor * values


def _span(options: argparse.Namespace, option: str) -> float | None:
    """Return what a sensor spans: a gauge pressure stays one."""
    from castsugar.constants import STANDARD_ATMOSPHERE

    typed = given(options, option)
    if typed is None:
        return None
    gauge = typed.note.startswith("gauge")
    return typed.value - (STANDARD_ATMOSPHERE if gauge else 0.0)


def typed_words(options: argparse.Namespace) -> tuple[tuple[str, str], ...]:
    """Return what was typed about the stand, option by option, as typed."""
    return tuple(
        (name.replace("_", " "), str(value))
        for name in map(dest, _TOLD)
        if (value := getattr(options, name)) is not None
    )


def assumed_words(
    options: argparse.Namespace, recording: Recording, hardware: Hardware | None
) -> tuple[str, ...]:
    """Say what was taken because nothing was stated."""
    from castsugar.motor.firing import quantities

    share = f"{100 * quantities.CALIBRATION_DOUBT:g} %"
    sensors = (
        (recording.pressure, options.pressure_calibration, "pressure"),
        (recording.thrust, options.thrust_calibration, "thrust"),
    )
    lines = [
        *assumed_of_stand(
            options,
            hardware,
            [
                f"{name} calibration to {share}"
                for values, typed, name in sensors
                if values is not None and typed is None
            ],
            throat=recording.pressure is not None,
        )
    ]
    if recording.pressure is not None and options.pressure_lag is not None:
        lines.append(
            "pressure made quicker by the stated lag of the sensor, "
            f"{options.pressure_lag}: peak and burn time hang on it"
        )
    if recording.second_pressure is not None:
        two = " and ".join(recording.pressure_titles)
        lines.append(f"pressure: mean of {two}, which agree; two calibrations average")
    lines += recording.notes
    if recording.not_read:
        lines.append("columns not read: " + ", ".join(recording.not_read))
    return tuple(lines)


def assumed_of_stand(
    options: argparse.Namespace,
    hardware: Hardware | None,
    sensors: Sequence[str] = (),
    *,
    throat: bool = True,
) -> tuple[str, ...]:
    """Say what was taken of what was measured beside a recording or a video."""
    from castsugar.motor.firing import law_doubts, quantities

    taken = (
        (throat, options.throat_uncertainty,
         [f"throat known to {1e3 * quantities.THROAT_DOUBT:g} mm"]),
        (options.propellant_mass is not None, options.mass_uncertainty,
         [f"propellant mass to {100 * quantities.MASS_DOUBT:g} %"]),
        (True, None, sensors),
        (hardware is not None, options.grain_uncertainty,
         [f"sizes of the grain to {1e3 * law_doubts.SIZE_DOUBT:g} mm"]),
        (True, None, [f"air pressure to {1e-3 * quantities.AMBIENT_DOUBT:g} kPa"]),
    )  # fmt: skip
    found = [w for needed, typed, words in taken if needed and typed is None
             for w in words]  # fmt: skip
    lines = [", ".join(found) + " (one standard uncertainty each)"]
    if options.throat is None and hardware is not None:
        lines.append("throat as in the bench file")
    return tuple(lines)
