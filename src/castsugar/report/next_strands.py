"""The next mixes to burn strands of: a list ready to weigh, and the same as JSON."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from castsugar import units
from castsugar.data.records import Caution
from castsugar.optimize.next_strands import Doubt, NextMix, Proposal
from castsugar.report.layout import number, wrapped
from castsugar.report.strand_units import short, significant

#: What the page is.
ABOUT = (
    "Mixes whose strands would tell most about the burn rate, not mixes to put into a "
    "motor: they are chosen for what they teach. A burn rate is measured, never "
    "computed; these recipes only say where measuring helps most."
)

_CRITERIA = {
    "I": "least mean doubt of ln r over the mixes that matter (I-optimal)",
    "D": "least joint doubt of the model's coefficients (D-optimal)",
}

_ORDERS = {1: "linear in the shares", 2: "shares and products of pairs"}

#: Widths of the table of doubts.
_LABEL, _CELL = 30, 15


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the page shows.

    Attributes
    ----------
    file : str
    batch : float
        Mass of the batch of each mix. [kg]
    seed : int
    pressure_unit : str
        As the user types it; shown beside MPa.
    scale_step : float, optional
        Smallest step of the scale, which says how many decimals a mass has. [kg]
    """

    file: str
    batch: float
    seed: int
    pressure_unit: str = "MPa"
    scale_step: float | None = None

    @property
    def decimals(self) -> int:
        """Return the decimals of a mass in gram: those of the scale, else one."""
        if self.scale_step is None:
            return 1
        return max(0, math.ceil(-math.log10(1e3 * self.scale_step) - 1e-9))


def next_strands_page(
    proposal: Proposal, asked: Asked, cautions: Sequence[Caution]
) -> str:
    """Return the page: what to weigh, at which pressures to burn, what it buys.

    Parameters
    ----------
    proposal : Proposal
    asked : Asked
    cautions : sequence of Caution
        Those that apply.
    """
    count = len(proposal.mixes)
    mixes = "1 mix" if count == 1 else f"{count} mixes"
    lines = [f"Next strand tests, {mixes} to weigh: {asked.file}", ""]
    lines += wrapped(ABOUT, "")
    if not proposal.candidates.kept:
        lines += ["", *wrapped(f"WARNING: {proposal.notes[0]}.", "")]
    lines += ["", *wrapped(f"Known now: {proposal.knowledge}.", "  ", "")]
    grams = f"{number(1e3 * asked.batch, asked.decimals)} g"
    lines += ["", f"To weigh, {grams} each, the most telling first"]
    for place, mix in enumerate(proposal.mixes, start=1):
        lines += _mix_lines(place, mix, asked)
    lines += ["", *_burning_lines(proposal, asked)]
    lines += ["", *_doubt_lines(proposal, asked)]
    lines += ["", "How they were chosen", *_choice_lines(proposal, asked)]
    lines += ["", "Cautions"]
    for caution in cautions:
        lines += wrapped(caution.text, "    ", "  ! ")
    return "\n".join(lines) + "\n"


def _mix_lines(place: int, mix: NextMix, asked: Asked) -> Iterator[str]:
    """Yield one recipe."""
    again = f" (again: {mix.replicate_of}, cooked anew)" if mix.replicate_of else ""
    yield from wrapped(f"mix {place}{again}", "      ", "  ")
    masses = mix.masses(asked.batch)
    for name, percent in mix.percents.items():
        grams = f"{1e3 * masses[name]:.{asked.decimals}f}"
        yield f"    {name:<44}{_percent(percent):>10} %{grams:>12} g"


def _percent(percent: float) -> str:
    """Write a percentage: whole where it is, else as it was weighed."""
    return short(round(percent, 3), 4)


def _burning_lines(proposal: Proposal, asked: Asked) -> Iterator[str]:
    """Yield at which pressures to burn."""
    plan = proposal.plan
    yield "Burn of each mix"
    for strands, pressure in ((plan.at_low, plan.low), (plan.at_high, plan.high)):
        yield f"    {strands} strands at {_pressure(pressure, asked)}"
    what = "the motor" if plan.from_motor else "the search"
    yield from wrapped(
        f"These lie around {_pressure(plan.expected, asked)}, the pressure to expect "
        f"in {what}. Pressures are absolute. Only in a strand burner that was tested "
        "with water well above the higher one; never in the motor."
    )
    scatter = "as yours do" if plan.scatter_measured else "assumed"
    yield from wrapped(
        f"If strands scatter by {_share(plan.scatter)} % ({scatter}), this fixes the "
        f"exponent n of a mix to +-{plan.exponent_u:.2f}."
    )


def _pressure(pressure: float, asked: Asked) -> str:
    """Write a pressure [Pa] in MPa and in the user's unit, as firmly as it is set."""
    told = []
    for unit in dict.fromkeys(("MPa", asked.pressure_unit)):
        value = units.convert(pressure, "pressure", unit)
        told.append(f"{_two_digits(value)} {unit}")
    return told[0] + "".join(f" ({text})" for text in told[1:])


def _two_digits(value: float) -> str:
    """Write a number with two digits, without an exponent."""
    if not value > 0.0:
        return number(value, 1)
    places = 1 - math.floor(math.log10(value))
    return f"{round(value, places):.{max(places, 0)}f}"


def _share(u: float) -> str:
    """Write a standard deviation of ln r as percent of the rate."""
    if not math.isfinite(u):
        return "-"
    return significant(100.0 * math.expm1(u), 2)


def _doubt_lines(proposal: Proposal, asked: Asked) -> Iterator[str]:
    """Yield what the tests buy."""
    count = len(proposal.candidates.fractions)
    which = "of the space"
    if count < proposal.candidates.looked_at:
        which = "that keep the other limits"
    yield from wrapped(
        f"Doubt of the burn rate, mean over {count} recipes {which} (one standard "
        f"deviation, at {_pressure(proposal.reference_pressure, asked)})",
        "",
    )
    heads = ("model, %", "new grain, %", "exponent n")
    yield f"  {'':<{_LABEL}}" + "".join(f"{head:>{_CELL}}" for head in heads)
    yield _doubt_row("now", proposal.before)
    for place, mix in enumerate(proposal.mixes, start=1):
        yield _doubt_row(f"after mix {place}", mix.doubt)
    yield from wrapped(
        "model: where the burn-law model itself lies. new grain: what the pressure "
        "band is made with: the model's doubt, how far single mixes stray from it, "
        "scatter, and a surcharge outside the measured mixes. All of it holds if new "
        "mixes and strands stray no more than those so far."
    )
    grains = [proposal.before.grain_u, *(m.doubt.grain_u for m in proposal.mixes)]
    if any(after > before for before, after in itertools.pairwise(grains)):
        yield from wrapped(
            "It may rise before 3 mixes are measured: until then each mix is taken to "
            "burn as the nearest measured one, with a doubt that grows with the "
            "distance; a borrowed law states one doubt for all."
        )
    for words, doubt in (("Now", proposal.before), ("Then", proposal.after)):
        yield from wrapped(
            f"{words}, the largest doubt of the model, {_share(doubt.worst_u)} %, sits "
            f"at {_recipe(doubt.worst)}."
        )


def _doubt_row(label: str, doubt: Doubt) -> str:
    n = number(doubt.exponent_u, 3)
    cells = (_share(doubt.model_u), _share(doubt.grain_u), n)
    return f"  {label:<{_LABEL}}" + "".join(f"{c:>{_CELL}}" for c in cells)


def _recipe(recipe: Mapping[str, float]) -> str:
    return ", ".join(f"{_percent(100.0 * s)} % {name}" for name, s in recipe.items())


def _choice_lines(proposal: Proposal, asked: Asked) -> Iterator[str]:
    """Yield criterion, model and what else to know."""
    told = [
        f"{_CRITERIA[proposal.criterion]}; model: {_ORDERS[proposal.order]}, which "
        f"leaves {_share(proposal.between)} % between mixes",
        f"{proposal.candidates.looked_at} recipes of the space were looked at; seed "
        f"{asked.seed}",
        *proposal.notes[0 if proposal.candidates.kept else 1 :],
    ]
    for text in told:
        yield from wrapped(text, "    ", "  - ")


def next_strands_document(proposal: Proposal, asked: Asked) -> dict[str, Any]:
    """Return everything but versions and cautions, for JSON."""
    plan = proposal.plan
    return {
        "schema": "castsugar.next_strands/1",
        "file": asked.file,
        "seed": asked.seed,
        "about": ABOUT,
        "known_now": proposal.knowledge,
        "mixture_model": proposal.modelled,
        "criterion": proposal.criterion,
        "order": proposal.order,
        "reference_pressure_MPa": 1e-6 * proposal.reference_pressure,
        "between_mixes_ln_rate": proposal.between,
        "batch_g": 1e3 * asked.batch,
        "mixes": [_mix_row(n, m, asked) for n, m in enumerate(proposal.mixes, 1)],
        "strands": {
            "low_pressure_MPa": 1e-6 * plan.low,
            "high_pressure_MPa": 1e-6 * plan.high,
            "expected_pressure_MPa": 1e-6 * plan.expected,
            "expected_in_motor": plan.from_motor,
            "strands_at_low": plan.at_low,
            "strands_at_high": plan.at_high,
            "scatter_ln_rate": plan.scatter,
            "scatter_measured": plan.scatter_measured,
            "exponent_standard_uncertainty": plan.exponent_u,
        },
        "doubt_before": _doubt_document(proposal.before),
        "doubt_after": _doubt_document(proposal.after),
        "requirements_kept": proposal.candidates.kept,
        "recipes_considered": len(proposal.candidates.fractions),
        "recipes_looked_at": proposal.candidates.looked_at,
        "notes": list(proposal.notes),
    }


def _mix_row(place: int, mix: NextMix, asked: Asked) -> dict[str, Any]:
    return {
        "mix": place,
        "replicate_of": mix.replicate_of,
        "recipe_percent": dict(mix.percents),
        "recipe_g": {n: 1e3 * m for n, m in mix.masses(asked.batch).items()},
        "doubt_after": _doubt_document(mix.doubt),
    }


def _doubt_document(doubt: Doubt) -> dict[str, Any]:
    return {
        "model_ln_rate": doubt.model_u,
        "new_grain_ln_rate": doubt.grain_u,
        "exponent": doubt.exponent_u,
        "largest_ln_rate": doubt.worst_u,
        "largest_at_percent": {n: 100.0 * s for n, s in doubt.worst.items()},
    }
