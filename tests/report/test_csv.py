"""CSV: what a spreadsheet would run stays a text, and comes back as it was."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from castsugar.cli.main import main
from castsugar.report.document import to_csv
from castsugar.report.field import TEXT, Field

# Exact: the rule of OWASP, "CSV Injection" (from memory): an apostrophe in front of a
# cell that starts with = + - @, tab, carriage return, line feed or a full-width form.
pytestmark = pytest.mark.exact


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        ("=1+1", "'=1+1"),
        ("+cmd|' /C calc'!A0", "'+cmd|' /C calc'!A0"),
        ("-2+3", "'-2+3"),
        ("@SUM(1,2)", "'@SUM(1,2)"),
        ("\t=1", "'\t=1"),
        ("\r=1", "'\r=1"),
        ("\uff1d1", "'\uff1d1"),
        ("-5", "-5"),
        ("+1.5e3", "+1.5e3"),
        ("60/20/20", "60/20/20"),
        ('say "=1"', 'say "=1"'),
        ("", ""),
        (-5.0, "-5.0"),
        (float("nan"), ""),
    ],
)
def test_cells(cell: str | float, written: str) -> None:
    """Text that a spreadsheet runs gets an apostrophe; numbers stay numbers."""
    fields = [Field(key=key, label=key, kind=TEXT, meaning=key) for key in "ab"]
    text = to_csv([{"a": cell, "b": "x"}], fields)
    head, row = csv.reader(io.StringIO(text, newline=""))
    assert (head, row) == (["a", "b"], [written, "x"])


def test_label_of_a_bench_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A mix may be named like a formula; printed and written alike."""
    bench = tmp_path / "bench.toml"
    bench.write_text('[recipes]\n"=1+1" = "KNO3:65 sucrose:35"\n', "utf-8")
    words = ["evaluate", "=1+1", "--bench", str(bench), "--no-confirm", "--csv"]
    assert main(words) == 0
    (row,) = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert row["name"] == "'=1+1"
