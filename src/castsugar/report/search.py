"""The page of a search: the answer first, then what holds it and what is beside it."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from castsugar.data.records import Caution
from castsugar.optimize.rounding import Weighable
from castsugar.optimize.search import Outcome
from castsugar.optimize.shadow_prices import INTERRUPTED_AFTER
from castsugar.report.layout import LABEL, number, solver_differences
from castsugar.report.search_amounts import few, in_units, loss_text
from castsugar.report.search_beside import (
    front_lines,
    robust_lines,
    runner_lines,
    tried_lines,
)
from castsugar.report.search_explain import explain_lines
from castsugar.report.search_limits import infeasible_lines, limit_lines
from castsugar.report.search_numbers import number_lines, offers, table_row
from castsugar.report.search_rows import search_document, trial_rows
from castsugar.report.search_words import Asked, filled, label_of, row_of

#: Rows of the outcome by the words of the page.
_WORDS = {"percents": "whole percents", "weighable": "grams"}

#: Head of a recipe in steps of the scale.
_GRAMS = "grams"

__all__ = ["Asked", "search_document", "search_page", "trial_rows"]


def search_page(
    outcome: Outcome,
    asked: Asked,
    cautions: Sequence[Caution],
    *,
    explain: bool = False,
) -> str:
    """Return the page of ``castsugar search``.

    Parameters
    ----------
    outcome : Outcome
    asked : Asked
    cautions : sequence of Caution
        Those that apply.
    explain : bool
        Whether the reasoning is told in sentences.
    """
    blocks = [
        _head(outcome, asked),
        _standing(outcome),
        _look_first(outcome),
        _composition(outcome, asked),
        infeasible_lines(outcome, asked) if outcome.found.violation > 0.0 else [],
        number_lines(outcome, asked, sound=_sound(outcome)),
        limit_lines(outcome, asked),
        runner_lines(outcome, asked),
        front_lines(outcome, asked),
        robust_lines(outcome, asked),
        tried_lines(outcome, asked),
        explain_lines(outcome, asked) if explain else [],
        _second_solver(outcome),
        _effort(outcome),
        _assumed(asked),
    ]
    lines = [line for block in blocks if block for line in [*block, ""]]
    lines.append("Cautions")
    for caution in cautions:
        lines += filled(caution.text, "    ", "  ! ")
    return "\n".join(lines) + "\n"


def _head(outcome: Outcome, asked: Asked) -> list[str]:
    """Return the title, and what was searched for."""
    goal = outcome.found.goal
    word = "most" if goal.maximise else "least"
    lines = filled(f"Search for the best nitrate-sugar mix: {asked.file}", "  ", "")
    lines += filled(f"Wanted: the {word} {label_of(goal.objective)}", "  ", "")
    lines += filled(
        "A model throughout: it tells where to look, not that a motor is safe.", ""
    )
    return lines


def _standing(outcome: Outcome) -> list[str]:
    """Say plainly whether this is an answer."""
    found = outcome.found
    lines: list[str] = []
    if outcome.refused:
        lines += filled(
            f"REFUSED as an optimum: {outcome.refused}. The mix below is shown to "
            "explain, not to be made.",
            "  ",
            "",
        )
    if found.status == "incomplete":
        text = f"NOT FINISHED: {found.reason}."
        if found.reason != INTERRUPTED_AFTER:
            text += (
                f" This is the best of the {len(found.trials)} mixes tried so far; a "
                "better one may exist."
            )
        lines += filled(text, "  ", "")
    for name in outcome.unjudged:
        lines += filled(
            f"LEFT OUT: {name}. No mix with it could be judged under these limits (no "
            "model for it); that says nothing about how good it is.",
            "  ",
            "",
        )
    if found.violation > 0.0:
        none = "No mix keeps all limits"
        if found.status == "incomplete":
            none = "No mix tried so far keeps all limits"
        lines += filled(
            f"{none.upper()}. Below is the one that breaks them least; do not make it.",
            "  ",
            "",
        )
    return lines


def _look_first(outcome: Outcome) -> list[str]:
    """Return what is special about the mixes to be made."""
    told: dict[str, list[str]] = {}
    for name, head in offers(outcome, sound=_sound(outcome)):
        row = row_of(outcome, name)
        status = str(row.get("status", "ok"))
        texts = [status] if status != "ok" else []
        flow = str(row.get("flow_class", ""))
        if flow in ("no flow", "jams"):
            texts.append(f"{flow}: it cannot be poured")
        flags = str(row.get("flags", ""))
        for text in [*texts, *(flags.split("; ") if flags else [])]:
            told.setdefault(text, []).append(head)
    if not told:
        return []
    lines = ["Look at this first"]
    for text, heads in told.items():
        lines += filled(f"{' and '.join(heads)}: {text}", "    ", "  ! ")
    return lines


def _sound(outcome: Outcome) -> bool:
    """Say whether the best mix may be called a recipe."""
    return outcome.found.violation <= 0.0 and not outcome.refused


def _composition(outcome: Outcome, asked: Asked) -> list[str]:
    """Return the best mix: exact, in whole percents, in steps of the scale."""
    found, step = outcome.found, outcome.task.space.scale_step
    made = _made(outcome)
    title = "Recipe to weigh" if made else "The mix as weighed"
    if not _sound(outcome):
        title = "The mix, not to be made"
    heads = ["percent", *(head for head, _ in made)]
    lines = [table_row(title, heads, indent="")]
    for place, share in enumerate(found.fractions.tolist()):
        if share <= 0.0:
            continue
        cells = [number(100.0 * share, 2)]
        cells += [_part(head, w, place, step) for head, w in made]
        lines += _labelled(asked.both(found.ingredients[place]), cells)
    lines += _rounding(outcome, asked) if _sound(outcome) else []
    for slot, option in found.choice.items():
        options = ", ".join(asked.name(o) for o in outcome.task.space.options(slot))
        lines += filled(f"{slot}: {asked.name(option)} was chosen among {options}")
    return lines


def _made(outcome: Outcome) -> list[tuple[str, Weighable]]:
    """Return the rounded recipes that may be offered, with their heads."""
    offered = dict(offers(outcome, sound=_sound(outcome)))
    pairs = (
        ("percents", "whole %", outcome.percents),
        ("weighable", _GRAMS, outcome.weighable),
    )
    return [
        (h, made) for name, h, made in pairs if made is not None and name in offered
    ]


def _part(head: str, made: Weighable, place: int, step: float | None) -> str:
    """Write one part of a rounded recipe."""
    if head != _GRAMS:
        return number(100.0 * float(made.fractions[place]), 0)
    # As many decimals as the step of the scale has.
    places = Decimal(f"{1e3 * (step or 1e-3):.10g}").normalize().as_tuple().exponent
    return number(1e3 * float(made.masses[place]), max(-int(places), 0))


def _rounding(outcome: Outcome, asked: Asked) -> list[str]:
    """Say what rounding costs, and why a rounded recipe is missing."""
    space = outcome.task.space
    known = space.batch is not None and space.scale_step is not None
    lines = _rounded_to("whole percents", outcome.percents, outcome, asked)
    if known:
        batch = f"steps of the scale for {few(1e3 * (space.batch or 0.0), 4)} g"
        return [*lines, *_rounded_to(batch, outcome.weighable, outcome, asked)]
    return [*lines, *filled("For grams give the batch and the step of your scale.")]


def _kept_with(made: Weighable, outcome: Outcome, asked: Asked) -> str:
    """Say that a rounded recipe keeps the limits, and what it makes of each."""
    limits = outcome.found.goal.limits
    told = [
        f"{label_of(limit.column)} "
        f"{in_units(limit.column, made.values[limit.column], asked)}"
        for limit in limits
    ]
    return f"; limits are kept: {'; '.join(told)}" if told else ""


def _rounded_to(
    words: str, made: Weighable | None, outcome: Outcome, asked: Asked
) -> list[str]:
    """Say what one way of rounding costs."""
    found = outcome.found
    if made is None:
        return filled(f"In {words} no recipe near it lies within the bounds.")
    if not made.feasible:
        return filled(
            f"In {words} no recipe near it keeps all limits, so none is given: a "
            "larger batch or a finer scale helps.",
            "    ",
            "  ! ",
        )
    cost = loss_text(found.goal, made.loss, found.objective)
    if made.refused:
        return filled(f"In {words} none is given: {made.refused}.", "    ", "  ! ")
    also = _kept_with(made, outcome, asked)
    text = f"Rounding to {words} changes the objective by {cost}{also}."
    if made.loss > 1e-6 * abs(found.objective):
        return filled(text)
    if made.loss >= -1e-6 * abs(found.objective):
        return filled(f"Rounding to {words} costs nothing{also}.")
    return filled(f"{text} It gains: the search had stopped a little short of the top.")


def _labelled(label: str, cells: Sequence[str]) -> list[str]:
    """Return a line of a table; a long label stands above it."""
    if len(label) < LABEL - 2:
        return [table_row(label, cells)]
    return [*filled(label, "    ", "  "), table_row("", cells)]


def _second_solver(outcome: Outcome) -> list[str]:
    """Say what the second solver made of the mixes shown."""
    verdicts: dict[str, list[str]] = {}
    for name, row in outcome.rows.items():
        verdict = str(row.get("confirmation", "not asked"))
        verdicts.setdefault(verdict, []).append(_WORDS.get(name, name))
    if set(verdicts) <= {"not asked"}:
        return ["Second solver: not asked, so nothing here is confirmed"]
    lines = ["Second solver (Cantera, own search for states)"]
    for verdict, names in verdicts.items():
        lines += filled(f"{verdict}: {', '.join(names)}", "      ")
    differs = solver_differences(row_of(outcome, "best"))
    return [*lines, *filled(f"the best mix {differs}")] if differs else lines


def _effort(outcome: Outcome) -> list[str]:
    """Say how many mixes were tried, and with which seed."""
    found = outcome.found
    text = f"{len(found.trials)} mixes tried, seed {found.seed}"
    more = []
    if outcome.front is not None:
        more.append(f"{len(outcome.front.trials)} for the trade-off")
    if outcome.robust is not None:
        more.append(f"{len(outcome.robust.found.trials)} for the robust mix")
    if more:
        text += f"; further {' and '.join(more)}"
    return filled(f"{text}.", "  ", "")


def _assumed(asked: Asked) -> list[str]:
    """Return what was assumed."""
    if not asked.assumptions:
        return []
    lines = ["Assumed"]
    for text in asked.assumptions:
        lines += filled(text, "    ", "  - ")
    return lines
