"""Options that are quantities: they become numbers where they are typed."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from castsugar.units import Quantity

#: Option to what it is, by the name of its plausible range.
KNOWN = {
    "--ambient": "air pressure",
    "--at-most": "batch",
    "--batch": "batch",
    "--exit-pressure": "exit pressure",
    "--pressure": "chamber pressure",
    "--scale-step": "step of the scale",
    "--syrup-solids": "dry solids",
    "--water-lost": "water lost",
}

#: Stands for no exit.
NO_EXIT = "none"


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
    """Return what an option would be, had this been typed.

    Raises
    ------
    InputError
    """
    from castsugar import plausible

    return plausible.read(text, KNOWN[option], where=option)


def exit_pressure(text: str) -> Quantity | None:
    """Return a pressure at the nozzle exit; None for no exit."""
    if text.strip().lower() == NO_EXIT:
        return None
    return quantity("--exit-pressure")(text)


def in_si(typed: Quantity | None) -> float | None:
    """Return the value of an option; None if it was not given."""
    return None if typed is None else typed.value
