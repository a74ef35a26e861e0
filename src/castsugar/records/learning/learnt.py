"""All that one's own batches teach, and how predictions move by it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from castsugar.bench.bench import Bench, check_bench
from castsugar.bench.conditions import conditions_of
from castsugar.bench.lots import lots_of
from castsugar.bench.motor import hardware_of
from castsugar.conditions import Conditions
from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.evaluation import evaluate_columns
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import Cook, parse_cook
from castsugar.kitchen.parameters import Kitchen
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe
from castsugar.mix.weighing import catalogue_shares
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.burn_model import SAME
from castsugar.motor.delivered import efficiencies_in_use
from castsugar.motor.efficiency import Efficiencies, learn_efficiencies
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import compositions, differs, peaks_of
from castsugar.records.batch import Batch
from castsugar.records.learning.alarms import (
    PEAK,
    Alarm,
    alarms_of,
    firing_checks,
    strand_checks,
)
from castsugar.records.learning.burn_laws import BurnedLearnt, law_for, learn_laws
from castsugar.records.learning.checks import (
    Check,
    Inflation,
    KitchenChecks,
    Skipped,
    Tally,
    inflations,
    tally,
)
from castsugar.records.learning.firings import (
    Fired,
    FiredLearnt,
    Reduce,
    learn_firings,
    read_firings,
)
from castsugar.records.learning.kitchen import CookedLearnt, learn_kitchen
from castsugar.records.learning.material import FileFault, Material
from castsugar.records.learning.saving import (
    Lesson,
    Saved,
    earlier_of,
    plan,
    reasons_of,
)
from castsugar.rows import records
from castsugar.static_test import StaticTest

# ----------------------------------------------------------------------------
# How predictions move: the user's recipes before and after learning.

#: Most recipes that are shown: those of the bench file, then the latest batches'.
MOST = 12

#: Columns that learning moves.
COLUMNS = (
    "flow_class",
    "pour_viscosity_Pa_s",
    "pour_viscosity_p10_Pa_s",
    "pour_viscosity_p90_Pa_s",
    "pours_probability",
    "peak_pressure_MPa",
    "peak_pressure_p95_MPa",
    "pressure_margin_percent",
    "burn_law_origin",
    "flags",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A recipe to predict: what it is called, its mass fractions, how it is made."""

    name: str
    fractions: dict[str, float]
    cook: str
    minutes: float | None
    process: str

    def is_like(self, other: Wanted) -> bool:
        """Return whether another one is the same mix, made in the same way."""
        made, like = ((one.cook, one.minutes, one.process) for one in (self, other))
        return made == like and differs(self.fractions, other.fractions) < SAME


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """What is predicted of a recipe, before and after."""

    name: str
    cook: str
    #: Those of COLUMNS; empty where it cannot be predicted.
    before: dict[str, Any]
    after: dict[str, Any]
    fault: str = ""  # why not


def wanted_of(
    bench: Bench, batches: Sequence[Batch], database: Database
) -> tuple[list[Wanted], int]:
    """Return the recipes to predict, and how many were left out for length."""
    table = bench.kitchen
    cook, minutes = table.get("cook") or "", table.get("minutes")
    found: list[Wanted] = []
    for name, text in bench.recipes.items():
        with bench.place("recipes").named(name):
            parts = catalogue_shares(database, parse_recipe(text).parts)
        entry = Wanted(
            name=name,
            fractions=parts,
            cook=cook,
            minutes=minutes,
            process=bench.process_of(name),
        )
        _add(found, entry)
    for batch in reversed(batches):
        made = batch.made
        name = made.name or made.recipe
        entry = Wanted(
            name=name,
            fractions=dict(made.fractions),
            cook=made.cook,
            minutes=made.minutes,
            process=made.process or str(table["process"]),
        )
        _add(found, entry)
    return found[:MOST], max(0, len(found) - MOST)


def _add(found: list[Wanted], new: Wanted) -> None:
    """Add a recipe that is not there yet."""
    if not any(old.is_like(new) for old in found):
        found.append(new)


def moved(
    wanted: Sequence[Wanted],
    bench: Bench,
    database: Database,
    *,
    kitchens: tuple[Kitchen, Kitchen],
    motors: tuple[Hardware | None, Hardware | None],
) -> list[Moved]:
    """Predict recipes before and after.

    Parameters
    ----------
    bench, database
        Lots in use come from the bench file.
    kitchens, motors : tuple of before, after
        The cook of each recipe takes the place of the kitchens' own.
    """
    lots = {item: lot for item, (lot, _) in lots_of(bench, database).items()}
    found = []
    for entry in wanted:
        try:
            cook = parse_cook(entry.cook, entry.minutes) if entry.cook else None
            parts = entry.fractions
            used = {n: lot for n, lot in lots.items() if n in parts}
            mix = Mix.put_together(
                parts,
                name=entry.name,
                lots=used,
                process=entry.process,
                database=database,
            )
            both = [
                _predicted(mix, cook, kitchen, motor, conditions_of(bench))
                for kitchen, motor in zip(kitchens, motors, strict=True)
            ]
        except CastsugarError as error:
            found.append(_unknown(entry, str(error)))
            continue
        before, after = both
        found.append(
            Moved(name=entry.name, cook=_words(entry), before=before, after=after)
        )
    return found


def _unknown(entry: Wanted, fault: str) -> Moved:
    return Moved(name=entry.name, cook=_words(entry), before={}, after={}, fault=fault)


def _words(entry: Wanted) -> str:
    if not entry.cook:
        return ""
    held = f", {entry.minutes:g} min" if entry.minutes is not None else ""
    return f"{entry.cook}{held}"


def _predicted(
    mix: Mix,
    cook: Cook | None,
    kitchen: Kitchen,
    motor: Hardware | None,
    conditions: Conditions,
) -> dict[str, Any]:
    """Return the columns that learning moves."""
    columns = evaluate_columns(
        [mix],
        **conditions.options(),
        kitchen=None if cook is None else kitchen.changed(cook=cook),
        motor=motor,
        confirm=False,
    )
    row = records(columns)[0]
    return {key: row[key] for key in COLUMNS if key in row}


# ----------------------------------------------------------------------------
# How the forecast of a firing moves by what was learnt, and by which of it.


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """The peak of a firing as half of the next batches have it. [Pa]

    With the c* efficiency that is stated, was learnt, or is held beforehand.
    """

    batch: str
    file: str
    predicted: float  # without what was learnt
    by_rate: float  # with the burn rates that were learnt, the c* efficiency as before
    now: float  # with all of it
    measured: float


def forecasts_of(
    firings: Sequence[Fired], before: Hardware | None, after: Hardware | None
) -> tuple[Forecast, ...]:
    """Return how the forecast moved of every firing that teaches."""
    if before is None or after is None:
        return ()
    found = []
    for fired in firings:
        test = fired.test
        if test is None or fired.left_out or "motor" in fired.link.options:
            continue
        peak = test.reduction.results.get("peak_pressure")
        if peak is None or peak.bound or test.row.get("status") != "ok":
            continue
        held, learnt = (
            efficiencies_in_use(motor).characteristic_velocity.value
            for motor in (before, after)
        )
        predicted, by_rate, now = (
            _half_below(test, motor, efficiency)
            for motor, efficiency in ((before, held), (after, held), (after, learnt))
        )
        found.append(
            Forecast(
                batch=fired.batch.id,
                file=fired.link.path.name,
                predicted=predicted,
                by_rate=by_rate,
                now=now,
                measured=peak.value,
            )
        )
    return tuple(found)


def _half_below(test: StaticTest, motor: Hardware, efficiency: float) -> float:
    """Return the peak that half of the next batches stay below, as fired. [Pa]"""
    assert test.mix is not None  # its row was computed
    throat = test.reduction.stand.throat_diameter or motor.throat_diameter
    as_fired = replace(
        motor,
        throat_diameter=throat,
        throat_after=None,
        exit_diameter=None,
        efficiency=min(efficiency, 1.0),
        efficiency_measured=True,
    )
    made = compositions(of_mixes([test.mix]))
    velocity = test.row["characteristic_velocity_m_s"]
    supply = as_fired.supply(test.row["density_kg_m3"], velocity)
    found, _ = peaks_of(as_fired, motor.burning, made, supply, (0.5,))
    return float(found[0, 0])


# ----------------------------------------------------------------------------
# All that one's own batches teach, and whether the tool was any good.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Learning:
    """What all closed batches teach.

    Attributes
    ----------
    bench : Bench
        As it was read.
    planned : Saved
        What goes into the bench file.
    warnings : tuple of str
        What stays in the bench file although it should be looked at.
    before, after : Hardware or None
        The motor of the bench file without what learn wrote there, and that of the file
        as planned; None without [motor].
    efficiencies : tuple of Efficiencies
        Of the motor before and after.
    laws : tuple of BurnLaw or None
        What `after` says of every mix of `burning`.
    not_shown : int
        Recipes left out for length.
    checks : tuple of Check
        By quantity, then batch; peaks above their bands first.
    material : Material
        The batches that it was learnt from, and those that do not count.
    kitchen, burning, firing : CookedLearnt, BurnedLearnt, FiredLearnt
        What was measured while cooking, what burned, what was fired.
    alarms : tuple of Alarm
        What looks like a fault or a change.
    moved : tuple of Moved
        Answers that the learning moves.
    skipped : tuple of Skipped
        What could not be held against a prediction, and why.
    forecasts : tuple of Forecast
        What was foreseen of firings.
    tally : Tally
        How many predictions lie inside their bands.
    inflations : tuple of Inflation
        Bands that were too narrow.
    """

    bench: Bench
    material: Material
    kitchen: CookedLearnt
    burning: BurnedLearnt
    firing: FiredLearnt
    planned: Saved
    warnings: tuple[str, ...]
    before: Hardware | None
    after: Hardware | None
    laws: tuple[BurnLaw | None, ...]
    alarms: tuple[Alarm, ...]
    moved: tuple[Moved, ...]
    not_shown: int
    checks: tuple[Check, ...]
    skipped: tuple[Skipped, ...]
    efficiencies: tuple[Efficiencies, Efficiencies]
    forecasts: tuple[Forecast, ...]
    tally: Tally
    inflations: tuple[Inflation, ...]

    def __repr__(self) -> str:
        """Say what there is, not all of it."""
        found = self.tally
        return (
            f"Learning({str(self.bench.path)!r}: {len(self.material.batches)} closed "
            f"batches, {found.inside} of {found.count} predictions inside their bands, "
            f"{len(self.planned.written)} entries to save)"
        )

    @property
    def faults(self) -> tuple[FileFault, ...]:
        """Linked files that are not as they were."""
        return (*self.burning.faults, *self.firing.faults)


def learn_all(
    bench: Bench,
    material: Material,
    database: Database,
    *,
    reduce: Reduce,
    changed: bool = False,
    accepted: Mapping[str, str] | None = None,
) -> Learning:
    """Refit kitchen, burn law and efficiency, and hold old predictions to account.

    Parameters
    ----------
    bench : Bench
        ``world.bench`` of :func:`castsugar.bench.read`.
    material : Material
        Of :func:`castsugar.records.material_of`.
    database : Database
    reduce : callable
        Reduces a recording with the options that a record keeps.
    changed : bool
        Whether linked files that changed since are used, too.
    accepted : mapping of str to str, optional
        Batch, or batch and recording, to the reason why a doubted firing counts.

    Returns
    -------
    Learning
        Nothing is written: see :func:`castsugar.records.save`.

    Raises
    ------
    CastsugarError
        If the bench file itself cannot be used, or a firing cannot be accepted.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import castsugar as cs
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = cs.bench.write_example(Path(folder))
    ...     world = cs.bench.read(Path(folder) / "bench.toml")
    ...     none = cs.records.material_of([], [])
    ...     found = learn_all(world.bench, none, world.database, reduce=print)
    >>> found.tally.count
    0
    """
    batches = material.batches
    earlier = earlier_of(bench, material, changed=changed)
    bare = earlier.bare
    kitchen = learn_kitchen(bench, batches, database)
    before = hardware_of(bare, database) if bare.motor is not None else None
    burning = learn_laws(bare, batches, database, hardware=before, changed=changed)
    reasons = accepted or {}
    firing = learn_firings(
        batches, reduce, changed=changed, accepted=reasons_of(bench) | dict(reasons)
    )
    _check_accepted(reasons, firing)
    lesson = Lesson(
        bench=bench,
        earlier=earlier,
        kitchen=kitchen,
        burning=burning,
        firing=firing,
    )
    planned = plan(lesson)
    after = None
    if before is not None:
        after = hardware_of(check_bench(bench.path, planned.text), database)
    wanted, hidden = wanted_of(bench, batches, database)
    shown = moved(
        wanted,
        bench,
        database,
        kitchens=(kitchen.before, kitchen.after),
        motors=(before, after),
    )
    gone = read_firings(material.discarded, reduce, changed=changed)
    known = {f.link.sha256 for f in firing.firings}
    firings = [*firing.firings]
    firings += [f for f in gone.firings if f.link.sha256 not in known]
    closed = (*material.batches, *material.discarded)
    checks, skipped = compare_batches(closed, firings, database, changed=changed)
    return Learning(
        bench=bench,
        material=material,
        kitchen=kitchen,
        burning=burning,
        firing=firing,
        planned=planned,
        warnings=earlier.warnings,
        before=before,
        after=after,
        laws=tuple(_law(m.fractions, after, database) for m in burning.mixes),
        alarms=alarms_of(firings, material.others, after, database),
        moved=tuple(shown),
        not_shown=hidden,
        checks=checks,
        skipped=skipped,
        efficiencies=(
            learn_efficiencies() if before is None else before.efficiencies,
            firing.efficiencies if after is None else after.efficiencies,
        ),
        forecasts=forecasts_of(firing.firings, before, after),
        tally=tally(checks),
        inflations=inflations(checks),
    )


def compare_batches(
    batches: Sequence[Batch],
    firings: Sequence[Fired],
    database: Database,
    *,
    changed: bool = False,
) -> tuple[tuple[Check, ...], tuple[Skipped, ...]]:
    """Hold what was measured of batches against what was predicted of them.

    Returns
    -------
    checks, skipped
        By quantity, peaks above their bands first; what no prediction answers.
    """
    cooked = KitchenChecks(database)
    cooked.add(batches)
    more = [*strand_checks(batches, database, changed=changed)]
    more += firing_checks(firings, database)
    found = [*cooked.checks, *(c for c in more if isinstance(c, Check))]
    skipped = *cooked.skipped, *(s for s in more if isinstance(s, Skipped))
    return _by_quantity(found), skipped


def _law(
    fractions: Mapping[str, float], hardware: Hardware | None, database: Database
) -> BurnLaw | None:
    """Return the law that a motor has for a mix."""
    if hardware is None:
        return None
    return law_for(Mix.put_together(fractions, database=database), hardware)


def _check_accepted(accepted: Mapping[str, str], firing: FiredLearnt) -> None:
    """Refuse to accept what is not doubted, and what cannot be."""
    for name in accepted:
        found = [f for f in firing.firings if name in (f.name, f.batch.id)]
        doubted = [f for f in found if f.doubts]
        if not doubted:
            said = "no firing of it is left out" if found else "it has no firing"
            raise InputError(f"--accept {name}: {said} in the closed batches")
        for one in doubted:
            if one.why_not:
                raise InputError(
                    f"--accept {name}: {one.link.path.name} teaches nothing, whatever "
                    f"the reason: {one.why_not}"
                )


def _by_quantity(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Put checks of one quantity together, in the order of first appearance.

    Peaks above their bands come first.
    """
    groups: dict[str, list[Check]] = {}
    for check in checks:
        groups.setdefault(check.quantity, []).append(check)
    peaks = groups.get(PEAK, [])
    if any(c.above for c in peaks):
        first = sorted(groups.pop(PEAK), key=lambda c: not c.above)
        groups = {PEAK: first, **groups}
    return tuple(c for group in groups.values() for c in group)
