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
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from castsugar.cli.main import main

# Exact: values on the page are compared with straight lines through ln r against ln p,
# computed here by numpy.polyfit and the t quantiles of scipy.stats.
pytestmark = pytest.mark.exact

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
        assert all(len(line) <= 80 for line in out.splitlines()) or {
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


def test_page_of_two_mixes(run) -> None:
    """Law, intervals, both units, rate at a pressure, comparison."""
    text = two_mixes()
    page = run(text, "--at", "600 psi")
    for mix in ("base", "with syrup"):
        p, r = strands_of(text, mix)
        own = page.split(f"Mix {mix}:", 1)[1].split("Look again")[0]
        si, psi = line_through(p, r, 1.0), line_through(p, r, PSI / 1e6)
        # 4 digits of a, 3 decimals of n, as printed; a in psi is the line at 1 psi.
        assert (
            f"a = {si['rate']:.3f} mm/s at 1 MPa "
            f"({si['low']:.3f} to {si['high']:.3f}) "
            f"n = {si['n']:.3f} ({si['n_low']:.3f} to {si['n_high']:.3f})"
        ) in own
        a, low, high = (psi[k] / 25.4 for k in ("rate", "low", "high"))
        assert f"a = {a:.5f} in/s at 1 psi ({low:.5f} to {high:.5f})" in own
        assert f"about the law {100 * si['scatter']:.1f} %" in own
        at = line_through(p, r, 600 * PSI / 1e6)
        cells = [f"{at[k]:.4g}" for k in ("rate", "low", "high", "new_low", "new_high")]
        assert (
            f"600 psi absolute 4.137 {cells[0]} {cells[1]} - {cells[2]} "
            f"{cells[3]} - {cells[4]}"
        ) in own
        assert "Law, measured" in own
        assert "Beside it, least squares on r itself (not used)" in own
        assert "of strands at 21.1 C" in own
    assert "base and with syrup: they differ" in page
    # Equal designs: the ratio in the middle of ln p is that of the two lines there.
    middle = math.sqrt(100 * 1000) * PSI / 1e6
    lines = [line_through(*strands_of(text, m), middle) for m in ("base", "with syrup")]
    ratio = lines[0]["rate"] / lines[1]["rate"]
    assert f"burns {ratio:.2f} times as fast" in page
    assert "WARNING" not in page
    assert "BORROWED" not in page
    assert "A burn law taken from a publication" not in page
    assert "Hot nitrate-sugar mixes burn people" in page


def test_beyond_the_tests_is_marked(run) -> None:
    """A rate outside the tested pressures has a mark and a warning."""
    page = run(two_mixes(), "--at", "1500 psi")
    assert page.count("WARNING: 1500 psi absolute: outside the tested") == 2
    assert re.search(r"1500 psi absolute 10\.34 [0-9.]+\* ", page)


def test_pressure_unit(run) -> None:
    """Another unit of pressure: a and n belong together there too."""
    text = two_mixes()
    p, r = strands_of(text, "base")
    bar = line_through(p, r, 0.1)
    page = run(text, "--pressure-unit", "bar")
    assert f"a = {bar['rate'] / 25.4:.4f} in/s at 1 bar" in page
    assert "psi" not in page
    page = run(plateau(), "--pressure-unit", "bar")
    assert "r in mm/s, p in bar absolute" in page


def test_bands(run) -> None:
    """A plateau is found; each band has its exponent and its doubt."""
    out = run(plateau(), "--json")
    (mix,) = json.loads(out)["mixes"]
    bands = mix["law"]["bands"]
    assert len(bands) == 3
    for band, exponent in zip(bands, (0.62, 0.0, 0.65), strict=True):
        # The law that made the data lies inside; 4 of its standard errors at most.
        half = (band["exponent_high"] - band["exponent_low"]) / 2
        assert abs(band["exponent"] - exponent) < 2 * half
        assert 0.005 < half < 0.1
        assert band["rate_at_1MPa_low_mm_s"] < band["rate_at_1MPa_mm_s"]
        assert band["rate_at_1MPa_mm_s"] < band["rate_at_1MPa_high_mm_s"]
    # The bands meet: a1 p^n1 = a2 p^n2 at the bend (continuous by construction).
    for below, above in itertools.pairwise(bands):
        p = below["pressure_high_MPa"]
        assert p == above["pressure_low_MPa"]
        ends = [b["rate_at_1MPa_mm_s"] * p ** b["exponent"] for b in (below, above)]
        assert ends[0] == pytest.approx(ends[1], rel=1e-8)
    page = run(plateau())
    assert "Bands: the data call for them" in page
    assert "Beside it" not in page
    for band in bands:
        assert f"n = {band['exponent']:.3f}".replace("-0.000", "0.000") in page


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
    """Open air: rate, repeatability, no exponent, offers, next test."""
    page = run(OPEN_AIR, "--ambient", "1013 mbar", "--fuel", "sugar")
    rates = 50.0 / np.array([15.73, 15.82, 15.68, 16.49, 16.09])
    s, t = np.log(rates).std(ddof=1), stats.t.ppf(0.975, 4)
    mean = math.exp(np.log(rates).mean())
    assert "Ambient is taken as 1013 mbar absolute, 0.1013 MPa" in page
    assert "5 strands at one pressure: the exponent n cannot be found" in page
    assert f"Measured rate at 0.1013 MPa: {mean:.3f} mm/s" in page
    low, high = (mean * math.exp(k * t * s / math.sqrt(5)) for k in (-1, 1))
    assert f"interval of the mean {low:.3f} to {high:.3f} mm/s" in page
    low, high = (mean * math.exp(k * t * s * math.sqrt(1.2)) for k in (-1, 1))
    assert f"the next strand here: {low:.3f} to {high:.3f} mm/s" in page
    assert f"Repeatability {rates.std(ddof=1):.3f} mm/s" in page
    # The one law of sucrose moved through the mean: mean (6.894757/0.1013)^0.319.
    rate = mean * (6.894757 / 0.1013) ** 0.319
    assert "BORROWED, not measured" in page
    found = re.search(r"sucrose 65/35 0\.319 ([0-9.]+) ([0-9.]+) to ([0-9.]+)", page)
    assert found
    assert float(found[1]) == pytest.approx(rate, abs=0.05)
    # 25 % for another mix alone: at least exp(1.96 x 0.223) = 1.55 either way.
    assert float(found[3]) / float(found[1]) > 1.55 < float(found[1]) / float(found[2])
    assert "dextrose" not in page
    assert "from memory" in page
    assert "Next test: burn 3 strands at 2 times this pressure" in page
    assert "A burn law taken from a publication may miss your grain" in page


def test_offers_without_a_fuel(run) -> None:
    """All five are offered; JSON names source and status of each."""
    document = json.loads(run(OPEN_AIR, "--json", "--at", "4 MPa", "--at", "20 MPa"))
    assert document["schema"] == "castsugar.burnrate/1"
    assert document["assumptions"]["ambient_pressure_Pa"] == 101325.0
    assert document["versions"]["species_data"]
    assert document["cautions"]
    (mix,) = document["mixes"]
    assert mix["law"] is None
    assert mix["rates"] == []
    assert "one pressure" in mix["reason_for_no_law"]
    assert len(mix["borrowed_offers"]) == 5
    for offer in mix["borrowed_offers"]:
        assert offer["origin"].startswith("measured: one pressure, exponent borrowed")
        assert (offer["status"], bool(offer["citation"])) == ("from memory", True)
        near, far = offer["rates"]
        assert near["rate_low_mm_s"] < near["rate_mm_s"] < near["rate_high_mm_s"]
        # The further from the test, the wider.
        width = [r["rate_high_mm_s"] / r["rate_low_mm_s"] for r in (near, far)]
        assert width[0] < width[1]
    assert mix["next_test"]["strands"] >= 3


NO_LAW = [
    (HEAD + "A,50,8,1\nA,50,7,2\n", "2 strands cannot give a law; at least 3"),
    (HEAD + "A,50,8,1\nA,50,3,2\nA,50,1.7,3\n", "is 1 or more"),
    (HEAD + "A,50,8,1\n", "one strand tells no interval"),
    (HEAD + "A,50,8,1\nA,50,8.1,1\n", "at least 3 strands are needed"),
]


@pytest.mark.parametrize(("text", "words"), NO_LAW)
def test_no_law_is_a_plain_answer(run, text: str, words: str) -> None:
    """Data shown, no law, the reason; exit code 0."""
    page = run(text, "--at", "2 MPa")
    assert words in page
    assert "No law for this mix" in page
    assert "Rate from the law" not in page
    assert "6.250" in page
    document = json.loads(run(text, "--json"))
    assert document["mixes"][0]["law"] is None
    assert document["mixes"][0]["nonlinear"] is None


def test_numbers_from_a_formula(run) -> None:
    """r = 8 p^0.5 to the last digit: found again, and no strands, says the page."""
    rows = [f"A,50,{50.0 / (8.0 * p**0.5)!r},{p}" for p in range(1, 9)]
    page = run(HEAD + "\n".join(rows) + "\n")
    assert "a = 8.000 mm/s at 1 MPa" in page
    assert "n = 0.500" in page
    assert "WARNING: no scatter at all" in page


def test_outlier_is_flagged_and_kept(run) -> None:
    """A strand burned twice as fast is pointed out; it stays in the fit."""
    text = two_mixes().splitlines()
    cells = text[4].split(";")
    cells[2] = f"{float(cells[2].replace(',', '.')) / 2:.3f}".replace(".", ",")
    text[4] = ";".join([*cells[:5], "burned down the side, glue had come off here"])
    page = run("\n".join(text))
    assert "OUTLIER? burned down the side, glue had come off here" in page
    rows = list(csv.DictReader(io.StringIO(run("\n".join(text), "--csv"))))
    assert [r["line"] for r in rows if r["remark"]] == ["5"]
    assert rows[3]["note"] == "burned down the side, glue had come off here"


def test_csv_and_json_agree_with_the_line(run) -> None:
    """One row a strand; units in the names; JSON holds the same."""
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
            ("fitted_rate_low_mm_s", line["low"]),
            ("new_strand_high_mm_s", line["new_high"]),
        ):
            assert float(row[key]) == pytest.approx(value, rel=1e-7)
        assert (row["mix"], row["length_mm"], row["status"]) == ("base", "50.8", "ok")
    document = json.loads(run(text, "--json", "--level", "90%", "--at", "500 psi"))
    assert document["assumptions"]["interval_probability"] == 0.9
    law = document["mixes"][0]["law"]
    assert law["origin"] == "measured"
    assert law["bands"][0]["exponent"] == pytest.approx(line["n"], rel=1e-8)
    t = stats.t.ppf(0.95, 7) / stats.t.ppf(0.975, 7)
    half = t * (line["n_high"] - line["n"])
    assert law["bands"][0]["exponent_high"] == pytest.approx(line["n"] + half, rel=1e-8)
    (rate,) = document["mixes"][0]["rates"]
    assert rate["asked"] == "500 psi absolute"
    assert rate["outside_tested_pressures"] is False
    (pair,) = document["comparisons"]
    assert (pair["first"], pair["verdict"]) == ("base", "differ")


@pytest.mark.parametrize(
    ("text", "dots", "bands"),
    [
        (two_mixes(), 2 * 18, 4),
        (plateau(), 2 * 24, 2),
        # 5 dots; one band round five borrowed lines.
        (OPEN_AIR, 5, 1),
        # 3 dots, and one under each name.
        (HEAD + "A,50,8,1\nA,50,7,2\nB,50,9,1\n", 5, 0),
        (HEAD + "A,50,8,1\n", 2, 0),
    ],
)
def test_chart(run, tmp_path: Path, text: str, dots: int, bands: int) -> None:
    """Well-formed, the same bytes twice, a dot a strand in each panel, both bands."""
    paths = [tmp_path / name for name in ("one.svg", "two.svg")]
    for path in paths:
        run(text, "--picture", str(path))
    assert paths[0].read_bytes() == paths[1].read_bytes()
    root = ET.parse(paths[0]).getroot()
    tags = [node.tag.rsplit("}", 1)[-1] for node in root.iter()]
    assert tags.count("circle") == dots
    filled = [n for n in root.iter() if n.get("fill-opacity") == "0.24"]
    assert len(filled) == bands
    words = " ".join("".join(n.itertext()) for n in root.iter() if n.text)
    assert ("confidence" in words) == ("prediction" in words) == (bands in (2, 4))
    assert "No claim of safety" in words
    assert "nan" not in paths[0].read_text("utf-8")


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
    (HEAD + "A,50,8,1\n", ("--level", "200 %"), "--level: fraction '200 %' is above 1"),
    (HEAD + "A,50,8,1\n", ("--level", "20 %"), "--level is 20 %; allowed 50 to 99.9 %"),
    (HEAD + "A,50,8,1\n", ("--pressure-unit", "psig"), "is gauge"),
    (HEAD + "A,50,8,1\n", ("--fuel", "starch"), "known: sucrose, dextrose, sorbitol"),
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
    assert [m["law"] for m in found["mixes"]] == [m["law"] for m in whole["mixes"]]
    places = [(s["file"], s["line"]) for m in found["mixes"] for s in m["strands"]]
    assert (names[0], 2) in places
    assert (names[1], 2) in places
    assert main(["burnrate", *names]) == 0
    page = capsys.readouterr().out
    assert "1:2" in page
    assert "2:2" in page
    assert "line 5 of the second file" in page


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
    assert "they differ" in done.stdout
    assert (tmp_path / "a.svg").exists()
