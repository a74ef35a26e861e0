"""A small search whose numbers can be derived by hand, and its outcome."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np

from castsugar.limits import Limit
from castsugar.optimize.multistart import Effort
from castsugar.optimize.optimum import optimise
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.problem import Goal
from castsugar.optimize.settings import Settings
from castsugar.optimize.space import Space
from castsugar.optimize.trade_off import trade_off

QUICK = Effort(points=40, prices=False)
COLUMNS = ("specific_impulse_s", "density_kg_m3", "flame_temperature_K")


class Counted:
    """An objective 100 (a + 2 b), a density 1000 b, a temperature 1000 a.

    The sizes of its batches are kept.

    A mix with more of the first ingredient than `fails` fails.
    """

    columns = COLUMNS

    def __init__(self, fails: float = 2.0) -> None:
        self.fails = fails
        self.batches: list[int] = []

    def evaluate(self, x: np.ndarray) -> np.ndarray:
        self.batches.append(len(x))
        a, b = x[:, 0], x[:, 1]
        out = np.stack([100.0 * (a + 2.0 * b), 1e3 * b, 1e3 * a], axis=1)
        out[x[:, 0] > self.fails] = np.nan
        return out

    def jacobian(self, x: np.ndarray) -> None:
        return None


@dataclass(frozen=True, kw_only=True)
class Plain:
    """A task with a problem of its own."""

    space: Space
    made: Counted = field(default_factory=Counted)
    tried: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    front: Any = None
    settings: Settings = field(default_factory=lambda: Settings(items=()))

    def problem(self) -> Counted:
        return self.made


def limit(value: float, sense: str = "<=", column: str = COLUMNS[1]) -> Limit:
    return Limit(column=column, sense=sense, value=value)


def outcome(
    space: Space, *limits: Limit, front: bool = False, fails: float = 2.0, **more: Any
) -> Outcome:
    """Return what a search for most of a + 2 b finds."""
    problem = Counted(fails)
    goal = Goal(objective=COLUMNS[0], limits=limits)
    found = optimise(problem, goal, space, effort=QUICK)
    wanted, line = None, None
    if front:
        wanted = ((COLUMNS[0], True), (COLUMNS[2], False))
        both = [
            Goal(objective=column, maximise=way, limits=limits)
            for column, way in wanted
        ]
        line = trade_off(problem, *both, space, levels=5, effort=QUICK)
    task = Plain(space=space, made=problem, front=wanted, **more)
    names = space.columns
    known = {n: r for n, r in task.tried.items() if set(r) <= set(names)}
    values = {
        n: problem.evaluate(np.array([[r.get(c, 0.0) for c in names]]))[0]
        for n, r in known.items()
    }
    problem.batches.clear()
    return Outcome(
        task=task,  # type: ignore[arg-type]
        found=found,
        percents=None,
        weighable=None,
        no_rounding="",
        robust=None,
        front=line,
        rows={},
        tried_values={
            n: dict(zip(COLUMNS, v.tolist(), strict=True)) for n, v in values.items()
        },
        refused="",
    )


@cache
def standard() -> Outcome:
    """Return the outcome whose numbers the first test derives."""
    return outcome(THREE, limit(300.0))


THREE = Space(bounds={"a": (0.2, 0.9), "b": (0.0, 1.0), "c": (0.1, 0.5)})
