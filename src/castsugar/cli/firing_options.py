"""Options of ``castsugar firing``: what was weighed and measured beside the trace."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from castsugar.motor.firing.quantities import Stand
    from castsugar.motor.firing.reduction import Recorded
    from castsugar.motor.hardware import Hardware
    from castsugar.readings.recordings import Recording


def add_stand_options(parser: argparse.ArgumentParser) -> None:
    """Add the options about the stand and its sensors."""
    quantities = parser.add_argument_group("the motor on the stand")
    for name, metavar, words in (
        ("--propellant-mass", "MASS", "propellant that burned, '180 g'"),
        ("--mass-uncertainty", "MASS", "standard, '1 g' or '0.5 %%'"),
        (
            "--throat",
            "DIAMETER",
            "throat before firing (default: that of the bench file)",
        ),
        ("--throat-after", "DIAMETER", "throat after firing, cleaned"),
        (
            "--throat-uncertainty",
            "LENGTH",
            "standard uncertainty of a throat diameter (default '0.05 mm')",
        ),
        (
            "--grain-uncertainty",
            "LENGTH",
            "standard uncertainty of the sizes of the grain (default '0.1 mm')",
        ),
    ):
        quantities.add_argument(name, metavar=metavar, help=words)
    quantities.add_argument(
        "--ambient",
        default="1 atm",
        metavar="PRESSURE",
        help="air pressure at the stand, not reduced to sea level (default '1 atm')",
    )
    _add_sensor_options(parser.add_argument_group("sensors"))


def _add_sensor_options(sensors: Any) -> None:
    sensors.add_argument(
        "--pressure-is",
        choices=("gauge", "absolute"),
        help="what the pressure sensor reads, where the header does not say",
    )
    for name, metavar, words in (
        ("--pressure-per-volt", "PRESSURE", "for a pressure in volts, '2 MPa'"),
        ("--thrust-per-volt", "FORCE", "for a thrust in volts, '100 N'"),
        (
            "--pressure-calibration",
            "SHARE",
            "standard uncertainty of the sensor (default 1 %%)",
        ),
        (
            "--thrust-calibration",
            "SHARE",
            "standard uncertainty of the load cell (default 1 %%)",
        ),
        ("--pressure-range", "PRESSURE", "highest reading of the sensor"),
        ("--thrust-range", "FORCE", "highest reading of the load cell"),
    ):
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


def read_stand(options: argparse.Namespace, hardware: Hardware | None) -> Stand:
    """Return what was measured beside the trace.

    Raises
    ------
    InputError
        Names the option.
    """
    from castsugar.errors import InputError
    from castsugar.motor.firing.quantities import Stand

    if options.propellant_mass is None:
        raise InputError(
            "propellant mass is missing: give --propellant-mass '180 g', what the "
            "grains weighed without liner and inhibitor"
        )
    mass = _parsed(options, "propellant_mass", "propellant mass")
    known: dict[str, Any] = {"propellant_mass": mass}
    throat = _parsed(options, "throat", "throat diameter")
    if throat is None and hardware is not None:
        throat = hardware.throat_diameter
    known["throat_diameter"] = throat
    doubt = "uncertainty of the throat diameter"
    for key, name, known_as in (
        ("throat_after", "throat_after", "throat diameter"),
        ("throat_u", "throat_uncertainty", doubt),
        ("pressure_calibration_u", "pressure_calibration", "calibration of a sensor"),
        ("thrust_calibration_u", "thrust_calibration", "calibration of a sensor"),
        ("ambient_pressure", "ambient", "air pressure"),
        ("share", "limits", "start and end of burning"),
    ):
        value = _parsed(options, name, known_as)
        if value is not None:
            known[key] = value
    if options.mass_uncertainty is not None:
        known["mass_u"] = _mass_uncertainty(options, mass or 0.0)
    return Stand(**known)


def _mass_uncertainty(options: argparse.Namespace, mass: float) -> float:
    """Return the relative uncertainty of a mass, typed as a mass or as a share."""
    if "%" in options.mass_uncertainty:
        share = _parsed(options, "mass_uncertainty", "share of uncertainty")
        return float(share or 0.0)
    own = _parsed(options, "mass_uncertainty", "uncertainty of the propellant mass")
    return float(own or 0.0) / mass


def read_size(options: argparse.Namespace) -> float:
    """Return the standard uncertainty of the sizes of the grain. [m]"""
    from castsugar.motor.firing.inference import SIZE_DOUBT

    name = "uncertainty of the sizes of the grain"
    size = _parsed(options, "grain_uncertainty", name)
    return SIZE_DOUBT if size is None else size


def read_ends(options: argparse.Namespace) -> tuple[float, float]:
    """Return the air pressure [Pa], and the share of the peak that ends burning."""
    from castsugar import plausible

    ambient = plausible.read(options.ambient, "air pressure", where="--ambient")
    name = "start and end of burning"
    share = plausible.read(options.limits, name, where="--threshold")
    return ambient.value, share.value


def read_recorded(options: argparse.Namespace, recording: Recording) -> Recorded:
    """Return the samples in SI, as the sensors read.

    Raises
    ------
    InputError
        A pressure that is neither gauge nor absolute, volts without calibration.
    """
    from castsugar.errors import InputError
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
    return Recorded(
        time=recording.time,
        pressure=_in_units(options, recording, "pressure"),
        thrust=_in_units(options, recording, "thrust"),
        pressure_is_gauge=kind != "absolute",
        taken_as_read=as_read,
        pressure_ceiling=_ceiling(options, "pressure"),
        thrust_ceiling=_ceiling(options, "thrust"),
    )


def _in_units(options: argparse.Namespace, recording: Recording, name: str) -> Any:
    """Return a course in SI: volts scaled, the sign turned where asked."""
    from castsugar.errors import InputError

    values = getattr(recording, name)
    if values is None:
        return None
    factor = -1.0 if getattr(options, f"invert_{name}") else 1.0
    per_volt = _span(options, f"{name}_per_volt", f"{name} per volt")
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


def _ceiling(options: argparse.Namespace, name: str) -> float:
    """Return the highest reading of a sensor, as it reads."""
    sensor = {"pressure": "pressure sensor", "thrust": "load cell"}[name]
    found = _span(options, f"{name}_range", f"range of the {sensor}")
    return float("inf") if found is None else found


def _span(options: argparse.Namespace, name: str, known_as: str) -> float | None:
    """Return what a sensor spans: a gauge pressure stays one."""
    from castsugar import plausible
    from castsugar.constants import STANDARD_ATMOSPHERE

    text = getattr(options, name)
    if text is None:
        return None
    typed = plausible.read(text, known_as, where="--" + name.replace("_", "-"))
    gauge = typed.note.startswith("gauge")
    return typed.value - (STANDARD_ATMOSPHERE if gauge else 0.0)


def typed_words(options: argparse.Namespace) -> tuple[tuple[str, str], ...]:
    """Return what was typed about the stand, option by option, as typed."""
    names = (
        "propellant_mass",
        "mass_uncertainty",
        "throat",
        "throat_after",
        "throat_uncertainty",
        "grain_uncertainty",
        "ambient",
        "pressure_is",
        "pressure_per_volt",
        "thrust_per_volt",
        "pressure_calibration",
        "thrust_calibration",
        "pressure_range",
        "thrust_range",
        "zero",
        "limits",
        "bench",
    )
    return tuple(
        (name.replace("_", " "), str(getattr(options, name)))
        for name in names
        if getattr(options, name) is not None
    )


def assumed_words(
    options: argparse.Namespace, recording: Recording, hardware: Hardware | None
) -> tuple[str, ...]:
    """Say what was taken because nothing was stated."""
    from castsugar.motor.firing import inference, quantities

    found = []
    for name, words in (
        ("throat_uncertainty", f"throat known to {1e3 * quantities.THROAT_DOUBT:g} mm"),
        ("mass_uncertainty", f"propellant mass to {100 * quantities.MASS_DOUBT:g} %"),
        (
            "pressure_calibration",
            f"pressure calibration to {100 * quantities.CALIBRATION_DOUBT:g} %",
        ),
        (
            "thrust_calibration",
            f"thrust calibration to {100 * quantities.CALIBRATION_DOUBT:g} %",
        ),
        (
            "grain_uncertainty",
            f"sizes of the grain to {1e3 * inference.SIZE_DOUBT:g} mm",
        ),
    ):
        measured = {
            "pressure_calibration": recording.pressure is not None,
            "thrust_calibration": recording.thrust is not None,
            "throat_uncertainty": recording.pressure is not None,
            "grain_uncertainty": hardware is not None,
        }.get(name, True)
        if measured and getattr(options, name) is None:
            found.append(words)
    found.append(f"air pressure to {1e-3 * quantities.AMBIENT_DOUBT:g} kPa")
    lines = [", ".join(found) + " (one standard uncertainty each)"]
    if options.throat is None and hardware is not None:
        lines.append("throat as in the bench file")
    if recording.not_read:
        lines.append("columns not read: " + ", ".join(recording.not_read))
    return tuple(lines)


def _parsed(options: argparse.Namespace, name: str, known_as: str) -> float | None:
    """Return an option in SI; None if it was not given."""
    from castsugar import plausible

    text = getattr(options, name)
    if text is None:
        return None
    where = "--" + name.replace("_", "-")
    return plausible.read(text, known_as, where=where).value
