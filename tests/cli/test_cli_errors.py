"""Bad input: one clear line on stderr, exit code 2, nothing on stdout."""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from commands import PARSERS

import castsugar as cs
from castsugar import evaluation
from castsugar.cli.main import main
from castsugar.cli.output import command_text

# Exact: the acceptance list of the contract and the exit codes of the contract.
pytestmark = pytest.mark.exact

BASE = "KNO3:65 sucrose:35"
Capture = pytest.CaptureFixture[str]


def run(capsys: Capture, *words: str) -> tuple[int, str, str]:
    """Run the command line; return exit code, stdout and stderr."""
    try:
        code = main(list(words))
    except SystemExit as stop:
        code = stop.code if isinstance(stop.code, int) else 1
    out, err = capsys.readouterr()
    return code, out, err


# Words typed; what the line must say: what was wrong, and what to do.
BAD_INPUT = [
    # The acceptance list, in its order.
    (["KNO3:65 sucrse:35"], ["'sucrse'", "did you mean 'sucrose'"]),
    (["KNO3:65 potassium perchlorate:35"], ["refused", "perchlorates", "set off"]),
    (["KNO3:65 ammonium nitrate:35"], ["refused", "explosive precursor"]),
    (["KNO3:65 NH4ClO4:35"], ["refused", "perchlorates"]),
    (["KNO3:65 aluminium:35"], ["refused", "metal powders"]),
    (["KNO3:65 sucrose:-5"], ["'-5' of 'sucrose' is negative", "zero or more"]),
    (["KNO3:0 sucrose:0"], ["are zero", "write for example"]),
    (["KNO3:65% sucrose:37%"], ["sum to 102", "100", "leave out %"]),
    (["KNO3:65% sucrose:35"], ["mixed", "every amount with % or none"]),
    (["KNO3:64,5 sucrose:35,5"], ["decimal comma", "write 64.5"]),
    ([BASE, "--pressure", "1000"], ["--pressure", "no unit", "1000 psi"]),
    ([BASE, "--pressure", "7 MPPa"], ["'MPPa'", "did you mean 'MPa'"]),
    ([BASE, "--exit-pressure", "10 MPa"], ["exit pressure", "lower exit pressure"]),
    # The same in a place that is harder to see.
    ([BASE, "KNO3:65 sucrse:35"], ["recipe 2", "'sucrse'"]),
    ([BASE, "--exit-pressure", "0 MPa"], ["--exit-pressure is 0 kPa", "allowed"]),
    ([BASE, "--exit-pressure", "1"], ["--exit-pressure", "no unit"]),
    ([BASE, "--pressure", "0 MPa"], ["pressure", "allowed"]),
    ([BASE, "--pressure", "-5 MPa"], ["below absolute zero"]),
    ([BASE, "--pressure", "6,9 MPa"], ["decimal comma", "write 6.9 MPa"]),
    ([BASE, "--water-lost", "20"], ["--water-lost", "above 1"]),
    ([BASE, "--water-lost", "some"], ["--water-lost", "no number"]),
    ([BASE, "--nozzle-flow", "shifting"], ["'shifting'", "equilibrium, frozen"]),
    ([BASE, "--alternative", "sucrose"], ["INGREDIENT=NAME"]),
    ([BASE, "--alternative", "sucrose=glas"], ["did you mean 'glass'"]),
    ([BASE, "--alternative", "sorbitol=polyol cycle"], ["not in the mix"]),
    ([""], ["recipe is empty", "write for example"]),
    (["KNO3 65"], ["has no ':'", "write for example"]),
    ([], ["RECIPE", "--help"]),
    ([BASE, "--presure", "7 MPa"], ["--presure", "--help"]),
    ([BASE, "--pressure"], ["--pressure", "expected one argument"]),
    ([BASE, "--json", "--csv"], ["--csv", "--json"]),
    ([BASE, "-o", "no/such/folder/x.csv"], ["cannot be written"]),
]


@pytest.mark.parametrize(("words", "said"), BAD_INPUT)
def test_bad_input(capsys: Capture, words: list[str], said: list[str]) -> None:
    """One line that says what and what to do; exit code 2; no table."""
    code, out, err = run(capsys, "evaluate", *words)
    assert (code, out) == (2, "")
    assert err.startswith("castsugar: ")
    assert err.count("\n") == 1
    assert "Traceback" not in err
    assert "Error" not in err
    for text in said:
        assert text in err


TWO_NAMES = "KNO3:30 potassium nitrate:35 sucrose:35"
BENCH = f"""\
[recipes]
mine = "{TWO_NAMES}"

[search]
maximise = "characteristic_velocity_m_s"
[search.ingredients]
KNO3 = "50 % to 70 %"
sucrose = "30 % to 50 %"

[kitchen]
cook = "119 C"
minutes = 8
"""


@pytest.mark.parametrize(
    "words",
    [
        ["evaluate", TWO_NAMES],
        ["evaluate", "mine", "--bench", "bench.toml"],
        ["kitchen", "judge", TWO_NAMES, "--cook", "119 C", "--minutes", "8"],
        ["sweep", TWO_NAMES, "--vary", "sucrose"],
        ["compare", TWO_NAMES, BASE],
        ["justify", BASE, TWO_NAMES],
        ["weigh", TWO_NAMES, "--batch", "200 g"],
        ["weigh", "mine", "--bench", "bench.toml", "--batch", "200 g"],
        ["search", "bench.toml"],
        ["batch", "new", TWO_NAMES, "--batch", "200 g", "--date", "2026-05-01"],
    ],
)
def test_one_ingredient_under_two_names(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]
) -> None:
    """Refused by every command that reads a recipe, as the same name twice is."""
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(BENCH, "utf-8")
    code, out, err = run(capsys, *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "'potassium nitrate' comes twice (first as 'KNO3', both are" in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["evalute", BASE], "did you mean 'evaluate'"),
        (["ingredients", "sucrse"], "did you mean 'sucrose'"),
        (["ingredients", "potassium perchlorate"], "refused"),
        (["--versoin"], "--help"),
    ],
)
def test_other_slips(capsys: Capture, words: list[str], said: str) -> None:
    """Commands, options and names are treated alike."""
    code, out, err = run(capsys, *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert said in err


@pytest.mark.parametrize("words", PARSERS)
def test_two_dashes_are_no_value(capsys: Capture, words: str) -> None:
    """``--option=--``, for every option: one line that names the option."""
    taking = [
        option
        for action in PARSERS[words]._actions
        if action.nargs != 0 and not isinstance(action, argparse._SubParsersAction)
        for option in action.option_strings
    ]
    for option in taking:
        for equals in ("=", "") if len(option) == 2 else ("=",):
            code, out, err = run(capsys, *words.split(), BASE, f"{option}{equals}--")
            assert (code, out, err.count("\n")) == (2, "", 1), option
            assert f"argument {option}: '--' is no value" in err


def test_dashes_behind_the_end_of_options(capsys: Capture) -> None:
    """Behind ``--`` there are no options: the word is a recipe, and not a good one."""
    code, out, err = run(capsys, "evaluate", "--", "--pressure=--")
    assert (code, out) == (2, "")
    assert "recipe" in err


@pytest.mark.slow
def test_slip_in_a_process_of_its_own() -> None:
    """No traceback reaches the screen, and the shell sees the code."""
    done = subprocess.run(
        [sys.executable, "-m", "castsugar", "evaluate", BASE, "--pressure", "7 MPPa"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert re.fullmatch(r"castsugar: .*'MPPa'.*\n", done.stderr)


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("ingredients.csv", "-2226.1", "-2226x", "ingredients.csv line 4"),
        *(
            pytest.param(*case, marks=pytest.mark.slow)
            for case in (
                ("ingredients.csv", "1580.5", "0", "'0' is outside"),
                ("products.yaml", "density: 2290.0", "density: 22.9", "22.9"),
                ("products.yaml", "reference-pressure: 1.0e5", "p: 1", "is missing"),
            )
        ),
    ],
)
def test_broken_species_file(
    tmp_path: Path, file: str, old: str, new: str, said: str
) -> None:
    """A damaged file in a checkout: one line with file, line and value, code 2."""
    data = cs.load_database().folder
    package = Path(cs.__file__).parent
    shutil.copytree(package, tmp_path / "src" / "castsugar")
    shutil.copytree(data, tmp_path / "species_data")
    path = tmp_path / "species_data" / file
    text = path.read_text("utf-8")
    line = text.count("\n", 0, text.index(old)) + 1
    path.write_text(text.replace(old, new, 1), "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "castsugar", "evaluate", BASE],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(tmp_path / "src")},
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    found = re.search(rf"{re.escape(file)} line (\d+)", done.stderr)
    assert found
    # A product is named by the line of its name, some lines above its values.
    assert line - 15 <= int(found[1]) <= line
    assert said in done.stderr


def test_row_without_convergence(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The table is shown, the row says why, and the exit code is 3."""
    real = evaluation.evaluate_columns

    def stuck(*args: object, **options: object) -> object:
        columns = real(*args, **options)
        columns["status"] = ["no convergence: stuck on purpose"]
        return columns

    monkeypatch.setattr("castsugar.evaluation.evaluate_columns", stuck)
    code, out, err = run(capsys, "evaluate", BASE, "--exit-pressure", "none")
    assert (code, err) == (3, "")
    assert "stuck on purpose" in out


def test_interrupted(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C ends with 130 and without a traceback."""

    def interrupt(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("castsugar.evaluation.evaluate_columns", interrupt)
    code, out, err = run(capsys, "evaluate", BASE)
    assert (code, out) == (130, "")
    assert err == "castsugar: interrupted; nothing was written\n"


def at_fault(monkeypatch: pytest.MonkeyPatch, error: Exception) -> None:
    """Let evaluate raise what nobody expects."""

    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr("castsugar.evaluation.evaluate_columns", fail)


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (ZeroDivisionError("division by zero"), "ZeroDivisionError: division by zero"),
        (RecursionError("too deep"), "RecursionError: too deep"),
        (RuntimeError("two\nlines"), "RuntimeError: two lines"),
        (MemoryError(), "out of memory"),
    ],
)
def test_unexpected_fault(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch, error: Exception, said: str
) -> None:
    """One line and 70 (EX_SOFTWARE of BSD's sysexits.h): never 1, which means "no"."""
    at_fault(monkeypatch, error)
    code, out, err = run(capsys, "evaluate", BASE)
    assert (code, out, err.count("\n")) == (70, "", 1)
    assert err.startswith("castsugar: ")
    assert said in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    "words", [["--debug", "evaluate", BASE], ["evaluate", BASE, "--debug"]]
)
def test_debug_shows_the_traceback(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch, words: list[str]
) -> None:
    """Before and after the command; the one line comes last."""
    at_fault(monkeypatch, ZeroDivisionError("division by zero"))
    code, out, err = run(capsys, *words)
    assert (code, out) == (70, "")
    assert err.startswith("Traceback (most recent call last):\n")
    assert err.splitlines()[-1].startswith("castsugar: this is a fault")


def test_debug_changes_nothing_else(capsys: Capture) -> None:
    """Bad input stays one line; a record does not repeat the word."""
    code, _, err = run(capsys, "evaluate", "KNO3 65", "--debug")
    assert (code, err.count("\n")) == (2, 1)
    assert command_text(["compare", "a b", "--debug"]) == "castsugar compare 'a b'"


@pytest.mark.slow
def test_reader_that_leaves_early() -> None:
    """``castsugar ingredients | head -1`` ends quietly."""
    done = subprocess.Popen(
        [sys.executable, "-m", "castsugar", "ingredients", "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert done.stdout is not None
    assert done.stderr is not None
    done.stdout.close()
    message = done.stderr.read()
    done.stderr.close()
    assert (done.wait(), message) == (0, b"")
