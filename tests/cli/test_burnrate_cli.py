"""``castsugar burnrate`` as it is used: pages, files, pictures, bad input.

All strands here are invented.
"""

from __future__ import annotations

import csv
import io
import itertools
import json
import math
import re
import subprocess
import sys
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from scipy import stats

import castsugar as cs
from castsugar import load_database
from castsugar.cli.main import main
from castsugar.motor.strand_model import StrandModel
from castsugar.report.burnrate import burnrate_screen
from castsugar.report.cautions import chosen
from castsugar.report.document import schema_of
from castsugar.report.screen import STATUSES
from castsugar.report.shown import Shown
from castsugar.report.strand_rows import PARTS, Asked
from castsugar.report.terminal import to_text
from castsugar.strands import analyse, read_strand_files

# Exact: values on the page are compared with straight lines through ln r against ln p,
# computed here by numpy.polyfit and the t quantiles of scipy.stats.
pytestmark = pytest.mark.exact

MIXES = ("base", "with syrup")
PSI = 6894.757293168361  # Pa, NIST SP 811 (2008), appendix B
PRESSURES = (100, 200, 200, 400, 400, 700, 700, 1000, 1000)  # psi


def two_mixes() -> str:
    """Two mixes in psi and inches, semicolons and decimal commas."""
    rng = np.random.default_rng(5)
    lines = ["mix;length (in);time (s);pressure (psi);temperature (F);note"]
    for mix, a, n in (("base", 7.9, 0.33), ("with syrup", 6.4, 0.36)):
        for p in PRESSURES:
            rate = a * (p * PSI / 1e6) ** n * math.exp(rng.normal(0.0, 0.03))
            cells = (mix, "2,0", f"{50.8 / rate:.3f}", f"{p},0", "70", "")
            lines.append(";".join(cells).replace(".", ","))
    return "\ufeff" + "\n".join(lines) + "\n"


def plateau() -> str:
    """Three pressure bands: n = 0.62, 0, 0.65."""
    rng = np.random.default_rng(8)
    lines = ["length_mm,time_s,pressure_MPa"]
    for p in np.repeat(np.geomspace(0.2, 9.0, 12), 2):
        rate = 8.9 * min(p, 0.8) ** 0.62 * max(p / 2.6, 1.0) ** 0.65
        time = 60.0 / rate * math.exp(rng.normal(0.0, 0.02))
        lines.append(f"60,{time:.3f},{p:.3f}")
    return "\n".join(lines) + "\n"


OPEN_AIR = (
    "length_mm,time_s,pressure,note\n50,15.73,ambient,\n50,15.82,ambient,\n"
    "50,15.68,ambient,windy\n50,16.49,ambient,\n50,16.09,ambient,\n"
)
HEAD = "mix,length_mm,time_s,pressure_MPa\n"


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """Return a function that writes a file, runs the command and returns the page."""

    def called(text: str, *words: str, code: int = 0) -> str:
        path = tmp_path / "strands.csv"
        path.write_text(text, "utf-8")
        assert main(["burnrate", str(path), *words]) == code
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        assert all(len(line) <= 80 for line in out.splitlines()[:-1]) or {
            "--json",
            "--csv",
        } & set(words)
        return " ".join(out.split()) if not {"--json", "--csv"} & set(words) else out

    return called


def strands_of(text: str, mix: str) -> tuple[np.ndarray, np.ndarray]:
    """Read pressures [MPa] and rates [mm/s] of a mix without the library."""
    rows = csv.DictReader(io.StringIO(text.lstrip("\ufeff")), delimiter=";")
    kept = [{k: v.replace(",", ".") for k, v in r.items()} for r in rows]
    kept = [r for r in kept if r["mix"] == mix]
    p = np.array([float(r["pressure (psi)"]) * PSI / 1e6 for r in kept])
    r = np.array([25.4 * float(r["length (in)"]) / float(r["time (s)"]) for r in kept])
    return p, r


def line_through(p: np.ndarray, r: np.ndarray, at: float) -> dict[str, float]:
    """Fit ln r against ln(p / at): the textbook formulas of a straight line."""
    x = np.log(p / at)
    (n, log_a), covariance = np.polyfit(x, np.log(r), 1, cov=True)
    t = stats.t.ppf(0.975, len(p) - 2)
    scatter = math.sqrt(((np.log(r) - log_a - n * x) ** 2).sum() / (len(p) - 2))
    u_n, u_a = np.sqrt(np.diag(covariance))
    new = math.hypot(u_a, scatter)
    return {
        "rate": math.exp(log_a),
        "low": math.exp(log_a - t * u_a),
        "high": math.exp(log_a + t * u_a),
        "new_low": math.exp(log_a - t * new),
        "new_high": math.exp(log_a + t * new),
        "n": n,
        "n_low": n - t * u_n,
        "n_high": n + t * u_n,
        "scatter": scatter,
    }


def rows_of(document: dict, table: str, mix: str) -> list[dict]:
    return [row for row in document[table] if row["mix"] == mix]


@pytest.mark.slow
def test_numbers_of_two_mixes(run) -> None:
    """Law, bands, rate at a pressure, comparison: by straight lines through ln r."""
    text = two_mixes()
    found = json.loads(run(text, "--at", "600 psi", "--json"))
    jsonschema.validate(found, schema_of("burnrate", PARTS))
    for mix in ("base", "with syrup"):
        p, r = strands_of(text, mix)
        line = line_through(p, r, 1.0)
        law, beside = rows_of(found, "laws", mix)
        assert (law["fit"], beside["fit"]) == ("on ln r", "on r, not used")
        assert law["rate_at_1MPa_mm_s"] == pytest.approx(line["rate"], rel=1e-7)
        ends = [line["low"], line["high"]]
        assert law["rate_at_1MPa_mm_s_interval"] == pytest.approx(ends, rel=1e-7)
        ends = [line["n_low"], line["n_high"]]
        assert law["exponent_interval"] == pytest.approx(ends, rel=1e-7)
        (known,) = rows_of(found, "mixes", mix)
        assert known["scatter_percent"] == pytest.approx(
            100 * line["scatter"], rel=1e-7
        )
        assert known["strand_temperature_C"] == pytest.approx(21.11, abs=0.005)
        at = line_through(p, r, 600 * PSI / 1e6)
        (rate,) = rows_of(found, "rates", mix)
        assert rate["tested"] == "yes"
        ends = [at["low"], at["high"]]
        assert rate["rate_mm_s_interval"] == pytest.approx(ends, rel=1e-7)
        ends = [at["new_low"], at["new_high"]]
        assert rate["new_strand_mm_s_interval"] == pytest.approx(ends, rel=1e-7)
    # No recipe is known of either: the batches differ as their lines do, within their
    # bands; nothing is said of recipes.
    at = [line_through(*strands_of(text, m), 600 * PSI / 1e6)["rate"] for m in MIXES]
    (pair,) = found["comparisons"]
    assert (pair["of"], pair["verdict"]) == ("batches", "cannot tell")
    assert pair["reason"] == "no recipe of 'base' and 'with syrup' is known"
    assert pair["pressure_MPa"] == pytest.approx(600 * PSI / 1e6)
    assert pair["batch_ratio"] == pytest.approx(at[0] / at[1], rel=0.02)
    assert (pair["rate_ratio"], pair["chance_faster"]) == (None, None)


@pytest.mark.slow
@pytest.mark.parametrize("system", ["si", "us"])
def test_screens(tmp_path: Path, system: str) -> None:
    """Answer first, 24 lines of 80 columns, in both systems, bands or none."""
    path = tmp_path / "strands.csv"
    for text in (two_mixes(), plateau(), OPEN_AIR, HEAD + "A,50,8,1\nA,50,7,2\n"):
        path.write_text(text, "utf-8")
        asked = Asked(files=(str(path),), at=(4e6,))
        results = analyse(read_strand_files(asked.files))
        cautions = chosen(load_database().cautions, {}, ["firing", "motor"])
        screen = burnrate_screen(StrandModel(results), asked, cautions, Shown(system))
        lines = to_text(screen).splitlines()
        assert len(lines) <= 24
        assert all(len(line) <= 80 for line in lines[:-1])
        assert lines[1].split("  ")[0] in STATUSES
        assert lines[-1].startswith("Next: castsugar burnrate ")
        whole = to_text(screen, full=True).splitlines()
        assert all(len(line) <= 80 for line in whole[:-1])
        other = "mm/s|MPa" if system == "us" else "in/s|psi"
        assert not re.search(rf"\d ({other})", "\n".join(whole))


def test_a_in_psi_and_inches(tmp_path: Path) -> None:
    """Under `us` the coefficient is that at 1 psi: the line through p in psi."""
    path = tmp_path / "strands.csv"
    path.write_text(two_mixes(), "utf-8")
    model = StrandModel(analyse(read_strand_files([str(path)])))
    cautions = chosen(load_database().cautions, {}, ["firing"])
    screen = burnrate_screen(model, Asked(files=(str(path),)), cautions, Shown("us"))
    a = line_through(*strands_of(two_mixes(), "base"), PSI / 1e6)["rate"] / 25.4
    (told,) = [row[1] for row in screen.blocks[0].rows if row[0] == "base"]
    assert float(told) == pytest.approx(a, rel=0.02)


@pytest.mark.slow
def test_beyond_the_tests_is_marked(run) -> None:
    """A rate outside the tested pressures is the law continued, and that is said."""
    page = run(two_mixes(), "--at", "1500 psi")
    assert page.count("OUTSIDE") == 2
    assert "The law is continued there" in page
    rates = json.loads(run(two_mixes(), "--at", "1500 psi", "--json"))["rates"]
    assert [row["tested"] for row in rates] == ["no", "no"]


def test_bands(run) -> None:
    """A plateau is found; each band has its exponent and its doubt."""
    found = json.loads(run(plateau(), "--json"))
    bands = found["laws"]
    assert len(bands) == 3
    for band, exponent in zip(bands, (0.62, 0.0, 0.65), strict=True):
        # The law that made the data lies inside; 4 of its standard errors at most.
        low, high = band["exponent_interval"]
        assert abs(band["exponent"] - exponent) < high - low
        assert 0.005 < (high - low) / 2 < 0.1
        low, high = band["rate_at_1MPa_mm_s_interval"]
        assert low < band["rate_at_1MPa_mm_s"] < high
    # The bands meet: a1 p^n1 = a2 p^n2 at the bend (continuous by construction).
    for below, above in itertools.pairwise(bands):
        p = below["pressure_high_MPa"]
        assert p == above["pressure_low_MPa"]
        ends = [b["rate_at_1MPa_mm_s"] * p ** b["exponent"] for b in (below, above)]
        assert ends[0] == pytest.approx(ends[1], rel=1e-8)


def test_first_band_agrees_with_the_fit_itself() -> None:
    """Intervals of the lowest band: those of the fit, another road to them."""
    from castsugar.motor.strand_fit import fit_law
    from castsugar.motor.strands import band_laws

    rng = np.random.default_rng(3)
    p = np.geomspace(0.3e6, 9e6, 16)
    r = 8e-3 * (p / 1e6) ** 0.4 * np.exp(rng.normal(0.0, 0.03, 16))
    fit = fit_law(p, r, (1.5e6,))
    lowest, highest = band_laws(fit, 1e6)
    assert lowest.exponent_interval == pytest.approx(fit.exponent_interval())
    ends = [float(v) for v in fit.law_interval(1e6)]
    assert lowest.rate_interval == pytest.approx(ends)
    # A unit inside the upper band: there the coefficient is the rate of the law.
    (_, above) = band_laws(fit, 4e6)
    ends = [float(v) for v in fit.law_interval(4e6)]
    assert above.rate_interval == pytest.approx(ends)
    # Fit from above and below are mirror images: p -> 1/p swaps the bands, n -> -n.
    mirror, _ = band_laws(fit_law(1e12 / p, r, (1e12 / 1.5e6,)), 1e6)
    swapped = tuple(-n for n in reversed(mirror.exponent_interval))
    assert highest.exponent_interval == pytest.approx(swapped, rel=1e-6)


def test_one_pressure(run) -> None:
    """Open air: rate, repeatability, the exponent that is taken, next test."""
    words = ("--ambient", "1013 mbar")
    page = run(OPEN_AIR, *words)
    assert "RESULT (no mix named): It burns 3.1" in page
    assert "5 strands at 0.101 MPa: used; n taken as 0.38 ± 0.10." in page
    assert "MISSING Burn 3 strands at" in page
    found = json.loads(run(OPEN_AIR, *words, "--json"))
    assert found["conditions"]["ambient_pressure_Pa"] == pytest.approx(101300.0)
    assert found["laws"] == found["rates"] == []
    rates = 50.0 / np.array([15.73, 15.82, 15.68, 16.49, 16.09])
    s, t = np.log(rates).std(ddof=1), stats.t.ppf(0.975, 4)
    mean = math.exp(np.log(rates).mean())
    (row,) = found["one_pressure"]
    assert row["rate_mm_s"] == pytest.approx(mean)
    ends = [mean * math.exp(k * t * s / math.sqrt(5)) for k in (-1, 1)]
    assert row["rate_mm_s_interval"] == pytest.approx(ends)
    ends = [mean * math.exp(k * t * s * math.sqrt(1.2)) for k in (-1, 1)]
    assert row["new_strand_mm_s_interval"] == pytest.approx(ends)
    assert row["repeatability_mm_s"] == pytest.approx(rates.std(ddof=1))
    assert row["next_pressure_MPa"] == pytest.approx(2 * 0.1013)
    # A grain at 2.5 MPa, 3.2 away in ln p: n +- 0.10 alone is a factor of
    # exp(1.96 x 0.10 x 3.2) = 1.87 either way.
    (grain,) = found["grains"]
    assert grain["pressure_MPa"] == pytest.approx(2.5)
    for key in ("next_batch_mm_s", "this_batch_mm_s"):
        low, high = grain[f"{key}_interval"]
        assert high / grain[key] > 1.8 < grain[key] / low


NO_LAW = [
    (HEAD + "A,50,8,1\nA,50,7,2\n", "A: 2 strands from 1 to 2 MPa: used; n taken as"),
    (
        HEAD + "A,50,8,1\nA,50,3,2\nA,50,1.7,3\n",
        "No law for A: fitted exponent n = 1.41 is 1 or more",
    ),
    (
        HEAD + "A,50,8,1\n",
        "one strand: no interval. 1 strand at 1.00 MPa: used; n taken",
    ),
    (HEAD + "A,50,8,1\nA,50,8.1,1\n", "2 strands at 1.00 MPa: used; n taken as 0.40"),
]


@pytest.mark.parametrize(("text", "words"), NO_LAW)
def test_no_law_is_a_plain_answer(run, text: str, words: str) -> None:
    """No law, the reason; exit code 0; the strands in the full answer."""
    page = run(text, "--at", "2 MPa")
    assert words in page
    assert ("Grains in a motor at 2.00 MPa: next" in page) == ("used" in words)
    assert "r = a p^n" not in page
    assert "6.25" in run(text, "--full")
    assert json.loads(run(text, "--json"))["laws"] == []


def test_numbers_from_a_formula(run) -> None:
    """r = 8 p^0.5 to the last digit: found again, and no strands, says the page."""
    rows = [f"A,50,{50.0 / (8.0 * p**0.5)!r},{p}" for p in range(1, 9)]
    text = HEAD + "\n".join(rows) + "\n"
    assert "MISFIT A: no scatter at all" in run(text)
    law = json.loads(run(text, "--json"))["laws"][0]
    assert law["rate_at_1MPa_mm_s"] == pytest.approx(8.0)
    assert law["exponent"] == pytest.approx(0.5)


def test_misfit_names_where_to_burn_more(run) -> None:
    """r = 8 p^0.5, replicates to 0.1 %, 5 % off at 4 MPa alone: misfit, and where."""
    rows = []
    for p in (1, 2, 4, 8, 16):
        rate = 8.0 * p**0.5 * (1.05 if p == 4 else 1.0)
        rows += [f"A,50,{50.0 / (rate * k)!r},{p}" for k in (0.999, 1.001)]
    page = run(HEAD + "\n".join(rows) + "\n")
    assert "MISFIT A: its strands do not follow one power law" in page
    assert re.search(r"Burn more near (\d+ and 4|4 and \d+) MPa", page)


def test_outlier_is_flagged_and_kept(run) -> None:
    """A strand burned twice as fast is pointed out; it stays in the fit."""
    text = two_mixes().splitlines()
    cells = text[4].split(";")
    cells[2] = f"{float(cells[2].replace(',', '.')) / 2:.3f}".replace(".", ",")
    text[4] = ";".join([*cells[:5], "glue had come off here"])
    assert "CAUTION base, line 5: far from the law" in run("\n".join(text))
    rows = list(csv.DictReader(io.StringIO(run("\n".join(text), "--csv"))))
    assert [r["line"] for r in rows if r["remark"]] == ["5"]
    assert rows[3]["note"] == "glue had come off here"


def test_csv_agrees_with_the_line(run) -> None:
    """One row a strand; units in the names."""
    text = two_mixes()
    rows = list(csv.DictReader(io.StringIO(run(text, "--csv"))))
    assert len(rows) == 18
    p, r = strands_of(text, "base")
    for row, pressure, rate in zip(rows, p, r, strict=False):
        line = line_through(p, r, pressure)
        for key, value in (
            ("pressure_MPa", pressure),
            ("rate_mm_s", rate),
            ("fitted_rate_mm_s", line["rate"]),
            ("residual_percent", 100.0 * (rate / line["rate"] - 1.0)),
            ("fitted_rate_mm_s_low", line["low"]),
            ("new_strand_mm_s_high", line["new_high"]),
        ):
            assert float(row[key]) == pytest.approx(value, rel=1e-7)
        assert (row["mix"], row["status"]) == ("base", "ok")
        assert float(row["length_mm"]) == pytest.approx(50.8)


@pytest.mark.slow
def test_picture(run, tmp_path: Path) -> None:
    """In the form that its name asks for."""
    for kind, start in ((".svg", b"<svg"), (".png", b"\x89PNG"), (".pdf", b"%PDF")):
        path = tmp_path / f"one{kind}"
        run(two_mixes(), "--picture", str(path))
        assert path.read_bytes().startswith(start)


BAD = [
    ("", (), "strands.csv line 1: the file is empty"),
    ("length_mm,tme_s,pressure_MPa\n50,8,1\n", (),
     "strands.csv line 1: column 'time' is missing; 'tme_s' looks like it"),
    ("length_mm,time_s,pressure\n50,8,1 MPa\n50,8,20 bar\n", (),
     "strands.csv line 3, column 'pressure': '20 bar' is in bar"),
    (HEAD + "A,50,-8,1\n", (), "strands.csv line 2, column 'time_s'"),
    (HEAD + "A,50,8,0\nA,50,8,0\n", (), "strands.csv line 2, column 'pressure_MPa'"),
    (HEAD + "A,50,8,1\n", ("--at", "1000"), "--at: pressure '1000' has no unit"),
    (HEAD + "A,50,8,1\n", ("--at", "20 C"), "--at: unit 'C' is not a pressure unit"),
    (HEAD + "A,50,8,1\n", ("--at", "0 psi"), "--at is 0 MPa; allowed 0.001 to 100 MPa"),
    (HEAD + "A,50,8,1\n", ("--ambient", "30 inHg"), "--ambient: unit 'inHg'"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "words", "complaint"), BAD)
def test_bad_input(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    text: str,
    words: tuple[str, ...],
    complaint: str,
) -> None:
    """One line on stderr, nothing on stdout, exit code 2."""
    path = tmp_path / "strands.csv"
    path.write_text(text, "utf-8")
    assert main(["burnrate", str(path), *words]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert complaint in err


def test_files_that_are_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A missing file, a folder, a chart that exists already: exit code 2."""
    assert main(["burnrate", str(tmp_path / "gone.csv")]) == 2
    assert "gone.csv cannot be read" in capsys.readouterr().err
    assert main(["burnrate", str(tmp_path)]) == 2
    assert "cannot be read" in capsys.readouterr().err
    path, chart = tmp_path / "strands.csv", tmp_path / "old.svg"
    path.write_text(plateau())
    chart.write_text("mine")
    assert main(["burnrate", str(path), "--picture", str(chart)]) == 2
    out, err = capsys.readouterr()
    assert (out, "exists already" in err, chart.read_text()) == ("", True, "mine")


@pytest.mark.slow
def test_strands_of_one_mix_in_two_files_are_one_law(
    run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same rows in one file give the same law; each row keeps its file and line."""
    head, *rows = two_mixes().splitlines()
    whole = json.loads(run(two_mixes(), "--json"))
    names = [str(tmp_path / name) for name in ("monday.csv", "friday.csv")]
    for name, part in zip(names, (rows[:3], rows[3:]), strict=True):
        Path(name).write_text("\n".join([head, *part]) + "\n", "utf-8")
    assert main(["burnrate", *names, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["laws"] == whole["laws"]
    places = [(s["file"], s["line"]) for s in found["strands"]]
    assert (names[0], "1:2") in places
    assert (names[1], "2:2") in places
    assert main(["burnrate", *names, "--full"]) == 0
    page = capsys.readouterr().out
    assert "1:2" in page
    assert "2:2" in page
    assert "line 5 of the second file" in " ".join(page.split())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (two_mixes(), "all strands of {0} stand in {1}, too"),
        (
            HEAD.replace("mix,", "") + "50,10,1\n",
            "{0} and {1} name no mix: write a column mix",
        ),
    ],
)
def test_two_files_that_cannot_be_used_together(
    text: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line that names both, exit code 2."""
    names = [str(tmp_path / name) for name in ("monday.csv", "friday.csv")]
    Path(names[0]).write_text(text, "utf-8")
    Path(names[1]).write_text(text.replace("50,10,1", "50,11,1"), "utf-8")
    assert main(["burnrate", *names]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert words.format(*names) in err


@pytest.mark.slow
def test_without_cantera(tmp_path: Path) -> None:
    """Strands need no thermochemistry: the command runs with Cantera absent."""
    path = tmp_path / "strands.csv"
    path.write_text(two_mixes(), "utf-8")
    blocked = (
        "import sys; sys.modules['cantera'] = None\n"
        "from castsugar.cli.main import main\n"
        f"sys.exit(main(['burnrate', {str(path)!r}, '--picture', "
        f"{str(tmp_path / 'a.svg')!r}]))"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", blocked],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "Burning rates from strands.csv: 2 mixes" in done.stdout
    assert (tmp_path / "a.svg").exists()


BENCH = """\
[recipes]
base = "KNO3:60 sucrose:20 corn syrup:20"
"with syrup" = "KNO3:60 sucrose:17 corn syrup:23"
"""


@pytest.mark.slow
def test_the_bench_tells_the_recipes(
    run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With them recipes are compared: one batch each, and the sentence that says so."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bench.toml").write_text(BENCH, "utf-8")
    page = run(two_mixes())
    assert "strands.csv: 2 mixes, 18 strands (bench.toml)" in page
    assert (
        "CANNOT TELL Whether base and with syrup differ: the two batches differ by 1"
        in page
    )
    assert "batches of one mix may differ as much" in page
    assert "One batch each. About 3 batches of each would tell if your scatter" in page
    (pair,) = json.loads(run(two_mixes(), "--json"))["comparisons"]
    assert (pair["of"], pair["verdict"], pair["reason"]) == (
        "recipes",
        "cannot tell",
        "",
    )
    assert 0.5 < pair["chance_faster"] < 1.0
    low, high = pair["rate_ratio_interval"]
    assert low < 1.0 < high
    # Told apart from the one number of the strands themselves: the recipes' is wider.
    least, most = pair["batch_ratio_interval"]
    assert math.log(high / low) > 2.0 * math.log(most / least)
    alone = run(two_mixes(), "--no-bench")
    assert "no recipe of 'base' and 'with syrup' is known" in alone
    assert "Only these batches do" in alone


@pytest.mark.slow
def test_a_recipe_for_a_name_and_one_of_the_motor(
    run,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A name may be a recipe; an entry of the motor says it of its own file."""
    named = two_mixes().replace("with syrup", "KNO3:60 sucrose:17 corn syrup:23")
    mixes = json.loads(run(named, "--no-bench", "--json"))["mixes"]
    assert [m["recipe"] for m in mixes] == ["", "KNO3:60 sucrose:17 corn syrup:23"]
    cs.bench.write_example(tmp_path / "club")
    monkeypatch.chdir(tmp_path / "club")
    assert main(["burnrate", "strands.csv", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["mixes"][1]["recipe"] == "KNO3:58 powdered sugar:14 corn syrup:28"
    assert [pair["of"] for pair in found["comparisons"]] == ["recipes"] * 3


@pytest.mark.slow
def test_a_firing_of_the_bench_stands_in_the_picture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its mean rate is a star; and what is invented says so in the title."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    assert main(["burnrate", "strands.csv", "--picture", "before.svg"]) == 0
    entry = """
[[motor.firing]]
recipe = "KNO3:60 powdered sugar:20 corn syrup:20"
rate = "5.6 mm/s"
pressure = "2.9 MPa"
rate_u = "2 %"
"""
    bench = Path("bench.toml")
    bench.write_text(bench.read_text("utf-8") + entry, "utf-8")
    assert main(["burnrate", "strands.csv", "--picture", "after.svg"]) == 0
    before, after = (Path(f"{x}.svg").read_text("utf-8") for x in ("before", "after"))
    assert "EXAMPLE: Burning rate" in before
    assert "mean rate in a firing" in after
    assert "mean rate in a firing" not in before
