"""One table of possible and usual values: bench file, options, records.

The limits are ours. What must not be refused or remarked on is what motors, kitchens
and handbooks have: each value stands here with where it comes from.
"""

from __future__ import annotations

import argparse
import json
import re
import shlex
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import castsugar as cs
from castsugar import InputError, plausible, units
from castsugar.bench import tables
from castsugar.bench.bench import TABLES, check_bench
from castsugar.bench.schema import Key, Keys, Place, read_table
from castsugar.bench.search_tables import SEARCHABLE
from castsugar.cli.main import build_parser, main
from castsugar.errors import UnusualWarning
from castsugar.plausible import RANGES, PlausibleRange, range_of_limit

PLACE = Place(Path("bench.toml"), "", "")

KEYS: list[tuple[str, Keys]] = [
    *((name, table.KEYS) for name, table in TABLES.items()),
    *((name, table.KEYS) for name, table in tables.MEASUREMENTS.items()),
    ("grain", tables.Cylinder.KEYS),
    ("areas", tables.Areas.KEYS),
    ("case", tables.Case.KEYS),
    ("law", tables.StatedLaw.KEYS),
    ("parameter", tables.Stated.KEYS),
]

#: Numbers that no range of this table fits: a name for random numbers; a limit has the
#: range of its column; a parameter of the kitchen that of the parameter.
FREE = {
    ("search", "seed"),
    ("limits", "at_most"),
    ("limits", "at_least"),
    ("parameter", "value"),
    ("parameter", "spread"),
}

NUMBERS = {*units.UNITS, "number", "numbers", "number or text", "whole"}
RANGED = [
    pytest.param(name, replace(key, needs=()), id=f"{table} {name}")
    for table, keys in KEYS
    for name, key in keys.items()
    if key.range
]


def raw(key: Key, value: float) -> object:
    """Write a number in the unit of the range, as a bench file would hold it."""
    unit = RANGES[key.range].unit
    if key.kind == "numbers":
        return [value]
    if key.kind in ("number", "whole"):
        return int(value) if key.kind == "whole" else value
    return f"{value:.12f} {unit}"


# --- the table -----------------------------------------------------------------------


@pytest.mark.exact
def test_limits_enclose_one_another() -> None:
    for name, one in RANGES.items():
        low, high = one.hard_low, one.hard_high
        assert low <= one.soft_low <= one.soft_high <= high, name
        assert low < high, name
        assert not one.quantity or one.unit in units.UNITS[one.quantity], name


@pytest.mark.exact
def test_every_number_of_the_bench_file_has_a_range() -> None:
    for table, keys in KEYS:
        for name, key in keys.items():
            if key.kind in NUMBERS and (table, name) not in FREE:
                assert key.range in RANGES, (table, name)
    for column in SEARCHABLE:
        assert range_of_limit(column) in RANGES, column


@pytest.mark.exact
def test_no_range_is_idle() -> None:
    """Each is named outside the table."""
    source = Path(plausible.__file__).parent
    files = [p for p in source.rglob("*.py") if p.name != "plausible.py"]
    text = "".join(path.read_text("utf-8") for path in files)
    used = {range_of_limit(column) for column in SEARCHABLE}
    made = {"pressure per volt", "thrust per volt"}  # of the name of a sensor
    made |= {f"range of the {one}" for one in ("pressure sensor", "load cell")}
    idle = [n for n in RANGES if f'"{n}"' not in text and n not in used | made]
    assert idle == []


@pytest.mark.exact
def test_limits_in_si() -> None:
    """By hand: 0.3 mm, 0 and 200 C, 50 %."""
    assert RANGES["throat diameter"].hard == (0.0003, 0.2)
    assert RANGES["bulk temperature"].hard == (273.15, 473.15)
    assert RANGES["assay"].hard == (0.5, 1.0)
    assert RANGES["minutes"].hard == (0.01, 1440.0)


@pytest.mark.exact
def test_words(recwarn: pytest.WarningsRecorder) -> None:
    say = plausible.said_at("here")
    with pytest.raises(InputError, match=r"^here is 1e\+09 g; allowed 0.1 to 10000 g$"):
        plausible.checked("batch", 1e6, say)
    with pytest.raises(InputError, match="here is nan g; allowed"):
        plausible.checked("batch", float("nan"), say)
    with pytest.warns(UnusualWarning, match="here is 60 mm; usual is 1 to 50 mm"):
        assert plausible.checked("throat diameter", 0.06, say) == 0.06
    with plausible.collected() as told:
        for _ in range(2):
            plausible.checked("throat diameter", 0.06, say)
    assert [one.text for one in told] == [
        "here is 60 mm; usual is 1 to 50 mm: look again"
    ]


# --- every key of the bench file -----------------------------------------------------


@pytest.mark.exact
@pytest.mark.parametrize(("name", "key"), RANGED)
def test_a_key_is_remarked_on_and_refused_beyond_its_ranges(
    name: str, key: Key
) -> None:
    known: PlausibleRange = RANGES[key.range]
    span = known.hard_high - known.hard_low
    high = known.hard_high
    with pytest.raises(InputError) as caught:
        read_table({name: raw(key, high + span)}, {name: key}, PLACE)
    text = str(caught.value)
    # A fraction above 1 is none: units say so before the range does.
    assert "; allowed " in text or "above 1, that is 100 %" in text
    assert name in text
    assert "\n" not in text
    with plausible.collected():
        read_table({name: raw(key, high)}, {name: key}, PLACE)
    with plausible.collected() as told:
        read_table({name: raw(key, known.soft_high)}, {name: key}, PLACE)
    assert told == []
    if known.soft_high < known.hard_high:
        value = 0.5 * (known.soft_high + known.hard_high)
        with plausible.collected() as told:
            read_table({name: raw(key, value)}, {name: key}, PLACE)
        assert len(told) == 1
        assert "; usual is " in told[0].text


# --- every option that takes a quantity ----------------------------------------------

RECIPE = "'KNO3:60 powdered sugar:20 corn syrup:20'"
POT = f"--recipe {RECIPE} --cook '119 C' --minutes 8"
FIRING = "--firing shot.csv --throat '8 mm' --propellant-mass '368 g'"
DELAY = "--delay --strands delay.csv --delay-time '6 s' --chamber-pressure '2 MPa'"

#: Command lines that work in the folder of the example.
COMMANDS = {
    "open": "bench.toml --no-browser",
    "evaluate": f"{RECIPE} --cook '119 C' --minutes 8 --no-confirm",
    "ballistics": f"{RECIPE} --bench bench.toml --cook '119 C' --minutes 8",
    "sweep": f"{RECIPE} --vary KNO3 --cook '119 C' --minutes 8",
    "map": "KNO3 'powdered sugar' 'corn syrup' --cook '119 C' --minutes 8",
    "compare": f"{RECIPE} base --bench bench.toml --cook '119 C' --minutes 8",
    "justify": f"{RECIPE} base --bench bench.toml --cook '119 C' --minutes 8",
    "search": "bench.toml",
    "weigh": f"{RECIPE} --batch '200 g' --cook '119 C' --minutes 8",
    "plan pieces": "base --batch '500 g' --cook '119 C' --minutes 8",
    "plan correct": "base --batch '200 g' --extra 'KNO3: 1 g' --cook '119 C' "
    "--minutes 8",
    "plan pans": "base --batch '500 g' --cook '119 C' --minutes 8",
    "plan water": "base --left '3 %' --cook '119 C' --minutes 8",
    "plan heat": "base --cook '119 C' --minutes 8",
    "burnrate": "strands.csv",
    "firing": "shot.csv --throat '8 mm' --propellant-mass '368 g' --no-bench",
    "kitchen judge": f"{RECIPE} --cook '119 C' --minutes 8",
    "kitchen pan-weight": f"{POT} --batch '200 g' --lost '1.8 g'",
    "kitchen bulk-density": "--mass '69 g' --volume '50 ml'",
    "kitchen brine": "--mass '60 g' --loose '52 ml' --tapped '46 ml' "
    "--temperature '20 C'",
    "kitchen clear-point": "--liquid A --mass '20 g' --added '5.1 g' --portion '0.1 g' "
    "--temperature '85 C'",
    "kitchen boiling-water": "--reading '98.5 C'",
    "kitchen ball-fall": "--ball '3 mm' --cup '40 mm' --fall '50 mm' --time '12 s' "
    "--temperature '25 C'",
    "kitchen flow-out": f"{POT} --tube-diameter '8 mm' --tube-length '30 mm' "
    "--head '60 mm' --volume '50 ml' --time '300 s' --salt 'potassium chloride'",
    "next": "--bench bench.toml --minutes 120",
    "batch new": f"{RECIPE} --batch '200 g' --cook '119 C' --minutes 8",
    "batch add": f"2026-05-02-1 {FIRING}",
    "batch close": f"2026-05-02-1 --outcome used {FIRING}",
    "batch card": "2026-05-02-1 --date 2026-05-09 --cast-mass '368 g'",
}

#: Options of a command line of their own: those of the delay column.
OTHER = dict.fromkeys(
    (
        "--delay-time",
        "--chamber-pressure",
        "--burn-time",
        "--length-uncertainty",
        "--thrust-uncertainty",
        "--altitude",
        "--ignition-lag",
        "--emptying",
    ),
    f"{DELAY} --burn-time '1.2 s'",
) | {"--delay-length": DELAY.replace("--delay-time '6 s'", "") + " --burn-time '1 s'"}

#: Nothing of the kind is that large.
ABSURD = {
    "PRESSURE": "1e9 MPa",
    "MASS": "1e9 g",
    "LENGTH": "1e9 m",
    "DIAMETER": "1e9 mm",
    "TIME": "1e9 s",
    "TEMPERATURE": "1e6 C",
    "FORCE": "1e12 N",
    "VOLUME": "1e9 l",
    "DENSITY": "1e9 kg/m3",
    "SHARE": "99.95 %",
    "DE": "1e9",
    "N": "1000000000",
    "NAME=MASS": "KNO3=1e9 g",
    "GRAIN": "36 mm x 14 mm x 1e9 mm 96 g",
}

#: Any share is possible, or the number is none of a quantity.
ANY = {
    "--crack",
    "--debond",
    "--from",
    "--seed",
    "--syrup-solids",
    "--to",
    "--water-lost",
    "--workers",
}


def options() -> Iterator[tuple[str, str, str]]:
    """Yield every option that takes a number: command, option, what it takes."""

    def walk(
        parser: argparse.ArgumentParser, path: tuple[str, ...]
    ) -> Iterator[tuple[str, str, str]]:
        for action in parser._actions:
            if isinstance(action, argparse._SubParsersAction):
                for name, inner in action.choices.items():
                    yield from walk(inner, (*path, name))
            elif action.option_strings and action.metavar in ABSURD:
                option = action.option_strings[-1]
                # To close a batch is to add to it: one parser, one function.
                if path == ("batch", "close") and option != "--propellant-mass":
                    continue
                if option not in ANY:
                    yield " ".join(path), option, str(action.metavar)

    yield from walk(build_parser(), ())


OPTIONS = list(options())


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("example")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert main(["init"]) == 0
        day = ["--date", "2026-05-02"]
        alone = ["--no-bench", *day]
        assert main(["batch", "new", "base", "--batch", "400 g", *alone]) == 2
        words = ["batch", "new", shlex.split(RECIPE)[0], "--batch", "400 g", *day]
        assert main([*words, "--bench", "bench.toml"]) == 0
    return folder


@pytest.fixture
def there(example: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(example, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_enough_options_are_looked_at() -> None:
    assert len(OPTIONS) > 80
    assert {command for command, _, _ in OPTIONS} == {*COMMANDS}


@pytest.mark.exact
@pytest.mark.parametrize(
    ("command", "option", "takes"), OPTIONS, ids=lambda word: str(word)
)
def test_an_option_refuses_what_cannot_be(
    command: str,
    option: str,
    takes: str,
    there: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    base = OTHER.get(option, COMMANDS[command])
    words = shlex.split(base)
    absurd = ABSURD[takes]
    if option in words:
        words[words.index(option) + 1] = absurd
    else:
        words += [option, absurd]
    if command == "weigh" and takes == "N" and option != "--minutes":
        at = words.index("--batch")
        words = [*words[:at], *words[at + 2 :]]
    if option in ("--pressure-per-volt", "--thrust-per-volt"):
        text = Path("shot.csv").read_text("utf-8")
        text = re.sub(r"(pressure|thrust)[^,\n]*", r"\1 (V)", text, count=2)
        Path("shot.csv").write_text(text, "utf-8")
        words += ["--pressure-per-volt", "2 MPa"] if "thrust" in option else []
    before = sorted(there.rglob("*"))
    assert main([*command.split(), *words]) == 2, words
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "allowed" in error, error
    assert sorted(there.rglob("*")) == before


# --- the examples that reassured -----------------------------------------------------

MOTOR = """\
[motor]
throat = "8 mm"
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "55 mm"
[[motor.burn_law]]
borrowed = "sucrose 65/35"
"""
SEARCH = '[search]\nbatch = "200 g"\n[search.ingredients]\nKNO3 = "60 %"\n'

TYPED = [
    (MOTOR, 'throat = "8 mm"', 'density_ratio = "5 %"', "is 5 %; allowed 50 to 100 %"),
    (MOTOR, 'throat = "8 mm"', 'grain_temperature = "400 C"', "allowed -60 to 80 C"),
    (MOTOR, 'throat = "8 mm"', 'throat_spread = "50 mm"', "is 50 mm; allowed 0 to 2"),
    (MOTOR, 'length = "55 mm"', "segments = 1e8", "is 1e+08; allowed 1 to 50"),
    ('[lots.a]\ningredient = "KNO3"\n', "", 'assay = "5 %"', "allowed 50 to 100 %"),
    (SEARCH, "[search]", 'batch = "1e9 g"', "is 1e+09 g; allowed 0.1 to 10000 g"),
    (
        '[lots.a]\ningredient = "KNO3"\n',
        "",
        'date = "31/02/2026"',
        "date '31/02/2026' is no day",
    ),
    ("[limits]\n", "", "peak_pressure_MPa = { at_most = 1000 }", "100 MPa"),
    ("[limits]\n", "", 'peak_pressure_MPa = { at_most = "1 Pa" }', "0.01 to 100"),
]


@pytest.mark.exact
@pytest.mark.parametrize(("text", "after", "line", "said"), TYPED)
def test_typed_wrong_in_a_bench_file(
    text: str, after: str, line: str, said: str
) -> None:
    """File, line, table, key, what was got and what is allowed."""
    if after:
        text = text.replace('batch = "200 g"\n', "") if "batch" in line else text
        text = text.replace(after, f"{after}\n{line}")
    else:
        text += line + "\n"
    with pytest.raises(InputError) as caught:
        check_bench(Path("bench.toml"), text)
    message = str(caught.value)
    assert said in message
    number = 1 + text[: text.index(line)].count("\n")
    assert message.startswith(f"bench.toml, line {number}: [")


@pytest.mark.exact
@pytest.mark.parametrize(
    ("command", "said"),
    [
        ("burnrate strands.csv --at '1e9 MPa'", "--at is 1e+09 MPa; allowed 0.001"),
        (
            "firing shot.csv --throat '8 mm' --propellant-mass '368 kg'",
            "--propellant-mass is 368000 g; allowed 0.1 to 10000 g",
        ),
        (
            f"batch new {RECIPE} --batch '200 g' --actual 'KNO3=1e9 g'",
            "--actual 'KNO3=1e9 g' is 1e+09 g; allowed",
        ),
        (
            f"weigh {RECIPE} --batch '200 g' --actual 'KNO3=1e9 g'",
            "--actual 'KNO3=1e9 g' is 1e+09 g; allowed",
        ),
        (
            f"batch new {RECIPE} --batch '200 g' --date 31/02/2026",
            "--date '31/02/2026' is no day; write year, month and day",
        ),
        (
            "kitchen bulk-density --mass '69 g' --volume '50 ml' --date 31/02/2026",
            "--date '31/02/2026' is no day",
        ),
        (
            "kitchen bulk-density --mass '69 g' --volume '50 ml' --date 2026-02-30",
            "--date '2026-02-30' is no day",
        ),
        (
            "batch add 2026-05-02-1 --observe x --date 0026-05-02",
            "is not in the years 1950 to 2100",
        ),
        (
            "batch add 2026-05-02-1 --measured 'kind=pan-weight lost=1e9 g'",
            "--measured: lost is 1e+09 g; allowed 0 to 2000 g",
        ),
        ("compare base red --bench bench.toml --draws 5", "--draws is 5; allowed 100"),
    ],
)
def test_typed_wrong_on_the_command_line(
    command: str, said: str, there: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(shlex.split(command)) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1


@pytest.mark.exact
@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("batch_kg", 1e6),
        ("pressure_Pa", 1e15),
        ("minutes", 1e9),
        ("mass_fractions", {"potassium nitrate": 60.0}),
    ],
)
def test_a_record_with_an_impossible_number_is_damaged(
    key: str, value: object, there: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As an editor may have left it; the file is not touched."""
    path = there / "batches" / "2026-05-02-1.jsonl"
    first, *rest = path.read_text("utf-8").splitlines()
    made = json.loads(first) | {key: value}
    text = "\n".join([json.dumps(made), *rest]) + "\n"
    path.write_text(text, "utf-8")
    assert main(["batch", "show", "2026-05-02-1"]) == 2
    error = capsys.readouterr().err
    assert f"line 1: '{key}' is" in error
    assert "it must be" in error
    assert path.read_text("utf-8") == text


def flat(text: str) -> str:
    """Return a text without its line breaks."""
    return " ".join(text.split())


# --- what is unusual stands first ----------------------------------------------------

WIDE = 'throat = "8 mm"', 'throat = "9 mm"\nnozzle_efficiency = "60 %"'
SAID = "[motor] nozzle_efficiency is 60 %; usual is 70 to 100 %: look again"


@pytest.fixture
def odd(there: Path) -> Path:
    path = there / "bench.toml"
    path.write_text(path.read_text("utf-8").replace(*WIDE, 1), "utf-8")
    return there


FIRST = [
    "evaluate base --bench bench.toml --no-confirm",
    "sweep base --bench bench.toml --vary KNO3 --from 60% --to 61% --step 1%",
    "map KNO3 sucrose water --step 25% --bench bench.toml",
    "compare base red --bench bench.toml --no-confirm --draws 100",
    "justify base red --bench bench.toml --no-confirm --draws 100",
    "firing shot.csv --propellant-mass '368 g' --bench bench.toml",
]


@pytest.mark.exact
@pytest.mark.parametrize(
    "command", ["kitchen judge base", "kitchen parameters", "kitchen judge base --csv"]
)
def test_a_remark_stands_on_a_screen_or_beside_csv(
    command: str, odd: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Once: on the screen, beside the table of CSV; in JSON under its own key."""
    del odd
    assert main(shlex.split(command)) == 0
    out, err = capsys.readouterr()
    if "--csv" in command:
        assert SAID not in out
        assert err.count(SAID) == err.count("\n") == 1
    else:
        assert flat(out).count(SAID) == 1
        assert err == ""
    if "--csv" not in command:
        assert main([*shlex.split(command), "--json"]) == 0
        (told,) = json.loads(capsys.readouterr().out)["remarks"]
        assert told["text"].endswith(SAID)


@pytest.mark.slow
@pytest.mark.exact
@pytest.mark.parametrize("command", FIRST, ids=lambda text: text.split()[0])
def test_a_remark_stands_on_the_first_screen(
    command: str, odd: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of 24 lines at most: a line of less weight goes for it."""
    assert main(shlex.split(command)) in (0, 1)
    text, beside = capsys.readouterr()
    assert "MISFIT" in text
    assert "bench.toml, line " in text
    assert flat(text).count(SAID) == 1
    assert text.count("\n") <= 24
    assert SAID not in flat(beside)


@pytest.mark.slow
@pytest.mark.exact
def test_of_many_remarks_the_screen_makes_two(
    odd: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The others stand beside it; none is lost, none said twice."""
    path = odd / "bench.toml"
    text = path.read_text("utf-8")
    changes = (
        ('density_ratio = "95 %"', 'density_ratio = "70 %"'),
        ('moisture = "0.3 %"', 'moisture = "9 %"'),
    )
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path.write_text(text, "utf-8")
    assert main(shlex.split(FIRST[0])) == 0
    out, err = capsys.readouterr()
    told = [flat(where).count("look again") for where in (out, err)]
    assert told == [2, 1]


@pytest.mark.slow
@pytest.mark.exact
@pytest.mark.parametrize(
    "command", [x for x in FIRST if not x.startswith(("sweep", "map"))]
)
def test_a_remark_is_a_key_of_json(
    command: str, odd: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*shlex.split(command), "--json"]) in (0, 1)
    found = json.loads(capsys.readouterr().out)
    (told,) = found["remarks"]
    assert told["code"] == "unusual-value"
    assert told["text"].endswith(SAID)


@pytest.mark.slow
@pytest.mark.exact
def test_strict_makes_a_remark_a_no(
    odd: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 1 with a remark, 0 without one; the result is printed in both."""
    words = shlex.split(FIRST[0])
    assert main(words) == 0
    usual = capsys.readouterr().out
    assert main([*words, "--strict"]) == 1
    out, err = capsys.readouterr()
    assert out == usual
    assert "--strict, and remarks: 1" in err
    assert main(["evaluate", "KNO3:65 sucrose:35", "--strict", "--no-bench"]) == 0


@pytest.mark.exact
@pytest.mark.slow
def test_a_remark_stands_on_pages_in_markdown_and_beside_csv(
    odd: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = "weigh base --bench bench.toml --batch '200 g'"
    for command in (FIRST[3], FIRST[4], sheet):
        assert main([*shlex.split(command), "--page", "p.html", "--force"]) in (0, 1)
        page = Path("p.html").read_text("utf-8")
        assert "nozzle_efficiency is 60" in page[: page.index("</section>")]
    capsys.readouterr()
    assert main([*shlex.split(FIRST[3]), "--markdown"]) == 0
    text = capsys.readouterr().out
    assert "nozzle\\_efficiency is 60 %" in text.split("## ")[0]
    assert main([*shlex.split(FIRST[0]), "--csv"]) == 0
    out, err = capsys.readouterr()
    assert "usual is" not in out
    assert SAID in err


@pytest.mark.exact
def test_a_bench_file_read_in_python_warns() -> None:
    text = MOTOR.replace('"8 mm"', '"60 mm"').replace('"12 mm"', '"70 mm"')
    text = text.replace('"32 mm"', '"90 mm"')
    with pytest.warns(UnusualWarning, match=r"line 2: \[motor\] throat is 60 mm"):
        check_bench(Path("bench.toml"), text)


# --- what must pass without a word ---------------------------------------------------

#: Motors: an A of 10 g to an I of 300 g as amateurs make them (common practice, no
#: source): throat, core, outer, length, segments.
SMALL = [
    ("1.5 mm", "3 mm", "10 mm", "25 mm", 1),
    ("3 mm", "6 mm", "15 mm", "32 mm", 1),
    ("8 mm", "14 mm", "36 mm", "62 mm", 4),
    ("16 mm", "25 mm", "60 mm", "100 mm", 5),
    ("40 mm", "50 mm", "150 mm", "300 mm", 6),
]


@pytest.mark.exact
@pytest.mark.parametrize(("throat", "core", "outer", "length", "segments"), SMALL)
def test_small_motors_pass_without_a_word(
    throat: str, core: str, outer: str, length: str, segments: int
) -> None:
    text = (
        f'[motor]\nthroat = "{throat}"\n[motor.grain]\ncore = "{core}"\n'
        f'outer = "{outer}"\nlength = "{length}"\nsegments = {segments}\n'
        '[[motor.burn_law]]\nborrowed = "sucrose 65/35"\n'
    )
    with plausible.collected() as told:
        check_bench(Path("bench.toml"), text)
    assert told == []


#: From memory: Sutton & Biblarz (7th ed.), ch. 11 for burn rates, exponents and
#: temperature sensitivities; ASTM D1785 and handbooks of materials for strengths; the
#: US standard atmosphere for the air; 49 CFR 178 for cylinders.
USUAL = [
    ("burn rate", "1.5 mm/s"),
    ("burn rate", "0.5 in/s"),
    ("chamber pressure", "14.7 psi"),
    ("chamber pressure", "1000 psi"),
    ("chamber pressure", "25 MPa"),
    ("exit pressure", "1 atm"),
    ("exit pressure", "0.05 atm"),
    ("air pressure", "700 mbar"),
    ("altitude", "3500 m"),
    ("strength", "2000 psi"),  # PVC
    ("strength", "35000 psi"),  # 6061-T6
    ("strength", "1200 MPa"),
    ("proof pressure", "2500 psi"),
    ("rated pressure", "280 psi"),  # a plastic pipe of 2 in
    ("grain temperature", "-18 C"),
    ("grain temperature", "45 C"),
    ("batch", "10 g"),
    ("batch", "1.2 kg"),
    ("propellant mass", "1 g"),
    ("propellant mass", "3 kg"),
    ("syrup density", "1.38 g/ml"),
    ("dry solids", "77 %"),
    ("assay", "99.9 %"),
    ("moisture", "0.3 %"),
    ("ball density", "7800 kg/m3"),
    ("ball density", "2230 kg/m3"),  # glass
    ("strand length", "3 in"),
    ("delay time", "6 s"),
]


@pytest.mark.exact
@pytest.mark.parametrize(("name", "text"), USUAL)
def test_usual_values_pass_without_a_word(name: str, text: str) -> None:
    with plausible.collected() as told:
        plausible.read(text, name, where="here")
    assert told == []


@pytest.mark.exact
@pytest.mark.slow
def test_the_example_has_nothing_unusual(
    there: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for command in FIRST:
        assert main(shlex.split(command)) in (0, 1)
        assert "usual is" not in capsys.readouterr().out


@pytest.mark.exact
def test_words_for_a_day_stay_words() -> None:
    lot = '[lots.a]\ningredient = "KNO3"\ndate = "{}"\n'
    for text in ("spring of 2026", "2026-05-01", "2026-05"):
        found = check_bench(Path("bench.toml"), lot.format(text))
        assert found.lots["a"]["date"] == text


@pytest.mark.exact
def test_python_takes_what_the_wings_take() -> None:
    """The ranges are of what is typed: a study may go beyond."""
    mix = cs.Mix.weigh({"KNO3": 65, "sucrose": 35})
    assert cs.evaluate(mix, pressure=5e7).iloc[0].status == "ok"


def test_rounding_is_that_of_the_end_it_is_at() -> None:
    """1e-9 of each end: 0 Pa s is no rounding of 0.001, whatever the other end is."""
    assert plausible.fault("limit in Pa s", 0.0)
    assert not plausible.fault("limit in Pa s", 0.001 * (1.0 - 1e-10))
    assert not plausible.fault("limit of a share", -1e-12)
    assert plausible.fault("limit of a share", -1e-6)
