"""The opened bench: read once, watched for changes, asked under many settings."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from os import PathLike
from pathlib import Path
from typing import Any

from castsugar.asked import Question, Shelf, doubts_of
from castsugar.bench.bench import Bench
from castsugar.bench.conditions import conditions_of
from castsugar.bench.imported import imported_files
from castsugar.bench.kitchen import learn
from castsugar.bench.motor import resized
from castsugar.bench.search import limits_of_bench
from castsugar.bench.world import World, read
from castsugar.comparison.uncertain_inputs import Doubts
from castsugar.errors import CastsugarError
from castsugar.evaluated import Rows, fire_rows, rows_of
from castsugar.files.reading import read_bytes
from castsugar.limits import PEAK, Limit, limits_of
from castsugar.mix.mix import Mix
from castsugar.motor.fired_mixes import Firing
from castsugar.page.boxes import (
    FIRST,
    BoxError,
    Settings,
    State,
    boxes_of,
    parts_of,
    read_state,
)
from castsugar.report.shown import Shown
from castsugar.units import SHOWN_AS

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
    world: World

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
    def case(self) -> float:
        """What the case may hold, NaN if not known. [MPa]"""
        motor = self.question.motor
        return math.nan if motor is None else 1e-6 * motor.allowable

    @property
    def allowed(self) -> float:
        """The same, else what the limits allow; NaN without a motor. [MPa]"""
        if self.question.motor is None or self.case == self.case:
            return self.case
        own = [x.value for x in self.limits if x.key in PRESSURES and x.sign > 0]
        return min(own, default=math.nan)


class Desk:
    """One bench file, opened.

    Attributes
    ----------
    world : World
    hash : str
        SHA-256 of the bench file, and of the strand files it names, as opened.
    boxes : dict of dict
        What of the bench may be tried, by units, its own first.
    """

    def __init__(self, path: str | PathLike[str]) -> None:
        self.path = Path(path)
        self._open(read(self.path))

    def _open(self, world: World) -> None:
        files = files_of(world)
        digest = digest_of(files)
        _ = world.limits, world.invented  # what cannot be used is said at once
        systems = sorted(SHOWN_AS, key=lambda system: system != world.units)
        self.boxes = {system: boxes_of(world, Shown(system)) for system in systems}
        self.world, self.hash, self._files = world, digest, files
        self.asked: Callable[[Settings], Asked] = lru_cache(_KEPT)(self._asked)

    @property
    def base(self) -> str:
        """Name of the mix that others are held against; empty without one."""
        return base_of(self.world)

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

    def start(self, system: Any = None) -> dict[str, Any]:
        """Return the state of the page as the bench has it, in some units."""
        system = next((one for one in self.boxes if one == system), self.world.units)
        return {
            "parts": parts_of(self.world.recipes.get(self.base, FIRST)),
            **{key: box.start for key, box in self.boxes[system].items()},
            "units": system,
        }

    def state(self, typed: Any) -> State:
        """Return a state as typed, checked; BoxError for what cannot be read."""
        return read_state(typed, self.boxes)

    def _asked(self, settings: Settings) -> Asked:
        """Return the bench under settings; BoxError if there is no such motor."""
        world, own = self.world, dict(settings)
        cook, motor, kitchen = own.pop("cook", None), world.motor, world.kitchen
        bench, key = self._moved(world.bench, own), "cook"
        try:
            if cook is not None:
                kitchen = learn(bench, cook, world.database).kitchen
            key = next((k for k in ("throat", "grains") if k in own), "")
            if motor is not None and key:
                motor = resized(motor, bench)
            key = next((k for k in own if "-" in k), "")
            limits = limits_of(limits_of_bench(bench, motor))
        except CastsugarError as error:
            raise BoxError(key, error) from None
        question = Question(
            conditions=conditions_of(bench),
            water_lost=None,
            alternatives={},
            data="nasa-1993",
            uncertainty=False,
            kitchen=kitchen,
            motor=motor,
            shelf=Shelf(bench=bench, lots=world.lots),
            database=world.database,
            world=world,
        )
        step, doubts = doubts_of(bench)
        base = question.weigh([self.base])[0] if self.base else None
        return Asked(question, limits, doubts, step, base, world)

    def _moved(self, bench: Bench, values: dict[str, Any]) -> Bench:
        """Return a bench with other values of its boxes."""
        for key, value in values.items():
            table, *way = self.boxes[self.world.units][key].place
            bench = replace(bench, **{table: _put(getattr(bench, table), way, value)})
        return bench


def _put(table: Any, way: Sequence[str], value: Any) -> Any:
    """Return a table with another value at the end of a way."""
    if not way:
        return value
    return {**table, way[0]: _put(table[way[0]], way[1:], value)}


def files_of(world: World) -> list[Path]:
    """Return the bench file and the files of strands that it rests on."""
    laws = (world.bench.motor or {}).get("burn_law", ())
    named = dict.fromkeys(law["strands"] for law in laws if law.get("strands"))
    own = [world.bench.path.parent / name for name in named]
    return [world.bench.path, *own, *imported_files(world.bench)]


def digest_of(files: list[Path]) -> str:
    """Return the SHA-256 of files, one behind the other."""
    return hashlib.sha256(b"".join(map(read_bytes, files))).hexdigest()


def base_of(world: World) -> str:
    """Return the name of the mix that others are held against; empty without one."""
    return "base" if "base" in world.recipes else next(iter(world.recipes), "")
