"""What a user writes against castsugar: it has to type-check strictly.

Somebody's own project, that knows the installed package alone: the public functions as
README uses them.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

import castsugar as cs


def mixes() -> list[cs.Mix]:
    """Return a mix as weighed, and drier."""
    mix = cs.Mix.weigh(
        {"KNO3": 60, "powdered sugar": 20, "corn syrup": 20}, name="base"
    )
    return [mix, mix.with_water_lost(0.2)]


def performance() -> pd.Series[float]:
    """Return flame temperatures [K]."""
    table = cs.evaluate(mixes(), pressure=6.9e6, exit_pressure=101325.0)
    told: str = cs.cite(table)
    assert told
    pressure: object = table.attrs["pressure_Pa"]
    assert pressure == 6.9e6
    return table["flame_temperature_K"].astype(float).round(0)


def state() -> dict[str, float]:
    """Return the main species [mol/kg] of a state that passed its check."""
    found = cs.equilibrium("KNO3:65 sucrose:35", pressure=6.9e6, temperature=None)
    if not found.certificate.passed:
        raise cs.ConvergenceError("not in equilibrium")
    references: str = found.cite()
    assert references
    return found.main_species(0.5)


def water() -> float:
    """Return what a percent of water does to the flame [K]."""
    moves = cs.sensitivities(mixes()[0], pressure=6.9e6).to_frame()
    row = moves[moves["constituent"] == "water"].iloc[0]
    return float(row["flame_temperature_K_per_percent_added"])


def kitchen() -> pd.DataFrame:
    """Return what a kitchen says."""
    cook = cs.Cook.hold(392.15, 480.0)
    return cs.kitchen_table(mixes(), cs.Kitchen(cook=cook))


def comparison() -> list[str]:
    """Return what can be told apart, by column."""
    found = cs.compare(["KNO3:65 sucrose:35", "KNO3:65 sorbitol:35"], draws=256)
    return [f"{name}: {cell.verdict}" for name, cell in found.cells[1].items()]


def handed_over() -> float:
    """Return the potassium in a kilogram [kmol], for Cantera."""
    return cs.to_cantera("KNO3:65 sucrose:35").elements["K"]


def refused() -> str:
    """Return why a mix is out of scope."""
    try:
        cs.parse_recipe("KNO3:65 sugar")
    except cs.CastsugarError as error:
        return str(error)
    return ""


def drawn(file: Path) -> None:
    """Draw a picture."""
    cook = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0))
    axes = cs.plot.viscosity({"base": mixes()[0]}, cook)
    axes.figure.savefig(file)


def report(folder: Path) -> str:
    """Do all of it."""
    drawn(folder / "pour.png")
    told = (performance(), state(), water(), kitchen(), comparison(), handed_over())
    return "\n".join(map(str, (*told, refused(), cs.__version__)))
