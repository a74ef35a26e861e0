"""Work spread over workers: the same numbers, and one line when a worker dies."""

from __future__ import annotations

import os
import pickle
import shutil
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from importlib import metadata
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

import castsugar as cs
from castsugar import numerics
from castsugar.cli import output, parts, workers
from castsugar.cli.main import main
from castsugar.data import load
from castsugar.mix.blends import Line, Rule, Triangle
from castsugar.motor.burn_model import BurnModel
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


@pytest.mark.slow
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


# ----------------------------------------------------------------------------
# From the command line.

MAP = ("map", "KNO3", "sucrose", "corn syrup", "--no-bench", "--step")


@pytest.mark.slow
@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_two_workers_write_the_bytes_of_one(
    ending: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Exact: neither who computes the parts nor how they are cut is seen.

    Parquet tells its parts as groups of rows.
    """
    if ending == ".parquet":
        pytest.importorskip("pyarrow", reason="the extra 'cluster' is not installed")
    one, two, cut = (tmp_path / f"{name}{ending}" for name in ("one", "two", "cut"))
    assert main([*MAP, "1%", "--csv", str(one)]) == 0
    assert main([*MAP, "1%", "--csv", str(two), "--workers", "2"]) == 0
    assert one.read_bytes() == two.read_bytes()
    monkeypatch.setattr(parts, "CHUNKS", 2)
    assert main([*MAP, "1%", "--csv", str(cut), "--workers", "2"]) == 0
    if ending == ".csv":
        assert one.read_bytes() == cut.read_bytes()
        assert len(one.read_text("utf-8").splitlines()) == 5152
    else:
        assert pd.read_parquet(one).equals(pd.read_parquet(cut))
    screens = capsys.readouterr().out.split("map: ")
    assert len(screens) == 4
    assert len({*screens[1:]}) == 1


class _Late(Executor):
    """Works when a result is asked for, and counts what waits meanwhile."""

    def __init__(self) -> None:
        self.waiting = self.most = 0

    def submit(self, fn: Callable[..., object], /, *args: object) -> Future:  # type: ignore[override]
        self.waiting += 1
        self.most = max(self.most, self.waiting)
        late: Future = Future()

        def result() -> object:
            self.waiting -= 1
            return fn(*args)

        late.result = result  # type: ignore[method-assign, assignment]
        return late


def test_no_more_parts_are_under_way_than_there_is_room() -> None:
    """Exact: in order, whatever their number."""
    task, late = SimpleNamespace(part=lambda start, stop: (start, stop)), _Late()
    ranges = [(k, k + 1) for k in range(1000)]
    found = parts._parts(task, ranges, workers.Crew(late, 4))  # type: ignore[arg-type]
    assert [*found] == ranges
    assert late.most == 4


@pytest.mark.slow
def test_of_many_mixes_only_what_the_answer_needs_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exact: the same screen and table; 80 bytes a mix make 80 MB of a million."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    capsys.readouterr()
    kept: list[parts.Kept] = []
    real = parts.compute

    def compute(*given: Any) -> Any:
        kept.append(real(*given)[0])
        return kept[-1], True

    monkeypatch.setattr(parts, "compute", compute)
    words = ["map", *MAP[1:4], "--step", "10%", "--csv"]
    assert main([*words, "one.csv"]) == 0
    monkeypatch.setattr(parts, "WHOLE", 10)
    assert main([*words, "two.csv"]) == 0
    assert Path("one.csv").read_bytes() == Path("two.csv").read_bytes()
    screens = capsys.readouterr().out.split("map: ")
    assert screens[1] == screens[2]
    values = [*kept[1].table.values(), *kept[1]._judged.values()]
    assert all(len(one) == 66 for one in values)
    sizes = [2 if isinstance(one, parts.Texts) else 8 for one in values]
    assert sum(sizes) <= 80 < 8 * len(kept[0].table)


def test_a_column_holds_more_words_than_two_bytes_count() -> None:
    """Exact."""
    words = [f"{k}" for k in range(70_000)]
    column = parts.Texts(len(words))
    for start in (0, 40_000):
        column.put(start, words[start : start + 40_000])
    assert [*column] == column[:] == words


def test_a_rule_makes_the_mixes_of_every_range() -> None:
    """Exact: a range of a rule is that range of all its mixes."""
    triangle = Triangle(step=0.1, total=0.9, fixed=(0.1,))
    line = Line(recipe=(0.6, 0.2, 0.2), index=2, values=(0.1, 0.2, 0.3))
    for points, extra in ((triangle, ("water",)), (line, ())):
        rule = Rule(items=("KNO3", "sucrose", "corn syrup", *extra), points=points)
        every, part = rule.blends(), rule.blends(slice(1, 3))
        assert part.names == every.names[1:3]
        np.testing.assert_array_equal(part.elements, every.elements[1:3])
        some = rule.blends(np.array([2, 0]))
        assert some.names == (every.names[2], every.names[0])
        assert len(rule.points) == len(every)


def test_a_motor_goes_to_a_worker_without_what_it_worked_out() -> None:
    """Exact: the same rates there, in kilobytes."""
    model = BurnModel()
    place = ([[0.6, 0.2, 0.2]], ("potassium nitrate", "sucrose", "light corn syrup"))
    before = model.rates(*place, 2e6)
    sent = pickle.dumps(model)
    after = pickle.loads(sent).rates(*place, 2e6)
    assert len(sent) < 100_000
    np.testing.assert_array_equal(before.means, after.means)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--workers", "0"), "--workers is 0; it must be 1 or more"),
        (
            ("--workers", "2", "--cluster", "tcp://127.0.0.1:9"),
            "--workers and --cluster are both given; choose one",
        ),
        pytest.param(
            ("--cluster", "nonsense"),
            "--cluster nonsense: no scheduler answers within 10 s (missing port",
            marks=pytest.mark.slow,
        ),
    ],
)
def test_who_cannot_do_the_work_is_one_line(
    words: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    if "--cluster" in words:
        pytest.importorskip("distributed", reason="'cluster' is not installed")
    refused([*MAP, "10%", *words], said, capsys)


def refused(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Bad input: one line, exit code 2."""
    assert main(words) == 2
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1


@pytest.mark.slow
def test_where_nobody_listens_is_one_line() -> None:
    """In a process of its own: a client that failed keeps the next from starting."""
    pytest.importorskip("distributed", reason="'cluster' is not installed")
    words = [*MAP, "10%", "--cluster", "tcp://127.0.0.1:9"]
    told = subprocess.run(
        [sys.executable, "-m", "castsugar", *words],
        capture_output=True,
        text=True,
        check=False,
    )
    assert told.returncode == 2
    (line,) = told.stderr.splitlines()
    assert "tcp://127.0.0.1:9: no scheduler answers within 10 s (Timed out" in line


@pytest.mark.slow
def test_a_cluster_must_have_the_same_code_and_data(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two workers write the bytes of one; others' data, or no worker, is one line."""
    distributed = pytest.importorskip(
        "distributed", reason="the extra 'cluster' is not installed"
    )
    quiet = {"threads_per_worker": 1, "dashboard_address": None}
    with distributed.LocalCluster(n_workers=2, processes=True, **quiet) as cluster:
        address = cluster.scheduler_address
        one, two = tmp_path / "one.csv", tmp_path / "two.csv"
        for table, more in ((one, ()), (two, ("--cluster", address))):
            assert main([*MAP, "1%", "--csv", str(table), *more]) == 0
        assert one.read_bytes() == two.read_bytes()
        asked = [*MAP, "10%", "--cluster", address]
        capsys.readouterr()
        real = metadata.version
        with monkeypatch.context() as older:
            older.setattr(
                metadata, "version", lambda of: "0.0" if of == "castsugar" else real(of)
            )
            refused(asked, "here is castsugar 0.0, data", capsys)
        other = shutil.copytree(load.data_folder(), tmp_path / "data")
        (other / "version.txt").write_text("0\n", "utf-8")
        monkeypatch.setattr(load, "data_folder", lambda: other)
        refused(asked, "install the same castsugar on both", capsys)
    with distributed.LocalCluster(n_workers=0, **quiet) as cluster:
        asked[-1] = cluster.scheduler_address
        refused(asked, "has no workers; start some", capsys)


def test_a_table_may_be_parquet(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Read back by pandas: the columns of the CSV, numbers to ten digits."""
    pytest.importorskip("pyarrow", reason="the extra 'cluster' is not installed")
    one, other = (tmp_path / name for name in ("a.csv", "a.parquet"))
    for path in (one, other):
        assert main([*MAP, "10%", "--csv", str(path)]) == 0
    text, table = pd.read_csv(one), pd.read_parquet(other)
    assert list(text.columns) == list(table.columns)
    for key in ("characteristic_velocity_m_s", "flame_temperature_K"):
        np.testing.assert_allclose(table[key], text[key], rtol=1e-9)
    assert list(table["status"]) == list(text["status"])
    capsys.readouterr()


def test_parquet_needs_what_writes_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Said before any work is done."""
    monkeypatch.setattr(output, "find_spec", lambda name: None)
    assert main([*MAP, "10%", "--csv", "a.parquet"]) == 2
    assert "Parquet needs pyarrow, which is not installed" in capsys.readouterr().err
