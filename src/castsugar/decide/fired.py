"""Pressure against time of mixes in one motor, each with its band."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from castsugar.errors import InputError
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.firing.expectation import DRAWS, Expected, expect
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import burn_law_of, untold

#: Share of the draws beyond each end of a band: 95 % lie in it.
TAIL = 0.025

#: Fewest draws that leave one beyond each end.
FEWEST = 80


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PressureBand:
    """A mix in the motor.

    Attributes
    ----------
    name : str
        Of the mix.
    burn_law : str
        Where its burn law comes from.
    expected : Expected or None
        The quasi-steady firing at the best estimate, and the band of 95 % of the draws
        at every time; ends are infinite where draws have no stable pressure.
    reason : str
        Why there is none; empty if there is one.
    """

    name: str
    burn_law: str
    expected: Expected | None
    reason: str

    @property
    def bounded(self) -> bool:
        """Return whether the band has an upper end at all times."""
        return self.expected is not None and math.isfinite(self.expected.high.max())


def pressure_bands(
    mixes: Sequence[Mix],
    rows: Sequence[Mapping[str, Any]],
    hardware: Hardware,
    *,
    draws: int = DRAWS,
    seed: int = 1,
) -> list[PressureBand]:
    """Fire mixes, each at its best estimate and over draws of burn law and supply.

    Parameters
    ----------
    mixes : sequence of Mix
    rows : sequence of mappings
        Their rows of the table: density, c*, isentropic exponent, peak pressure and
        where the burn law comes from.
    hardware : Hardware
        Gives the spread of density, throat, area, c* and grain temperature.
    draws, seed : int
        At least 80 draws; the same ones for all mixes.

    Raises
    ------
    InputError
        Too few draws, or not one row a mix.
    """
    if draws < FEWEST:
        raise InputError(
            f"draws is {draws}; give {FEWEST} or more for a band of 95 % of them"
        )
    if len(mixes) != len(rows):
        raise InputError(f"{len(mixes)} mixes and {len(rows)} rows; give a row a mix")
    return [
        _band(mix, row, hardware, draws, seed)
        for mix, row in zip(mixes, rows, strict=True)
    ]


def _band(
    mix: Mix, row: Mapping[str, Any], hardware: Hardware, draws: int, seed: int
) -> PressureBand:
    """Fire one mix."""
    origin = str(row["burn_law_origin"])
    peak = float(row["chamber_pressure_MPa"])
    if not math.isfinite(peak):
        why = untold(row) or row["status"]
        reason = "no stable pressure" if peak > 0.0 else f"not computed: {why}"
        return PressureBand(
            name=mix.name, burn_law=origin, expected=None, reason=reason
        )
    motor = hardware.motor(
        density=row["density_kg_m3"],
        characteristic_velocity=row["characteristic_velocity_m_s"],
        exponent=row["isentropic_exponent"],
    )
    law = burn_law_of(of_mixes([mix]), hardware, mixes=[mix])
    found = expect(motor, law, hardware.spread, draws=draws, seed=seed, tail=TAIL)
    return PressureBand(name=mix.name, burn_law=origin, expected=found, reason="")
