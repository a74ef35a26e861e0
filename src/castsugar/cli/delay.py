"""``castsugar firing --delay``: the delay column."""

from __future__ import annotations

import argparse
import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.answer import Answer, answer, invented_files, units_of
from castsugar.cli.firing_options import FILMED, STAND
from castsugar.cli.output import command_text, write_picture
from castsugar.cli.quantities import dest, given
from castsugar.errors import InputError, unknown_name

if TYPE_CHECKING:
    from castsugar.bench.world import World
    from castsugar.data.load import Database
    from castsugar.mix.mix import Mix
    from castsugar.motor.delay import Delay
    from castsugar.motor.delay_inputs import Thrusting
    from castsugar.motor.hardware import Hardware
    from castsugar.motor.strands import MixResult
    from castsugar.plot.sheet import Drawing
    from castsugar.report.delay import Asked
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown
    from castsugar.units import Quantity

#: Options that mean nothing without --delay -> metavar and help.
_COLUMN = {
    "--strands": ("FILE", "strands of the delay mix (CSV), in open air and at chamber "
     "pressure"),
    "--strand-mix": ("NAME", "the delay mix, if FILE holds several"),
    "--delay-time": ("TIME", "find the length for this delay, '6 s'"),
    "--delay-length": ("LENGTH", "find the delay of this column, '12 mm'"),
    "--length-uncertainty": ("LENGTH", "of the column, one standard deviation "
     "(default '0.2 mm', assumed)"),
    "--chamber-pressure": ("PRESSURE", "of the motor, with unit, if there is no trace"),
    "--burn-time": ("TIME", "of the motor, with unit, if there is no trace"),
    "--thrust-uncertainty": ("SHARE", "of chamber pressure and of burn time, one "
     "standard deviation (default 5%%, assumed)"),
    "--ignition-lag": ("TIME", "from the start of burning until the column burns, "
     "known as anything from 0 to twice it (default '0.05 s', assumed)"),
    "--emptying": ("TIME", "time constant of the emptying chamber, known as anything "
     "from 0 to twice it (default '0.02 s', assumed; a trace shows its own)"),
    "--altitude": ("LENGTH", "above sea level, where the delay burns, '300 m' "
     "(default as at --ambient)"),
}  # fmt: skip

#: Quantities -> what the page calls them; empty: it tells them elsewhere.
_QUANTITIES = {
    "--delay-time": "delay wanted",
    "--delay-length": "length of the column",
    "--length-uncertainty": "",
    "--chamber-pressure": "chamber pressure",
    "--burn-time": "burn time",
    "--thrust-uncertainty": "",
    "--ignition-lag": "ignition lag",
    "--emptying": "time constant of emptying",
    "--ambient": "air at the test place",
    "--altitude": "altitude above sea level where the delay burns",
}

#: Number of :class:`castsugar.motor.delay_inputs.Settings` -> option.
_SETTINGS = {
    "length_u": "--length-uncertainty",
    "ignition_lag": "--ignition-lag",
    "emptying": "--emptying",
}

#: What reduces a recording and means nothing for a delay column.
_NEVER_WITH_DELAY = (*STAND, *FILMED)

#: What says which mix the forecast of the bench file is of.
_OF_FORECAST = ("--mix", "--water-lost")

#: What takes the place of a forecast: a trace, pressure and burn time as stated.
_THRUST = ("file", "chamber_pressure", "burn_time")

#: Cautions of the topic firing that are not about a delay: of borrowed laws, of a
#: pressure margin, of building to a rule.
_TOPICS = ("delay", "firing")
_NOT_HERE = frozenset({"borrowed-burn-law", "pressure-margin", "class-1-build"})


def add_delay_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the delay column to a command.

    The command has --ambient, --seed and those of :mod:`castsugar.cli.output`.
    """
    group = parser.add_argument_group(
        "delay column",
        "With --delay: how long a column of your delay mix lasts after the end of\n"
        "thrust, or how long to cut it. Both rates come from your strands of it;\n"
        "pressure and burn time from FILE, as stated, or from the forecast of the\n"
        "bench file, of --mix or its only recipe.",
    )
    group.add_argument("--delay", action="store_true", help="turn to the delay column")
    for name, (metavar, words) in _COLUMN.items():
        group.add_argument(name, metavar=metavar, help=words)


def refuse_stray(options: argparse.Namespace) -> None:
    """Refuse options of the delay column without --delay, and of the motor with it."""
    if not options.delay:
        for name in _COLUMN:
            if getattr(options, dest(name)) is not None:
                raise InputError(f"{name} is about the delay column; add --delay")
        return
    wrong = dict.fromkeys(
        _NEVER_WITH_DELAY, "says nothing of a delay column; leave it out"
    )
    if not _foreseen(options):
        wrong |= dict.fromkeys(
            _OF_FORECAST,
            "is about the forecast of the bench file, and pressure and burn time are "
            "given otherwise; leave one out",
        )
    for name, why in wrong.items():
        if getattr(options, dest(name), None):
            raise InputError(f"{name} {why}")


def _foreseen(options: argparse.Namespace) -> bool:
    return all(vars(options).get(name) is None for name in _THRUST)


def is_forecast(options: argparse.Namespace) -> bool:
    """Say whether pressure and burn time can only come from the bench file."""
    return _foreseen(options) and vars(options).get("bench") is not None


def only_recipe(world: World) -> str:
    """Return the recipe that a forecast is of where none is typed.

    Raises
    ------
    InputError
        The bench file names none, or several.
    """
    named = list(world.bench.recipes)
    if len(named) == 1:
        return named[0]
    known = f"one of {', '.join(map(repr, named))}" if named else "a recipe"
    raise InputError(f"--delay foresees one mix; add --mix: {known}")


def forecast_thrusting(
    hardware: Hardware, mix: Mix, *, pressure: float, seed: int
) -> Thrusting:
    """Return the thrust phase as the bench file foresees it, with its bands.

    Raises
    ------
    InputError
        A motor that may have no stable pressure.
    """
    from castsugar.constants import COVERAGE
    from castsugar.motor.delay_inputs import Thrusting
    from castsugar.static_test import forecast

    found = forecast(mix, hardware, pressure=pressure, seed=seed)
    bands = [found.bands[name] for name in ("mean_pressure", "burn_time")]
    wide = [math.log(high / low) / (2.0 * COVERAGE) for low, high in bands]
    if not all(map(math.isfinite, wide)):
        raise InputError(
            f"{found.failed} of {found.draws} draws of this motor have no stable "
            "pressure: no delay follows from it, and it is not to be fired"
        )
    phase = Thrusting.from_trace(
        found.best.time, found.best.pressure, pressure_u=wide[0], time_u=wide[1]
    )
    return replace(phase, correlation=found.correlation)


def run_delay(
    options: argparse.Namespace,
    thrusting: Thrusting | None,
    *,
    source: str = "",
    doubt: str = "",
    invented: tuple[str, ...] = (),
) -> int:
    """Find the delay or the length and print it.

    Without a thrust phase, --chamber-pressure and --burn-time state it; else `source`
    says where it is from, `doubt` what a test of the recording found, and `invented`
    what of it is.
    """
    from castsugar.data.load import load_database
    from castsugar.motor.delay import delay_length, delay_time
    from castsugar.motor.delay_inputs import Settings, ambient_pressure_at, delay_law

    read = {name: given(options, name) for name in _QUANTITIES}
    typed = {name: one for name, one in read.items() if one is not None}
    _check_choice(options, thrusting)
    result = _delay_mix(options, typed["--ambient"].value)
    law = delay_law(result)
    stated: dict[str, Any] = {
        name: typed[option].value
        for name, option in _SETTINGS.items()
        if option in typed
    }
    settings, aloft = Settings(seed=options.seed, **stated), None
    if (height := typed.get("--altitude")) is not None:
        aloft = float(ambient_pressure_at(height.value))
    ambient = typed["--ambient"].value
    common: dict[str, Any] = {
        "ambient": ambient,
        "burning_at": aloft,
        "settings": settings,
    }
    fired = _thrusting(typed, thrusting)
    if "--delay-time" in typed:
        delay = delay_length(law, fired, time=typed["--delay-time"].value, **common)
    else:
        delay = delay_time(law, fired, length=typed["--delay-length"].value, **common)
    asked = replace(_asked(options, typed, result, source), doubt=doubt)
    found = _answer(options, load_database(), delay, asked, invented)

    def drawing(show: Shown) -> Drawing:
        from castsugar.plot.delays import delay_drawing

        said = found.screen(show)
        example = bool(said.invented)
        return delay_drawing(delay, said.title, show=show, invented=example)

    def paper(show: Shown) -> Screen:
        from castsugar.plot.export import shown

        figure = shown(drawing(show), "How the column burns down")
        return replace(found.screen(show), sheet=(figure,))

    answer(options, replace(found, paper=paper))
    for file in getattr(options, "picture", {}).values():
        write_picture(options, file, drawing(units_of(options)))
    return 0


def _check_choice(options: argparse.Namespace, thrusting: Thrusting | None) -> None:
    """Refuse options that are missing or contradict each other."""
    if options.strands is None:
        raise InputError(
            "--delay needs --strands FILE: strands of the delay mix, burned in open "
            "air and at chamber pressure; no other law will do"
        )
    if (options.delay_time is None) == (options.delay_length is None):
        both = "got neither" if options.delay_time is None else "got both"
        raise InputError(
            '--delay takes either --delay-time "6 s", to find the length, or '
            f'--delay-length "12 mm", to find the delay; {both}'
        )
    stated = (options.chamber_pressure, options.burn_time)
    if thrusting is None and any(stated) and None in stated:
        missing = "--burn-time" if options.burn_time is None else "--chamber-pressure"
        raise InputError(
            f"{missing} is missing; give both --chamber-pressure and --burn-time, or "
            "neither where a trace or a bench file tells them"
        )
    if thrusting is None and None in stated:
        raise InputError(
            "--delay needs a trace, or both --chamber-pressure and --burn-time of the "
            "motor, or --bench FILE with its [motor], which foresees them"
        )
    if thrusting is not None and stated != (None, None):
        raise InputError(
            "pressure and burn time come from the trace; leave out --chamber-pressure "
            "and --burn-time, or the trace"
        )
    if thrusting is not None and thrusting.tail is not None and options.emptying:
        raise InputError(
            "the trace shows how the chamber empties; leave out --emptying"
        )


def _delay_mix(options: argparse.Namespace, ambient: float) -> MixResult:
    """Read the strands of the delay mix and turn them into a law."""
    from castsugar.motor.strands import analyse_mix
    from castsugar.readings.strand_files import read_strands

    strands = read_strands(Path(options.strands), ambient=ambient)
    names = list(dict.fromkeys(s.mix for s in strands))
    wanted = options.strand_mix
    if wanted is None and len(names) > 1:
        raise InputError(
            f"{options.strands} holds {len(names)} mixes; name the delay mix with "
            f"--strand-mix: {', '.join(n or '(no name)' for n in names)}"
        )
    if wanted is not None and wanted not in names:
        raise unknown_name(f"mix of {options.strands}", wanted, filter(None, names))
    name = names[0] if wanted is None else wanted
    return analyse_mix(name, [s for s in strands if s.mix == name])


def _thrusting(typed: dict[str, Quantity], thrusting: Thrusting | None) -> Thrusting:
    """Return the thrust phase, with the doubt that was stated about it."""
    from castsugar.motor.delay_inputs import Thrusting

    if thrusting is None:
        thrusting = Thrusting.constant(
            typed["--chamber-pressure"].value, typed["--burn-time"].value
        )
    if "--thrust-uncertainty" in typed:
        u = typed["--thrust-uncertainty"].value
        thrusting = replace(thrusting, pressure_u=u, time_u=u, correlation=0.0)
    return thrusting


def _asked(
    options: argparse.Namespace,
    typed: dict[str, Quantity],
    result: MixResult,
    source: str,
) -> Asked:
    """Return what was typed, for the page."""
    from castsugar.report.delay import Asked

    told = [(w, typed[n].echo()) for n, w in _QUANTITIES.items() if w and n in typed]
    if "--chamber-pressure" not in typed:
        told.append(("chamber pressure and burn time", source))
    return Asked(
        file=Path(options.strands).name,
        source=source,
        result=result,
        typed=tuple(told),
        stated=frozenset(typed),
    )


def _answer(
    options: argparse.Namespace,
    database: Database,
    delay: Delay,
    asked: Asked,
    invented: tuple[str, ...],
) -> Answer:
    """Return what the column does, for every kind of output."""
    from castsugar.report import cautions
    from castsugar.report import delay as said

    known = [c for c in database.cautions_for(_TOPICS) if c.key not in _NOT_HERE]
    next_ = f"{command_text(getattr(options, 'words', ()))} --full"

    def told(show: Shown) -> cautions.Chosen:
        return cautions.chosen(known, {}, _TOPICS, say=show.rule)

    files = invented_files([options.strands, getattr(options, "file", None)])
    bench = next(iter(files), getattr(options, "bench", None) or "")
    invented = files + invented
    return Answer(
        command="delay",
        screen=lambda show: said.delay_screen(
            delay,
            replace(asked, bench=Path(bench).name),
            told(show),
            show,
            next_=next_,
            invented=invented,
        ),
        parts=lambda: said.delay_parts(delay, asked),
        told={
            "version": database.version,
            "conditions": {"exit_pressure_Pa": delay.burning_at},
            "assumptions": list(said.TAKEN),
            "cautions": [c.text for c in known],
        },
        rows=[said.delay_row(delay, asked)],
        fields=said.FIELDS,
    )
