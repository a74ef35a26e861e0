"""What is learnt goes into the bench file: all or nothing, once, comments kept."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from castsugar.bench.bench import read_bench
from castsugar.bench.editing import with_block, without_block, without_key
from castsugar.bench.motor import hardware_of
from castsugar.data.load import load_database
from castsugar.errors import InputError
from castsugar.files.reading import sha256_of
from castsugar.motor.firing.quantities import Measured
from castsugar.records.folder import add_events, new_batch, read_batches
from castsugar.records.learning import saving
from castsugar.records.learning.burn_laws import learn_laws
from castsugar.records.learning.firings import learn_firings
from castsugar.records.learning.kitchen import learn_kitchen
from castsugar.records.learning.material import material_of
from castsugar.records.learning.saving import (
    WRITTEN,
    Lesson,
    Saved,
    earlier_of,
    plan,
    reasons_of,
    save,
)
from castsugar.records.prediction import relative
from castsugar.records.record import Event, Made
from castsugar.static_test import Rate

# Exact: the text of a file, character by character.
pytestmark = pytest.mark.exact

DATABASE = load_database()
DAY = "2026-05-02"
SHARES = {"potassium nitrate": 0.65, "sucrose": 0.35}
RECIPE = "KNO3:65 sucrose:35"
PAN_RECIPE = "KNO3:60 powdered sugar:20 corn syrup:20"

BENCH = """\
# the bench of an invented club
[kitchen]
cook = "119 C"  # by the probe
minutes = 10

[motor]  # the small one
throat = "8 mm"
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "100 mm"
[[motor.burn_law]]  # stated
recipe = "KNO3:60 powdered sugar:20 corn syrup:20"
rate = "5 mm/s"
pressure = "1 MPa"
exponent = 0.4
rate_spread = "10 %"
exponent_spread = 0.05
"""


@pytest.fixture
def world(tmp_path: Path) -> Path:
    """Write a bench file and one closed batch with everything measured."""
    (tmp_path / "bench.toml").write_text(BENCH, "utf-8")
    rows = [f"40,{40.0 / (5.0 * p**0.4):.5f},{p}" for p in (0.3, 1.0, 2.0, 3.1)]
    head = "length (mm),time (s),pressure (MPa)"
    (tmp_path / "s.csv").write_text("\n".join([head, *rows]) + "\n", "utf-8")
    (tmp_path / "f.csv").write_text("a firing\n", "utf-8")
    made = Made(
        date=DAY,
        recipe=RECIPE,
        name="",
        fractions=SHARES,
        batch=0.2,
        planned={n: 0.2 * f for n, f in SHARES.items()},
        pressure=1e6,
        process="boiled down",
        predictions={"sugar_degraded_percent": 1.234},
    )
    batch = new_batch(tmp_path / "batches", made)
    pan = {
        "kind": "pan weight",
        "lost": "1.8 g",
        "recipe": PAN_RECIPE,
        "cook": "119 C",
        "minutes": 10,
        "batch": "200 g",
    }
    links = {
        n: {"file": f"../{n}.csv", "sha256": sha256_of(tmp_path / f"{n}.csv")}
        for n in "sf"
    }
    todo: list[tuple[str, dict[str, Any]]] = [
        ("measured", {"measurement": pan}),
        ("measured", {"measurement": pan | {"lost": "9 g"}}),
        ("burned", {**links["s"], "mix": "", "strands": 4}),
        ("fired", {**links["f"], "options": {}, "results": {}}),
        ("closed", {"outcome": "used"}),
    ]
    note = 'a "good" one'
    add_events(
        batch.path, [Event(kind=k, date=DAY, note=note, values=v) for k, v in todo]
    )
    return tmp_path


def learnt(
    folder: Path,
    efficiency: float | dict[str, float] = 0.9,
    accepted: dict[str, str] | None = None,
    *doubts: str,
) -> Saved:
    """Learn, and plan what is saved."""

    def reduce(path: Path, *_: object) -> Any:
        one = efficiency if isinstance(efficiency, float) else efficiency[path.name]
        return SimpleNamespace(
            characteristic_velocity_efficiency=Measured(
                value=one, parts={"throat": 0.0123}
            ),
            nozzle_efficiency=Measured(value=0.87, parts={"throat": 0.02}),
            rate=Rate(pressure=3.4e6, value=9.1234e-3, u=0.0211),
            doubts=doubts,
            expected=None,
        )

    bench = read_bench(folder / "bench.toml")
    material = material_of(*read_batches(folder / "batches"))
    batches = material.batches
    earlier = earlier_of(bench, material)
    motor = hardware_of(earlier.bare, DATABASE) if bench.motor else None
    reasons = reasons_of(bench) | (accepted or {})
    lesson = Lesson(
        bench=bench,
        earlier=earlier,
        kitchen=learn_kitchen(bench, batches, DATABASE),
        burning=learn_laws(earlier.bare, batches, DATABASE, hardware=motor),
        firing=learn_firings(batches, reduce, accepted=reasons),
    )
    return plan(lesson)


def firings(folder: Path) -> list[dict[str, Any]]:
    """Return the firings that the bench file holds."""
    raw = tomllib.loads((folder / "bench.toml").read_text("utf-8-sig"))
    return list(raw["motor"].get("firing", []))


def kept(planned: Saved) -> Saved:
    """Save what was planned."""
    save(planned)
    return planned


def test_everything_is_written_once(world: Path) -> None:
    """Old lines stay as they are; a second time nothing changes."""
    path = world / "bench.toml"
    first = kept(learnt(world))
    text = path.read_text("utf-8")
    assert [line for line in BENCH.splitlines() if line not in text.splitlines()] == []
    raw = tomllib.loads(text)
    # What was measured, each number under its key and none in a comment.
    assert raw["motor"]["firing"] == [
        {
            "recipe": RECIPE,
            "batch": "2026-05-02-1",
            "date": DAY,
            "pressure": "3.4 MPa",
            "rate": "9.123 mm/s",
            "rate_u": "2.1 %",
            "c_star_efficiency": "90 %",
            "c_star_efficiency_u": "1.4 %",
            "nozzle_efficiency": "87 %",
            "nozzle_efficiency_u": "2.3 %",
            "process": "boiled down",
            "degraded": "1.2 %",
            "source": "f.csv",
        }
    ]
    assert text.count(f"# {WRITTEN}\n") == text.count(WRITTEN) == 2
    made = {"process": "boiled down", "degraded": "1.2 %"}
    law = {"recipe": RECIPE, "strands": "s.csv", "batch": "2026-05-02-1", **made}
    assert raw["motor"]["burn_law"][1] == law
    (entry,) = raw["kitchen"]["measured"]
    assert entry["note"] == f'batch {DAY}-1 line 2: a "good" one'
    assert len(first.written) == 3
    # The contradicting pan weight is not kept, and that is said.
    (said,) = first.refused
    assert f"batch {DAY}-1 line 3" in said
    second = kept(learnt(world))
    assert second.written == ()
    assert path.read_text("utf-8") == text


def test_its_own_entry_is_replaced(world: Path) -> None:
    save(learnt(world, 0.9))
    found = kept(learnt(world, 0.95))
    assert len(found.written) == 1
    assert "in the place of line" in found.written[0]
    assert found.removed == ()
    assert [one["c_star_efficiency"] for one in firings(world)] == ["95 %"]


def test_what_the_user_wrote_stays(world: Path) -> None:
    """A stated efficiency, and a firing without the mark of castsugar."""
    path = world / "bench.toml"
    mine = BENCH.replace("[motor.grain]", "efficiency = 0.93  # mine\n[motor.grain]")
    mine += '[[motor.firing]]  # mine\nrecipe = "KNO3:65 sucrose:35"\n'
    mine += 'pressure = "2 MPa"\nrate = "7 mm/s"\n'
    path.write_text(mine, "utf-8")
    found = kept(learnt(world))
    assert found.text.startswith(mine)
    assert len(firings(world)) == 2
    assert len(found.written) == 3
    correct(world, 4, 5)
    assert kept(learnt(world)).text.startswith(mine)
    assert len(firings(world)) == 1


def test_a_firing_that_the_user_typed_is_not_written_again(world: Path) -> None:
    path = world / "bench.toml"
    mine = '[[motor.firing]]\nrecipe = "KNO3:65 sucrose:35"\npressure = "2 MPa"\n'
    mine += f'rate = "7 mm/s"\nbatch = "{DAY}-1"\nsource = "f.csv"\n'
    mine += 'process = "boiled down"\n'
    path.write_text(BENCH + mine, "utf-8")
    found = kept(learnt(world))
    assert len(firings(world)) == 1
    line = BENCH.count("\n") + 1
    assert any(f"in line {line} is your own" in text for text in found.refused)


def test_an_efficiency_that_learn_wrote_once_is_taken_out(world: Path) -> None:
    """Firings stand in its place; one without the mark is the user's."""
    path = world / "bench.toml"
    for remark in (f"+-0.01, {WRITTEN}", "mine"):
        line = f"measured_efficiency = 0.93  # {remark}\n"
        path.write_text(BENCH.replace("[motor.grain]", f"{line}[motor.grain]"), "utf-8")
        found = kept(learnt(world))
        assert (line in found.text) is (remark == "mine")
        assert len(found.removed) == (remark != "mine")


@pytest.mark.slow
def test_a_doubted_firing_needs_a_reason_that_is_kept(world: Path) -> None:
    """Left out, accepted with a reason, and accepted still the next time."""
    doubt = "the zero moved"
    found = kept(learnt(world, 0.9, None, doubt))
    assert firings(world) == []
    assert f"firing of {DAY}-1 f.csv: {doubt}" in found.refused
    reason = 'gauge "checked"'
    kept(learnt(world, 0.9, {f"{DAY}-1": reason}, doubt))
    assert [one["accepted"] for one in firings(world)] == [reason]
    assert kept(learnt(world, 0.9, None, doubt)).written == ()
    # Another recording of the batch is not accepted by it.
    assert reasons_of(read_bench(world / "bench.toml")) == {f"{DAY}-1 f.csv": reason}
    # Sound again: no reason is needed any more.
    kept(learnt(world))
    assert "accepted" not in firings(world)[0]


def test_strands_stand_beside_a_borrowed_law(world: Path) -> None:
    path = world / "bench.toml"
    head = BENCH[: BENCH.index("[[motor.burn_law]]")]
    path.write_text(head + '[[motor.burn_law]]\nborrowed = "sucrose 65/35"\n', "utf-8")
    kept(learnt(world))
    assert 'strands = "s.csv"' in path.read_text("utf-8")
    kinds = [
        one.kind for one in hardware_of(read_bench(path), DATABASE).burning.evidence
    ]
    assert kinds[:2] == ["published", "strands"]


def test_without_a_motor_only_the_kitchen_is_written(world: Path) -> None:
    path = world / "bench.toml"
    path.write_text("", "utf-8")
    found = kept(learnt(world))
    assert len(found.written) == 1
    assert [text for text in found.refused if "no [motor] table" in text]


@pytest.mark.slow
def test_line_ends_and_mark_stay(world: Path) -> None:
    """A file from Windows stays one, byte order mark included."""
    path = world / "bench.toml"
    path.write_bytes(b"\xef\xbb\xbf" + BENCH.replace("\n", "\r\n").encode())
    save(learnt(world))
    raw = path.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf#")
    assert raw.count(b"\n") == raw.count(b"\r\n")
    assert b"[[motor.firing]]" in raw
    save(learnt(world, 0.95))
    assert path.read_bytes().count(b"\n") == raw.count(b"\n")


@pytest.mark.slow
@pytest.mark.parametrize("grown", [False, True])
def test_strands_in_several_files(world: Path, *, grown: bool) -> None:
    """Each file gets an entry of its own; the strands of all are one law.

    A file that holds all of another stands for both.
    """
    head, *rows = (world / "s.csv").read_text("utf-8").splitlines()
    if grown:
        rows = [*rows, "40,8.1,1.0"]
    else:
        rows = [row.replace(",", ".1,", 1) for row in rows]
    (world / "t.csv").write_text("\n".join([head, *rows]) + "\n", "utf-8")
    batch = read_batches(world / "batches")[0][0]
    reopened = Event(kind="corrected", date=DAY, note="more", values={"line": 6})
    link = {
        "file": relative(world / "t.csv", world / "batches"),
        "sha256": sha256_of(world / "t.csv"),
        "mix": "",
        "strands": len(rows),
    }
    todo = [
        reopened,
        Event(kind="burned", date=DAY, values=link),
        Event(kind="closed", date=DAY, values={"outcome": "used"}),
    ]
    add_events(batch.path, todo)
    found = kept(learnt(world))
    written = [t.rsplit(" ", 1)[1] for t in found.written if "burn_law" in t]
    assert written == (["t.csv"] if grown else ["s.csv", "t.csv"])
    assert not any("strands" in t for t in found.refused)
    evidence = hardware_of(read_bench(world / "bench.toml"), DATABASE).burning.evidence
    burned = [len(one.rate) for one in evidence if one.kind == "strands"]
    assert burned == ([5] if grown else [4, 4])
    assert kept(learnt(world)).text == found.text


def test_nothing_is_lost_if_the_file_changes_or_the_write_fails(
    world: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = world / "bench.toml"
    found = learnt(world)
    path.write_text(BENCH + "# edited meanwhile\n", "utf-8")
    with pytest.raises(InputError, match="changed while this ran"):
        save(found)
    assert path.read_text("utf-8").endswith("# edited meanwhile\n")

    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    before = path.read_bytes()
    monkeypatch.setattr(os, "replace", killed)
    with pytest.raises(KeyboardInterrupt):
        save(learnt(world))
    assert path.read_bytes() == before
    assert [p.name for p in world.glob(".castsugar-*")] == []


def test_a_file_that_would_not_be_good_is_not_written(
    world: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = (world / "bench.toml").read_bytes()
    monkeypatch.setattr(saving, "percent", lambda *_: "7")
    found = learnt(world)
    assert (found.text, found.written) == (found.before, ())
    with pytest.raises(InputError, match="nothing was saved"):
        save(found)
    assert (world / "bench.toml").read_bytes() == before


MIXED = """\
# a club
a.b = "[motor]"  # no head
[[motor.burn_law]]  # one
x = 1

# the kitchen
[kitchen]
text = '''
[motor]
y = 1
'''

[[motor.burn_law]]  # two
x = [
  1,  # a part
]

[motor.grain]
x = 1
# about the third
[[motor.burn_law]]
x = 1

[motor] # the motor
  y = 1  # mine
z = 2"""


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_edits_leave_every_other_byte(end: str, mark: str) -> None:
    """Entries between other tables, comments, line ends, byte order mark, no last end.

    Only the lines that are named here come or go.
    """
    text = mark + MIXED.replace("\n", end)

    def as_found(expected: str, found: str) -> bool:
        return found == mark + expected.replace("\n", end)

    one = MIXED.replace("[[motor.burn_law]]  # one\nx = 1\n", "")
    assert as_found(one, without_block(text, "motor.burn_law", 0))
    two = MIXED.replace("\n[[motor.burn_law]]  # two\nx = [\n  1,  # a part\n]\n", "")
    assert as_found(two, without_block(text, "motor.burn_law", 1))
    three = MIXED.replace("third\n[[motor.burn_law]]\nx = 1\n", "third\n")
    assert as_found(three, without_block(text, "motor.burn_law", 2))
    assert as_found(
        MIXED.replace("  y = 1  # mine\n", ""), without_key(text, "motor", "y")
    )
    assert as_found(
        f'{MIXED}\n\n[[motor.burn_law]]  # four\nx = "\\n"\n',
        with_block(text, "motor.burn_law", {"x": "\n"}, "four"),
    )


def correct(world: Path, *numbers: int) -> None:
    batch = read_batches(world / "batches")[0][0]
    wrong = [
        Event(kind="corrected", date=DAY, note="slip", values={"line": n})
        for n in numbers
    ]
    add_events(batch.path, wrong)


def test_saved_and_withdrawn_is_as_never_saved(world: Path) -> None:
    """Windows line ends, too; the kitchen measurement, which still stands, remains."""
    path = world / "bench.toml"
    path.write_bytes(BENCH.replace("\n", "\r\n").encode())
    kept(learnt(world))
    correct(world, 4, 5)
    found = kept(learnt(world))
    assert len(found.removed) == 2
    raw = path.read_bytes()
    assert raw.startswith(BENCH.replace("\n", "\r\n").encode())
    assert raw.count(b"\n") == raw.count(b"\r\n")
    assert list(tomllib.loads(path.read_text("utf-8"))["kitchen"]["measured"][0]) == [
        "kind",
        "lost",
        "recipe",
        "cook",
        "minutes",
        "batch",
        "note",
    ]


def test_the_only_burn_law_goes_as_any_other(world: Path) -> None:
    """A motor needs none: it burns by what is held beforehand."""
    path = world / "bench.toml"
    kept(learnt(world))
    text = path.read_text("utf-8")
    start, end = text.index("[[motor.burn_law]]  # stated"), text.index("[[kitchen")
    path.write_text(text[:start] + text[end:], "utf-8")
    correct(world, 4, 5)
    assert len(kept(learnt(world)).removed) == 2
    raw = tomllib.loads(path.read_text("utf-8"))["motor"]
    assert not raw.keys() & {"burn_law", "firing"}


def test_a_strand_file_that_changed_is_shouted_about(world: Path) -> None:
    kept(learnt(world))
    with (world / "s.csv").open("a", encoding="utf-8") as stream:
        stream.write("40,8.1,1.0\n")
    bench = read_bench(world / "bench.toml")
    material = material_of(*read_batches(world / "batches"))
    (said,) = earlier_of(bench, material).warnings
    assert "s.csv has changed since" in said
    assert earlier_of(bench, material, changed=True).warnings == ()
    found = kept(learnt(world))
    assert found.removed == ()
    assert 'strands = "s.csv"' in found.text


@pytest.mark.slow
def test_only_part_is_withdrawn(world: Path) -> None:
    """Each firing is an entry of its own."""
    (world / "g.csv").write_text("another firing\n", "utf-8")
    batch = read_batches(world / "batches")[0][0]
    link = {
        "file": relative(world / "g.csv", world / "batches"),
        "sha256": sha256_of(world / "g.csv"),
        "options": {},
        "results": {},
    }
    add_events(
        batch.path,
        [
            Event(kind="corrected", date=DAY, note="more", values={"line": 6}),
            Event(kind="fired", date=DAY, values=link),
            Event(kind="closed", date=DAY, values={"outcome": "used"}),
        ],
    )
    said = {"f.csv": 0.8, "g.csv": 0.9}
    kept(learnt(world, said))
    assert [one["source"] for one in firings(world)] == ["f.csv", "g.csv"]
    correct(world, 5)
    kept(learnt(world, said))
    assert [one["source"] for one in firings(world)] == ["g.csv"]
