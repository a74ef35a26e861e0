"""Records of batches: nothing lost, nothing half-written, history never changed.

The batch here is invented.
"""

from __future__ import annotations

import contextlib
import errno
import json
import math
import multiprocessing
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from faults import Fuse, arm, fail, no_locks

from castsugar import CastsugarError, DataError, InputError
from castsugar.bench.bench import read_bench
from castsugar.bench.editing import append_measurement
from castsugar.records.folder import (
    add_events,
    list_batches,
    new_batch,
    read_batch,
    record_path,
)
from castsugar.records.record import Event, FrozenBench, Made

# Exact: what is written must come back; counts are known.
pytestmark = pytest.mark.exact

DAY = "2026-05-02"
MADE = Made(
    date=DAY,
    recipe="KNO3:65 sucrose:35",
    name="house",
    fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
    batch=0.2,
    planned={"potassium nitrate": 0.13, "sucrose": 0.07},
    actual={"sucrose": 0.0701},
    cook="119 C",
    minutes=10.0,
    water_lost=0.1,
    pressure=6.9e6,
    bench=FrozenBench(file="../bench.toml", sha256="0" * 64, kitchen="[kitchen]\n"),
    predictions={"status": "ok", "kn_max": math.nan, "pour_viscosity_Pa_s": math.inf},
    versions={"castsugar": "0.1.0"},
    note='first\n\x1b[31m{"event": "closed"}\u2028\' OR 1=1 --',
)


def seen(text: str = "smooth", day: str = DAY) -> Event:
    values = {"text": text, "temperature_K": 391.15, "flow_class": "pours"}
    return Event(kind="observed", date=day, values=values)


def closed() -> Event:
    return Event(kind="closed", date=DAY, values={"outcome": "used"})


def wrong(line: int, note: str = "misread") -> Event:
    return Event(kind="corrected", date=DAY, note=note, values={"line": line})


def test_what_is_written_comes_back(tmp_path: Path) -> None:
    kept = new_batch(tmp_path, MADE)
    back = read_batch(kept.path)
    assert back.id == f"{DAY}-1"
    assert back.made.note == MADE.note
    assert back.made.bench == MADE.bench
    assert math.isnan(back.predictions["kn_max"])
    assert back.predictions["pour_viscosity_Pa_s"] == math.inf
    # 130 g as planned + 70.1 g as read off the scale
    assert back.made.mass == pytest.approx(0.2001, rel=1e-12)
    assert back.recipe_as_made() == "potassium nitrate:130 sucrose:70.1"
    assert back.outcome == ""
    assert kept.path.read_bytes().count(b"\n") == 1


def test_numbers_have_ten_digits_and_no_token_that_json_lacks(tmp_path: Path) -> None:
    path = new_batch(tmp_path, MADE).path
    add_events(path, [Event(kind="fired", date=DAY, values=_fired(1.0 / 3.0))])
    text = path.read_text("utf-8")
    assert "0.3333333333," in text or "0.3333333333}" in text
    assert "NaN" not in text
    assert "Infinity" not in text


def _fired(value: float) -> dict[str, Any]:
    return {
        "file": "shot.csv",
        "sha256": "0" * 64,
        "options": {"throat": "8 mm"},
        "results": {"peak_pressure_MPa": value},
    }


def test_numbers_of_a_day_count_up_and_order_is_by_number(tmp_path: Path) -> None:
    for _ in range(11):
        new_batch(tmp_path, MADE)
    found, damaged = list_batches(tmp_path)
    assert [s.id for s in found] == [f"{DAY}-{k}" for k in range(1, 12)]
    assert not damaged


def test_earlier_lines_stay_byte_for_byte(tmp_path: Path) -> None:
    path = new_batch(tmp_path, MADE).path
    for count in range(5):
        before = path.read_bytes()
        add_events(path, [seen(str(count))])
        after = path.read_bytes()
        assert after.startswith(before)
        assert after.count(b"\n") == before.count(b"\n") + 1


def test_a_correction_sets_a_line_aside_and_opens_a_closed_batch(
    tmp_path: Path,
) -> None:
    path = new_batch(tmp_path, MADE).path
    batch = add_events(path, [seen("a"), closed()])
    assert batch.outcome == "used"
    for event in (seen("late"), closed()):
        with pytest.raises(InputError, match="is closed"):
            add_events(path, [event])
    batch = add_events(path, [wrong(2)])
    assert batch.outcome == "used"
    assert [e.kind for e in batch.standing] == ["closed"]
    batch = add_events(path, [wrong(3)])
    assert batch.outcome == ""
    batch = add_events(path, [wrong(4, "it was right")])  # the first correction
    assert [e.kind for e in batch.standing] == ["observed"]
    assert not add_events(path, [wrong(1)]).is_sound


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (seen(day="2026-05-01"), "before that"),
        (seen(day="today"), "write it as"),
        (wrong(9), "no line 9"),
        (wrong(0), "no line 0"),
        (wrong(1, " "), "needs --note"),
        (Event(kind="observed", date=DAY, values={"text": "a"}), "has no"),
        (Event(kind="eaten", date=DAY), "not known"),
        (seen("\udcff"), "not UTF-8"),
    ],
)
def test_events_that_cannot_be_are_refused_and_nothing_is_added(
    event: Event, words: str, tmp_path: Path
) -> None:
    path = new_batch(tmp_path, MADE).path
    before = path.read_bytes()
    with pytest.raises(CastsugarError, match=words):
        add_events(path, [event])
    assert path.read_bytes() == before


def _line(**changes: Any) -> bytes:
    """Return line 1 of a good record with some keys changed."""
    raw = json.loads(GOOD[0]) | changes
    return json.dumps(raw).encode() + b"\n"


GOOD: list[bytes] = []


@pytest.fixture(autouse=True)
def _good(tmp_path_factory: pytest.TempPathFactory) -> None:
    if not GOOD:
        path = new_batch(tmp_path_factory.mktemp("good"), MADE).path
        GOOD.append(path.read_bytes())


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: b"", "is empty"),
        (lambda: b"\n\n", "is empty"),
        (lambda: GOOD[0][:200], "not valid JSON"),
        (lambda: b"\x00\xff\xfe" * 50, "not UTF-8"),
        (lambda: b"[1]\n", "must be an object"),
        (lambda: b"[" * 100_000, "nested too deeply"),
        (lambda: _line(schema="castsugar.batch/2"), "this reads"),
        (lambda: _line(id=f"{DAY}-7"), "copy or renamed"),
        (lambda: _line(date="2026-02-30"), "must be a date"),
        (lambda: _line(batch_kg=-1), "a mass from 0.0001 to 10 kg"),
        (lambda: _line(extra=1), "'extra' is not known"),
        (lambda: GOOD[0].replace(b"0.65", b"NaN"), "NaN"),
        (lambda: GOOD[0].replace(b"0.65", b"1e999"), "mass_fractions"),
        (lambda: GOOD[0] + b'{"event": "closd"}\n', "did you mean 'closed'"),
        (lambda: GOOD[0] + b'{"event": "closed", "da', "line 2: not valid JSON"),
        (lambda: GOOD[0] + b"\n" + GOOD[0], "line 2"),
        (lambda: GOOD[0] + GOOD[0], "'made' is not known"),
    ],
)
def test_a_damaged_file_is_named_and_the_others_still_listed(
    make: Callable[[], bytes], words: str, tmp_path: Path
) -> None:
    bad = new_batch(tmp_path, MADE).path
    new_batch(tmp_path, MADE)
    bad.write_bytes(make())
    with pytest.raises(DataError, match=words) as caught:
        read_batch(bad)
    assert "\n" not in str(caught.value)
    found, damaged = list_batches(tmp_path)
    assert [s.id for s in found] == [f"{DAY}-2"]
    assert [d.path for d in damaged] == [bad]
    before = bad.read_bytes()
    with pytest.raises(DataError):
        add_events(bad, [seen()])
    assert bad.read_bytes() == before
    assert new_batch(tmp_path, MADE).id == f"{DAY}-3"  # never over a damaged one


def test_a_copy_is_named(tmp_path: Path) -> None:
    path = new_batch(tmp_path, MADE).path
    (tmp_path / "2026-05-02-1 (copy).jsonl").write_bytes(path.read_bytes())
    found, damaged = list_batches(tmp_path)
    assert len(found) == 1
    assert "renamed" in damaged[0].fault


def test_a_last_line_without_its_end_is_whole(tmp_path: Path) -> None:
    path = new_batch(tmp_path, MADE).path
    path.write_bytes(path.read_bytes().rstrip(b"\n"))
    assert len(add_events(path, [seen()]).events) == 1
    assert path.read_bytes().count(b"\n") == 2


@pytest.mark.parametrize("name", ["../x", "2026-05-02", "", "2026-05-02-0", "a/b"])
def test_a_name_that_is_none_is_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not what a batch is called"):
        record_path(tmp_path, name)


def _new(folder: Path) -> None:
    new_batch(folder, MADE)


def _add(folder: Path) -> None:
    add_events(folder / f"{DAY}-1.jsonl", [seen("fault")])


def _whole(folder: Path, before: bytes, *, at_least: int) -> None:
    """Check that all that was there is there, and that a retry works."""
    found, damaged = list_batches(folder)
    assert not damaged
    assert len(found) >= at_least
    assert (folder / f"{DAY}-1.jsonl").read_bytes().startswith(before)
    _add(folder)
    _new(folder)
    more, damaged = list_batches(folder)
    assert not damaged
    assert len(more) == len(found) + 1


@pytest.mark.parametrize("work", [_new, _add])
def test_a_fault_at_any_call_loses_nothing(
    work: Callable[[Path], None], tmp_path: Path
) -> None:
    for count in range(60):
        folder = tmp_path / str(count)
        before = new_batch(folder, MADE).path.read_bytes()
        fuse = Fuse(count, fail, after=False)
        with pytest.MonkeyPatch.context() as patch:
            arm(fuse, patch.setattr)
            with contextlib.suppress(CastsugarError):
                work(folder)
        _whole(folder, before, at_least=1)
        if not fuse.burnt:
            break
    else:
        pytest.fail("never ran through")
    assert count > 5


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a forked process")
@pytest.mark.parametrize("work", [_new, pytest.param(_add, marks=pytest.mark.slow)])
@pytest.mark.parametrize("after", [False, pytest.param(True, marks=pytest.mark.slow)])
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_killed_at_any_call_nothing_is_lost(
    work: Callable[[Path], None], after: bool, tmp_path: Path
) -> None:
    for count in range(60):
        folder = tmp_path / str(count)
        before = new_batch(folder, MADE).path.read_bytes()
        child = os.fork()
        if child == 0:
            try:
                arm(Fuse(count, lambda: os._exit(7), after=after), setattr)
                work(folder)
            finally:
                os._exit(0)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        _whole(folder, before, at_least=1)
        if code == 0:
            break
    else:
        pytest.fail("never ran through")
    assert count > 5


def _many_new(folder: Path) -> None:
    for _ in range(25):
        new_batch(folder, MADE)


#: What a file system without locks says; None: one that has them.
LOCKS = [None, errno.ENOSYS, errno.ENOLCK, errno.EOPNOTSUPP]


def _without_locks(code: int | None) -> None:
    if code is not None:
        import fcntl

        fcntl.flock = no_locks(code)


def _many_events(folder: Path, who: str, code: int | None) -> None:
    _without_locks(code)
    for count in range(25):
        add_events(folder / f"{DAY}-1.jsonl", [seen(f"{who}{count}")])


def _together(work: Callable[..., None], arguments: list[tuple[Any, ...]]) -> None:
    context = multiprocessing.get_context("spawn" if os.name == "nt" else "fork")
    workers = [context.Process(target=work, args=a) for a in arguments]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
        assert worker.exitcode == 0


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_four_processes_add_batches_at_once(tmp_path: Path) -> None:
    _together(_many_new, [(tmp_path,)] * 4)
    found, damaged = list_batches(tmp_path)
    assert [s.id for s in found] == [f"{DAY}-{k}" for k in range(1, 101)]
    assert not damaged
    assert not list(tmp_path.glob(".castsugar-*.tmp"))


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="other locks there")
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("code", LOCKS)
def test_processes_add_events_to_one_batch(code: int | None, tmp_path: Path) -> None:
    """With locks of the system and without: every event that was added is kept."""
    path = new_batch(tmp_path, MADE).path
    before = path.read_bytes()
    _together(_many_events, [(tmp_path, who, code) for who in "abcd"])
    told = [e.values["text"] for e in read_batch(path).events]
    assert sorted(told) == sorted(f"{w}{k}" for w in "abcd" for k in range(25))
    assert path.read_bytes().startswith(before)


def test_a_list_of_hundreds_counts_every_one(tmp_path: Path) -> None:
    # Structure only; benchmarks/speed/batches.py measures the time.
    path = add_events(new_batch(tmp_path, MADE).path, [seen(), closed()]).path
    data = path.read_bytes()
    for number in range(2, 301):
        name = f"{DAY}-{number}"
        text = data.replace(f"{DAY}-1".encode(), name.encode())
        (tmp_path / f"{name}.jsonl").write_bytes(text)
    found, damaged = list_batches(tmp_path)
    assert len(found) == 300
    assert not damaged
    assert {s.outcome for s in found} == {"used"}
    assert all(s.counts == {"observed": 1, "closed": 1} for s in found)


def _append_to_bench(path: Path, start: Any, count: int, code: int | None) -> None:
    _without_locks(code)
    start.wait()
    for number in range(count):
        entry = {"kind": "bulk density", "mass": "17.5 g", "volume": "10 ml"}
        entry["note"] = f"{os.getpid()} {number}"
        append_measurement(path, entry)


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="other locks there")
@pytest.mark.parametrize("code", LOCKS)
def test_measurements_saved_at_once_are_all_kept(
    code: int | None, tmp_path: Path
) -> None:
    """Four processes add six entries each to one bench file: 24, nothing beside."""
    path = tmp_path / "bench.toml"
    path.write_text("[kitchen]\n", "utf-8")
    context = multiprocessing.get_context("spawn" if os.name == "nt" else "fork")
    start = context.Barrier(4)
    crowd = [
        context.Process(target=_append_to_bench, args=(path, start, 6, code))
        for _ in range(4)
    ]
    for one in crowd:
        one.start()
    for one in crowd:
        one.join(60)
    assert [one.exitcode for one in crowd] == [0] * 4
    notes = {m["note"] for m in read_bench(path).kitchen["measured"]}
    assert len(notes) == 24
    assert {p.name for p in tmp_path.iterdir()} - {".castsugar-lock"} == {path.name}
