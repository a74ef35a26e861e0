"""Ctrl-C, early and late: what was done is there, marked, or it is said that none is.

The world is the invented one of the example.
"""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from castsugar.bench.bench import read_bench
from castsugar.bench.example import write_example
from castsugar.cli.interrupt import held_back
from castsugar.cli.main import main
from castsugar.records.folder import list_batches

# Exact: exit codes, marks and files are known.
pytestmark = pytest.mark.exact

MIX, OTHER = "KNO3:65 sucrose:35", "KNO3:65 sorbitol:35"
MAP = ["map", "KNO3", "sucrose", "water", "--step", "10%"]
SWEEP = ["sweep", MIX, "--vary", "KNO3", "--step", "5%"]
SEARCH = """\
[scale]
step = "0.5 g"
[limits]
flame_temperature_K = { at_most = 1500 }
[search]
maximise = "characteristic_velocity_m_s"
water_lost = "20 %"
batch = "100 g"
[search.ingredients]
"KNO3" = "50 % to 70 %"
"powdered sugar" = "5 % to 40 %"
"corn syrup" = "10 % to 30 %"
"""

Capture = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in an empty folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def stop(*_: object, **__: object) -> None:
    """What Ctrl-C does to work that is going on."""
    raise KeyboardInterrupt


def pressing(real: Callable[..., Any]) -> Callable[..., Any]:
    """Return the same, but Ctrl-C is pressed while it works."""

    def call(*args: Any, **words: Any) -> Any:
        signal.raise_signal(signal.SIGINT)
        return real(*args, **words)

    return call


def from_call(number: int, real: Callable[..., Any]) -> Callable[..., Any]:
    """Return the same, but Ctrl-C comes in the call of that number, from 1."""
    calls: list[None] = []

    def call(*args: Any, **words: Any) -> Any:
        calls.append(None)
        if len(calls) == number:
            raise KeyboardInterrupt
        return real(*args, **words)

    return call


def table(path: str) -> list[dict[str, str]]:
    """Return the rows of a CSV file."""
    return list(csv.DictReader(io.StringIO(Path(path).read_text("utf-8"))))


# --- many mixes -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "drawing"),
    [
        (MAP, "castsugar.plot.maps.map_drawing"),
        (SWEEP, "castsugar.plot.curves.sweep_drawing"),
    ],
)
def test_while_it_draws_the_table_is_there(
    words: list[str], drawing: str, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All rows computed; the picture is missing, and that is said."""
    monkeypatch.setattr(drawing, stop)
    assert main([*words, "--csv", "t.csv", "--picture", "p.svg"]) == 130
    assert "not computed: interrupted" not in {r["status"] for r in table("t.csv")}
    assert not Path("p.svg").exists()
    out, err = capsys.readouterr()
    assert err.splitlines() == [
        "wrote t.csv",
        "castsugar: interrupted; not drawn: p.svg",
    ]
    assert "RESULT" in out


@pytest.mark.parametrize("words", [MAP, SWEEP])
@pytest.mark.parametrize(
    "late",
    [
        "castsugar.report.sweep.many_screen",
        "castsugar.files.writing._sent",
    ],
)
def test_while_it_writes_the_table_is_there(
    words: list[str], late: str, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The signal waits until the table is on the disk; then nothing more is drawn."""
    name, _, attribute = late.rpartition(".")
    module = __import__(name, fromlist=[attribute])
    monkeypatch.setattr(late, pressing(getattr(module, attribute)))
    assert main([*words, "--csv", "t.csv", "--picture", "p.svg"]) == 130
    assert "not computed: interrupted" not in {r["status"] for r in table("t.csv")}
    assert not Path("p.svg").exists()
    assert "not drawn: p.svg" in capsys.readouterr().err


def test_in_the_second_part_the_first_is_there(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rows that were not reached say so; the others are as without Ctrl-C."""
    import castsugar.evaluation as evaluation

    words = [*MAP, "--step", "5%"]
    assert main([*words, "--csv", "whole.csv"]) == 0
    monkeypatch.setattr("castsugar.thermo.solver.CHUNK", 50)
    late = from_call(2, evaluation.evaluate_columns)
    monkeypatch.setattr(evaluation, "evaluate_columns", late)
    assert main([*words, "--csv", "part.csv"]) == 130
    whole, part = table("whole.csv"), table("part.csv")
    assert len(part) == len(whole) == 231
    assert [r["status"] for r in part[50:]] == ["not computed: interrupted"] * 181
    assert [r["name"] for r in part] == [r["name"] for r in whole]
    assert [r["status"] for r in part[:50]] == [r["status"] for r in whole[:50]]
    assert "INCOMPLETE" in capsys.readouterr().out


# --- evaluate, compare, justify -------------------------------------------------------


@pytest.fixture
def unconfirmed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let Ctrl-C come when the second solver turns to the second mix."""
    from castsugar.thermo.second_opinion import flow

    monkeypatch.setattr(flow, "solve", from_call(2, flow.solve))


DRAWS = ["--draws", "100"]


@pytest.mark.slow
@pytest.mark.parametrize(
    "words",
    [
        ["evaluate", MIX, OTHER],
        ["compare", MIX, OTHER, *DRAWS],
        ["justify", MIX, OTHER, *DRAWS],
    ],
)
@pytest.mark.usefixtures("unconfirmed")
def test_while_it_confirms_the_answer_is_printed(
    words: list[str], capsys: Capture
) -> None:
    assert main([*words, "--full"]) == 130
    out, err = capsys.readouterr()
    assert err == ""
    first = " ".join(" ".join(out.splitlines()[:7]).split())
    assert "INCOMPLETE: interrupted before the independent check was done" in first
    assert "unavailable: interrupted" in out


@pytest.mark.parametrize(
    "words",
    [
        ["evaluate", MIX, OTHER],
        ["compare", MIX, OTHER, *DRAWS],
        ["justify", MIX, OTHER, *DRAWS],
    ],
)
@pytest.mark.usefixtures("unconfirmed")
def test_while_it_confirms_the_document_is_marked(
    words: list[str], capsys: Capture
) -> None:
    assert main([*words, "--json"]) == 130
    text = capsys.readouterr().out
    document = json.loads(text)
    notes = document["assumptions"]
    assert "INCOMPLETE: interrupted before the independent check was done" in str(notes)
    assert '"unavailable: interrupted"' in text
    assert '"confirmed"' in text


def test_rows_that_are_confirmed_stay_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """From Python: an interruption that holds what is known."""
    import castsugar as cs
    from castsugar.confirmation import UnconfirmedError
    from castsugar.evaluation import table_of
    from castsugar.thermo.second_opinion import flow

    mixes = [cs.Mix.weigh({"KNO3": k, "sucrose": 100 - k}) for k in (60, 65, 70)]
    plain = cs.evaluate(mixes)
    monkeypatch.setattr(flow, "solve", from_call(2, flow.solve))
    with pytest.raises(KeyboardInterrupt) as caught:
        cs.evaluate(mixes, confirm=True)
    assert isinstance(caught.value, UnconfirmedError)
    known = table_of(caught.value.columns)
    told = ["confirmed", "unavailable: interrupted", "unavailable: interrupted"]
    assert known["confirmation"].tolist() == told
    same = [c for c in plain if c != "confirmation" and not c.startswith("difference")]
    assert known[same].equals(plain[same])


#: Says what is loaded for the first time once the second solver is done.
_LATE = """
import sys
from castsugar import confirmation
from castsugar.cli.main import main
real = confirmation.confirm
def confirm(*a, **k):
    real(*a, **k)
    known.update(sys.modules)
known = set()
confirmation.confirm = confirm
main(sys.argv[1:])
print(*({*sys.modules} - known), file=sys.stderr)
"""


@pytest.mark.slow
def test_nothing_large_is_loaded_between_answer_and_screen() -> None:
    """It takes half a second, in which Ctrl-C would cost the answer."""
    done = subprocess.run(
        [sys.executable, "-c", _LATE, "evaluate", MIX, "--confirm"],
        capture_output=True,
        text=True,
        check=True,
    )
    late = {*done.stderr.split()}
    assert "castsugar.report.mixes" in late
    assert not late & {"numpy", "pandas", "scipy", "cantera"}


def test_before_the_words_are_read(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("castsugar.cli.main.build_parser", stop)
    assert main(["evaluate", MIX]) == 130
    assert capsys.readouterr() == ("", "castsugar: interrupted; nothing was written\n")


@pytest.mark.parametrize("words", [["compare"], ["justify"]])
def test_before_there_is_an_answer(
    words: list[str], capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the middle of the draws: nothing is shown, and that is said."""
    monkeypatch.setattr("castsugar.comparison.compare.draw", stop)
    assert main([*words, MIX, OTHER, *DRAWS, "--page", "p.html", "-o", "t.txt"]) == 130
    assert capsys.readouterr() == ("", "castsugar: interrupted; nothing was written\n")
    assert os.listdir() == []


@pytest.mark.slow
@pytest.mark.parametrize(
    "drawing",
    [
        "castsugar.plot.products.species_drawing",
        "castsugar.comparison.neighbours.neighbours_of",
        "castsugar.plot.feasible.search_map_drawing",
    ],
)
def test_while_it_draws(
    drawing: str, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The text is there, the page too but for what it shows; what is not, is named."""
    monkeypatch.setattr(drawing, stop)
    words = ["justify", MIX, "KNO3:60 sucrose:30 sorbitol:10", *DRAWS, "--no-confirm"]
    drawn = ["--picture", "products=a.svg", "--picture", "map=b.svg"]
    assert main([*words, "--page", "p.html", *drawn]) == 130
    out, err = capsys.readouterr()
    assert out.startswith("Change of mix: ")
    on_page = "species" not in drawing  # the still of the triangle
    done = "done is only: what is printed above" if on_page else "not drawn: "
    assert f"interrupted; {done}" in err
    assert Path("p.html").exists() != on_page
    assert not Path("a.svg").exists()
    assert not Path("b.svg").exists()


def test_while_it_renders_the_answer_is_printed(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The work is done: the answer is whole, the exit code says that it was late."""
    import castsugar.report.mixes as mixes

    monkeypatch.setattr(mixes, "evaluate_screen", pressing(mixes.evaluate_screen))
    assert main(["evaluate", MIX, "--no-confirm"]) == 130
    out, err = capsys.readouterr()
    assert "flame temperature, K" in out
    assert err == "castsugar: interrupted; done is only: what is printed above\n"


# --- search ---------------------------------------------------------------------------


def searched(words: list[str], capsys: Capture) -> tuple[dict[str, Any], str]:
    """Return document and complaint of a search that Ctrl-C ended."""
    assert main(["search", "bench.toml", *words, "--json"]) == 130
    out, err = capsys.readouterr()
    return json.loads(out), err


@pytest.mark.parametrize(
    ("late", "words", "after"),
    [
        ("optimize.optimum._price", ["--no-confirm"], False),
        *(
            pytest.param(*case, marks=pytest.mark.slow)
            for case in (
                ("optimize.optimum.multipliers", ["--no-confirm"], False),
                ("optimize.rounding.neighbours", ["--no-confirm"], True),
                ("optimize.robust.robust_optimum", ["--no-confirm"], True),
                ("optimize.trade_off.trade_off", ["--no-confirm"], True),
                ("optimize.trade_off._level_judges", ["--no-confirm"], True),
                ("thermo.second_opinion.flow.solve", [], True),
            )
        ),
    ],
)
def test_a_search_keeps_the_best(
    late: str,
    words: list[str],
    after: bool,
    capsys: Capture,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """In its prices, in what stands beside the answer, while it is confirmed."""
    more = 'robust = true\nfront = ["specific_impulse_s", "density_kg_m3"]\n'
    Path("bench.toml").write_text(SEARCH.replace("[search]\n", f"[search]\n{more}"))
    monkeypatch.setattr(f"castsugar.{late}", stop)
    document, err = searched(words, capsys)
    assert document["status"] == "incomplete"
    assert document["reason"].startswith("interrupted")
    assert ("after the search" in document["reason"]) == after
    assert "best so far" in err


@pytest.mark.slow
def test_a_search_in_words(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    """It was found, not confirmed: both is said; no better one is hinted at."""
    Path("bench.toml").write_text(SEARCH)
    monkeypatch.setattr("castsugar.thermo.second_opinion.flow.solve", stop)
    assert main(["search", "bench.toml", "--full"]) == 130
    out = " ".join(capsys.readouterr().out.split())
    assert "Not finished: interrupted after the search" in out
    assert "a better one may exist" not in out
    assert "unavailable: interrupted: " in out


@pytest.mark.slow
@pytest.mark.parametrize(
    ("drawing", "missing", "there"),
    [
        ("plot.feasible.search_map_drawing", ["m.svg", "t.svg"], ["trials.csv"]),
        ("plot.curves.responses_drawing", ["t.svg"], ["trials.csv", "m.svg"]),
    ],
)
def test_a_search_that_draws(
    drawing: str,
    missing: list[str],
    there: list[str],
    capsys: Capture,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The answer and the trials come first; what is not drawn is told."""
    Path("bench.toml").write_text(SEARCH)
    monkeypatch.setattr(f"castsugar.{drawing}", stop)
    files = ["--picture", "m.svg", "--picture", "traces=t.svg"]
    files += ["--trials", "trials.csv"]
    document, err = searched([*files, "--no-confirm"], capsys)
    assert document["status"] == "optimal"
    told = [f"wrote {name}" for name in there]
    told.append(f"castsugar: interrupted; not drawn: {', '.join(missing)}")
    assert err.splitlines() == told
    assert {*os.listdir()} == {"bench.toml", *there}


def test_next_burns_have_no_half(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_example(Path())
    monkeypatch.setattr("castsugar.optimize.next_burns.propose", stop)
    assert main(["next", "--bench", "bench.toml", "--plan", "2", "-o", "x"]) == 130
    assert capsys.readouterr() == ("", "castsugar: interrupted; nothing was written\n")
    assert not Path("x").exists()


# --- what is kept ---------------------------------------------------------------------


def test_a_batch_is_kept_and_told(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C comes while the record is on its way to the disk: it is told of."""
    real = os.fsync
    monkeypatch.setattr(os, "fsync", pressing(real))
    assert main(["batch", "new", MIX, "--batch", "200 g"]) == 130
    out, err = capsys.readouterr()
    (kept,), _ = list_batches(Path("batches"))
    assert f"kept as batches/{kept.id}.jsonl" in out
    assert err.endswith("interrupted; done is only: what is printed above\n")
    assert main(["batch", "add", kept.id, "--observe", "pale"]) == 130
    assert "added to" in capsys.readouterr().err
    (kept,), _ = list_batches(Path("batches"))
    assert kept.counts == {"observed": 1}


def test_a_batch_is_not_kept(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C comes while it is foreseen: nothing is kept, and that is said."""
    monkeypatch.setattr("castsugar.cli.batch_entries.foresee", stop)
    assert main(["batch", "new", MIX, "--batch", "200 g"]) == 130
    assert capsys.readouterr() == ("", "castsugar: interrupted; nothing was written\n")
    assert os.listdir() == []


def test_a_measurement_is_kept_and_told(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = ["kitchen", "bulk-density", "--mass", "69 g", "--volume", "50 ml"]
    monkeypatch.setattr(os, "fsync", pressing(os.fsync))
    assert main([*words, "--bench", "bench.toml", "--save"]) == 130
    assert "In bench.toml." in capsys.readouterr().out
    assert len(read_bench(Path("bench.toml")).kitchen["measured"]) == 1


@pytest.mark.slow
def test_what_was_learnt_is_saved_and_told(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All of it, with what was written; or nothing, and that is said."""
    write_example(Path())
    mix, cook = "KNO3:60 powdered sugar:17 corn syrup:23", ["--cook", "119 C"]
    words = ["batch", "new", mix, "--batch", "200 g", *cook, "--minutes", "8"]
    assert main(words) == 0
    (made,), _ = list_batches(Path("batches"))
    words = ["--measured", "kind=pan-weight lost=1.4 g"]
    assert main(["batch", "close", made.id, "--outcome", "used", *words]) == 0
    before = Path("bench.toml").read_bytes()
    learn = ["learn", "--bench", "bench.toml", "--dir", "batches", "--save"]
    capsys.readouterr()
    with monkeypatch.context() as patch:
        patch.setattr("castsugar.records.learning.learnt.learn_all", stop)
        assert main(learn) == 130
    assert capsys.readouterr() == ("", "castsugar: interrupted; nothing was written\n")
    assert Path("bench.toml").read_bytes() == before
    monkeypatch.setattr(os, "fsync", pressing(os.fsync))
    assert main(learn) == 130
    out, err = capsys.readouterr()
    assert "wrote into bench.toml: [[kitchen.measured]] pan weight" in err
    assert out
    assert Path("bench.toml").read_bytes() != before


def test_an_example_is_whole(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "fsync", pressing(os.fsync))
    assert main(["init", "here"]) == 130
    assert len(os.listdir("here")) == 5
    out = capsys.readouterr().out
    assert "Next: castsugar check --bench here/bench.toml" in out


# --- the waiting ----------------------------------------------------------------------


def press(done: list[str], then: str) -> None:
    """Press Ctrl-C, and note it if that is let through."""
    signal.raise_signal(signal.SIGINT)
    done.append(then)


def press_held(done: list[str]) -> None:
    """Do two things that Ctrl-C must not keep from being done."""
    with held_back():
        press(done, "one")
        press(done, "two")


def test_a_signal_waits_for_the_end() -> None:
    done: list[str] = []
    with pytest.raises(KeyboardInterrupt):
        press_held(done)
    assert done == ["one", "two"]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    with held_back():
        pass


def test_a_signal_reaches_work() -> None:
    """At once inside, and the one that waited on the way in; caught, it is over."""
    done: list[str] = []
    with held_back() as hold:
        with pytest.raises(KeyboardInterrupt), hold.work():
            press(done, "never")
        press(done, "before")
        with pytest.raises(KeyboardInterrupt), hold.work():
            done.append("never")
        with hold.work():
            done.append("again")
    assert done == ["before", "again"]


def test_other_programs_decide_for_themselves() -> None:
    """Where the caller has its own way with Ctrl-C, and in other threads."""
    heard = []
    before = signal.signal(signal.SIGINT, lambda *_: heard.append(1))
    try:
        with held_back():
            signal.raise_signal(signal.SIGINT)
            assert heard == [1]
    finally:
        signal.signal(signal.SIGINT, before)
    thread = threading.Thread(target=lambda: heard.extend(_held()))
    thread.start()
    thread.join()
    assert heard == [1, 2]


def _held() -> Iterator[int]:
    with held_back():
        yield 2


# --- real processes -------------------------------------------------------------------

#: Says that it is there, waits, and would then do what it is for.
_WAITING = """
import importlib, pathlib, sys, time
from castsugar.cli.main import main
module, _, name = sys.argv[1].rpartition(".")
module = importlib.import_module(module)
real = getattr(module, name)
def waiting(*a, **k):
    pathlib.Path("ready").touch()
    time.sleep(60)
    return real(*a, **k)
setattr(module, name, waiting)
sys.exit(main(sys.argv[2:]))
"""


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="no such signal there")
@pytest.mark.parametrize(
    ("where", "words", "said", "files"),
    [
        (
            "castsugar.plot.maps.map_drawing",
            [
                *MAP,
                "--csv",
                "t.csv",
                "--picture",
                "p.svg",
                "--workers",
                "2",
                "--step",
                "1%",
            ],
            "not drawn: p.svg",
            {"t.csv"},
        ),
        (
            "castsugar.thermo.second_opinion.flow.solve",
            ["search", "bench.toml", "-o", "answer.txt"],
            "best so far",
            {"answer.txt"},
        ),
        (
            "castsugar.comparison.compare.draw",
            ["compare", MIX, OTHER, "-o", "x", "--page", "y"],
            "nothing was written",
            set(),
        ),
    ],
)
def test_a_process_that_is_interrupted(
    where: str, words: list[str], said: str, files: set[str]
) -> None:
    """The whole group gets the signal, as at a terminal."""
    Path("bench.toml").write_text(SEARCH)
    process = subprocess.Popen(
        [sys.executable, "-c", _WAITING, where, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    end = time.monotonic() + 120.0
    while not Path("ready").exists() and time.monotonic() < end:
        assert process.poll() is None, process.communicate()
        time.sleep(0.05)
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert said in err
    assert "Traceback" not in out + err
    assert {*os.listdir()} == {"bench.toml", "ready", *files}


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="no such signal there")
def test_workers_are_left_alone() -> None:
    """Ctrl-C while two processes share the work: no traceback of theirs."""
    words = [*MAP, "--step", "0.5%", "--csv", "t.csv", "--workers", "2"]
    process = subprocess.Popen(
        [sys.executable, "-m", "castsugar", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    time.sleep(2.0)  # at work: it takes twice as long where nothing else runs
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode in (0, 130)  # it may have been quick
    assert "Traceback" not in out + err
    if "nothing was written" not in err:
        assert len(table("t.csv")) == 20301
