"""Kitchen measurements on the command line: one command each, kept in the bench file.

The options are the keys of the bench file's measurements; what is typed is what is
written there.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar import plausible, units
from castsugar.cli.answer import Answer, answer, units_of
from castsugar.cli.bench_option import add_bench_option, world_of
from castsugar.cli.interrupt import held_back
from castsugar.cli.output import (
    add_output_options,
    command_text,
    write_picture,
)
from castsugar.cli.screen import remark
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.bench.schema import Key
    from castsugar.bench.world import World
    from castsugar.data.load import Database
    from castsugar.mix.mix import Mix
    from castsugar.plot.sheet import Drawing
    from castsugar.report.kitchen_belief import Measured
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown

#: What an option takes that is no quantity, or is one of its own.
_TAKES = {
    "recipe": "RECIPE",
    "cook": "PROFILE",
    "minutes": "N",
    "date": "DATE",
    "note": "TEXT",
}

#: The recipe on which a change is shown where neither measurement nor bench has one.
_BASELINE = "KNO3:60 powdered sugar:20 corn syrup:20"

#: Kinds of measurement of hot mix: what a pan must not do is about them.
_HOT = ("pan weight", "flow-out")


def add_parsers(inner: Any) -> None:
    """Add one sub-command a kind of measurement."""
    from castsugar.bench.tables import MEASUREMENTS

    for kind, table in MEASUREMENTS.items():
        text = table.__doc__ or ""
        parser = inner.add_parser(
            kind.replace(" ", "-"),
            help=text,
            description=f"{text[0].upper()}{text[1:]}. --how says how it is done.",
            allow_abbrev=False,
        )
        _add_keys(parser, dict(table.KEYS))
        parser.add_argument(
            "--how", action="store_true", help="say how to measure it, step by step"
        )
        add_bench_option(parser)
        parser.add_argument(
            "--save",
            action="store_true",
            help="add the measurement to the [kitchen] table of the bench file",
        )
        drawn = {"belief": "what is believed before and after, as bars"}
        add_output_options(parser, without=("csv",), pictures=drawn)
        parser.set_defaults(run=run, kind=kind)


def _add_keys(parser: argparse.ArgumentParser, keys: dict[str, Key]) -> None:
    """Add the keys of a measurement as options; the needed ones are asked for later."""
    del keys["kind"]
    keys |= {name: keys.pop(name) for name in ("date", "note")}
    needed = parser.add_argument_group("what you measured")
    for name, key in keys.items():
        is_number = key.range != ""
        usual = repr(key.example) if is_number else key.default
        text = f"{key.about} (default {usual})" if key.default else key.about
        (needed if key.required else parser).add_argument(
            _option(name),
            dest=f"key_{name}",
            metavar=_TAKES.get(name, key.kind.upper() if is_number else "NAME"),
            help=key.wanted if key.required else text,
        )


def _option(name: str) -> str:
    return "--" + name.replace("_", "-")


def run(options: argparse.Namespace) -> int:
    """Use one measurement, keep it if asked, show what it changes; or say how."""
    from castsugar.bench.editing import append_measurement
    from castsugar.data.load import load_database
    from castsugar.mix.basis import basis
    from castsugar.report import kitchen_belief as words

    database = load_database()
    if options.how:
        return _how(options, database)
    entry = _entry(options)
    found = _learn(options, entry, database)
    cautions = database.cautions_for(_topic(options.kind), found.facts)
    with held_back():
        if found.saved:
            append_measurement(Path(options.bench), entry)
        given = Answer(
            command="kitchen_measurement",
            screen=partial(words.measurement_screen, found),
            paper=partial(_paper, found),
            parts=partial(words.measured_parts, found),
            told={
                "version": database.version,
                "conditions": {k: entry.get(k) for k in ("cook", "minutes")},
                "assumptions": [],
                "cautions": [c.text for c in cautions],
            },
            basis=partial(basis, [found.mix], kitchen=found.after.kitchen),
        )
        answer(options, given)
        for file in options.picture.values():
            if drawing := _drawing(found, units_of(options)):
                write_picture(options, file, drawing)
            else:
                remark("--picture: it moves nothing, so nothing is drawn")
    return 1 if found.outcome.contradicts else 0


def _paper(found: Measured, show: Shown) -> Screen:
    """Return the screen with its bars, for a page."""
    from castsugar.plot.export import shown
    from castsugar.report.kitchen_belief import measurement_screen

    screen, drawing = measurement_screen(found, show), _drawing(found, show)
    if drawing is None:
        return screen
    return replace(screen, sheet=(shown(drawing, "Before and after"),))


def _drawing(found: Measured, show: Shown) -> Drawing | None:
    """Return the bars of what is believed before and after; None if nothing moves."""
    from castsugar.plot.intervals import Narrowed, narrowed_drawing
    from castsugar.report.kitchen_belief import moved_parameters

    rows = [Narrowed(*row) for row in moved_parameters(found, show)]
    if found.outcome.contradicts or not rows:
        return None
    what = found.outcome.measurement.kind
    return narrowed_drawing(rows, what, invented=bool(found.invented))


def _how(options: argparse.Namespace, database: Database) -> int:
    """Say how a measurement is made."""
    from castsugar.report.cautions import chosen
    from castsugar.report.kitchen_how import how_parts, how_screen

    if options.save:
        raise InputError("--how measures nothing; leave out --save")
    if options.picture:
        raise InputError("--how measures nothing; leave out --picture")
    topic = _topic(options.kind)
    given = Answer(
        command="kitchen_protocol",
        screen=partial(
            how_screen, options.kind, chosen(database.cautions, {}, [topic])
        ),
        parts=partial(how_parts, options.kind),
        told={
            "version": database.version,
            "cautions": [c.text for c in database.cautions_for(topic, {})],
        },
    )
    answer(options, given)
    return 0


def _topic(kind: str) -> str:
    """Return the topic of the cautions of a measurement."""
    return "kitchen" if kind in _HOT else "all"


def _check_files(options: argparse.Namespace) -> None:
    """Refuse files that could not be written."""
    from castsugar.files.paths import real
    from castsugar.files.writing import refuse_unwritable

    if options.save and options.bench is None:
        raise InputError("--save needs --bench FILE, the bench file to keep it in")
    both = [real(Path(n)) for n in (options.bench, options.output) if n is not None]
    if len(both) > len({*both}):
        raise InputError("-o is the bench file itself; choose another name")
    if options.save:
        refuse_unwritable({"--bench": options.bench}, force=True)


def _entry(options: argparse.Namespace) -> dict[str, Any]:
    """Return the measurement as it is written in the bench file."""
    _check_files(options)
    entry: dict[str, Any] = {"kind": options.kind}
    for name, value in vars(options).items():
        if name.startswith("key_") and value is not None:
            entry[name.removeprefix("key_")] = value
    _check_keys(options.kind, entry)
    if "runs" in entry and entry["runs"].isdecimal():
        entry["runs"] = int(entry["runs"])
    if "minutes" in entry:
        entry["minutes"] = _minutes(entry["minutes"])
    return entry


def _check_keys(kind: str, entry: dict[str, Any]) -> None:
    """Refuse a measurement without its readings."""
    from castsugar.bench.tables import MEASUREMENTS

    keys = MEASUREMENTS[kind].KEYS
    missing = [_option(n) for n, key in keys.items() if key.required and n not in entry]
    if missing:
        command = f"kitchen {kind.replace(' ', '-')}"
        raise InputError(
            f"{command}: required: {', '.join(missing)}; castsugar {command} --how "
            "says how to measure"
        )


def _is_there(options: argparse.Namespace) -> bool:
    """Return whether a bench file is named that exists."""
    from castsugar.files.paths import status

    return options.bench is not None and status(Path(options.bench)) is not None


def _minutes(typed: str) -> float:
    """Read a number of minutes."""
    try:
        value = float(typed)
    except ValueError:
        try:
            value = units.parse(typed, "time").value / 60.0
        except InputError:
            value = math.nan
    if not math.isfinite(value):
        raise InputError(f"--minutes {typed!r} is not a number of minutes")
    return plausible.checked("minutes", value, plausible.said_at("--minutes"))


def shown_mix(world: World | None) -> Mix:
    """Return the mix on which the kitchen is shown: the first of the bench."""
    from castsugar.mix.mix import Mix
    from castsugar.mix.text import parse_recipe

    if world is not None and world.recipes:
        return world.mix(next(iter(world.recipes)))
    return Mix.weigh(parse_recipe(_BASELINE))


def _learn(
    options: argparse.Namespace, entry: dict[str, Any], database: Database
) -> Measured:
    """Return a measurement and what it changes."""
    from castsugar.bench.bench import check_bench, read_measurement
    from castsugar.bench.kitchen import learn
    from castsugar.bench.schema import Options
    from castsugar.bench.world import World
    from castsugar.kitchen.calibration import viscosity_band
    from castsugar.report.cautions import chosen
    from castsugar.report.kitchen_belief import Measured

    path = Path("command line" if options.bench is None else options.bench)
    there = world_of(options) if _is_there(options) else None
    world = there or World(check_bench(path, ""), database)
    mix = _mix(entry, world, database)
    checked = read_measurement(entry, Options())
    cook = _cook(entry, world)
    before = learn(world.bench, cook, database)
    after = learn(world.bench.with_measurement(checked), cook, database)
    facts = _facts(options, entry, world, after.kitchen)
    contradicts = after.calibration.outcomes[-1].contradicts
    topics, say = [_topic(options.kind)], units_of(options).rule
    return Measured(
        before=before,
        after=after,
        syrup=database.syrups[after.kitchen.syrup],
        mix=mix,
        bands=(viscosity_band(before.kitchen, mix), viscosity_band(after.kitchen, mix)),
        saved=options.save and not contradicts,
        facts=facts,
        cautions=chosen(database.cautions, facts, topics, say=say),
        next=_next(options, contradicts),
        invented=world.invented_for([mix], uses={"kitchen"}),
        bench=options.bench or "",
        layer=checked.get("layer"),
        bore=checked.get("bore"),
    )


def _mix(entry: dict[str, Any], world: World, database: Database) -> Mix:
    """Return the mix that was measured, or the one to show the change on.

    A name of the bench file becomes its recipe in the entry.
    """
    from castsugar.mix.mix import Mix
    from castsugar.mix.text import parse_recipe

    if "recipe" not in entry:
        return shown_mix(world)
    typed = entry["recipe"].strip()
    if typed in world.recipes:
        entry["recipe"] = world.bench.recipe_text(typed)
    recipe = parse_recipe(entry["recipe"], where="--recipe")
    name = typed if typed in world.recipes else recipe.text
    return Mix.weigh(recipe, name=name, database=database)


def _cook(entry: dict[str, Any], world: World) -> Any:
    """Return the cook of a measurement; without one that of the bench, or the usual."""
    from castsugar.kitchen.heat import HOTTEST, parse_cook

    if "cook" not in entry and world.bench.kitchen.get("cook"):
        return None
    typed = entry.get("cook", "119 C 10 min")
    cook = parse_cook(typed, entry.get("minutes"), where="--cook")
    if cook.hottest > HOTTEST:
        raise InputError(
            "--cook goes above 150 C bulk temperature: nothing is learned there. "
            "Switch the heat off and move away; recipes with syrup need no more than "
            "130 C"
        )
    return cook


def _facts(
    options: argparse.Namespace, entry: dict[str, Any], world: World, kitchen: Any
) -> dict[str, float]:
    """Return what is known of the pan, for its cautions."""
    from castsugar.report.cautions import pan_facts

    hot = options.kind in _HOT
    batch = entry.get("batch")
    return pan_facts(
        batch=None if batch is None else units.parse(batch, "mass").value,
        kitchen=kitchen if hot else None,
        bench=world.bench if hot else None,
    )


def _next(options: argparse.Namespace, contradicts: bool) -> str:
    """Return what to do next: keep it, measure it again, or look at what is known."""
    name = options.kind.replace(" ", "-")
    if contradicts:
        return f"castsugar kitchen {name} --how"
    named = "" if options.bench_said else f" --bench {options.bench}"
    if options.save:
        return f"castsugar kitchen parameters{named}"
    typed = command_text([word for word in options.words if word != "--no-bench"])
    return f"{typed}{'' if options.bench else ' --bench bench.toml'} --save"
