"""What a bench file tells of burn rates: scatter, batches, processes, firings."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import pytest

import castsugar as cs
from castsugar.bench.bench import check_bench, read_bench
from castsugar.bench.burned import (
    burning_of,
    check_pots,
    scatter_of,
    strands_of,
)
from castsugar.bench.tables import Firing
from castsugar.bench.tables import Scatter as Stated
from castsugar.cli.main import main
from castsugar.data.load import load_database
from castsugar.motor.scatter import WIDTHS, Scatter
from castsugar.plausible import collected
from castsugar.records.prediction import freeze, thaw

# Exact: what is typed comes back in SI; text against text.
pytestmark = pytest.mark.exact

ONE, TWO = "KNO3:60 sucrose:20 corn syrup:20", "KNO3:58 sucrose:14 corn syrup:28"
MOTOR = f"""\
[motor]
throat = "8 mm"
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "80 mm"
[[motor.burn_law]]
recipe = "{ONE}"
strands = "one.csv"
batch = "pot 1"
date = "2026-05-02"
"""
FIRING = f"""\
[[motor.firing]]
recipe = "{ONE}"
batch = "pot 1"
date = "2026-05-20"
pressure = "3.4 MPa"
rate = "9 mm/s"
"""
SECOND = f"""\
[[motor.burn_law]]
recipe = "{TWO}"
strands = "two.csv"
"""
STRANDS = "length_mm,time_s,pressure_MPa\n50,10,1\n50,8,2\n50,6.5,4\n50,5.5,7\n"


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Path]:
    """Return a function that writes a bench file beside two files of strands."""
    monkeypatch.chdir(tmp_path)

    def written(text: str, one: str = STRANDS, two: str = STRANDS) -> Path:
        Path("one.csv").write_text(one, "utf-8")
        Path("two.csv").write_text(two.replace("50", "51"), "utf-8")
        Path("bench.toml").write_text(text, "utf-8")
        return Path("bench.toml")

    return written


# --- [scatter] -----------------------------------------------------------------------


def test_what_is_stated_of_the_scatter() -> None:
    """8 % and -3 % are shares; the rest is as assumed, and known not to be stated."""
    text = '[scatter]\nbatch = "8 %"\nstrands_to_motor = "-3 %"\n'
    found = scatter_of(check_bench(Path("bench.toml"), text))
    stated = ("batch", "strands_to_motor")
    assert found == Scatter(batch=0.08, strands_to_motor=-0.03, stated=stated)
    for bench in (None, check_bench(Path("bench.toml"), "[scatter]\n")):
        assert scatter_of(bench) == Scatter()


def test_what_is_explained_as_taken_is_what_is_assumed() -> None:
    keys, assumed = Stated.KEYS, Scatter()
    assert set(keys) == {*WIDTHS, "strands_to_motor"}
    assert {f.name for f in fields(Scatter)} > set(keys)
    for name, key in keys.items():
        assert key.default == getattr(assumed, name), name


BAD = [
    ('[scatter]\nbatch = "31 %"\n', 2, "batch is 31 %; allowed 0.5 to 30 %"),
    ('[scatter]\n\nsurface = "0.4 %"\n', 3, "surface is 0.4 %; allowed 0.5 to 30 %"),
    ('[scatter]\nstrands_to_motor_u = "0 %"\n', 2, "allowed 0.5 to 30 %"),
    ('[scatter]\nstrands_to_motor = "-31 %"\n', 2, "allowed -30 to 30 %"),
    ('[scatter]\nbatches = "5 %"\n', 2, "did you mean 'batch'"),
    ("[scatter]\nbatch = 5\n", 2, "batch - fraction '5' is above 1"),
    (FIRING, 1, "has no motor that was fired; add [motor] with throat"),
    (MOTOR + FIRING.replace(f'recipe = "{ONE}"\n', ""), 12, "recipe is missing"),
    (MOTOR + FIRING.replace('rate = "9 mm/s"\n', ""), 12, "rate is missing"),
    (MOTOR + FIRING.replace("9 mm/s", "900 mm/s"), 17, "allowed 0.01 to 500 mm/s"),
    (MOTOR + FIRING + 'process = "pressd"\n', 18, "did you mean 'pressed'? allowed: "),
    (MOTOR + FIRING + 'degraded = "101 %"\n', 18, "is above 1, that is 100 %"),
    (MOTOR + FIRING + 'rate_u_shared = "2 %"\n', 12, "at most all of it"),
    (MOTOR + FIRING + 'c_star_efficiency_u = "1 %"\n', 18, "needs c_star_efficiency"),
    (MOTOR + FIRING + 'nozzle_efficiency = "20 %"\n', 18, "allowed 30 to 120 %"),
    (MOTOR + FIRING.replace("05-20", "05-32"), 15, "'2026-05-32' is no day"),
    (MOTOR.replace('"one.csv"', '"one.csv"\nprocess = "melted"'), 10, "'melted dry'"),
    ('[kitchen]\nprocess = "boiled"\n', 2, "did you mean 'boiled down'?"),
    (f'[recipes]\n"a" = {{ mix = "{ONE}", process = "x" }}\n', 2,
     "[recipes] a process is 'x'; allowed: cooked syrup, boiled down"),
    ('[recipes]\n"a" = { process = "pressed" }\n', 2, "a mix is missing; give the"),
    (f'[recipes]\n"a" = {{ mix = "{ONE}", proces = "x" }}\n', 2, "mean 'process'"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "words"), BAD)
def test_a_bad_key_is_one_line(
    text: str, line: int, words: str, bench: Callable[..., Path],
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    assert main(["evaluate", ONE, "--bench", str(bench(text))]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"castsugar: bench.toml, line {line}: ")
    assert words in told
    assert told.count("\n") == 1


# --- firings, batches, dates ---------------------------------------------------------


def test_a_firing_in_si() -> None:
    text = f"""\
{MOTOR}{FIRING}c_star_efficiency = "92 %"
c_star_efficiency_u = "2 %"
process = "pressed"
degraded = "3 %"
accepted = "the gauge was checked"
[[motor.firing]]
invented = true
recipe = "{TWO}"
pressure = "3 MPa"
rate = "8 mm/s"
rate_u = "5 %"
rate_u_shared = "4 %"
"""
    bench = check_bench(Path("bench.toml"), text)
    assert bench.motor is not None
    one, two = bench.motor["firing"]
    assert set(one) == {*Firing.KEYS, "line", "entry"}
    assert (one["pressure"], one["rate"]) == pytest.approx((3.4e6, 9e-3))
    assert (one["rate_u"], one["c_star_efficiency"]) == (0.015, pytest.approx(0.92))
    assert (one["rate_u_shared"], two["rate_u_shared"]) == (0.0, pytest.approx(0.04))
    assert (one["degraded"], one["process"]) == (pytest.approx(0.03), "pressed")
    assert one["accepted"] == "the gauge was checked"
    assert (one["line"], one["entry"]) == (12, "motor.firing[0]")
    assert (two["batch"], two["date"], two["nozzle_efficiency"]) == ("", "", None)
    assert bench.invented == ("motor.firing[1]",)
    plain = check_bench(Path("bench.toml"), MOTOR).motor
    assert plain is not None
    assert plain["firing"] == []


def test_strands_are_of_the_batch_that_file_or_entry_names(
    bench: Callable[..., Path],
) -> None:
    """The file goes first, then the entry, then the kitchen's process."""
    rows = "process,batch," + STRANDS.replace("50,", ",b,50,").replace(",b", "", 0)
    text = MOTOR.replace('batch = "pot 1"\n', 'degraded = "2 %"\n')
    found = read_bench(bench(text + SECOND, rows))
    assert found.motor is not None
    (one, mine), (two, plain) = (
        strands_of(entry, found) for entry in found.motor["burn_law"]
    )
    assert (one, two) == ("", "")
    assert {(s.batch, s.process, s.degraded, s.date) for s in mine} == {
        ("b", "cooked syrup", 0.02, "2026-05-02")
    }
    assert {(s.batch, s.degraded, s.date) for s in plain} == {("", 0.0, "")}
    found = read_bench(bench('[kitchen]\nprocess = "pressed"\n' + MOTOR))
    assert found.motor is not None
    _, mine = strands_of(found.motor["burn_law"][0], found)
    assert {(s.batch, s.process) for s in mine} == {("pot 1", "pressed")}


DATED = "date," + STRANDS.replace("50,", "2026-05-21,50,")
POTS = [
    (MOTOR + SECOND + 'batch = "pot 1"\n', STRANDS, 15, "batch 'pot 1' is 'KNO3:58"),
    (MOTOR + SECOND, "batch," + STRANDS.replace("50,", "pot 1,50,"), 12, "in line 7;"),
    (MOTOR + FIRING.replace(ONE, TWO), STRANDS, 14, "'KNO3:60 sucrose:20 corn syrup:2"),
    (MOTOR + FIRING + 'process = "pressed"\n', STRANDS, 14,
     "batch 'pot 1' is 'pressed', and 'cooked syrup' in line 7; a batch is one mix"),
    (MOTOR.replace("05-02", "05-21") + FIRING, STRANDS, 15,
     "date is 2026-05-20, and the strand of one.csv line 2, of the same batch 'pot 1'"),
    (MOTOR.replace('date = "2026-05-02"\n', "") + FIRING, DATED, 14,
     "burned on 2026-05-21: strands of a batch burn before its grains"),
    (MOTOR, "batch," + STRANDS.replace("50,", "b,50,"), 7,
     "- batch is 'pot 1', and one.csv line 2, column 'batch', says 'b'; leave batch"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "strands", "line", "words"), POTS)
def test_a_batch_is_one_pot(
    text: str, strands: str, line: int, words: str, bench: Callable[..., Path],
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    path = bench(text, strands, strands)
    assert main(["evaluate", ONE, "--bench", str(path)]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"castsugar: bench.toml, line {line}: ")
    assert words in told
    assert told.count("\n") == 1


def test_a_batch_that_is_one_pot_passes(bench: Callable[..., Path]) -> None:
    """One mix in two words, strands of the day of the firing, another batch later."""
    same = FIRING.replace(ONE, "KNO3:30 sucrose:10 corn syrup:10")
    text = MOTOR.replace("2026-05-02", "2026-05-20") + same + SECOND
    text += 'batch = "pot 2"\ndate = "2026-06-01"\n'
    check_pots(read_bench(bench(text)), load_database(), {})


# --- how a mix is made ---------------------------------------------------------------

NAMED = f"""\
[kitchen]
process = "boiled down"
[recipes]
"plain" = "{ONE}"
"dry" = {{ mix = "dry blend:75 corn syrup:25", process = "melted dry" }}
[premixes]
"dry blend" = "KNO3:3 sucrose:1"
"""


def test_a_recipe_may_say_how_it_is_made(bench: Callable[..., Path]) -> None:
    """Whoever asks by name gets it; without a process it is the kitchen's."""
    text = NAMED + MOTOR.replace(ONE, "dry")
    world = cs.bench.read(bench(text + FIRING.replace(ONE, "plain")))
    assert world.recipes["dry"] == "KNO3:56.25 sucrose:18.75 corn syrup:25"
    assert world.mix("dry").process == "melted dry"
    assert dict(world.mix("dry").recipe)["KNO3"] == pytest.approx(0.5625)
    assert (world.mix("plain").process, world.mix(ONE).process) == ("", "")
    assert [world.bench.process_of(n) for n in ("dry", "plain", ONE)] == [
        "melted dry",
        "boiled down",
        "boiled down",
    ]
    assert world.bench.motor is not None
    laws, fired = world.bench.motor["burn_law"], world.bench.motor["firing"]
    assert (laws[0]["process"], fired[0]["process"]) == ("melted dry", "")


def test_without_a_word_it_is_the_first_process() -> None:
    assert check_bench(Path("bench.toml"), "").process_of("x") == "cooked syrup"


def test_a_record_keeps_scatter_process_and_firings(bench: Callable[..., Path]) -> None:
    text = NAMED + MOTOR.replace(ONE, "dry") + FIRING.replace(ONE, "dry")
    found = read_bench(bench(text + '[scatter]\nbatch = "8 %"\n'))
    frozen = freeze(found, Path("batches"))
    assert tomllib.loads(frozen.scatter) == {"scatter": {"batch": "8 %"}}
    again = thaw(frozen, Path("batches"))
    assert again is not None
    assert again.motor is not None
    assert scatter_of(again) == scatter_of(found)
    assert again.kitchen["process"] == "boiled down"
    assert again.motor["burn_law"][0]["process"] == "melted dry"
    assert again.motor["firing"][0]["process"] == "melted dry"


# --- Strands of another mix ----------------------------------------------------------


@pytest.mark.parametrize(
    ("law", "said"),
    [
        ('mix = "60/20/20"', ""),
        ('mix = "60.3 / 20 / 20"', ""),
        ('mix = "58/14/28"', "strands called '58/14/28' are taken for the recipe"),
        ('mix = "58:42"', ""),  # of another number of parts: a name, no recipe
        ('mix = "red"', ""),
    ],
)
def test_a_name_that_reads_as_another_recipe_is_remarked(
    bench: Callable[..., Path], law: str, said: str
) -> None:
    name = law.split('"')[1]
    head, *rows = STRANDS.splitlines()
    named = "\n".join([f"{head},mix", *(f"{row},{name}" for row in rows)])
    path = bench(MOTOR.replace('batch = "pot 1"', law), named + "\n")
    with collected() as remarks:
        burning_of(read_bench(path), load_database())
    assert [said in one.text for one in remarks] == [True] * bool(said)


def test_strands_of_two_recipes_are_remarked(bench: Callable[..., Path]) -> None:
    path = bench(MOTOR + SECOND.replace("two.csv", "one.csv"))
    with collected() as remarks:
        burning_of(read_bench(path), load_database())
    (one,) = remarks
    assert one.text.startswith("one.csv line 2: these strands are those of another")
    with collected() as remarks:
        burning_of(read_bench(bench(MOTOR + SECOND)), load_database())
    assert not remarks
