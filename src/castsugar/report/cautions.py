"""Which cautions apply, and which of them a screen shows: one place for all commands.

The facts of a command (what is in the pan, the worst of its mixes, its motor) decide
which rules of ``cautions.csv`` apply. JSON carries all of those; a screen shows at most
three in one line each (:func:`chosen`) and counts the rest.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from castsugar.frozen import dataclass
from castsugar.report.screen import Finding
from castsugar.report.shown import Shown

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.data.records import Caution, Facts
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.mix.blends import Blends
    from castsugar.mix.mix import Mix
    from castsugar.motor.fired_mixes import Firing
    from castsugar.motor.hardware import Hardware
    from castsugar.motor.strands import StrandResults

Row = Mapping[str, Any]

#: The graver first; the general ones stand in the closing line and the count.
LEVELS = ("stop", "strong", "caution")

#: Writes the numbers of rules where no screen says how.
_IN_SI = Shown().rule


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """What a screen says of the cautions of a command."""

    #: At most as many as asked for, without the mark "! ", each within 76 characters.
    lines: tuple[str, ...]
    keys: tuple[str, ...]  # of the rules in `lines`
    #: Rules that apply and have no line of their own, the general ones included.
    rest: int

    @property
    def count(self) -> int:
        """How many rules apply."""
        return len(self.lines) + self.rest


def chosen(
    cautions: Sequence[Caution],
    facts: Facts,
    topics: Sequence[str],
    shown: int = 3,
    *,
    say: Callable[[float, str], str] = _IN_SI,
) -> Chosen:
    """Choose the cautions of a screen by its numbers.

    Those that a number of the command raises come first, then the others; of each the
    graver level first (stop, strong, caution), then the topics in their order, the
    command's own first. Of several rules about one quantity the gravest has the line,
    for it says what the others say. `say` writes a value in the unit of a rule (g, C,
    percent, N s or none) as the screen shows it.

    Examples
    --------
    >>> from castsugar import load_database
    >>> facts = {"propellant_mass": 369.0, "total_impulse": 512.0}
    >>> for line in chosen(load_database().cautions, facts, ["motor"], shown=2).lines:
    ...     print(line)
    369 g of propellant: beyond 125 g (Class 1, US); local law first.
    512 N s: beyond 320 N s, high power for certified people at a site.
    """
    applying = [c for c in cautions if c.applies(topics, facts)]

    def order(caution: Caution) -> tuple[bool, int, int]:
        places = [i for i, topic in enumerate(topics) if topic in caution.topics]
        return (
            caution.raised_by(facts) is None,
            LEVELS.index(caution.level),
            min(places, default=len(topics)),
        )

    gravest: dict[str, Caution] = {}
    for caution in sorted((c for c in applying if c.level in LEVELS), key=order):
        gravest.setdefault(caution.quantity or caution.key, caution)
    lines = [*gravest.values()][:shown]
    return Chosen(
        lines=tuple(line_of(caution, facts, say) for caution in lines),
        keys=tuple(caution.key for caution in lines),
        rest=len(applying) - len(lines),
    )


def line_of(caution: Caution, facts: Facts, say: Callable[[float, str], str]) -> str:
    """Return the short text with its numbers."""
    value = caution.raised_by(facts)
    if value is None:
        return caution.short
    numbers = {"value": value, "limit": caution.limit}
    told = {slot: say(number, caution.unit) for slot, number in numbers.items()}
    return caution.short.format(**told)


def pan_facts(
    *,
    batch: float | None = None,
    kitchen: Kitchen | None = None,
    bench: Bench | None = None,
    rows: Sequence[Row] = (),
) -> dict[str, float]:
    """Return what is known of a batch [kg] in its pan, which may be closed.

    `rows` of the kitchen's table say how much water evaporates in it.
    """
    from castsugar.units import to_celsius

    facts = {"sealed_container": 0.0}
    if bench is not None:
        from castsugar.bench.tables import is_sealed

        facts["sealed_container"] = float(is_sealed(bench.pan))
    if batch is not None:
        facts["batch_mass"] = 1e3 * batch
    if kitchen is not None:
        facts["bulk_temperature"] = to_celsius(kitchen.cook.hottest)
        if kitchen.cook.pan is not None:
            gone = max((_evaporated(row) for row in rows), default=0.0)
            evaporation = kitchen.cook.pan.batch * gone / kitchen.cook.duration
            facts["wall_temperature"] = to_celsius(kitchen.cook.wall(evaporation))
    return facts


def _evaporated(row: Row) -> float:
    """Return the water that leaves a mix, per mass as weighed; 0 if not known."""
    start, left = (
        0.01 * float(row.get(f"water_as_{when}_percent", math.nan))
        for when in ("weighed", "cast")
    )
    gone = (start - left) / (1.0 - left)
    return max(gone, 0.0) if math.isfinite(gone) else 0.0


def mix_facts(rows: Sequence[Row], mixes: Sequence[Mix]) -> dict[str, float]:
    """Return what is known of mixes, the worst of them."""
    return {
        "water_as_cast": _most(row["water_as_cast_percent"] for row in rows),
        "inert_fraction": _most(100.0 * mix.inert_fraction for mix in mixes),
    }


def facts_of(
    pan: Mapping[str, float],
    mixes: Sequence[Mix],
    rows: Sequence[Row],
    motor: Hardware | None,
    fired: Sequence[Firing | None] = (),
) -> dict[str, float]:
    """Return what is known of mixes in the pan and in the motor, the worst of each."""
    return (
        dict(pan)
        | mix_facts(rows, mixes)
        | motor_facts(motor, rows, mixes=mixes if rows else None, fired=fired)
    )


def topics_of(own: Sequence[str], kitchen: object, motor: object) -> list[str]:
    """Return the topics of a command: its own, and those of the wings it asked."""
    wings = [("kitchen", kitchen), ("motor", motor), ("firing", motor)]
    return [*own, *(name for name, asked in wings if asked is not None)]


def motor_facts(
    motor: Hardware | None,
    rows: Sequence[Row] = (),
    blends: Blends | None = None,
    mixes: Sequence[Mix] | None = None,
    fired: Sequence[Firing | None] = (),
) -> dict[str, float]:
    """Return what is known of a motor filled with the worst of some mixes.

    `rows` are those of the table, of `blends` or `mixes`, which choose the burn laws.
    `fired` gives the total impulse; that of a mix without a firing is its ideal
    specific impulse times its mass.
    """
    if motor is None:
        return {}
    from castsugar.mix.blends import of_mixes
    from castsugar.motor.pressure_table import casting_of, loaded_mass, steepest
    from castsugar.units import to_celsius

    facts = {
        "grain_temperature": to_celsius(motor.grain_temperature),
        "casing_plastic": float(motor.case is not None and motor.case.is_plastic),
    }
    if rows:
        density = "density_kg_m3"
        masses = [
            float(
                loaded_mass(motor.filled(casting_of(row)), row.get(density, math.nan))
            )
            for row in rows
        ]
        facts["propellant_mass"] = 1e3 * _most(masses)
        facts["total_impulse"] = _impulse(rows, masses, fired)
    if motor.installed_mass is not None:
        facts["installed_mass"] = 1e3 * motor.installed_mass
    elif rows:  # nobody said: the rocket is heavier than its propellant
        facts["installed_mass"] = facts["propellant_mass"]
    if blends is None and mixes:
        blends = of_mixes(mixes)
    if blends is not None:
        velocity = [float(row["characteristic_velocity_m_s"]) for row in rows]
        facts["pressure_amplification"] = steepest(motor, blends, velocity)
    return facts


def strand_facts(results: StrandResults) -> dict[str, list[float]]:
    """Return what is known of strands that were burned: of each its temperature."""
    from castsugar.units import to_celsius

    laws = [result.law for result in results.mixes if result.law is not None]
    exponents = [band.exponent for law in laws for band in law.bands]
    return {
        "grain_temperature": [
            to_celsius(strand.temperature)
            for result in results.mixes
            for strand in result.strands
            if strand.temperature is not None
        ],
        "pressure_amplification": [1.0 / (1.0 - n) for n in exponents if n < 1.0],
    }


def _impulse(
    rows: Sequence[Row], masses: Sequence[float], fired: Sequence[Firing | None]
) -> float:
    """Return the largest total impulse. [N s]"""
    from castsugar.constants import STANDARD_GRAVITY

    known = [one.trace.total_impulse for one in fired if one is not None]
    if not known:
        known = [
            mass * STANDARD_GRAVITY * float(row.get("specific_impulse_s", math.nan))
            for mass, row in zip(masses, rows, strict=True)
        ]
    return _most(known)


def _most(values: Any) -> float:
    """Return the largest number; NaN, on which no caution applies, without one."""
    return max((float(v) for v in values if not math.isnan(v)), default=math.nan)


#: No verdict on a recipe above: kitchen.heat.HOTTEST, of which a test asks the same.
_HOTTEST = 423.15


def do_nots(facts: Facts, show: Shown) -> Iterator[Finding]:
    """Yield what must not be done with a pan: too hot, too much, closed."""
    from castsugar.units import to_celsius

    hottest = float(facts.get("bulk_temperature", math.nan))  # type: ignore[arg-type]
    limit = to_celsius(_HOTTEST)
    if hottest > limit + 1e-9:
        told, most = (show.typed("temperature", t) for t in (hottest, limit))
        text = f"cook at {told}: nothing is said above {most} in the bulk; switch the "
        text += "heat off and move away."
        yield Finding("DO NOT", text, {"bulk_temperature_C": hottest})
    batch = float(facts.get("batch_mass", math.nan))  # type: ignore[arg-type]
    if batch > 500.0:
        text = f"cook {show.amount('mass', batch)} in one pan: more than "
        yield Finding(
            "DO NOT", text + f"{show.amount('mass', 500.0)}.", {"batch_g": batch}
        )
    if facts.get("sealed_container") == 1.0:
        yield Finding("DO NOT", "close the pan: [pan] says sealed; leave it open.")
