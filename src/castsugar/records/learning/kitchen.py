"""The kitchen's parameters, from the bench file and from all closed batches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from castsugar.bench.bench import Bench, read_measurement
from castsugar.bench.kitchen import learn, measurement
from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.frozen import dataclass
from castsugar.kitchen import calibration
from castsugar.kitchen.calibration import Outcome
from castsugar.kitchen.heat import Cook, parse_cook
from castsugar.kitchen.measurements import Measurement
from castsugar.kitchen.parameters import Kitchen
from castsugar.records.batch import Batch, Spot
from castsugar.records.learning.material import marked, measured_in

#: A cook to hold the parameters where neither bench nor batches state one; the
#: parameters do not depend on it.
_ANY_COOK = ("119 C", 10.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A measurement of a batch as typed, under its mark."""

    mark: str
    entry: dict[str, Any]
    note: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CookedLearnt:
    """What the kitchen measurements teach."""

    #: From the bench file without what the batches brought into it, and from all.
    before: Kitchen
    after: Kitchen
    #: In the order used; those that contradict were set aside.
    outcomes: tuple[Outcome, ...]
    own: int  # measurements that are the bench file's own
    kept: tuple[Kept, ...]  # the batches' measurements that were used, in their order
    there: tuple[str, ...]  # marks that the bench file has already
    #: Marks of the bench file whose line of a batch was corrected, is gone or does not
    #: count; those measurements are taken as the bench file's own.
    stale: tuple[str, ...]
    #: Mark and fault of measurements that cannot be used.
    unusable: tuple[tuple[str, str], ...]

    @property
    def contradictions(self) -> tuple[Outcome, ...]:
        """Those that were set aside."""
        return tuple(o for o in self.outcomes if o.contradicts)


def cook_of(bench: Bench, batches: Sequence[Batch]) -> Cook:
    """Return a cook: that of the bench file, or of the last batch that states one."""
    table = bench.kitchen
    if table.get("cook"):
        return parse_cook(table["cook"], table["minutes"], where="[kitchen] cook")
    typed = [(b.made.cook, b.made.minutes) for b in batches if b.made.cook]
    text, minutes = typed[-1] if typed else _ANY_COOK
    return parse_cook(text, minutes, where="cook")


def learn_kitchen(
    bench: Bench, batches: Sequence[Batch], database: Database
) -> CookedLearnt:
    """Refit the parameters of the kitchen.

    The bench file's own measurements come first, then those of the batches by date.

    Raises
    ------
    InputError
        If the bench file cannot be used.
    """
    events = measured_in(batches)
    known = {name for name, *_ in events}
    listed = bench.kitchen["measured"]
    there = [m for m in (marked(e["note"]) for e in listed) if m]
    mine = [e for e in listed if marked(e["note"]) not in known]
    bare = replace(bench, kitchen={**bench.kitchen, "measured": mine})
    before = learn(bare, cook_of(bench, batches), database)
    used: list[Measurement] = []
    kept, unusable = [], []
    for name, batch, event in events:
        try:
            found = _measured(batch, event, before.kitchen, database, name)
        except CastsugarError as error:
            unusable.append((name, str(error)))
            continue
        used.append(found)
        entry = event.values["measurement"]
        kept.append(Kept(mark=name, entry=dict(entry), note=event.note))
    start = before.kitchen.changed(belief=before.calibration.before)
    own = [o.measurement for o in before.calibration.outcomes]
    after = calibration.calibrate(start, [*own, *used])
    outcomes = after.calibration.outcomes
    said = zip(kept, outcomes[len(own) :], strict=True)
    return CookedLearnt(
        before=before.kitchen,
        after=after.kitchen,
        outcomes=outcomes,
        own=len(own),
        kept=tuple(k for k, o in said if not o.contradicts),
        there=tuple(m for m in there if m in known),
        stale=tuple(m for m in there if m not in known),
        unusable=tuple(unusable),
    )


def _measured(
    batch: Batch, event: Any, kitchen: Kitchen, database: Database, name: str
) -> Measurement:
    """Return one measurement of a batch, checked as the bench file's own."""
    spot = Spot(batch.path, event.line)
    entry = read_measurement(event.values["measurement"], spot)
    if entry["kind"] == "ball fall":
        syrup = database.find(entry["syrup"]).name
        if syrup != kitchen.syrup:
            raise InputError(
                f"the ball fell in {syrup!r}, the kitchen's syrup is {kitchen.syrup!r}"
            )
    pan = kitchen.cook.pan
    return measurement(entry, kitchen.air_pressure, database, pan, label=name)
