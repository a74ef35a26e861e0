"""Work spread over workers: the same numbers, and one line when a worker dies."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor

import numpy as np
import pandas as pd
import pytest

import castsugar as cs
from castsugar import numerics
from castsugar.thermo import solver

pytestmark = pytest.mark.exact

ITEMS = ["KNO3", "sucrose", "water"]


@pytest.fixture(scope="module")
def blends() -> cs.Blends:
    """Three chunks of mixes, some of which do not burn."""
    points = numerics.triangle(0.01)
    points = points[points[:, 0] >= 0.1]
    return cs.blend(ITEMS, points)


@pytest.fixture(scope="module")
def alone(blends: cs.Blends) -> pd.DataFrame:
    """The same work without an executor."""
    assert len(blends) > 2 * solver.CHUNK - 500
    return cs.evaluate(blends)


def same(one: pd.DataFrame, other: pd.DataFrame) -> None:
    """Compare two tables to the last bit."""
    assert one.equals(other)


@pytest.mark.slow
@pytest.mark.parametrize("workers", [1, 2])
def test_processes_change_nothing(
    blends: cs.Blends, alone: pd.DataFrame, workers: int
) -> None:
    """Exact: chunks are cut by index, whatever the number of workers."""
    with ProcessPoolExecutor(workers) as pool:
        same(cs.evaluate(blends, executor=pool), alone)


def test_threads_change_nothing(blends: cs.Blends, alone: pd.DataFrame) -> None:
    """Any executor of the standard library will do."""
    with ThreadPoolExecutor(2) as pool:
        same(cs.evaluate(blends, executor=pool), alone)


@pytest.mark.slow
def test_cluster_changes_nothing(blends: cs.Blends, alone: pd.DataFrame) -> None:
    """The executor of a dask.distributed client, on a local cluster.

    Its workers run with one thread of linear algebra, which may change the order of a
    sum: the last bits differ (5e-13 at most).
    """
    distributed = pytest.importorskip(
        "distributed", reason="the extra 'cluster' is not installed"
    )
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        spread = cs.evaluate(blends, executor=client.get_executor())
    assert list(spread["name"]) == list(alone["name"])
    assert list(spread["status"]) == list(alone["status"])
    for key in alone.select_dtypes(float):
        np.testing.assert_allclose(spread[key], alone[key], rtol=1e-11, err_msg=key)


def die(*_: object) -> None:
    """What a worker does whose machine goes down."""
    os._exit(1)


class _Deadly(ProcessPoolExecutor):
    """A pool whose workers die at the first job."""

    def submit(self, fn: Callable[..., object], /, *args: object) -> Future:  # type: ignore[override]
        del fn
        return super().submit(die, *args)


class _Odd(Executor):
    """An engine with errors of its own."""

    def submit(self, fn: Callable[..., object], /, *args: object) -> Future:  # type: ignore[override]
        raise ValueError("no route to\nthe cluster")


@pytest.mark.parametrize("make", [lambda: _Deadly(1), _Odd])
def test_dead_worker_is_one_line(make: Callable[[], Executor]) -> None:
    """A worker that dies: one clear line, no partial result."""
    points = np.array([[0.65, 0.35, 0.0]])
    with make() as pool, pytest.raises(cs.WorkerError, match="worker") as caught:
        cs.evaluate(cs.blend(ITEMS, points), executor=pool)
    assert "\n" not in str(caught.value)
