"""What in a bench file is invented, does not fit, is missing or assumed: by weight."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

from castsugar.bench.tables import Motor, Pan
from castsugar.bench.world import World
from castsugar.frozen import dataclass

if TYPE_CHECKING:
    from castsugar.bench.cross_checks import Lever

#: What may be said of an entry. The first three make the answer of a check a "no".
INVENTED, MISFIT, MISSING, ASSUMED = "invented", "misfit", "missing", "assumed"
STATUSES: Final = (INVENTED, MISFIT, MISSING, ASSUMED)

#: Parts of a bench, those first that move an answer most. Ours: the order in which they
#: stand in the uncertainty budgets of the example, pressure before pour before mass.
ORDER: Final = (
    "motor.burn_law",
    "scatter",
    "motor.throat",
    "motor.case",
    "motor.measured_efficiency",
    "motor",
    "kitchen.measured",
    "kitchen",
    "lots",
    "limits",
    "scale",
    "pan",
)

#: Tables that an answer goes without only by leaving something out.
_WANTED: Final = {
    "motor": "pressure, thrust and burn time are not computed",
    "lots": "moisture and dry solids of the catalogue are taken",
    "limits": "nothing says what a mix must keep",
    "scale": "steps of 0.1 g are taken",
    "pan": "residues of a usual pan are taken",
}

#: Keys that a table goes without at the price of a usual value.
_USUAL: Final = {
    "motor": (
        "throat_spread",
        "density_ratio",
        "density_ratio_spread",
        "area_spread",
        "c_star_spread",
        "grain_temperature",
        "grain_temperature_spread",
        "temperature_sensitivity",
    ),
    "pan": ("residue_cup", "residue_pan"),
}
_TABLES: Final = {"motor": Motor, "pan": Pan}


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One thing that a bench file leaves open."""

    status: str  # one of STATUSES
    #: Table, entry or key: "scale", 'lots."bag A"', "motor.measured_efficiency".
    entry: str
    text: str  # what it is about
    used: bool = True  # whether an answer on one of the file's recipes rests on it

    @property
    def rank(self) -> tuple[int, bool, int]:
        """Sort key: status, then what the recipes rest on, then :data:`ORDER`."""
        places = range(len(ORDER))
        first = (i for i in places if self.entry.startswith(ORDER[i]))
        return STATUSES.index(self.status), not self.used, next(first, len(ORDER))

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "status": self.status,
            "entry": self.entry,
            "text": self.text,
            "used": self.used,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchCheck:
    """What a check of a bench file found.

    Attributes
    ----------
    points : tuple of Point
        Those first that weigh most.
    counts : dict of str to int
        What was read: `recipes`, `lots`, `unused_lots`, `limits`, `measurements`,
        `burn_laws`.
    files : tuple of str
        The bench file, and the strands that it names.
    units : str
        One of :data:`castsugar.units.SHOWN_AS`.
    conditions : dict
        As :attr:`castsugar.bench.world.World.conditions`.
    levers : tuple of Lever
        What moves the pressure margin of the first recipe, those first that nothing
        else in the file tells of.
    """

    points: tuple[Point, ...]
    counts: dict[str, int]
    files: tuple[str, ...]
    units: str
    conditions: dict[str, Any]
    levers: tuple[Lever, ...] = ()

    def __str__(self) -> str:
        counts = ((status, len(self.of(status))) for status in STATUSES)
        told = ", ".join(f"{count} {status}" for status, count in counts if count)
        return f"{', '.join(self.files)}: {told or 'nothing is open'}"

    def of(self, status: str) -> tuple[Point, ...]:
        """Return the points of one status."""
        return tuple(point for point in self.points if point.status == status)

    @property
    def exit_code(self) -> int:
        """1 if an entry is invented, does not fit or is missing, else 0."""
        return int(any(point.status != ASSUMED for point in self.points))

    def to_dict(self) -> dict[str, Any]:
        """Return plain values; pressures in Pa."""
        return {
            "points": [point.to_dict() for point in self.points],
            "counts": dict(self.counts),
            "files": list(self.files),
            "units": self.units,
            "levers": [lever.to_dict() for lever in self.levers],
            "conditions": {
                f"{name}_Pa" if "pressure" in name else name: value
                for name, value in self.conditions.items()
            },
        }


def check(world: World) -> BenchCheck:
    r"""Say what in a bench file is invented, misfit, missing or assumed.

    Parameters
    ----------
    world : World

    Returns
    -------
    BenchCheck

    Raises
    ------
    CastsugarError
        For what no command could use: file, line, key.

    Examples
    --------
    >>> from pathlib import Path
    >>> from castsugar.bench.bench import check_bench
    >>> from castsugar.data.load import load_database
    >>> text = '[scale]\nstep = "0.1 g"\ninvented = true\n'
    >>> found = check(World(check_bench(Path("bench.toml"), text), load_database()))
    >>> found.of("invented")[0].entry, found.exit_code
    ('scale', 1)
    """
    from castsugar.bench.cross_checks import levers

    bench, motor = world.bench, world.bench.motor or {}
    points = [*_invented(world), *_misfits(world), *_missing(world), *_assumed(world)]
    laws = motor.get("burn_law", ())
    lots = {lot["ingredient"] for lot in bench.lots.values()}
    strands = dict.fromkeys(law["strands"] for law in laws if "strands" in law)
    return BenchCheck(
        points=tuple(sorted(points, key=lambda point: point.rank)),
        counts={
            "recipes": len(bench.recipes),
            "lots": len(bench.lots),
            "unused_lots": len(bench.lots) - len(world.lots) if lots else 0,
            "limits": len(bench.limits),
            "measurements": len(bench.kitchen["measured"]),
            "burn_laws": len(laws),
            **_of_others(world),
        },
        files=(bench.path.name, *strands),
        units=world.units,
        conditions=world.conditions,
        levers=levers(world),
    )


def _of_others(world: World) -> dict[str, int]:
    """Return how many strands of how many other benches were imported, if any."""
    from castsugar.motor.burn_evidence import FOREIGN

    every = () if world.motor is None else world.motor.burning.evidence
    others = [one for one in every if one.kind == FOREIGN]
    if not others:
        return {}
    return {
        "other_benches": len({one.bench for one in others}),
        "strands_of_other_benches": sum(len(one.rate) for one in others),
    }


def _invented(world: World) -> Iterator[Point]:
    """Yield the entries that nobody measured; unused ones too."""
    uses = {"lots", "kitchen", "motor", "scale", "pan"}
    used = world.invented_for(world.recipes, uses=uses)
    rests = world.recipes and used
    for entry in world.invented:
        yield Point(
            status=INVENTED,
            entry=entry,
            text="invented, not yours",
            used=not rests or entry in used,
        )


def _misfits(world: World) -> Iterator[Point]:
    """Yield measurements set aside, and strands that do not lie on their law."""
    if world.bench.kitchen.get("cook"):
        outcomes = world.learnt().calibration.outcomes
        for index, outcome in enumerate(outcomes):
            if outcome.contradicts:
                entry = f"kitchen.measured[{index}]"
                yield Point(status=MISFIT, entry=entry, text=outcome.sentence())
    if world.motor is None:
        return
    every = world.motor.burning.evidence
    for text in dict.fromkeys(f"{b.name}: {t}" for b in every for t in b.cautions):
        if ": lack of fit" in text:
            yield Point(status=MISFIT, entry="motor.burn_law", text=text)
    yield from _contradicted(world)


def _contradicted(world: World) -> Iterator[Point]:
    """Yield entries of the motor that contradict one another, by the first recipe."""
    from castsugar.bench.cross_checks import contradictions
    from castsugar.evaluation import evaluate_columns

    recipe = next(iter(world.recipes), "")
    if not recipe:
        return
    given = world.conditions | {"kitchen": world.kitchen}
    columns = evaluate_columns([world.mix(recipe)], confirm=False, **given)
    if columns["status"][0] != "ok":
        return
    names = ("density_kg_m3", "characteristic_velocity_m_s")
    density, velocity = (float(columns[name][0]) for name in names)
    found = contradictions(world, density=density, characteristic_velocity=velocity)
    for text in found:
        yield Point(status=MISFIT, entry="motor", text=text)


def _missing(world: World) -> Iterator[Point]:
    """Yield what only the user can say."""
    bench, motor = world.bench, world.bench.motor
    for table, text in _WANTED.items():
        if not getattr(bench, table):
            yield Point(status=MISSING, entry=table, text=text)
    if not bench.kitchen.get("cook"):
        text = "without a cook nothing is said of the pour"
        yield Point(status=MISSING, entry="kitchen.cook", text=text)
    if motor is not None and motor["case"] is None:
        text = "nothing says what pressure is allowed"
        yield Point(status=MISSING, entry="motor.case", text=text)
    known = world.motor is not None and world.motor.efficiency_measured
    if motor is not None and not known:
        yield Point(
            status=MISSING,
            entry="motor.measured_efficiency",
            text="small motors deliver clearly less than an ideal one: fire and learn",
        )


def _assumed(world: World) -> Iterator[Point]:
    """Yield what a usual value is taken for."""
    for name, keys in _USUAL.items():
        table = getattr(world.bench, name)
        for key in keys if table else ():
            if table[key] is None:
                about = _TABLES[name].KEYS[key].about
                yield Point(status=ASSUMED, entry=f"{name}.{key}", text=about)
    yield from _widths(world)
    for law in (world.bench.motor or {}).get("burn_law", ()):
        if "borrowed" in law:
            text = f"published law {law['borrowed']!r}: its rivals differ 1.7 times"
            yield Point(status=ASSUMED, entry=law["entry"], text=text)
    yield from _guessed(world)
    yield from _without_lot(world)


#: Parameters of the kitchen that one test settles: what is taken, and what it does.
_TESTED = {
    "packing": "0.63 +- 0.04; it alone moves the viscosity 3 to 6 times. Test: "
    "castsugar kitchen brine",
    "nitrate_dissolved": "0.45 (0.2 to 0.75); doubles or halves the viscosity. Test: "
    "castsugar kitchen clear-point",
    "law_exponent": "1.87 +- 0.30; a factor of 2 where it is crowded. Test: "
    "castsugar kitchen flow-out of a thin and of a crowded mix",
}


def _guessed(world: World) -> Iterator[Point]:
    """Yield the parameters of the kitchen that nothing tells of."""
    from castsugar.kitchen.parameters import PLACE, find

    belief = world.kitchen.belief if world.kitchen is not None else None
    for parameter in map(find, belief.used if belief is not None else ()):
        name = parameter.name
        if belief is not None and belief.origins[PLACE[name]] == parameter.origin:
            told = f"{parameter.label}: {_TESTED[name]}" if name in _TESTED else ""
            text = told or parameter.label
            yield Point(status=ASSUMED, entry=f"kitchen.{name}", text=text)


def _widths(world: World) -> Iterator[Point]:
    """Yield the widths of the scatter of burn rates that nobody stated."""
    known = world.motor.burning.scatter.assumed() if world.motor is not None else {}
    for name, width in known.items():
        text = f"of burning rates: {100.0 * width:g} % is taken"
        yield Point(status=ASSUMED, entry=f"scatter.{name}", text=text)
    if _of_others(world):
        from castsugar.motor.scatter import BENCH

        text = f"of burning rates between benches: {100.0 * BENCH:g} % is taken"
        yield Point(status=ASSUMED, entry="imported", text=text)


def _without_lot(world: World) -> Iterator[Point]:
    """Yield ingredients of the recipes that no lot describes."""
    from castsugar.mix.weighing import item_name

    names = {
        item_name(world.database, typed): typed
        for recipe in world.recipes
        for typed, _ in world.mix(recipe).recipe
    }
    for item, typed in names.items():
        if item not in world.lots and world.lots:
            text = f"no lot of {typed}: the catalogue's moisture and solids are taken"
            yield Point(status=ASSUMED, entry=f"lots of {typed}", text=text)
