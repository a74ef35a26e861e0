"""What ``compare`` and ``justify`` share: options, the bench file, the answer."""

from __future__ import annotations

import argparse
import re
import shlex
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from castsugar import plausible
from castsugar.asked import Question
from castsugar.cli.answer import Answer, units_of
from castsugar.cli.bench_option import add_bench_option, world_of
from castsugar.cli.conditions import (
    BATCH,
    STEP,
    add_condition_options,
    doubts_of,
    read_conditions,
)
from castsugar.cli.evaluate import wanted_of
from castsugar.cli.kitchen_options import add_kitchen_options
from castsugar.cli.output import command_text, files_read, version_line
from castsugar.cli.quantities import quantity, read
from castsugar.errors import InputError
from castsugar.frozen import dataclass

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.comparison.compare import Comparison
    from castsugar.comparison.uncertain_inputs import Conditions
    from castsugar.limits import Requirement
    from castsugar.mix.mix import Mix
    from castsugar.plot.sheet import Drawing
    from castsugar.report.compare import Compared


def add_comparing_options(parser: argparse.ArgumentParser) -> None:
    """Add what both commands share."""
    conditions = parser.add_argument_group("conditions")
    add_bench_option(conditions)
    add_condition_options(conditions, uncertainty=False)
    add_kitchen_options(conditions)
    parser.add_argument(
        "--batch",
        type=quantity("--batch"),
        metavar="MASS",
        help=f"what is weighed (default '{BATCH}')",
    )
    parser.add_argument(
        "--scale-step",
        type=quantity("--scale-step"),
        metavar="MASS",
        help=f"smallest step of the scale (default '{STEP}')",
    )
    parser.add_argument(
        "--draws", type=int, metavar="N", help="of everything uncertain (default 2048)"
    )
    parser.add_argument(
        "--seed", type=int, metavar="N", help="of the draws (default 1)"
    )
    parser.add_argument(
        "--confirm",
        action=argparse.BooleanOptionalAction,
        default=True,
        help="solve every mix again with Cantera (default)",
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparing:
    """What was asked, read: the same for both commands."""

    options: argparse.Namespace
    question: Question
    mixes: tuple[Mix, ...]
    limits: tuple[Requirement, ...]
    given: dict[str, Any]

    @property
    def conditions(self) -> Conditions:
        """Under what the mixes are compared."""
        found: Conditions = self.given["conditions"]
        return found


def read_comparing(options: argparse.Namespace, recipes: Sequence[str]) -> Comparing:
    """Read options, bench file and recipes."""
    from castsugar.comparison.uncertain_inputs import Conditions
    from castsugar.data.load import load_database
    from castsugar.draw_set import SEED

    database = load_database()
    world = world_of(options)
    _from_bench(options, world.bench if world is not None else None)
    question = read_conditions(options, database)
    if question.leaving is None:
        raise InputError(
            "--exit-pressure is none; a comparison needs one, for example '1 atm'"
        )
    mixes = question.weigh(recipes)
    wanted = question.evaluate_options()
    del wanted["data_uncertainty"]
    step, doubts = doubts_of(options)
    return Comparing(
        options=options,
        question=question,
        mixes=tuple(mixes),
        limits=world.limits if world is not None else (),
        given={
            "conditions": Conditions(**wanted),
            "doubts": doubts,
            "scale_step": step,
            "draws": _draws(options),
            "seed": SEED if options.seed is None else options.seed,
        },
    )


def compared(
    asked: Comparing,
    comparison: Comparison,
    rows: Sequence[Mapping[str, Any]],
    claimed: Sequence[str] = (),
) -> Compared:
    """Return mixes with everything that their screen says.

    `rows` hold the quantiles that the limits ask for; `claimed` are the columns that
    something was claimed of.
    """
    from castsugar.evaluated import evaluated, fire_rows
    from castsugar.limits import limits_of
    from castsugar.report.compare import Compared, deciding

    options, own = asked.options, [dict(row) for row in rows]
    fired = fire_rows(asked.question, asked.mixes, own)
    more = (limits_of(asked.limits), fired, comparison.draws)
    caption = (
        "Paired differences, 95 % intervals, each on a scale of its own. Filled: the "
        "bar leaves out 0; hollow: cannot tell."
    )
    world, typed = world_of(options), [_word(text) for text in _recipes(options)]
    named = options.bench and not options.bench_said
    files, given = files_read(options), asked.given
    wanted = wanted_of(options, own)
    found = evaluated(asked.question, asked.mixes, own, more, wanted)
    figure = None
    if options.page:
        columns = [*claimed, *deciding(found, comparison)]
        from castsugar.plot.export import shown

        invented = bool(found.invented)
        drawn = drawing(asked, comparison, invented, columns=columns)
        figure = shown(drawn, caption)
    return Compared(
        found=found,
        comparison=comparison,
        typed=tuple(typed),
        bench=f" --bench {_word(options.bench)}" if named else "",
        searchable=world is not None and bool(world.bench.search),
        reproduce=(
            f"command: {command_text(options.words)}",
            *(f"{name}: SHA-256 begins {digest}" for name, digest in files.items()),
            f"draws {given['draws']}, seed {given['seed']}",
            version_line(),
        ),
        picture=figure,
    )


def drawing(
    asked: Comparing, comparison: Comparison, invented: bool, **more: Any
) -> Drawing:
    """Return the picture of the differences."""
    from castsugar.plot.intervals import differences_drawing

    show = units_of(asked.options)
    return differences_drawing(comparison, show=show, invented=invented, **more)


def delivered(
    asked: Comparing, command: str, screen: Any, parts: Any, told: Compared
) -> Answer:
    """Return an answer of either command."""
    return Answer(
        command=command,
        screen=screen,
        parts=parts,
        told=asked.question.told(told.found, told.comparison.notes),
        basis=lambda: told.comparison.basis,
    )


def _recipes(options: argparse.Namespace) -> list[str]:
    """Return the recipes as typed."""
    one_by_one = getattr(options, "recipes", None)
    return list(one_by_one or (options.base, options.new))


def _word(text: str) -> str:
    """Return a word as a command line takes it, in the quotes that every shell knows.

    Examples
    --------
    >>> _word("base"), _word("KNO3:65 sucrose:35")
    ('base', '"KNO3:65 sucrose:35"')
    """
    if re.fullmatch(r"[\w./:+-]+", text):
        return text
    return shlex.quote(text) if re.search(r'["$`\\!]', text) else f'"{text}"'


def _draws(options: argparse.Namespace) -> int:
    """Return the draws asked for."""
    from castsugar.draw_set import DRAWS

    if options.draws is None:
        return DRAWS
    say = plausible.said_at("--draws")
    return int(plausible.checked("draws of a comparison", options.draws, say))


def _from_bench(options: argparse.Namespace, bench: Bench | None) -> None:
    """Let the bench file answer what no option does."""
    search: dict[str, Any] = (bench.search if bench else None) or {}
    if bench is None:
        return
    cooked = options.cook or options.minutes or bench.kitchen.get("cook")
    if not cooked and search.get("cook"):
        from castsugar.bench.search import search_conditions

        stated = search_conditions(bench)
        options.cook, options.minutes = stated.cook, stated.minutes
    if options.water_lost is None and search.get("water_lost") is not None:
        options.water_lost = read("--water-lost", str(search["water_lost"]))
