"""Under what mixes burn: pressure, exit pressure and nozzle flow, from one function."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import field
from typing import Any

from castsugar import units
from castsugar.constants import DEFAULT_FLOW, NO_EXIT
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.units import Quantity

#: What is taken where nothing is stated.
_PRESSURE, _EXIT = "1000 psi", "1 atm"


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Under what mixes burn."""

    pressure: Quantity  # in the chamber [Pa]
    exit_pressure: Quantity | None  # [Pa]; None: chamber only
    nozzle_flow: str  # one of thermo.flow.FLOWS
    #: What was taken from an old place of the bench file: one line, or none.
    notes: tuple[str, ...] = ()

    def options(self) -> dict[str, Any]:
        """Return `pressure`, `exit_pressure` [Pa] and `flow`, as for evaluate."""
        leaving = self.exit_pressure
        return {
            "pressure": self.pressure.value,
            "exit_pressure": None if leaving is None else leaving.value,
            "flow": self.nozzle_flow,
        }

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys."""
        leaving = self.exit_pressure
        return {
            "pressure_Pa": self.pressure.value,
            "exit_pressure_Pa": None if leaving is None else leaving.value,
            "nozzle_flow": self.nozzle_flow,
        }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stated:
    """What a bench file states of them."""

    #: Those of `pressure`, `exit_pressure` (quantities) and `nozzle_flow` that it has.
    values: Mapping[str, Any] = field(default_factory=dict)
    #: From the keys that are taken of it to the notes on them.
    noted: Callable[[set[str]], tuple[str, ...]] = lambda _: ()
    #: From what is wrong with its exit pressure to an error that says where.
    fail: Callable[[str], InputError] = lambda said: InputError(said)


def resolve(
    stated: Stated | None = None,
    *,
    pressure: Quantity | None = None,
    exit_pressure: Quantity | str | None = None,
    nozzle_flow: str | None = None,
) -> Conditions:
    """Return the conditions that hold: typed, of the bench file, or the usual ones.

    The usual ones are 1000 psi, 1 atm, no-solidification.

    Parameters
    ----------
    stated : Stated, optional
        See :func:`castsugar.bench.conditions.conditions_of`.
    pressure, exit_pressure, nozzle_flow : optional
        As typed; :data:`castsugar.constants.NO_EXIT` for no exit.

    Raises
    ------
    InputError
        An exit pressure that is not below that of the chamber.
    """
    stated = stated or Stated()
    every = {
        "pressure": pressure,
        "exit_pressure": exit_pressure,
        "nozzle_flow": nozzle_flow,
    }
    typed = {name: value for name, value in every.items() if value is not None}
    usual = {
        "pressure": units.parse(_PRESSURE, "pressure"),
        "exit_pressure": units.parse(_EXIT, "pressure"),
        "nozzle_flow": DEFAULT_FLOW,
    }
    known: dict[str, Any] = usual | dict(stated.values) | typed
    taken = set(stated.values) - set(typed)
    chamber, leaving = known["pressure"], known["exit_pressure"]
    leaving = None if leaving == NO_EXIT else leaving
    if leaving is not None and not leaving.value < chamber.value:
        said = (
            f"{leaving.echo()} is not below the chamber pressure {chamber.echo()}; "
            "give a lower exit pressure, above 0"
        )
        if "exit_pressure" in taken:
            raise stated.fail(said)
        raise InputError(f"exit pressure {said}")
    return Conditions(
        pressure=chamber,
        exit_pressure=leaving,
        nozzle_flow=known["nozzle_flow"],
        notes=stated.noted(taken),
    )
