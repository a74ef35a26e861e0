"""castsugar check: what a bench leaves open, on a screen, in JSON, as an exit code."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import jsonschema
import pytest

import castsugar as cs
from castsugar.cli.main import main
from castsugar.report.check import PARTS
from castsugar.report.document import schema_of
from castsugar.report.screen import STATUSES

# Exact: words against what the file says.
pytestmark = pytest.mark.exact


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    """Return exit code and output; nothing stands beside it."""
    capsys.readouterr()
    code = main(["check", *words])
    out, err = capsys.readouterr()
    assert err == ""
    return code, out


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The example bench, in the folder where one works."""
    monkeypatch.chdir(tmp_path)
    cs.bench.write_example(tmp_path)
    return tmp_path / "bench.toml"


@pytest.mark.slow
@pytest.mark.parametrize("units", ["si", "us"])
def test_the_example(
    units: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Invented first, then the misfit, then what is missing, then what was read."""
    del bench
    code, out = said(capsys, "--units", units)
    lines = out.splitlines()
    assert code == 1
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    assert lines[0] == "check: bench.toml, strands.csv"
    assert lines[1].startswith("EXAMPLE  14 entries are invented: 3 burning-rate laws")
    words = [w for line in lines for w in STATUSES if line.startswith(f"{w}  ")]
    assert words == ["EXAMPLE", "MISFIT", "MISSING", "READ", "READ", "READ"]
    size, allowed = ("8 mm", "6.89 MPa") if units == "si" else ("0.315 in", "1000 psi")
    assert f"throat {size}, allowed pressure {allowed}" in out
    foreign = "psi|°F" if units == "si" else r"\d (MPa|kPa|mm|g|°C)\b"
    assert not re.search(foreign, out)
    assert main(shlex.split(lines[-1].removeprefix("Next: castsugar "))) == 0


@pytest.mark.slow
def test_documents(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """JSON holds every point, valid by its schema; CSV has one row each."""
    code, out = said(capsys, str(bench), "--json")
    found = json.loads(out)
    jsonschema.validate(found, schema_of("check", PARTS))
    assert (code, found["invented"], len(found["invented_entries"])) == (1, True, 14)
    assert {point["status"] for point in found["points"]} == {
        *("invented", "misfit", "missing", "assumed")
    }
    _, table = said(capsys, "--csv")
    assert table.count("\n") == len(found["points"]) + 1


@pytest.mark.slow
def test_answers_of_yes_and_no(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """1 while something is missing; 0 where only usual values are assumed."""
    bench.write_text("", "utf-8")
    code, out = said(capsys)
    assert code == 1
    assert "MISSING  motor: " in out
    assert "MISSING  2 more: --full." in out
    assert said(capsys, "--full")[1].count("scale: ") == 1
    text = cs.bench.example.example_files()["bench.toml"]
    mine = re.sub(r"^invented = true.*\n", "", text, flags=re.M)
    mine = mine.replace(
        '# measured_efficiency = "90 %"', 'measured_efficiency = "90 %"'
    )
    mine = re.sub(r"\[\[motor.burn_law\]\]\n(.*\n)*", "", mine)
    mine += '[[motor.burn_law]]\nborrowed = "sucrose 65/35"\n'
    bench.write_text(mine, "utf-8")
    code, out = said(capsys)
    assert code == 0
    assert "EXAMPLE" not in out
    assert out.splitlines()[-1] == "Next: castsugar evaluate base"


def test_no_bench_is_bad_input(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line that says how to get one."""
    monkeypatch.chdir(tmp_path)
    for words in ([], ["none.toml"]):
        assert main(["check", *words]) == 2
        out, err = capsys.readouterr()
        assert (out, err.count("\n")) == ("", 1)
