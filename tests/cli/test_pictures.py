"""``castsugar map`` and ``castsugar sweep``: tables, pictures, interruption, errors."""

from __future__ import annotations

import argparse
import contextlib
import csv
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

import castsugar as cs
from castsugar import evaluation
from castsugar.cli import parts, workers
from castsugar.cli.main import main

pytestmark = pytest.mark.exact

MAP = ["map", "KNO3", "powdered sugar", "corn syrup", "--step", "10%"]
SWEEP = ["sweep", "KNO3:65 sucrose:35", "--vary", "KNO3", "--step", "5%"]


def rows(path: Path) -> list[dict[str, str]]:
    """Read a table back."""
    with path.open(encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


@pytest.mark.slow
def test_map_writes_every_mix(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exact: 66 mixes at 10 %; each row is the mix that its shares name."""
    table, picture = tmp_path / "map.csv", tmp_path / "map.svg"
    files = ["--csv", str(table), "--picture", str(picture)]
    marks = ["--mark", "mine=KNO3:60 powdered sugar:20 corn syrup:20"]
    assert main([*MAP, *files, *marks]) == 0
    out, err = capsys.readouterr()
    assert "CANNOT TELL  Pouring and pressure" in out
    assert err.count("wrote") == 2
    read = rows(table)
    assert len(read) == 66
    wanted = [c.key for c in cs.COLUMNS if c.group != "uncertainty"]
    assert list(read[0])[3:] == wanted
    nitrate, syrup = "potassium_nitrate", "light_corn_syrup"
    row = next(
        r
        for r in read
        if [r[f"recipe.{x}_mass_percent"] for x in (nitrate, syrup)] == ["60.0", "20.0"]
    )
    mix = cs.Mix.weigh({"KNO3": 60, "powdered sugar": 20, "corn syrup": 20})
    alone = cs.evaluate(mix, pressure=6894757.293168361)
    assert float(row["flame_temperature_K"]) == pytest.approx(
        alone["flame_temperature_K"][0], rel=1e-9
    )
    drawn = ET.parse(picture).getroot()
    text = " ".join(t.strip() for t in drawn.itertext() if t.strip())
    for words in ("mine", "KNO3, %", "corn syrup, %", "does not burn", "m/s"):
        assert words in text


@pytest.mark.slow
def test_same_input_same_bytes(tmp_path: Path) -> None:
    """Table and picture come out the same twice."""
    for name in ("one", "two"):
        files = ["--csv", str(tmp_path / f"{name}.csv"), "-o", f"{tmp_path / name}.svg"]
        assert main([*MAP, *files]) == 0
    for kind in ("csv", "svg"):
        one, two = (tmp_path / f"{name}.{kind}" for name in ("one", "two"))
        assert one.read_bytes() == two.read_bytes()


def test_fixed_parts(tmp_path: Path) -> None:
    """2 % iron oxide in every mix leave 98 % to share."""
    table = tmp_path / "map.csv"
    words = ["map", "KNO3", "sucrose", "water", "--step", "25%", "--csv", str(table)]
    assert main([*words, "--with", "red iron oxide:2%"]) == 0
    for row in rows(table):
        assert row["recipe.red_iron_oxide_mass_percent"] == "2.0"
        shares = [float(v) for k, v in row.items() if k.endswith("_mass_percent")]
        assert sum(shares) == pytest.approx(100.0)


def test_sweep_shows_bands_and_freezing(tmp_path: Path) -> None:
    """The strip where carbonate freezes at the throat is hatched, bands are drawn."""
    picture, table = tmp_path / "sweep.svg", tmp_path / "sweep.csv"
    words = ["--from", "50%", "--to", "60%", "--uncertainty", "--pressure", "3 MPa"]
    words += ["--nozzle-flow", "equilibrium"]
    files = ["-o", str(picture), "--csv", str(table)]
    recipe = ["sweep", "KNO3:55 sucrose:40 water:5", "--vary", "KNO3", "--step", "1%"]
    assert main([*recipe, *words, *files]) == 0
    text = " ".join(ET.parse(picture).getroot().itertext())
    assert "freezing at the throat" in text
    assert "95 % band" in text
    read = rows(table)
    shares = [float(r["recipe.potassium_nitrate_mass_percent"]) for r in read]
    assert shares == [*range(50, 61)]
    assert all(float(r["flame_temperature_u_K"]) > 0.0 for r in read)
    # Others in the same ratio: 40 to 5 of sucrose to water.
    assert read[0]["name"].startswith("KNO3:50% sucrose:44.4444% water:5.55556%")


@pytest.mark.slow
def test_a_sweep_draws_the_limits_of_the_bench(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of each column that is shown; in the units of the screen; page and picture."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    text = Path("bench.toml").read_text("utf-8")
    asked = 'at_least = 0.95, probability = "60 %"'
    assert text.count(asked) == 1
    half = text.replace(asked, asked.replace("60", "50"))
    Path("bench.toml").write_text(half, "utf-8")
    words = ["sweep", "base", "--vary", "corn syrup", "--from", "18%", "--to", "28%"]
    words += ["--step", "2%", "--units", "us"]
    for column in ("pour_viscosity", "relative_solids_20C", "peak_pressure"):
        words += ["--show", column]
    assert main([*words, "--picture", "sweep.svg", "--page", "sweep.html"]) == 0
    root = ET.parse("sweep.svg").getroot()
    told = [t.strip() for t in root.itertext() if t.strip()]
    assert told[0] == "EXAMPLE: corn syrup against the rest of base"
    assert "at most 10 Pa s, kept above 22 % corn syrup" in told[1].replace(
        ": kept", ", kept"
    )
    for words_on_it in (
        "relative solids at 68 °F",
        "peak pressure, psi",
        "at most 10 Pa s, in 85 of 100",
        "at least 0.95, in 50 of 100",
        "allowed 1000 psi",
        "pour viscosity, 85 of 100 below",
        "95 % band",
        "keeps all 3 limits",
    ):
        assert words_on_it in told
    page = Path("sweep.html").read_text("utf-8")
    assert page.count("<svg") == 2  # of a broad and of a narrow screen
    for kind, start in ((".png", b"\x89PNG"), (".pdf", b"%PDF")):
        assert main([*words, "--picture", f"sweep{kind}"]) == 0
        assert Path(f"sweep{kind}").read_bytes().startswith(start)


@pytest.mark.slow
@pytest.mark.parametrize("words", [MAP, SWEEP])
def test_interruption_keeps_what_is_done(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Ctrl-C: the table is written, the rest says so, exit code 130."""

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(evaluation, "evaluate_columns", interrupted)
    table, picture = tmp_path / "part.csv", tmp_path / "part.svg"
    assert main([*words, "--csv", str(table), "-o", str(picture)]) == 130
    assert {r["status"] for r in rows(table)} == {parts.UNDONE}
    assert "INCOMPLETE" in capsys.readouterr().out
    assert "INCOMPLETE" in picture.read_text("utf-8")


ERRORS = [
    ([*MAP, "--step", "3%"], "does not divide 100 %; near it are 3.125% and 2.5%"),
    ([*MAP, "--step", "0.1%", "--json"], "--json of 501,501 mixes; at most 130,000"),
    ([*MAP, "--step", "0.1%", "--csv"], "--csv without FILE of 501,501 mixes"),
    ([*MAP, "--step", "0.1%", "--picture", "a.svg"], "--picture of 501,501 mixes"),
    ([*MAP, "--step", "0.01%"], "0.05 to 25"),
    ([*MAP, "--show", "characteristic_velosity"], "characteristic_velocity_m_s"),
    ([*MAP, "--with", "sulfur:1%"], "refused"),
    ([*MAP, "--with", "red iron oxide"], "NAME:PERCENT"),
    ([*MAP, "--with", "sucrose:100%"], "nothing is left"),
    ([*MAP, "--mark", "KNO3:60 sorbitol:40"], "does not lie on this map"),
    ([*MAP, "--workers", "0"], "1 or more"),
    ([*MAP, "--data", "nasa-2003"], "nasa-2002"),
    (["map", "KNO3", "sucrose", "table sugar"], "three different"),
    (["map", "KNO3", "sucrose"], "INGREDIENT"),
    ([*SWEEP, "--vary", "water"], "did you mean|known"),
    ([*SWEEP, "--from", "80%", "--to", "70%"], "no range"),
    ([*SWEEP, "--step", "0.001%"], "at most"),
    (["sweep", "KNO3:65", "--vary", "KNO3"], "at least two"),
]


@pytest.mark.parametrize(("words", "message"), ERRORS)
def test_bad_input(
    words: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line on stderr, exit code 2, nothing on stdout."""
    try:
        code = main(words)
    except SystemExit as stopped:
        code = int(str(stopped.code))
    out, err = capsys.readouterr()
    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert any(part in err for part in message.split("|"))


def test_no_process_without_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """Any number of workers is asked for; two chunks of mixes keep two of them busy."""
    opened = []

    def pool(count: int, **_: object) -> contextlib.nullcontext[None]:
        opened.append(count)
        return contextlib.nullcontext()

    monkeypatch.setattr("concurrent.futures.ProcessPoolExecutor", pool)
    for count in (2, 50_000, 10**12):
        options = argparse.Namespace(workers=count, cluster=None)
        with workers.workers_of(options, 2):
            pass
    assert opened == [2, 2, 2]


def test_files_are_not_replaced(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An existing file stops the command before any work, unless forced."""
    table = tmp_path / "map.csv"
    table.write_text("mine")
    assert main([*MAP, "--csv", str(table)]) == 2
    assert "--force" in capsys.readouterr().err
    assert table.read_text() == "mine"
    assert main([*MAP, "--csv", str(table), "--force"]) == 0
    assert table.read_text() != "mine"


@pytest.mark.slow
def test_pour_windows_of_a_map_are_those_of_what_is_cast(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where they are sought they are those of --full; elsewhere they are empty."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    words = [*MAP[:4], "--step", "10%", "--csv"]
    assert main([*words, "some.csv"]) == 0
    assert main([*words, "all.csv", "--full"]) == 0
    assert main([*words, "shown.csv", "--show", "pour_window"]) == 0
    some, every, drawn = (rows(Path(f"{n}.csv")) for n in ("some", "all", "shown"))
    assert drawn == every
    ends = ("pour_window_low_C", "pour_window_high_C", "pour_window_width_K")
    sought = left = 0
    for one, full in zip(some, every, strict=True):
        nitrate = float(full["recipe.potassium_nitrate_mass_percent"])
        castable = full["status"] == "ok" and 40.0 <= nitrate <= 85.0
        sought += castable and full[ends[0]] != ""
        left += not castable and full[ends[0]] != ""
        for key, value in full.items():
            wanted = "" if key in ends and not castable else value
            assert one[key] == wanted, key
    assert sought > 0
    assert left > 0
