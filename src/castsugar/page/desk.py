"""The opened bench: read once, watched for changes, asked under many settings."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property, lru_cache
from os import PathLike
from pathlib import Path
from typing import Any

from castsugar.asked import Question, Shelf, doubts_of
from castsugar.bench.conditions import conditions_of
from castsugar.bench.kitchen import learn
from castsugar.bench.motor import resized
from castsugar.bench.search import limits_of_bench
from castsugar.bench.world import World, read
from castsugar.comparison.uncertain_inputs import Doubts
from castsugar.errors import CastsugarError
from castsugar.evaluated import Rows, fire_rows, rows_of
from castsugar.files.reading import noted, sha256_of
from castsugar.frozen import dataclass
from castsugar.limits import PEAK, Limit, limits_of
from castsugar.mix.mix import Mix
from castsugar.motor.fired_mixes import Firing
from castsugar.page import boxes
from castsugar.page.boxes import BoxError, Settings, State
from castsugar.page.triangle import base_of, marks_of, triangle_of
from castsugar.report.limit_words import P95
from castsugar.report.shown import Shown
from castsugar.units import SHOWN_AS

#: Settings that are kept, the last ones.
_KEPT = 64

Told = dict[str, Any]


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
        own = [x.value for x in self.limits if x.key in (PEAK, P95) and x.sign > 0]
        return min(own, default=math.nan)


class Page:
    """One opened bench as its server calls it: plain values in, plain values out.

    Parameters
    ----------
    path : path
        Of the bench file.
    read_only : bool
        Said to the page; nothing here writes.

    Attributes
    ----------
    world : World
    hash : str
        SHA-256 of the bench file, and behind it of the files that it names, as opened.
    boxes : dict of dict
        What of the bench may be tried, by units, its own first.

    Notes
    -----
    Every answer is a dict of texts, and of numbers where a curve is drawn. A state that
    cannot be read raises :class:`castsugar.page.boxes.BoxError` with the key of its
    box. One call at a time.
    """

    def __init__(self, path: str | PathLike[str], *, read_only: bool = False) -> None:
        self.path, self.read_only = Path(path), read_only
        self.reload()

    def reload(self, units: Any = None) -> Told:
        """Read the file again, show it; a broken one changes nothing."""
        with noted() as files:
            world = read(self.path)
            _ = world.limits, world.invented  # what cannot be used is said at once
            systems = sorted(SHOWN_AS, key=lambda system: system != world.units)
            made = {x: boxes.boxes_of(world, Shown(x)) for x in systems}
        self.world, self.boxes, self._files = world, made, files
        self.hash, self.base = "".join(files.values()), base_of(world)
        self.asked: Callable[[Settings], Asked] = lru_cache(_KEPT)(self._asked)
        return self.bench(units)

    @property
    def changed(self) -> str:
        """What to say of the files on disk: empty, changed, or the line of a fault."""
        try:
            if all(sha256_of(Path(x)) == known for x, known in self._files.items()):
                return ""
            read(self.path)
        except CastsugarError as error:
            return " ".join(str(error).split())
        return f"{self.path.name} has changed"

    def start(self, units: Any = None) -> Told:
        """Return the state of the page as the bench has it, in some units."""
        units = next((one for one in self.boxes if one == units), self.world.units)
        parts = boxes.parts_of(self.world.recipes.get(self.base, boxes.FIRST))
        return {"parts": parts, "units": units}

    def bench(self, units: Any = None) -> Told:
        """Return what the page needs before its first answer, in some units."""
        world, triangle, start = self.world, triangle_of(self.world), self.start(units)
        recipes = {name: boxes.parts_of(text) for name, text in world.recipes.items()}
        used = [name for parts in recipes.values() for name, _ in parts]
        names = [*used, *world.bench.premixes, *world.database.known_names()]
        return {
            "hash": self.hash,
            "name": self.path.name,
            "read_only": self.read_only,
            **triangle.told(),
            "marks": marks_of(world, triangle),
            "ingredients": list(dict.fromkeys(names)),
            "recipes": recipes,
            "start": start,
            "boxes": [box.told() for box in self.boxes[start["units"]].values()],
        }

    def state(self, typed: Any) -> State:
        """Return a state as typed, checked; BoxError for what cannot be read."""
        return boxes.read_state(typed, self.boxes)

    def _asked(self, settings: Settings) -> Asked:
        """Return the bench under settings; BoxError if there is no such motor."""
        world, own, key = self.world, dict(settings), "cook"
        cook, motor, kitchen = own.pop("cook", None), world.motor, world.kitchen
        bench = world.bench
        for name, value in own.items():
            table, *way = self.boxes[world.units][name].place
            bench = replace(bench, **{table: _put(getattr(bench, table), way, value)})
        try:
            if cook is not None:
                kitchen = learn(bench, cook, world.database).kitchen
            key = next((name for name in ("throat", "grains") if name in own), "")
            if motor is not None and key:
                motor = resized(motor, bench)
            key = next((name for name in own if "-" in name), "")
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


def _put(table: Any, way: Sequence[str], value: Any) -> Any:
    """Return a table with another value at the end of a way."""
    if not way:
        return value
    return {**table, way[0]: _put(table[way[0]], way[1:], value)}
