"""``castsugar firing --frames``: a firing that was filmed, not recorded."""

from __future__ import annotations

import argparse
from functools import partial
from typing import TYPE_CHECKING

from castsugar.cli.answer import Answer, answer
from castsugar.cli.firing_options import (
    SENSORS,
    assumed_of_stand,
    read_size,
    read_stand,
    typed_words,
)
from castsugar.cli.quantities import dest, given, in_si
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.data.load import Database
    from castsugar.mix.mix import Mix
    from castsugar.motor.hardware import Hardware
    from castsugar.report.firing_rows import Asked
    from castsugar.report.screen import Screen
    from castsugar.report.shown import Shown
    from castsugar.static_test import StaticTest

#: What reads a recording and means nothing for a video -> its value if not typed.
_OF_RECORDINGS: dict[str, object] = {
    **dict.fromkeys((*SENSORS, "--pressure-is", "--picture")),
    **dict.fromkeys(("--invert-pressure", "--invert-thrust"), False),
    "--zero": "line",
    "--limits": "5%",
}

#: Options whose names in the record are those of once.
_CALLED = {"--limits": "--threshold"}


def refuse_stray(options: argparse.Namespace) -> None:
    """Refuse what a video has not; and a scale that was not filmed.

    Raises InputError.
    """
    if options.frames is None:
        if given(options, "--peak-scale") is not None:
            raise InputError("--peak-scale needs --frames, when the motor burned")
        return
    if getattr(options, "file", None) is not None:
        raise InputError(
            f"{options.file} and --frames: give the recording or the frames, not both"
        )
    for name, usual in _OF_RECORDINGS.items():
        if (getattr(options, dest(name), None) or usual) != usual:
            said = _CALLED.get(name, name)
            raise InputError(f"{said} is about a recording; with --frames leave it out")


def film(
    options: argparse.Namespace, hardware: Hardware | None, mix: Mix | None
) -> StaticTest:
    """Return what the frames say beside mix and motor; raises InputError."""
    from castsugar.filmed_test import review_frames
    from castsugar.motor.firing.frames import Frames

    return review_frames(
        Frames.parse(options.frames, where="--frames"),
        read_stand(options, hardware),
        mix=mix,
        hardware=hardware,
        peak_thrust=in_si(given(options, "--peak-scale")),
        size_u=read_size(options),
        seed=getattr(options, "seed", 1),
    )


def run_filmed(
    options: argparse.Namespace,
    database: Database,
    test: StaticTest,
    *,
    facts: dict[str, float],
    invented: tuple[str, ...],
    next_: str,
) -> int:
    """Print what the frames say."""
    from castsugar.report import cautions, firing_rows
    from castsugar.report.filmed import filmed_screen

    asked = _asked(options, test)
    told = partial(cautions.chosen, database.cautions, facts, ["firing"])

    def screen(show: Shown) -> Screen:
        return filmed_screen(
            test,
            asked,
            told(say=show.rule),
            show,
            next_=next_,
            invented=invented,
        )

    stand = test.reduction.stand
    found = Answer(
        command="firing",
        screen=screen,
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
    answer(options, found)
    return 0


def _asked(options: argparse.Namespace, test: StaticTest) -> Asked:
    """Say what was typed and what was assumed."""
    from castsugar.motor.firing.frames import ENDS, SHORT
    from castsugar.report.firing_rows import Asked

    filmed = test.filmed
    assert filmed is not None
    wider = 2.0 if filmed.frames.lasting < SHORT else 1.0
    assumed = [
        *assumed_of_stand(options, test.hardware),
        f"each end of the burning known to {wider:g} frame and {wider * ENDS:g} s "
        "(rectangles)",
    ]
    if test.mix is not None:
        assumed += [
            f"c* efficiency {100 * filmed.efficiency:.3g} %, to "
            f"{100 * filmed.efficiency_u:.2g} % (one standard uncertainty)",
            f"water of the recipe: {options.water_lost or 'none'} of it left before "
            "the cast",
        ]
    return Asked(
        file="",
        mix=test.mix.name if test.mix else "",
        recipe=options.mix or "",
        typed=tuple(
            (what, text)
            for what, text in typed_words(options)
            if what not in ("zero", "limits")
        ),
        assumptions=tuple(assumed),
    )
