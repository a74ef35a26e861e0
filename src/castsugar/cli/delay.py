"""``castsugar firing --delay``: the delay column."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.answer import Answer, answer, invented_files
from castsugar.cli.firing_options import FILMED, STAND
from castsugar.cli.output import command_text
from castsugar.cli.quantities import dest, given
from castsugar.errors import InputError, unknown_name

if TYPE_CHECKING:
    from castsugar.data.load import Database
    from castsugar.motor.delay import Delay
    from castsugar.motor.delay_inputs import Thrusting
    from castsugar.motor.strands import MixResult
    from castsugar.report.delay import Asked
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
    "--ambient": "air at the test place",
    "--altitude": "altitude above sea level where the delay burns",
}

#: What reduces a recording and means nothing for a delay column.
_NEVER_WITH_DELAY = (*STAND, *FILMED, "--mix", "--water-lost")

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
        "thrust, or how long to cut it. Both rates come from your strands of it.",
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
    for name in _NEVER_WITH_DELAY:
        if getattr(options, dest(name), None):
            raise InputError(f"{name} says nothing of a delay column; leave it out")
    if getattr(options, "picture", None) and getattr(options, "file", None) is None:
        raise InputError("--picture draws the recording; name its FILE (CSV), too")


def run_delay(options: argparse.Namespace, thrusting: Thrusting | None) -> int:
    """Find the delay or the length and print it.

    Without the thrust phase of a trace, --chamber-pressure and --burn-time state it.
    """
    from castsugar.data.load import load_database
    from castsugar.motor.delay import delay_length, delay_time
    from castsugar.motor.delay_inputs import Settings, ambient_pressure_at, delay_law

    read = {name: given(options, name) for name in _QUANTITIES}
    typed = {name: one for name, one in read.items() if one is not None}
    _check_choice(options, thrusting)
    result = _delay_mix(options, typed["--ambient"].value)
    law = delay_law(result)
    settings, aloft = Settings(seed=options.seed), None
    if (length_u := typed.get("--length-uncertainty")) is not None:
        settings = replace(settings, length_u=length_u.value)
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
    asked = _asked(options, typed, result)
    answer(options, _answer(options, load_database(), delay, asked))
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
    if thrusting is None and None in stated:
        raise InputError(
            "--delay needs a trace, or both --chamber-pressure and --burn-time of the "
            "motor"
        )
    if thrusting is not None and stated != (None, None):
        raise InputError(
            "pressure and burn time come from the trace; leave out --chamber-pressure "
            "and --burn-time, or the trace"
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
        thrusting = replace(thrusting, pressure_u=u, time_u=u)
    return thrusting


def _asked(
    options: argparse.Namespace, typed: dict[str, Quantity], result: MixResult
) -> Asked:
    """Return what was typed, for the page."""
    from castsugar.report.delay import Asked

    told = [(w, typed[n].echo()) for n, w in _QUANTITIES.items() if w and n in typed]
    if "--chamber-pressure" not in typed:
        told.append(("chamber pressure and burn time", "from the trace"))
    trace = getattr(options, "file", None)
    return Asked(
        file=Path(options.strands).name,
        trace=Path(trace).name if trace else "",
        result=result,
        typed=tuple(told),
    )


def _answer(
    options: argparse.Namespace, database: Database, delay: Delay, asked: Asked
) -> Answer:
    """Return what the column does, for every kind of output."""
    from castsugar.report import cautions
    from castsugar.report import delay as said

    known = [c for c in database.cautions_for(_TOPICS) if c.key not in _NOT_HERE]
    words = [word for word in getattr(options, "words", ()) if word != "--full"]
    next_ = f"{command_text(words)} --full"

    def told(show: Shown) -> cautions.Chosen:
        return cautions.chosen(known, {}, _TOPICS, say=show.rule)

    invented = invented_files([options.strands, getattr(options, "file", None)])
    return Answer(
        command="delay",
        screen=lambda show: said.delay_screen(
            delay, asked, told(show), show, next_=next_, invented=invented
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
