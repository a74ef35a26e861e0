"""The second opinion on rows of the table: confirmed, disputed or unavailable."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from castsugar.constants import STANDARD_GRAVITY
from castsugar.errors import ConvergenceError
from castsugar.frozen import dataclass
from castsugar.mix.mix import Mix
from castsugar.thermo.flow import ColdMixError
from castsugar.thermo.second_opinion import flow
from castsugar.thermo.solver import charge_of
from castsugar.thermo.species import SpeciesTable

#: Two solvers that differ by more than this do not agree. [K], [ppm]
MOST_KELVIN, MOST_PPM = 0.1, 50.0

#: What is said of a row that Ctrl-C kept from being solved again.
INTERRUPTED = "unavailable: interrupted"

_NOT_YET = "not asked"


class UnconfirmedError(KeyboardInterrupt):
    """Ctrl-C while the second solver worked; `columns` hold all rows."""

    def __init__(self, columns: dict[str, Any]) -> None:
        super().__init__()
        self.columns = columns


@dataclass(frozen=True, slots=True)
class Reference:
    """What the second solver is asked to solve again."""

    table: SpeciesTable
    exit_pressure: float | None
    flow: str


def confirm(
    columns: dict[str, Any],
    mixes: Sequence[Mix],
    pressures: Sequence[float],
    reference: Reference,
) -> None:
    """Solve every row that is ok or cold again, and write what came out.

    Changes `confirmation`, the differences of flame, throat (c*) and exit (specific
    impulse) and, where the solvers disagree, `status`.

    Raises
    ------
    UnconfirmedError
        After Ctrl-C; rows that were not reached say so.
    """
    try:
        _confirm(columns, mixes, pressures, reference)
    except KeyboardInterrupt:
        told = columns["confirmation"]
        columns["confirmation"] = [INTERRUPTED if t == _NOT_YET else t for t in told]
        raise UnconfirmedError(columns) from None


def _confirm(
    columns: dict[str, Any],
    mixes: Sequence[Mix],
    pressures: Sequence[float],
    reference: Reference,
) -> None:
    """Do it row by row."""
    for row, (mix, pressure) in enumerate(zip(mixes, pressures, strict=True)):
        status = columns["status"][row]
        if status not in ("ok", "cold"):
            columns["confirmation"][row] = "unavailable: nothing to confirm"
            continue
        verdict = _opinion(columns, row, mix, pressure, reference)
        columns["confirmation"][row] = verdict
        if verdict == "disputed":
            columns["status"][row] = _dispute(columns, row, status)


def _opinion(
    columns: dict[str, Any],
    row: int,
    mix: Mix,
    pressure: float,
    reference: Reference,
) -> str:
    """Ask the second solver about one row."""
    cold = columns["status"][row] == "cold"
    table, charge = charge_of(mix, reference.table)
    try:
        again = flow.solve(
            table, charge, pressure, reference.exit_pressure, reference.flow
        )
    except ColdMixError:
        return "confirmed" if cold else "disputed"
    except ConvergenceError as error:
        return f"unavailable: {error}"
    if cold:
        return "disputed"
    kelvin = columns["flame_temperature_K"][row] - again.chamber.temperature
    columns["difference_temperature_K"][row] = kelvin
    agreed = abs(kelvin) <= MOST_KELVIN
    if reference.exit_pressure is not None:
        impulse = again.exit_velocity / STANDARD_GRAVITY
        for ours, theirs, difference in (
            (
                "characteristic_velocity_m_s",
                again.characteristic_velocity,
                "difference_characteristic_velocity_ppm",
            ),
            ("specific_impulse_s", impulse, "difference_specific_impulse_ppm"),
        ):
            ppm = 1e6 * (columns[ours][row] / theirs - 1.0)
            columns[difference][row] = ppm
            agreed = agreed and abs(ppm) <= MOST_PPM
    return "confirmed" if agreed else "disputed"


def _dispute(columns: dict[str, Any], row: int, status: str) -> str:
    """Say what the solvers do not agree on."""
    kelvin = columns["difference_temperature_K"][row]
    if kelvin != kelvin:  # no number: one of them calls the mix cold
        other = "burns" if status == "cold" else "does not burn"
        return f"disputed: by the second solver the mix {other}"
    text = f"disputed: the second solver differs by {kelvin:.3g} K"
    ppm = columns["difference_characteristic_velocity_ppm"][row]
    if ppm == ppm:
        impulse = columns["difference_specific_impulse_ppm"][row]
        text += f", {ppm:.3g} ppm of c* and {impulse:.3g} ppm of specific impulse"
    return text
