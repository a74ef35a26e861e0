"""Under what mixes are compared, and the doubts that no data file states."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from castsugar.checks import instance, number
from castsugar.confirmation import UnconfirmedError
from castsugar.constants import DEFAULT_PRESSURE, STANDARD_ATMOSPHERE
from castsugar.errors import InputError
from castsugar.evaluation import check_options, evaluate, table_of
from castsugar.kitchen.parameters import Kitchen
from castsugar.mix.mix import Mix
from castsugar.motor.hardware import Hardware
from castsugar.thermo.species import SpeciesTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """Standard uncertainties that no data file states; 0 switches one off.

    Attributes
    ----------
    weighing : float
        Of every weighed part. [kg]
    batch : float
        Mass of what is weighed for one batch. [kg]
    moisture : float
        Mass fraction of water that a powder may bring beyond what the recipe counts:
        scale of a half-normal. Common practice, no source.
    dextrose_equivalent : float
        Of the composition of a syrup; its viscosity has a grade of its own in the
        kitchen. Common practice, no source. [DE]
    pressure : float
        Relative, of the chamber pressure. Common practice, no source.
    enthalpies, product_data : bool
        Whether the enthalpies of formation and the product data count.

    Raises
    ------
    InputError
    """

    weighing: float = 5e-5
    batch: float = 0.2
    moisture: float = 0.002
    dextrose_equivalent: float = 3.0
    pressure: float = 0.05
    enthalpies: bool = True
    product_data: bool = True

    def __post_init__(self) -> None:
        """Check the numbers."""
        if not 0.0 < number(self.batch, "batch", "kg") < math.inf:
            raise InputError(f"batch is {self.batch:g} kg; give a mass above 0")
        highest = {
            "weighing": 0.2 * self.batch,
            "moisture": 0.2,
            "dextrose_equivalent": 20.0,
            "pressure": 0.5,
        }
        for name, limit in highest.items():
            what = f"standard uncertainty of {name.replace('_', ' ')}"
            value = number(getattr(self, name), what)
            if not 0.0 <= value <= limit:
                raise InputError(f"{what} is {value:g}; allowed: 0 to {limit:g}")

    @classmethod
    def none(cls, batch: float = 0.2) -> Doubts:
        """Return doubts that are all 0."""
        off = {f.name: 0.0 for f in fields(cls) if f.type == "float"}
        off["batch"] = batch
        return cls(**off, enthalpies=False, product_data=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Conditions:
    """Under what mixes are compared.

    Attributes
    ----------
    pressure, exit_pressure : float
        [Pa]
    flow : str
        One of :data:`castsugar.thermo.flow.FLOWS`; by default, as in a search, the one
        without the false peak of c* that freezing at the throat makes.
    kitchen : Kitchen or None
    motor : Hardware or None
    species : SpeciesTable or None
        Set 1 of the product data; the shipped default.
    """

    pressure: float = DEFAULT_PRESSURE
    exit_pressure: float = STANDARD_ATMOSPHERE
    flow: str = "no-solidification"
    kitchen: Kitchen | None = None
    motor: Hardware | None = None
    species: SpeciesTable | None = None

    def __post_init__(self) -> None:
        """Check that they make a flow."""
        number(self.exit_pressure, "exit pressure", "Pa")
        check_options(self.pressure, self.exit_pressure, self.flow)
        instance(self.kitchen, Kitchen, "kitchen")
        instance(self.motor, Hardware, "motor")
        instance(self.species, SpeciesTable, "species")

    def rows(self, mixes: Sequence[Mix], *, confirm: bool) -> list[dict[str, Any]]:
        """Return the row of the table of each mix.

        Parameters
        ----------
        mixes : sequence of Mix
        confirm : bool
            Whether the second solver solves them again. Ctrl-C stops only that: the
            column `confirmation` then says so.
        """
        try:
            table = evaluate(
                list(mixes),
                pressure=self.pressure,
                exit_pressure=self.exit_pressure,
                flow=self.flow,
                confirm=confirm,
                kitchen=self.kitchen,
                motor=self.motor,
                species=self.species,
            )
        except UnconfirmedError as stopped:
            table = table_of(stopped.columns)
        return [{str(k): v for k, v in row.items()} for row in table.to_dict("records")]
