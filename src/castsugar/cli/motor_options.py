"""The motor of the bench file: what is said of it, what it may have to bear."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from castsugar.cli.quantities import in_si, quantity
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.motor.hardware import Hardware


#: Option of a size that a motor may have to bear -> its help.
_SIZES = {
    "--crack": "burning area that a crack adds, of that at the peak (default '10 %%')",
    "--debond": "share of the grain's outer face that comes loose (default '10 %%')",
}


def add_cause_options(parser: argparse._ActionsContainer) -> None:
    """Add the stated sizes of what can raise the peak of a motor."""
    for option, told in _SIZES.items():
        typed = quantity(option)
        parser.add_argument(option, type=typed, metavar="SHARE", help=told)


def check_cause_options(options: argparse.Namespace, hardware: Hardware | None) -> None:
    """Refuse a size of a cause where there is no motor to bear it."""
    for option in _SIZES:
        if hardware is None and getattr(options, option[2:]) is not None:
            raise InputError(
                f"{option} is for a motor; add --bench FILE with a [motor]"
            )


def stated_sizes(options: argparse.Namespace) -> dict[str, Any]:
    """Return the stated sizes of causes, as `peak_causes` takes them."""
    names = [option[2:] for option in _SIZES]
    return {name: in_si(getattr(options, name, None)) for name in names}
