"""``castsugar firing``: what a static test says, and the delay column."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from castsugar.asked import weigh_recipes
from castsugar.cli.answer import Answer, answer, invented_files, units_of
from castsugar.cli.bench_option import (
    add_bench_option,
    add_syrup_options,
    as_cooked,
    read_shelf,
    world_of,
)
from castsugar.cli.delay import (
    add_delay_options,
    forecast_thrusting,
    is_forecast,
    only_recipe,
    refuse_stray,
    run_delay,
)
from castsugar.cli.filmed import film, run_filmed
from castsugar.cli.filmed import refuse_stray as refuse_sensors
from castsugar.cli.firing_options import (
    add_stand_options,
    assumed_words,
    read_ends,
    read_file,
    read_recorded,
    read_size,
    read_stand,
    typed_words,
)
from castsugar.cli.output import add_output_options, command_text, write_picture
from castsugar.cli.quantities import given, in_si
from castsugar.errors import CastsugarError, InputError

if TYPE_CHECKING:
    from castsugar.data.load import Database
    from castsugar.mix.mix import Mix
    from castsugar.motor.delay_inputs import Thrusting
    from castsugar.motor.hardware import Hardware
    from castsugar.readings.recordings import Recording
    from castsugar.report.firing_rows import Asked
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown
    from castsugar.static_test import StaticTest

_EXAMPLES = """\
FILE is a table with one row a sample: time, and pressure or thrust or both.
Units stand in the header: "time (s)", "pressure (psig)", "thrust (N)"; or in
the row below. Names may be German, French or Spanish; a time may be a clock
(14:03:22.125, 2:03:22.125 PM, with a date). Cells are separated by commas,
semicolons, tabs or blanks, with a decimal comma in the last three; text is
UTF-8, UTF-16 or Latin-1; text above the header and at the end is left out,
and told. What could mean two things is refused; a spreadsheet is to be saved
as CSV first.
Two pressures ("pressure left (bar)") are averaged if they agree.

examples:
  castsugar firing shot.csv --throat "8 mm" --propellant-mass "368 g"
  castsugar firing shot.csv --propellant-mass "368 g" --bench bench.toml \\
      --mix "KNO3:60 powdered sugar:17 corn syrup:23" --picture shot.svg
  castsugar firing --frames "first=12 last=74 rate=30" --throat "8 mm" \\
      --propellant-mass "368 g" --mix base --bench bench.toml
  castsugar firing --delay --strands delay.csv --delay-time "6 s" \\
      --chamber-pressure "2 MPa" --burn-time "1.2 s"
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "firing",
        description="Reduce the recording of a static test, or size a delay column.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "file",
        metavar="FILE",
        nargs="?",
        help="recording (CSV, up to 100 MB); with --delay it may be left out",
    )
    add_stand_options(parser)
    beside = parser.add_argument_group("what it is held against")
    beside.add_argument(
        "--mix", metavar="RECIPE", help="what was cast: gives the ideal c*"
    )
    beside.add_argument(
        "--water-lost",
        metavar="SHARE",
        help="share of the recipe's water that left before the cast (default 0)",
    )
    add_bench_option(beside)
    add_syrup_options(beside)
    add_delay_options(parser)
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="of all draws (default 1)"
    )
    drawn = {"recording": "the recording and what it says, or the delay column"}
    add_output_options(parser, pictures=drawn)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Reduce the recording and print what it says; or turn to the delay column."""
    refuse_stray(options)
    if options.delay:
        return _delay(options)
    refuse_sensors(options)
    if options.file is None and options.frames is None:
        raise InputError(
            "no recording given; name its FILE (CSV), or --frames of a video"
        )
    from castsugar.data.load import load_database

    database = load_database()
    hardware, mix = _beside(options, database)
    if options.frames is not None:
        test = film(options, hardware, mix)
        return run_filmed(
            options,
            database,
            test,
            facts=_facts(test),
            invented=_invented(options, test),
            next_=_in_full(options),
        )
    recording = read_file(options, options.file)
    with _offering_plot(options, recording):
        test = _reduce(options, recording, hardware, mix)
    asked = _asked(options, recording, test)
    answer(options, _answer(options, database, test, asked))
    for file in options.picture.values():
        from castsugar.plot.fired import firing_drawing

        invented, show = bool(_invented(options, test)), units_of(options)
        drawing = firing_drawing(test, asked, show, invented=invented)
        write_picture(options, file, drawing)
    return 0


def _beside(
    options: argparse.Namespace, database: Database
) -> tuple[Hardware | None, Mix | None]:
    """Return the motor and the mix that the firing is held against."""
    shelf, world = read_shelf(options), world_of(options)
    hardware = None if world is None else world.motor
    if options.mix is None:
        if options.water_lost is not None or shelf.syrup is not None:
            raise InputError("water and syrup are stated, but no mix; add --mix RECIPE")
        return hardware, None
    lost = in_si(given(options, "--water-lost"))
    [mix] = weigh_recipes(database, [options.mix], water_lost=lost or 0.0, shelf=shelf)
    if world is not None:
        mix = as_cooked(mix, world, water_lost=lost)
    return hardware, mix


@contextmanager
def _offering_plot(options: argparse.Namespace, recording: Recording) -> Iterator[None]:
    """Draw what was read, or say how to, where a recording is refused."""
    try:
        yield
    except CastsugarError as error:
        if not options.picture:
            raise type(error)(f"{error} (--picture FILE draws what was read)") from None
        _draw_as_read(options, recording)
        file = ", ".join(options.picture.values())
        raise type(error)(f"{error} ({file} shows what was read)") from None


def _draw_as_read(options: argparse.Namespace, recording: Recording) -> None:
    """Draw what was read: label with unit, and values of each course."""
    from castsugar.plot.fired import raw_drawing

    show, found = units_of(options), []
    for name, kind, scale in (("pressure", "pressure", 1e-6), ("thrust", "force", 1.0)):
        values, read_as = (getattr(recording, key) for key in (name, f"{name}_kind"))
        if values is None:
            continue
        volts = read_as == "volts"
        unit = "V" if volts else show.unit(kind)
        more = f", {read_as}" if name == "pressure" and not volts else ""
        scale = 1.0 if volts else scale * show.span(kind, 1.0)
        found.append((f"{name} as read{more}, {unit}", scale * values))
        if name == "pressure" and recording.second_pressure is not None:
            other = scale * recording.second_pressure
            found.append((f"second {name} as read{more}, {unit}", other))
    drawing = raw_drawing(recording.file, recording.time, found)
    for file in options.picture.values():
        write_picture(options, file, drawing)


def _reduce(
    options: argparse.Namespace,
    recording: Recording,
    hardware: Hardware | None,
    mix: Mix | None,
) -> StaticTest:
    """Reduce the recording and put it beside mix and motor."""
    from castsugar.motor.firing.reduction import reduce_recording
    from castsugar.readings.recordings import check_order
    from castsugar.static_test import review

    check_order(recording)
    stand = read_stand(options, hardware, recording)
    reduction = reduce_recording(read_recorded(options, recording, stand), stand)
    size = read_size(options)
    return review(reduction, mix=mix, hardware=hardware, size_u=size, seed=options.seed)


def _delay(options: argparse.Namespace) -> int:
    """Turn to the delay column, with the thrust phase that a trace or a bench gives."""
    if options.file is not None:
        trace = f"trace {PurePath(options.file).name}"
        thrusting, doubt = _thrusting(options)
        return run_delay(options, thrusting, source=trace, doubt=doubt)
    if not is_forecast(options):
        return run_delay(options, None)
    world = world_of(options)
    if world is None or world.motor is None:
        return run_delay(options, None)
    from castsugar.data.load import load_database

    options.mix = options.mix or only_recipe(world)
    hardware, mix = _beside(options, load_database())
    assert hardware is not None
    assert mix is not None
    thrusting = forecast_thrusting(
        hardware, mix, pressure=world.conditions["pressure"], seed=options.seed
    )
    invented = world.invented_for([mix], uses={"motor", "lots"})
    source = f"forecast of {options.mix} ({PurePath(options.bench).name})"
    return run_delay(options, thrusting, source=source, invented=invented)


def _thrusting(options: argparse.Namespace) -> tuple[Thrusting, str]:
    """Return the pressure that the delay column saw, tail and all, and its alarm."""
    from castsugar.motor.delay_inputs import Thrusting
    from castsugar.motor.firing.alarms import alarms_of
    from castsugar.motor.firing.channel import cut, tail_of
    from castsugar.motor.firing.quantities import Stand
    from castsugar.motor.firing.reduction import pressure_channel, reduce_recording
    from castsugar.readings.recordings import check_order

    recording = read_file(options, options.file)
    with _offering_plot(options, recording):
        check_order(recording)
        ambient, share = read_ends(options)
        recorded = read_recorded(options, recording)
        channel = pressure_channel(recorded, ambient=ambient, share=share)
        if channel is None:
            raise InputError(
                f"{recording.file} has no pressure; a delay column burns by it: give "
                "--chamber-pressure and --burn-time instead of the file"
            )
        found = reduce_recording(recorded, Stand(ambient_pressure=ambient, share=share))
    burning = channel.burning
    time, over = cut(channel.time, channel.value, burning.start, burning.end)
    phase = Thrusting.from_trace(time - burning.start, over + ambient)
    after, left = tail_of(channel)
    alarms = alarms_of(found.alarms)
    doubt = found.cause or (alarms[0].text if alarms else "")
    return replace(phase, tail=(after, left + ambient)), doubt


def _asked(
    options: argparse.Namespace, recording: Recording, test: StaticTest
) -> Asked:
    """Say what was typed and what was assumed."""
    from castsugar.report.firing_rows import Asked

    assumed = assumed_words(options, recording, test.hardware)
    if test.mix is not None:
        lost = options.water_lost
        stays = f"{lost} of it left before" if lost else "all of it in"
        assumed += (f"water of the recipe: {stays} the cast",)
    return Asked(
        file=recording.file,
        mix=test.mix.name if test.mix else "",
        typed=typed_words(options),
        assumptions=assumed,
    )


def _answer(
    options: argparse.Namespace, database: Database, test: StaticTest, asked: Asked
) -> Answer:
    """Return what the recording says, for every kind of output."""
    from castsugar.report import cautions, firing, firing_rows

    facts = _facts(test)
    told = partial(cautions.chosen, database.cautions, facts, ["firing"])
    invented, then = _invented(options, test), _next(options, test)

    def screen(show: Shown) -> Screen:
        rules = told(say=show.rule)
        return firing.firing_screen(
            test, asked, rules, show, next_=then, invented=invented
        )

    def paper(show: Shown) -> Screen:
        from castsugar.plot.export import shown
        from castsugar.plot.fired import firing_drawing

        drawing = firing_drawing(test, asked, show, invented=bool(invented))
        figure = shown(drawing, "The recording")
        return replace(screen(show), sheet=(figure,))

    stand = test.reduction.stand
    return Answer(
        command="firing",
        screen=screen,
        paper=paper,
        parts=lambda: firing_rows.firing_parts(test, asked),
        told={
            "version": database.version,
            "conditions": {"exit_pressure_Pa": stand.ambient_pressure},
            "assumptions": list(asked.assumptions),
            "cautions": [c.text for c in database.cautions_for(["firing"], facts)],
        },
        basis=lambda: test.basis,
        rows=[firing_rows.firing_row(test, asked)],
        fields=firing_rows.FIELDS,
    )


def _invented(options: argparse.Namespace, test: StaticTest) -> tuple[str, ...]:
    """Return what is invented behind a firing: the recording, the bench beside it."""
    from castsugar.bench.motor import sizes_invented

    found = invented_files([options.file])
    world = world_of(options)
    if world is None or test.hardware is None:
        return found
    if test.mix is None:  # then no law is known, but the sizes of the grain are taken
        return found + sizes_invented(world.bench)
    return found + world.invented_for([test.mix], uses={"motor", "lots"})


def _next(options: argparse.Namespace, test: StaticTest) -> str:
    """Return what to do next: learn of a firing that stood beside its bench.

    Of one that teaches nothing, read all that was found.
    """
    if options.bench and options.mix and not test.doubts:
        return f"castsugar learn --bench {shlex.quote(options.bench)}"
    return _in_full(options)


def _in_full(options: argparse.Namespace) -> str:
    return f"{command_text(options.words)} --full"


def _facts(test: StaticTest) -> dict[str, float]:
    """Return what is known of this firing, for the cautions."""
    from castsugar.report.cautions import motor_facts

    facts: dict[str, float] = {}
    if (mass := test.reduction.stand.propellant_mass) is not None:
        facts = {"propellant_mass": 1e3 * mass, "installed_mass": 1e3 * mass}
    if (impulse := test.reduction.results.get("total_impulse")) is not None:
        facts["total_impulse"] = impulse.value
    return facts | motor_facts(test.hardware)
