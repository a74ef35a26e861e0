"""All that one's own batches teach, and whether the tool was any good."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from castsugar.data.load import Database
from castsugar.errors import CastsugarError
from castsugar.mix.mix import Mix
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.hardware import Hardware
from castsugar.workshop.bench import Bench, check_bench
from castsugar.workshop.learning.alarms import Alarm, alarms_of
from castsugar.workshop.learning.burned import BurnedLearnt, law_for, learn_laws
from castsugar.workshop.learning.checks import KitchenChecks
from castsugar.workshop.learning.checks_firing import PEAK, firing_checks
from castsugar.workshop.learning.checks_motor import strand_checks
from castsugar.workshop.learning.cooked import CookedLearnt, learn_kitchen
from castsugar.workshop.learning.earlier import earlier_of
from castsugar.workshop.learning.fired import (
    Fired,
    FiredLearnt,
    Reduce,
    learn_efficiency,
    read_firings,
)
from castsugar.workshop.learning.lesson import Lesson, Saved
from castsugar.workshop.learning.material import FileFault, Material
from castsugar.workshop.learning.moved import Moved, moved, wanted_of
from castsugar.workshop.learning.save import plan
from castsugar.workshop.learning.tally import Check, Skipped, Tally, tally
from castsugar.workshop.motor_bench import hardware_of


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Learning:
    """What all closed batches teach.

    Attributes
    ----------
    bench : Bench
        As it was read.
    material : Material
    kitchen : CookedLearnt
    burning : BurnedLearnt
    firing : FiredLearnt
    planned : Saved
        What goes into the bench file.
    warnings : tuple of str
        What stays in the bench file although it should be looked at.
    before, after : Hardware or None
        The motor of the bench file without what learn wrote there, and that of the file
        as planned; None without [motor].
    laws : tuple of BurnLaw or None
        What `after` says of every mix of `burning`.
    no_efficiency : str
        Why the combined efficiency cannot be used; empty if it can or there is none.
    alarms : tuple of Alarm
    moved : tuple of Moved
    not_shown : int
        Recipes left out for length.
    checks : tuple of Check
        By quantity, then batch; peaks above their bands first.
    skipped : tuple of Skipped
    tally : Tally
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
    no_efficiency: str
    alarms: tuple[Alarm, ...]
    moved: tuple[Moved, ...]
    not_shown: int
    checks: tuple[Check, ...]
    skipped: tuple[Skipped, ...]
    tally: Tally

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
) -> Learning:
    """Refit kitchen, burn law and efficiency, and hold old predictions to account.

    Parameters
    ----------
    bench : Bench
    material : Material
    database : Database
    reduce : callable
        Reduces a recording with the options that a record keeps.
    changed : bool
        Whether linked files that changed since are used, too.

    Raises
    ------
    CastsugarError
        If the bench file itself cannot be used.
    """
    batches = material.batches
    earlier = earlier_of(bench, material, changed=changed)
    bare = earlier.bare
    kitchen = learn_kitchen(bench, batches, database)
    before = hardware_of(bare, database) if bare.motor is not None else None
    burning = learn_laws(bare, batches, database, hardware=before, changed=changed)
    firing = learn_efficiency(batches, reduce, changed=changed)
    lesson = Lesson(
        bench=bench,
        earlier=earlier,
        kitchen=kitchen,
        burning=burning,
        firing=firing,
        no_efficiency=_efficiency_fault(before, firing),
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
    checks, skipped = _compared(material, firings, database, changed=changed)
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
        no_efficiency=lesson.no_efficiency,
        alarms=alarms_of(firings, material.others, after, database),
        moved=tuple(shown),
        not_shown=hidden,
        checks=checks,
        skipped=skipped,
        tally=tally(checks),
    )


def _compared(
    material: Material, firings: Sequence[Fired], database: Database, *, changed: bool
) -> tuple[tuple[Check, ...], tuple[Skipped, ...]]:
    """Hold what was measured against what was foreseen; discarded batches too."""
    batches = (*material.batches, *material.discarded)
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


def _efficiency_fault(hardware: Hardware | None, firing: FiredLearnt) -> str:
    """Return why a motor cannot have the measured efficiency; empty if it can."""
    if hardware is None or firing.efficiency is None:
        return ""
    value = firing.efficiency.value
    try:
        replace(hardware, efficiency=value, efficiency_measured=True)
    except CastsugarError as error:
        return str(error)
    return ""


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
