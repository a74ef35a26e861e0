"""Claims on differences between mixes, and what would overturn them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from castsugar.checks import shown
from castsugar.columns import COLUMN
from castsugar.comparison.compare import CANNOT_TELL, HIGHER, LOWER, Cell
from castsugar.comparison.uncertain_inputs import Input
from castsugar.constants import COVERAGE
from castsugar.errors import InputError, unknown_name
from castsugar.frozen import dataclass
from castsugar.limits import check_column

# ----------------------------------------------------------------------------
# What a change is said to do, held against what the draws say.

#: Not a column: the burning rate of the recipes, at the pressure that peaks are held
#: beside each other at. It stands in the row of the peak.
BURN_RATE, RATE_WORD, PEAK = "burn_rate", "burning rate", "peak_pressure_MPa"

#: Words that people use to the column that is meant.
WORDS: Mapping[str, str] = {
    "pressure": PEAK,
    "burning rate": BURN_RATE,
    "burn rate": BURN_RATE,
    "flame temperature": "flame_temperature_K",
    "c*": "characteristic_velocity_m_s",
    "specific impulse": "specific_impulse_s",
    "impulse": "specific_impulse_s",
    "density": "density_kg_m3",
    "density impulse": "density_impulse_kg_s_m3",
    "condensed fraction": "condensed_mass_fraction",
    "pour viscosity": "pour_viscosity_Pa_s",
    "set ratio": "relative_solids_20C",
    "relative solids": "relative_solids_20C",
    "storage humidity": "storage_humidity_max_percent",
}

#: Words for a direction besides "lower" and "higher".
_MORE = {"less": LOWER, "smaller": LOWER, "more": HIGHER, "greater": HIGHER}

#: Claims in the words of the trade: word of :data:`WORDS` and direction.
_PHRASES = {
    "pours better": ("pour viscosity", LOWER),
    "pours worse": ("pour viscosity", HIGHER),
    "sets firmer": ("relative solids", HIGHER),
    "sets softer": ("relative solids", LOWER),
    "burns cooler": ("flame temperature", LOWER),
    "burns hotter": ("flame temperature", HIGHER),
    "burns slower": ("burning rate", LOWER),
    "burns faster": ("burning rate", HIGHER),
}

SUPPORTED, REFUTED, OPEN = "supported", "contradicted", "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """A change is said to make a column lower or higher.

    Attributes
    ----------
    column : str
        Or "burn_rate", of the recipes.
    direction : str
        "lower" or "higher".

    Raises
    ------
    InputError
        For another direction.
    UnknownNameError
        For what is no column of numbers.

    See Also
    --------
    castsugar.justify : judges it, and refuses a column that it cannot judge.

    Examples
    --------
    >>> Claim(column="flame_temperature_K", direction="lower").label
    'flame temperature'
    """

    column: str
    direction: str

    def __post_init__(self) -> None:
        """Check both words."""
        if self.column != BURN_RATE:
            check_column(self.column)
        if self.direction not in (LOWER, HIGHER):
            raise InputError(
                f"the claim on {self.column} says {shown(self.direction)}; allowed: "
                f"{LOWER!r}, {HIGHER!r}"
            )

    @property
    def row(self) -> str:
        """Return the column in whose row it stands."""
        return PEAK if self.column == BURN_RATE else self.column

    @property
    def label(self) -> str:
        """Return what people call what it is about."""
        return RATE_WORD if self.column == BURN_RATE else COLUMN[self.column].label


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A claim, and what became of it."""

    claim: Claim
    verdict: str  # "supported", "contradicted" or "cannot tell"
    chance: float  # probability that it holds; NaN if nothing was computed
    why: str = ""  # why nothing can be told although draws differ; empty otherwise


def parse_claim(text: str) -> Claim:
    """Read "lower pressure", "pours better" or "higher characteristic_velocity_m_s".

    Raises
    ------
    InputError
        If it says no direction.
    UnknownNameError
        For a column that is not compared.

    Examples
    --------
    >>> parse_claim("lower pressure")
    Claim(column='peak_pressure_MPa', direction='lower')
    """
    words = " ".join(text.split())
    if words.lower() in _PHRASES:
        word, direction = _PHRASES[words.lower()]
        return Claim(column=WORDS[word], direction=direction)
    first, _, name = words.partition(" ")
    direction = _MORE.get(first.lower(), first.lower())
    if direction not in (HIGHER, LOWER) or not name:
        raise InputError(
            f"the claim {text!r} is not understood; write 'lower' or 'higher' and "
            f"what, for example 'lower pressure', or {', '.join(map(repr, _PHRASES))}"
        )
    known = {**WORDS, **{column: column for column in WORDS.values()}}
    column = known.get(name.lower(), known.get(name))
    if column is None:
        raise unknown_name("word of a claim", name, known)
    return Claim(column=column, direction=direction)


def judged(
    claim: Claim,
    cells: Mapping[str, Cell],
    *,
    invented: Mapping[str, Sequence[str]] | None = None,
) -> Judged:
    """Hold a claim against the cells of the new mix.

    Parameters
    ----------
    cells : mapping
        Column to cell.
    invented : mapping
        Group of columns ("kitchen", "motor") to the invented entries behind it: on
        such nothing is supported or contradicted.

    Raises
    ------
    InputError
        For a column that was not computed: its wing was not asked for.
    """
    cell = cells.get(claim.row)
    if cell is None:
        motor = claim.row == PEAK
        wing = "--bench with a [motor]" if motor else "--cook or --bench"
        raise InputError(
            f"the claim on {claim.column} cannot be judged: add {wing}, "
            "without which it is not computed"
        )
    found, chance = cell.verdict, cell.chance_higher
    if claim.column == BURN_RATE and cell.recipes is not None:
        rate = cell.recipes.rate
        found, chance = CANNOT_TELL, rate.chance
        if rate.told:
            found = HIGHER if rate.low > 0.0 else LOWER
    elif claim.column == BURN_RATE:
        found = CANNOT_TELL
    chance = chance if claim.direction == HIGHER else 1.0 - chance
    behind = (invented or {}).get(COLUMN[claim.row].group, ())
    why = f"it rests on invented numbers, not yours: {', '.join(behind)}"
    if behind or found == CANNOT_TELL:
        why = why if behind else ""
        return Judged(claim=claim, verdict=OPEN, chance=chance, why=why)
    word = SUPPORTED if found == claim.direction else REFUTED
    return Judged(claim=claim, verdict=word, chance=chance)


# ----------------------------------------------------------------------------
# What would overturn a verdict, and what knowing better would settle.

#: Nothing that an input may do in so many standard uncertainties is worth telling.
FAR = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Overturn:
    """What stands against the verdict on one column."""

    column: str
    verdict: str
    input: Input | None  # the one that does most; None where nothing is uncertain
    share: float  # of the variance of the difference
    #: By how many standard uncertainties that input would have to be off, to bring the
    #: difference to 0; NaN where effects are not known or the verdict is open.
    steps: float
    #: For an open verdict: whether knowing that input exactly would settle it.
    alone: bool

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "column": self.column,
            "verdict": self.verdict,
            "input": self.input.label if self.input else "",
            "share_of_variance": self.share,
            "standard_uncertainties_off": self.steps,
            "settled_by_this_input_alone": self.alone,
        }


def overturn_of(cell: Cell) -> Overturn:
    """Return what stands against the verdict of a cell.

    First order: the median difference over the effect of one standard uncertainty. For
    an open verdict the interval without the input, half-width 1.96 s sqrt(1 - share).

    Parameters
    ----------
    cell : Cell
        Of the new mix, beside its baseline.
    """
    if not cell.parts:
        return Overturn(
            column=cell.column,
            verdict=cell.verdict,
            input=None,
            share=math.nan,
            steps=math.nan,
            alone=False,
        )
    first = cell.parts[0]
    middle, spread = cell.difference.median, cell.difference.deviation
    steps, alone = math.nan, False
    if cell.verdict == CANNOT_TELL:
        rest = spread * math.sqrt(max(1.0 - first.share, 0.0))
        alone = abs(middle) > COVERAGE * rest
    elif math.isfinite(first.effect) and first.effect != 0.0:
        steps = -middle / first.effect
    return Overturn(
        column=cell.column,
        verdict=cell.verdict,
        input=first.input,
        share=first.share,
        steps=math.inf if abs(steps) > FAR else steps,
        alone=alone,
    )
