"""The opened bench: read once, watched for changes, asked under many settings."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from castsugar.asked import Question, Shelf, doubts_of
from castsugar.bench.conditions import conditions_of
from castsugar.bench.imported import imported_files
from castsugar.bench.kitchen import learn
from castsugar.bench.motor import resized
from castsugar.bench.search import limits_of_bench
from castsugar.bench.search_tables import CASE
from castsugar.bench.world import World, read
from castsugar.comparison.uncertain_inputs import Doubts
from castsugar.draw_set import FEW_DRAWS
from castsugar.errors import CastsugarError
from castsugar.evaluated import Rows, fire_rows, rows_of
from castsugar.files.reading import read_bytes
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import Cook
from castsugar.kitchen.parameters import Kitchen
from castsugar.limits import PEAK, Limit, Requirement, limits_of
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe
from castsugar.motor.fired_mixes import Firing
from castsugar.motor.hardware import Hardware
from castsugar.page.state import BoxError, Settings, limit_keys
from castsugar.report import numbers
from castsugar.report.field import FIELDS
from castsugar.report.shown import SI, Shown
from castsugar.units import SHOWN_AS, to_celsius

#: Settings that are kept, the last ones.
_KEPT = 64

#: Columns of the pressure that a case must hold.
PRESSURES = (PEAK, "peak_pressure_p95_MPa")


@dataclass(eq=False)
class Asked:
    """A bench under some settings, and what these alone fix; scale step in kg."""

    question: Question
    limits: tuple[Limit, ...]
    doubts: Doubts
    scale_step: float
    base: Mix | None

    @cached_property
    def few(self) -> Question:
        """The same of few draws, for a region."""
        kitchen, motor = self.question.kitchen, self.question.motor
        return replace(
            self.question,
            kitchen=kitchen and kitchen.changed(draws=FEW_DRAWS),
            motor=motor and replace(motor, draws=FEW_DRAWS),
        )

    def rows(self, mixes: Sequence[Mix], **more: Any) -> Rows:
        """Return rows of the table, with the quantiles that the limits ask for."""
        return rows_of(self.question, mixes, self.limits, **more)

    @cached_property
    def base_firing(self) -> Firing | None:
        """The base in the motor, at the best estimate."""
        if self.base is None or self.question.motor is None:
            return None
        rows = self.rows([self.base], windows=False)
        return fire_rows(self.question, [self.base], rows)[0]

    @property
    def world(self) -> World:
        """The bench, as opened."""
        assert self.question.world is not None
        return self.question.world

    @property
    def case(self) -> float:
        """What the case may hold, NaN if not known. [MPa]"""
        motor = self.question.motor
        return math.nan if motor is None else 1e-6 * motor.allowable

    @property
    def allowed(self) -> float:
        """The same, else what the limits allow; NaN without a motor. [MPa]"""
        own = [x.value for x in self.limits if x.key in PRESSURES and x.sign > 0]
        known = self.case if self.case == self.case else min(own, default=math.nan)
        return known if self.question.motor is not None else math.nan


class Desk:
    """One bench file, opened.

    Attributes
    ----------
    world : World
    hash : str
        SHA-256 of the bench file, and of the strand files it names, as opened.
    starts : dict of dict
        The state of the page as the bench has it, by units, its own first.
    start : dict
        That in its own units.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._open(read(path))

    def _open(self, world: World) -> None:
        files = files_of(world)
        digest = digest_of(files)
        _ = world.limits, world.invented  # what cannot be used is said at once
        systems = sorted(SHOWN_AS, key=lambda system: system != world.units)
        starts = {system: start_of(world, system) for system in systems}
        self.world, self.hash, self._files = world, digest, files
        self.starts, self.start = starts, starts[world.units]
        self.asked: Callable[[Settings], Asked] = lru_cache(_KEPT)(self._asked)

    @property
    def text(self) -> str:
        """The bench file, as opened."""
        return self.world.bench.text

    @property
    def changed(self) -> str:
        """What to say of the files on disk: empty, changed, or the line of a fault."""
        try:
            if digest_of(self._files) == self.hash:
                return ""
            read(self.path)
        except CastsugarError as error:
            return " ".join(str(error).split())
        return f"{self.path.name} has changed"

    def _asked(self, settings: Settings) -> Asked:
        """Return the bench under settings; BoxError if there is no such motor."""
        world = self.world
        bench = world.bench
        motor = self._motor(settings)
        question = Question(
            conditions=conditions_of(bench),
            water_lost=None,
            alternatives={},
            data="nasa-1993",
            uncertainty=False,
            kitchen=self._kitchen(settings.cook),
            motor=motor,
            shelf=Shelf(bench=bench, lots=world.lots),
            database=world.database,
            world=world,
        )
        step, doubts = doubts_of(bench)
        name = base_of(world)
        return Asked(
            question=question,
            limits=limits_of(needs_of(world, settings.limits, motor)),
            doubts=doubts,
            scale_step=step,
            base=question.weigh([name])[0] if name else None,
        )

    def _kitchen(self, cook: Cook | None) -> Kitchen | None:
        if cook is None:
            return self.world.kitchen
        try:
            return learn(self.world.bench, cook, self.world.database).kitchen
        except CastsugarError as error:
            raise BoxError("cook", str(error)) from None

    def _motor(self, settings: Settings) -> Hardware | None:
        motor, bench = self.world.motor, self.world.bench
        if motor is None:
            return None
        key = "grains" if settings.throat is None else "throat"
        try:
            return resized(
                motor, bench, throat=settings.throat, segments=settings.grains
            )
        except CastsugarError as error:
            raise BoxError(key, str(error)) from None


# ----------------------------------------------------------------------------
# The files, and what the bench itself states, as text in boxes.


def files_of(world: World) -> list[Path]:
    """Return the bench file and the files of strands that it rests on."""
    laws = (world.bench.motor or {}).get("burn_law", ())
    named = dict.fromkeys(law["strands"] for law in laws if law.get("strands"))
    own = [world.bench.path.parent / name for name in named]
    return [world.bench.path, *own, *imported_files(world.bench)]


def digest_of(files: list[Path]) -> str:
    """Return the SHA-256 of files, one behind the other."""
    found = hashlib.sha256()
    for one in files:
        found.update(read_bytes(one))
    return found.hexdigest()


def base_of(world: World) -> str:
    """Return the name of the mix that others are held against; empty without one."""
    return "base" if "base" in world.recipes else next(iter(world.recipes), "")


def needs_of(
    world: World, typed: Sequence[tuple[str, float | str]], motor: Hardware | None
) -> tuple[Requirement, ...]:
    """Return the limits of a bench with typed values, that of the case among them."""
    limits = {column: dict(limit) for column, limit in world.bench.limits.items()}
    for key, value in typed:
        column, _, side = key.partition("-")
        limits[column][side] = value
    try:
        return limits_of_bench(replace(world.bench, limits=limits), motor)
    except CastsugarError as error:
        raise BoxError(typed[0][0], str(error)) from None


def start_of(world: World, system: str) -> dict[str, Any]:
    """Return the state of the page as the bench has it: texts, in some units."""
    show, motor = Shown(system), world.bench.motor or {}
    cook, minutes = _cook_texts(world, show)
    throat, segments = motor.get("throat"), (motor.get("grain") or {}).get("segments")
    name, limits = base_of(world), world.bench.limits
    return {
        "parts": parts_of(world.recipes[name] if name else FIRST),
        "cook": cook,
        "minutes": minutes,
        "throat": "" if throat is None else show.typed("length", 1e3 * throat),
        "grains": "" if segments is None else f"{int(segments)}",
        "limits": {
            key: _limit_text(world, column, limits[column][side], show)
            for key, column, side in limit_keys(limits)
        },
        "units": system,
    }


def _limit_text(world: World, column: str, value: float | str, show: Shown) -> str:
    """Write a limit as a box holds it: with its unit."""
    if value == CASE:
        value = 1e-6 * world.stated_motor.allowable
    text = show.typed(FIELDS[column].kind, float(value))
    return text.replace("\u2212", "-")


#: What stands in the boxes of a bench without recipes.
FIRST = "KNO3:60 powdered sugar:20 corn syrup:20"


def parts_of(recipe: str) -> list[list[str]]:
    """Return names and amounts of a recipe as texts; percent as parts."""
    read = parse_recipe(recipe)
    scale = 1.0 if read.basis == "parts" else 100.0
    return [[name, f"{scale * amount:.8g}"] for name, amount in read.parts]


def _cook_texts(world: World, show: Shown) -> tuple[str, str]:
    """Return the cook of the bench, and its minutes where it is held."""
    kitchen = world.kitchen
    if kitchen is None:
        return "", ""
    cook = kitchen.cook
    if len({*cook.temperatures}) > 1:
        return str(world.bench.kitchen["cook"]), ""
    celsius = to_celsius(cook.pour_temperature)
    degrees = numbers.typed(numbers.tidy(show.number("temperature", celsius)))
    return (
        f"{degrees} {'C' if show.system == SI else 'F'}",
        numbers.typed(numbers.tidy(cook.duration / 60.0)),
    )
