"""Every command on the example bench: what its screens and documents must keep.

The checks are those of a reader: one screen, the gravest first, few cautions, a next
step that runs, one system of units, no example taken for a measurement, the same bytes
on any terminal. What a page must keep stands in ``tests/browser``.
"""

from __future__ import annotations

import contextlib
import functools
import io
import json
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest

from castsugar.cli.main import main
from castsugar.report.schemas import NAMES, schema
from castsugar.report.screen import STATUSES

pytestmark = [pytest.mark.exact, pytest.mark.slow]

NEW = '"KNO3:60 powdered sugar:17 corn syrup:23"'
SHOT = "firing shot.csv --throat '8 mm' --throat-after '8.2 mm'"
ID = "2026-05-16-1"

#: What is asked, by name: every command of the help that answers on a screen.
COMMANDS = {
    "evaluate": "evaluate base",
    "ballistics": "ballistics base",
    "compare": f"compare base red {NEW}",
    "search": "search",
    "justify": f"justify base {NEW} --claim 'lower pressure'",
    "next": "next",
    "next plan": "next --plan 2",
    "sweep": "sweep base --vary KNO3 --from 55% --to 75%",
    "map": "map KNO3 'powdered sugar' 'corn syrup' --step 5%",
    "weigh": f"weigh {NEW} --grains 4 --strands 8 --delays 2",
    "plan pieces": f"plan pieces {NEW} --batch '500 g' --delays 2",
    "plan water": "plan water base --left '3 %'",
    "plan heat": "plan heat base --probability '55 %'",
    "plan correct": "plan correct base --batch '300 g' --extra 'corn syrup: 6 g'",
    "plan pans": f"plan pans {NEW} --batch '500 g'",
    "batch new": "batch new base --batch '200 g' --date 2026-05-16",
    "batch list": "batch list",
    "batch show": f"batch show {ID}",
    "batch card": f"batch card {ID} --mass '150 g' --cast-mass '150 g' "
    "--temperature '20 C' --date 2026-05-20",
    "kitchen judge": "kitchen judge base",
    "kitchen parameters": "kitchen parameters",
    "kitchen flow-out": "kitchen flow-out --recipe base --cook '119 C 8 min' "
    "--tube-diameter '8 mm' --tube-length '30 mm' --head '60 mm' --volume '50 ml' "
    "--time '300 s' --salt 'potassium chloride'",
    "burnrate": "burnrate strands.csv --at '4 MPa'",
    "firing": f"{SHOT} --propellant-mass '368 g' --mix {NEW}",
    "delay": "firing shot.csv --delay --strands delay.csv --delay-time '6 s'",
    "learn": "learn",
    "check": "check",
    "audit": "audit record.json",
    "cautions": "cautions",
    "ingredients": "ingredients",
    "one ingredient": "ingredients 'corn syrup'",
}

#: Commands whose screens count no cautions.
UNCOUNTED = {
    "audit",
    "check",
    "cautions",
    "ingredients",
    "one ingredient",
    "batch list",
    "kitchen parameters",
}

#: Commands that rest on no number of the bench.
OWN_BENCH = set(COMMANDS) - {
    "audit",
    "cautions",
    "ingredients",
    "one ingredient",
    "batch list",
}

_STATUS = re.compile(rf"^({'|'.join(sorted(STATUSES, key=len, reverse=True))})(?=  |:)")

#: SI units that a US screen must not show; viscosity has one unit, and rules of law and
#: of the trade keep the unit they are written in.
_SI = re.compile(r"\d (MPa|kPa|mm|g|kg|°C|K|m/s|N|N s)\b(?! ?s\b)")
_RULES = re.compile(
    r"beyond [\d,]+ (g|N s)|above [\d,]+ (g|N s)|of 500 g|250 g|g per 100 g"
    "|sugar, 1 kg"  # what a lot of the example is called
)
#: What a poor stream spells in other signs: all but letters.
_PLAIN = re.compile(r"[^a-zA-Z]+")
_US = re.compile(r"\d (psi|°F|oz|lbf|ft/s|in(?! \d))\b")


#: Labels that are no longer said, as whole labels and headings.
OLD = (
    "density without voids",
    "mass that is not gas",
    "mix mass per mole of gas",
    "mix mass per mole of everything",
    "solids over packing",
    "second solver",
    "pour viscosity, middle",
    "probability that it pours",
    "what the case may hold",
    "drawn worlds",
    "foreseen",
    "burn law, with its doubt",
    "does not tell the exponent",
    "How to go about it",
    "To get the same record again",
    "Is the tool any good",
    "spoon it",
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make an example bench with one batch that is closed."""
    made = tmp_path_factory.mktemp("bench")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(made)
        assert main(["init", "."]) == 0
        for line in (
            f"batch new {NEW} --batch '480 g' --date 2026-05-16",
            f"batch add {ID} --strands strands-new.csv --date 2026-05-17",
            f"batch add {ID} --firing shot.csv --throat '8 mm' --throat-after '8.2 mm' "
            "--propellant-mass '368 g' --date 2026-05-18",
            f"batch close {ID} --outcome used --date 2026-05-19",
            "evaluate base --json -o record.json",
        ):
            assert main(shlex.split(line)) == 0, line
    return made


Ask = Callable[..., tuple[int, str]]


@pytest.fixture(scope="module")
def told(folder: Path) -> Ask:
    """Ask one command in a copy of the bench, each question once: code and text."""

    @functools.cache
    def asked(name: str, *more: str) -> tuple[int, str]:
        return _asked(folder, name, *more)

    return asked


@pytest.fixture
def there(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Go into a copy of the bench."""
    shutil.copytree(folder, tmp_path / "b")
    monkeypatch.chdir(tmp_path / "b")


def _asked(folder: Path, name: str, *more: str) -> tuple[int, str]:
    with tempfile.TemporaryDirectory() as made, contextlib.chdir(made):
        bench = shutil.copytree(folder, Path("b"))
        with contextlib.chdir(bench), contextlib.redirect_stdout(io.StringIO()) as out:
            code = main([*shlex.split(COMMANDS[name]), *more])
    return code, out.getvalue()


def run(words: list[str]) -> int:
    """Run a command; help and wrong options leave by an exception."""
    try:
        return main(words)
    except SystemExit as stop:
        return int(str(stop.code))


def fits(text: str) -> None:
    lines = text.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines[:-1])) <= 80
    assert "…" not in text


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize("name", COMMANDS)
def test_one_screen_the_gravest_first_and_a_next_step(
    name: str, units: str, told: Ask
) -> None:
    code, text = told(name, "--units", units) if units == "us" else told(name)
    assert code in (0, 1)
    fits(text)
    lines = text.splitlines()
    found = [m[1] for line in lines if (m := _STATUS.match(line)) and m[1] != "EXAMPLE"]
    if name not in UNCOUNTED:
        assert found
        assert next(i for i, x in enumerate(lines) if x.startswith(found[0])) <= 4
        order = list(STATUSES)
        assert found == sorted(found, key=order.index)
        marks = [x for x in lines if x.startswith("! ")]
        assert len(marks) <= 3
        (closing,) = (x for x in lines if x.endswith("more: castsugar cautions"))
        rest = int(closing.split("decides. ")[1].split()[0])
        _, document = told(name, "--json")
        assert len(marks) + rest == len(json.loads(document)["cautions"])
    if units == "us":
        body = _RULES.sub("", text.rpartition("Next: ")[0])
        assert not _SI.search(body), text
    else:
        body = re.sub(r"500 psi|1000 psi|1 atm", "", text)
        assert not _US.search(body.rpartition("Next: ")[0]), text
    assert ("EXAMPLE" in "".join(lines[:2])) == (name in OWN_BENCH)


@pytest.mark.parametrize("name", COMMANDS)
def test_the_next_step_runs(name: str, told: Ask, there: None) -> None:
    del there
    _, text = told(name)
    last = text.splitlines()[-1]
    assert last.startswith("Next: castsugar ")
    line = last.removeprefix("Next: castsugar ").partition("   (")[0]
    if line in COMMANDS.values():
        return  # asked by the other tests
    step = shlex.split(line)
    if name == "batch new":  # its next step asks of the batch that it has made
        assert main(shlex.split(COMMANDS[name])) == 0
    assert run(step) in (0, 1)


@pytest.mark.parametrize("name", COMMANDS)
def test_everything_fits_80_columns_in_words_of_today(name: str, told: Ask) -> None:
    _, text = told(name, "--full")
    assert max(map(len, text.splitlines()[:-1])) <= 80
    assert "…" not in text
    assert len(re.findall("90 %|80 % band", text)) == 0
    flat = " ".join(text.split())
    assert [word for word in OLD if word in flat] == []


@pytest.mark.parametrize("name", COMMANDS)
def test_documents_keep_their_schema(name: str, told: Ask) -> None:
    _, text = told(name, "--json")
    document = json.loads(text)
    kind, _, version = document["schema"].removeprefix("castsugar.").partition("/")
    assert version == "2"
    assert f"{kind}-2" in NAMES
    jsonschema.validate(document, schema(f"{kind}-2"))
    assert document["invented"] is (name in OWN_BENCH)


def test_nothing_is_an_example_once_all_is_measured(
    there: None, capsys: pytest.CaptureFixture[str]
) -> None:
    """Flags of single entries keep the line; without any it is gone."""
    del there

    def ask(name: str) -> tuple[int, str]:
        capsys.readouterr()
        code = main(shlex.split(COMMANDS[name]))
        return code, capsys.readouterr().out

    bench = Path("bench.toml")
    text = bench.read_text("utf-8")
    bench.write_text(text.replace("[motor]\ninvented = true\n", "[motor]\n"), "utf-8")
    assert "EXAMPLE" in ask("evaluate")[1]
    bench.write_text(re.sub(r"(?m)^invented = true.*\n", "", text), "utf-8")
    for path in Path().glob("*.csv"):
        lines = path.read_text("utf-8").splitlines(keepends=True)
        kept = [x for x in lines if not x.startswith("#")]
        path.write_text("".join(kept), "utf-8")
    shutil.rmtree("batches")
    of_batches = {"learn", "batch list", "batch show", "batch card"}
    first = {COMMANDS[name].split()[0]: name for name in OWN_BENCH - of_batches}
    for name in sorted(first.values()):
        code, out = ask(name)
        assert code in (0, 1), name
        assert "EXAMPLE" not in out, name


@pytest.mark.parametrize("name", COMMANDS)
def test_any_output_takes_it(
    name: str, told: Ask, there: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a stream has no sign for is spelled; nothing else moves, asked again."""
    del there
    code, text = told(name)
    # Every second by the code page of a console.
    encoding = ("ascii", "cp1252")[list(COMMANDS).index(name) % 2]
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    monkeypatch.setattr(sys, "stdout", stream)
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "40")
    assert main(shlex.split(COMMANDS[name])) == code
    stream.flush()
    raw = stream.buffer.getvalue()  # type: ignore[attr-defined]
    assert b"\x1b" not in raw
    said = raw.decode(encoding)
    fits(said)
    assert _PLAIN.sub("", said) == _PLAIN.sub("", text)
    assert said.count("?") == text.count("?")


@pytest.mark.parametrize(
    "line",
    [
        "evaluate 'KNO3:60 sugr:40'",
        "evaluate base --pressure 500",
        "evaluate base --bench none.toml",
        "weigh base --batch '5 kg' --units metric",
        "search --bench shot.csv",
        "burnrate shot.csv",
    ],
)
def test_an_error_is_one_line_and_says_what_to_do(
    line: str, there: None, capsys: pytest.CaptureFixture[str]
) -> None:
    del there
    capsys.readouterr()
    code = run(shlex.split(line))
    out, err = capsys.readouterr()
    assert (code, out, err.count("\n")) == (2, "", 1)


def loaded(folder: Path, *lines: str) -> set[str]:
    """Return the modules that commands load, in a fresh process."""
    code = (
        "import sys; from castsugar.cli.main import main; "
        f"[main(words) for words in {[*map(shlex.split, lines)]!r}]; "
        "print('\\n' + ' '.join(sorted(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=folder, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return set(done.stderr.split())


def test_what_a_command_does_not_load(folder: Path) -> None:
    text = loaded(folder, "evaluate base")
    heavy = {"jinja2", "pandas", "scipy", "matplotlib", "starlette"}
    assert not heavy & text
    others = (
        "compare base red --no-confirm",
        "map KNO3 sucrose water --step 5%",
        "search --no-confirm",
    )
    assert not heavy & loaded(folder, *others)
    assert "rich" in text
    assert "rich" not in loaded(folder, "evaluate base --json")


def test_a_plain_evaluate_loads_numpy_and_rich(folder: Path) -> None:
    """Whoever has no bench waits for nothing else; the second opinion is Cantera's."""
    plain = "evaluate 'KNO3:65 sucrose:35' --no-bench"
    heavy = {"scipy", "cantera", "pandas", "jinja2", "matplotlib", "starlette"}
    text = loaded(folder, f"{plain} --no-confirm")
    assert {"numpy", "rich"} <= text
    assert not heavy & text
    assert heavy & loaded(folder, plain) == {"cantera"}


def test_help_loads_no_command(folder: Path) -> None:
    """It lists them; neither numpy nor the bench is waited for."""
    code = (
        "import sys; from castsugar.cli.main import COMMANDS, main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "found = {f'castsugar.cli.{name}' for name in COMMANDS.values()}\n"
        "found = (found | {'numpy', 'castsugar.bench'}) & set(sys.modules)\n"
        "print(*sorted(found), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=folder, capture_output=True, text=True
    )
    assert (done.returncode, done.stderr.strip()) == (0, "")


def test_no_command_of_text_loads_what_draws(folder: Path, tmp_path: Path) -> None:
    """One of each, one after the other in one process; the others stand above."""
    first = {words.split()[0]: shlex.split(words) for words in COMMANDS.values()}
    for above in ("evaluate", "compare", "map", "search"):
        del first[above]
    place = shutil.copytree(folder, tmp_path / "bench")
    code = (
        "import sys; from castsugar.cli.main import main\n"
        "codes = set()\n"
        f"for words in {list(first.values())!r}:\n"
        "    more = ['--no-confirm'] if words[0] == 'justify' else []\n"
        "    codes.add(main([*words, *more]))\n"
        "loaded = {'matplotlib', 'mpltern'} & set(sys.modules)\n"
        "print(codes <= {0, 1}, loaded == set(), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=place, capture_output=True, text=True
    )
    assert done.stderr.splitlines()[-1] == "True True"


def test_numbers_become_text_in_one_place() -> None:
    """No float is formatted in report/ outside the module of numbers."""
    root = Path(__file__).parent.parent / "src/castsugar/report"
    found = []
    for path in root.glob("*.py"):
        text = path.read_text("utf-8")
        if path.stem == "numbers":
            continue
        for number, line in enumerate(text.splitlines(), 1):
            if re.search(r":[+]?\.\d?\w?[a-z}]\}|:\.\d[efg]", line):
                found.append(f"{path.name}:{number}: {line.strip()}")
    assert found == []
