"""What a change is said to do, held against what the draws say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from castsugar.decide.verdicts import CANNOT_TELL, HIGHER, LOWER, Cell
from castsugar.errors import InputError, unknown_name

#: Words that people use to the column that is meant.
WORDS: Mapping[str, str] = {
    "pressure": "chamber_pressure_MPa",
    "flame temperature": "flame_temperature_K",
    "c*": "characteristic_velocity_m_s",
    "specific impulse": "specific_impulse_s",
    "density": "density_kg_m3",
    "density impulse": "density_impulse_kg_s_m3",
    "condensed fraction": "condensed_mass_fraction",
    "pour viscosity": "pour_viscosity_Pa_s",
    "set ratio": "set_ratio",
    "storage humidity": "storage_humidity_max_percent",
}

SUPPORTED, REFUTED, OPEN = "supported", "contradicted", "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """A change is said to make a column lower or higher.

    Attributes
    ----------
    column : str
    direction : str
        "lower" or "higher".
    """

    column: str
    direction: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A claim, and what became of it.

    Attributes
    ----------
    claim : Claim
    verdict : str
        "supported", "contradicted" or "cannot tell".
    chance : float
        Probability that it holds, by the draws; NaN if nothing was computed.
    why : str
        Why nothing can be told although draws differ; empty otherwise.
    """

    claim: Claim
    verdict: str
    chance: float
    why: str = ""


def parse_claim(text: str) -> Claim:
    """Read "lower pressure" or "higher characteristic_velocity_m_s".

    Raises
    ------
    InputError
        If it does not begin with "lower" or "higher".
    UnknownNameError
        For a column that is not compared.

    Examples
    --------
    >>> parse_claim("lower pressure")
    Claim(column='chamber_pressure_MPa', direction='lower')
    """
    first, _, rest = text.strip().partition(" ")
    name = " ".join(rest.split())
    if first.lower() not in (HIGHER, LOWER) or not name:
        raise InputError(
            f"the claim {text!r} is not understood; write 'lower' or 'higher' and "
            "what, for example 'lower pressure'"
        )
    known = {**WORDS, **{column: column for column in WORDS.values()}}
    column = known.get(name.lower(), known.get(name))
    if column is None:
        raise unknown_name("word of a claim", name, known)
    return Claim(column=column, direction=first.lower())


def judged(claim: Claim, cells: Mapping[str, Cell], *, shared_law: bool) -> Judged:
    """Hold a claim against the cells of the new mix.

    Parameters
    ----------
    claim : Claim
    cells : mapping
        Column to cell.
    shared_law : bool
        Whether both mixes burn by one law, so that pressures are not told apart.

    Raises
    ------
    InputError
        For a column that was not computed: its wing was not asked for.
    """
    cell = cells.get(claim.column)
    if cell is None:
        wing = "--motor" if claim.column.startswith("chamber_") else "--cook"
        raise InputError(
            f"the claim on {claim.column} cannot be judged: add {wing} (or --bench), "
            "without which it is not computed"
        )
    chance = cell.chance_higher
    chance = chance if claim.direction == HIGHER else 1.0 - chance
    why = ""
    if shared_law and claim.column.startswith("chamber_"):
        why = (
            "both mixes burn by one law here, so how the burn rate changes is not "
            "known: strands of both would tell"
        )
    if cell.verdict == CANNOT_TELL:
        return Judged(claim=claim, verdict=OPEN, chance=chance, why=why)
    word = SUPPORTED if cell.verdict == claim.direction else REFUTED
    return Judged(claim=claim, verdict=word, chance=chance)
