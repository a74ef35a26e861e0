"""Options: quantities become numbers where typed, former spellings are taken."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.cli.screen import remark
from castsugar.constants import NO_EXIT

if TYPE_CHECKING:
    from castsugar.units import Quantity

#: Option to what it is, by the name of its plausible range.
KNOWN = {
    "--altitude": "altitude",
    "--ambient": "air pressure",
    "--at": "pressure of a burn rate",
    "--at-most": "batch",
    "--batch": "batch",
    "--burn-time": "burn time",
    "--chamber-pressure": "chamber pressure",
    "--crack": "area that a crack adds",
    "--debond": "outer face that comes loose",
    "--delay-length": "delay length",
    "--delay-time": "delay time",
    "--emptying": "emptying",
    "--exit": "exit diameter",
    "--exit-pressure": "exit pressure",
    "--grain-uncertainty": "uncertainty of the sizes of the grain",
    "--igniter-mass": "igniter mass",
    "--ignition-lag": "ignition lag",
    "--left": "water left",
    "--length-uncertainty": "uncertainty of the delay length",
    "--limits": "start and end of burning",
    "--peak-scale": "range of the load cell",
    "--pressure": "chamber pressure",
    "--pressure-calibration": "calibration of a sensor",
    "--pressure-lag": "lag of a sensor",
    "--pressure-per-volt": "pressure per volt",
    "--pressure-range": "range of the pressure sensor",
    "--probability": "probability of a limit",
    "--propellant-mass": "propellant mass",
    "--sampling-rate": "sampling rate",
    "--scale-step": "step of the scale",
    "--syrup-solids": "dry solids",
    "--threshold": "start and end of burning",
    "--throat": "throat diameter",
    "--throat-after": "throat diameter",
    "--throat-uncertainty": "uncertainty of the throat diameter",
    "--thrust-calibration": "calibration of a sensor",
    "--thrust-per-volt": "thrust per volt",
    "--thrust-range": "range of the load cell",
    "--thrust-uncertainty": "uncertainty of the chamber pressure",
    "--water-lost": "water lost",
}


def quantity(option: str) -> Callable[[str], Quantity]:
    """Return the ``type=`` of an option of :data:`KNOWN`.

    A wrong value ends the reading of the command line, in one line that says what is
    allowed.
    """

    def typed(text: str) -> Quantity:
        from castsugar.errors import InputError

        try:
            return read(option, text)
        except InputError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    return typed


def read(option: str, text: str) -> Quantity:
    """Return what an option would be, had this been typed; raises InputError."""
    return plausible.read(text, KNOWN[option], where=option)


def dest(option: str) -> str:
    """Return what argparse calls an option."""
    return option.removeprefix("--").replace("-", "_")


def given(options: argparse.Namespace, option: str) -> Quantity | None:
    """Return an option that was kept as typed; None if it was not given.

    Raises
    ------
    InputError
    """
    text = getattr(options, dest(option))
    return None if text is None else read(option, text)


def exit_pressure(text: str) -> Quantity | str:
    """Return a pressure at the nozzle exit; :data:`NO_EXIT` for the chamber only."""
    if text.strip().lower() == NO_EXIT:
        return NO_EXIT
    return quantity("--exit-pressure")(text)


def in_si(typed: Quantity | None) -> float | None:
    """Return the value of an option; None if it was not given."""
    return None if typed is None else typed.value


def add_old_spelling(
    parser: argparse._ActionsContainer, old: str, new: str, **given: Any
) -> None:
    """Let an option be typed as it was once called, with one note.

    Parameters
    ----------
    parser : ArgumentParser
    old, new : str
        Both with their dashes.
    **given
        As for the new option.
    """

    class Former(argparse.Action):
        def __call__(
            self, parser: Any, options: argparse.Namespace, values: Any, typed: Any = ""
        ) -> None:
            remark(f"castsugar: {typed} is called {new} now; taken as that")
            setattr(options, self.dest, values)

    parser.add_argument(
        old,
        dest=dest(new),
        action=Former,
        default=argparse.SUPPRESS,
        help=argparse.SUPPRESS,
        metavar="KIND",
        **given,
    )
