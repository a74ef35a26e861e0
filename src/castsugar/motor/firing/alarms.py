"""What a test of a recording found: an alarm, something unusual, or nothing told."""

from __future__ import annotations

from collections.abc import Iterable

from castsugar.frozen import dataclass

#: Levels, worst first. An alarm teaches nothing and withholds what hangs on it; what is
#: unusual is said and may teach; a test that is not told lacks what it needs.
ALARM, UNUSUAL, NOT_TOLD = LEVELS = ("alarm", "unusual", "not told")

#: Tests, in the order in which they are told.
TESTS = (
    "possible",
    "efficiency",
    "mass",
    "limit",
    "clip",
    "lag",
    "mean",
    "trend",
    "wobble",
    "length",
    "start",
    "recovery",
    "burst",
    "hum",
    "ports",
    "law",
    "web",
    "exponent",
    "record",
    "zero",
    "throat",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """What one test found."""

    test: str  # one of TESTS
    sensor: str  # "pressure", "thrust", "both" or "motor"
    level: str  # one of LEVELS
    #: The statistic, and what it was held against; NaN where not told. In the unit of
    #: the test, which its words name.
    value: float
    limit: float
    text: str  # one sentence without a capital and without a full stop


def alarms_of(found: Iterable[Alarm], *tests: str) -> tuple[Alarm, ...]:
    """Return the alarms proper, of some tests or of all, in the order of the tests."""
    chosen = [a for a in found if a.level == ALARM and a.test in (tests or TESTS)]
    return tuple(sorted(chosen, key=lambda a: TESTS.index(a.test)))


def texts_of(found: Iterable[Alarm], *levels: str) -> tuple[str, ...]:
    """Return the words of some levels, worst first; each once."""
    chosen = [a for a in found if a.level in levels]
    chosen.sort(key=lambda a: (LEVELS.index(a.level), TESTS.index(a.test)))
    return tuple(dict.fromkeys(a.text for a in chosen))
