"""The opened bench: its boxes, what is typed into them, and what is asked then."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from functools import cached_property, lru_cache
from os import PathLike
from pathlib import Path
from typing import Any

from castsugar import plausible
from castsugar.asked import Question, Shelf, doubts_of
from castsugar.bench.bench import check_bench
from castsugar.bench.conditions import conditions_of
from castsugar.bench.editing import with_value
from castsugar.bench.kitchen import learn
from castsugar.bench.motor import resized
from castsugar.bench.search import limits_of_bench
from castsugar.bench.world import World, read
from castsugar.columns import RENAMED
from castsugar.comparison.uncertain_inputs import Doubts
from castsugar.errors import CastsugarError, InputError
from castsugar.evaluated import Rows, fire_rows, rows_of
from castsugar.files.reading import noted, sha256_of
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import HOTTEST, parse_cook
from castsugar.limits import PEAK, Limit, limits_of
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe
from castsugar.motor.fired_mixes import Firing
from castsugar.page.triangle import FIRST, base_of, marks_of, triangle_of
from castsugar.plausible import RANGES
from castsugar.report import numbers
from castsugar.report.field import FIELDS
from castsugar.report.limit_words import P95
from castsugar.report.shown import Shown
from castsugar.units import SHOWN_AS, to_celsius

#: Settings that are kept, parts of a recipe, characters of a box, at most.
_KEPT, _MOST_PARTS, _LONGEST = 64, 20, 200

#: Coldest and hottest cook of its slider. [C]
_COOKS = 90.0, to_celsius(HOTTEST)

#: A number with a unit, or alone.
_AMOUNT = re.compile(r"(-?[0-9]+\.?[0-9]*|\.[0-9]+)\s*([A-Za-z]*)")

#: Keys of boxes and values that differ from the bench: a cook, else as a file holds it.
Settings = tuple[tuple[str, Any], ...]
Told = dict[str, Any]
Slider = tuple[float, float, float]


class BoxError(InputError):
    """What is wrong with one box; `key` names it."""

    def __init__(self, key: str, error: str | CastsugarError) -> None:
        line = " ".join(str(error).split())
        super().__init__(re.sub(r"^\S*, line [0-9]+: | without quotes", "", line))
        self.key = key


@contextmanager
def boxed(key: str) -> Iterator[None]:
    """Let an error name its box, and a remark say nothing."""
    try:
        with plausible.collected():
            yield
    except CastsugarError as error:
        raise BoxError(key, error) from None


@dataclass(frozen=True, slots=True)
class Box:
    """One value of the bench that is tried on the page.

    `start` is its text in the file, `place` its table and the way to it there; sliders
    are lowest, highest and step of the numbers of the text, in their order.
    """

    key: str
    label: str
    start: str
    place: tuple[str, ...]
    sliders: tuple[Slider, ...] = ()

    @property
    def unit(self) -> str:
        """Unit of the text in the file; empty without one."""
        found = _AMOUNT.fullmatch(self.start)
        return found[2] if found else ""

    def value(self, text: str) -> Any:
        """Return what the file would hold of a text: a bare number has its unit."""
        if self.key == "cook":
            return parse_cook(text)
        found = _AMOUNT.fullmatch(text)
        if found is None:
            return text
        number, unit = float(found[1]), found[2] or self.unit
        if unit:
            return f"{number:.12g} {unit}"
        return int(number) if number.is_integer() else number


def boxes_of(world: World) -> dict[str, Box]:
    """Return the boxes of a bench by their keys."""
    raw = tomllib.loads(world.bench.text.removeprefix("\ufeff"))
    return {one.key: one for one in (*_cook(world), *_motor(raw), *_limits(raw))}


def _cook(world: World) -> Iterator[Box]:
    if world.kitchen is None:
        return
    cook, own = world.kitchen.cook, world.bench.kitchen
    text = str(own["cook"]) + (f" {own['minutes']:g} min" if own["minutes"] else "")
    sliders: tuple[Slider, ...] = ()
    if len({*cook.temperatures}) == 1:
        fahrenheit, long = "F" in text.upper(), cook.duration / 60.0
        ends = (x * 1.8 + 32.0 if fahrenheit else x for x in _COOKS)
        sliders = _slider(*ends), _slider(0.5 * long, 2.0 * long, 0.5)
    yield Box("cook", "cook", text, ("kitchen", "cook"), sliders)


def _motor(raw: Told) -> Iterator[Box]:
    if (motor := raw.get("motor")) is None:
        return
    text, sliders = str(motor["throat"]), list[Slider]()
    if found := _AMOUNT.fullmatch(text):
        now = float(found[1])
        step = 10.0 ** math.floor(math.log10(now) - 1.9)
        sliders = [_slider(0.5 * now, 2.0 * now, step)]
    yield Box("throat", "throat", text, ("motor", "throat"), tuple(sliders))
    if count := motor["grain"].get("segments"):
        ends = (_slider(1.0, max(RANGES["segments"].soft_high, count)),)
        yield Box("grains", "grains", f"{count}", ("motor", "grain", "segments"), ends)


def _limits(raw: Told) -> Iterator[Box]:
    for column, limit in raw.get("limits", {}).items():
        one = FIELDS[RENAMED[column].key if column in RENAMED else column]
        for side in ("at_most", "at_least"):
            if side in limit:
                words = [one.headed(Shown()), side.replace("_", " ")]
                words += [f"in {limit[x]}" for x in ("probability",) if x in limit]
                key, text = f"{column}-{side}", f"{limit[side]}"
                yield Box(key, ", ".join(words), text, ("limits", column, side))


def _slider(low: float, high: float, step: float = 1.0) -> Slider:
    """Return a slider whose ends are multiples of its step."""
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return numbers.tidy(first * step), numbers.tidy(last * step), step


# ----------------------------------------------------------------------------
# What is typed.


@dataclass(frozen=True, slots=True)
class State:
    """A recipe as a command takes it, settings, and units to show them in.

    `own` is what is set on the page alone, in words by the keys of boxes: commands read
    the bench file.
    """

    recipe: str
    settings: Settings
    units: str
    typed: Mapping[str, Any]
    own: Mapping[str, str]

    @property
    def cook(self) -> tuple[str, ...]:
        """Options of a command for a cook that is not that of the bench."""
        return ("--cook", self.typed["cook"]) if "cook" in dict(self.settings) else ()


def read_state(typed: Any, boxes: Mapping[str, Box], usual: str) -> State:
    """Check a state as typed: `parts` as pairs of name and amount, `units`, and texts.

    What is empty or left out is that of the bench; `usual` are its units.
    """
    if not isinstance(typed, Mapping):
        raise BoxError("parts", "the state of the page is no table of boxes")
    system = typed.get("units") or usual
    if system not in SHOWN_AS:
        known = " or ".join(SHOWN_AS)
        raise BoxError("units", f"units are {system!r}; allowed: {known}")
    read, own = Told(), dict[str, str]()
    for key in sorted({*typed} - {"parts", "units"}):
        text = _text(key, typed[key])
        if text and key not in boxes:
            raise BoxError(key, f"{key!r} is not asked: the bench states none")
        if not text or text == boxes[key].start:
            continue
        with boxed(key):
            value = boxes[key].value(text)
        if value != boxes[key].value(boxes[key].start):
            read[key] = value
            own |= {key: f"{boxes[key].label} = {value}"} if key != "cook" else {}
    recipe = _recipe(typed.get("parts"))
    return State(recipe, tuple(read.items()), system, typed, own)


def _text(key: str, typed: Any) -> str:
    """Return what stands in a box."""
    plain = isinstance(typed, str) and len(typed) <= _LONGEST
    if not plain or not f"{typed} ".isprintable():
        raise BoxError(key, f"{key} is no text of at most {_LONGEST} characters")
    return " ".join(typed.split())


def _recipe(typed: Any) -> str:
    """Return names and amounts as one recipe."""
    if not isinstance(typed, list) or not 0 < len(typed) <= _MOST_PARTS:
        raise BoxError("parts", f"a recipe has 1 to {_MOST_PARTS} parts")
    if any(not isinstance(pair, list) or len(pair) != 2 for pair in typed):
        raise BoxError("parts", "a part of a recipe is a name and an amount")
    parts = [[_text("parts", text) for text in pair] for pair in typed]
    for name, amount in parts:
        if not amount:
            raise BoxError("parts", f"{name} has no amount, and leaves the recipe")
    text = " ".join(f"{name}:{amount}" for name, amount in parts)
    with boxed("parts"):
        read = parse_recipe(text, where="recipe")
    if [name for name, _ in read.parts] != [name for name, _ in parts]:
        raise BoxError("parts", "a name holds no ':', '=', ',' or ';'; one part a box")
    return text


def parts_of(recipe: str) -> list[list[str]]:
    """Return names and amounts of a recipe as texts; percent as parts."""
    read = parse_recipe(recipe)
    scale = 1.0 if read.basis == "parts" else 100.0
    return [[name, f"{scale * amount:.8g}"] for name, amount in read.parts]


# ----------------------------------------------------------------------------
# The bench under some settings, and the bench itself.


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

    `hash` is the SHA-256 of the bench file, and behind it of the files that it names,
    as opened. Nothing here writes. A state that cannot be read is a :class:`BoxError`.
    One call at a time.
    """

    def __init__(self, path: str | PathLike[str], *, read_only: bool = False) -> None:
        self.path, self.read_only = Path(path), read_only
        self.reload()

    def reload(self, units: Any = None) -> Told:
        """Read the file again, show it; a broken one changes nothing."""
        with noted() as files:
            world = read(self.path)
            _ = world.limits, world.invented  # what cannot be used is said at once
            made = boxes_of(world)
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

    @property
    def batch(self) -> str:
        """Mass of a batch as the bench states it, else the usual one."""
        return f"{1e3 * doubts_of(self.world.bench)[1].batch:.6g} g"

    def start(self, units: Any = None) -> Told:
        """Return the state of the page as the bench has it, in some units."""
        units = next((one for one in SHOWN_AS if one == units), self.world.units)
        parts = parts_of(self.world.recipes.get(self.base, FIRST))
        return {"parts": parts, "units": units}

    def bench(self, units: Any = None) -> Told:
        """Return what the page needs before its first answer, in some units."""
        world, triangle, start = self.world, triangle_of(self.world), self.start(units)
        recipes = {name: parts_of(text) for name, text in world.recipes.items()}
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
            "batch": self.batch,
            "start": start,
            "boxes": [asdict(box) for box in self.boxes.values()],
        }

    def state(self, typed: Any) -> State:
        """Return a state as typed, checked; BoxError for what cannot be read."""
        return read_state(typed, self.boxes, self.world.units)

    def text_with(self, text: str, key: str, value: Any) -> str:
        """Return the text of a bench file with the value of a box."""
        table, *way = self.boxes[key].place
        return with_value(text, table, way, value)

    def _asked(self, settings: Settings) -> Asked:
        """Return the bench under settings; BoxError if there is no such motor."""
        world, bench = self.world, self.world.bench
        kitchen, motor = world.kitchen, world.motor
        for key, value in settings:
            with boxed(key):
                if key == "cook":
                    kitchen = learn(bench, value, world.database).kitchen
                    continue
                text = self.text_with(bench.text, key, value)
                bench = check_bench(self.path, text)
                if motor is not None and key in ("throat", "grains"):
                    motor = resized(motor, bench)
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
        limits = limits_of(limits_of_bench(bench, motor))
        return Asked(question, limits, doubts, step, base, world)
