"""Print our value beside each published value.

``python benchmarks/accuracy/run.py [--csv FILE]``; see ../README.md.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import sys
import textwrap
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2] / "tests" / "published"))
sys.path.insert(0, str(Path(__file__).parents[2] / "tests" / "kitchen"))

from kitchen_checks import KINDS
from kitchen_checks import summary as kitchen_summary
from published_checks import summary

WIDTH = 100

#: Provenance -> its word in the lines.
SHORT = dict(
    zip(
        KINDS,
        ("read", "open data", "memory", "own", "fitted"),
        strict=True,
    )
)

Compared = dict[str, Any]


def compared() -> list[Compared]:
    """Return all rows, with the difference in percent and the tests' verdict."""
    rows = [*summary(), *kitchen_summary()]
    for row in rows:
        value, difference = row["published"], row["difference"]
        row["difference_percent"] = 100.0 * difference / abs(value) if value else None
        # As in the tests: a difference may equal the tolerance in decimals.
        row["inside"] = abs(difference) <= row["tolerance"] + 1e-12 * abs(value)
    return rows


def report(rows: list[Compared]) -> list[str]:
    """Return lines: every row, then the counts, then the rows outside."""
    lines = [
        "Our value beside each published one. Difference: ours less published, in % "
        "of published.",
        "Checks: read = in the source; open data = machine-readable copy. Beside them: "
        "memory = recalled",
        "of the source; own = calculated by other code of ours; fitted = a copy; "
        "! = outside.",
    ]
    for source, group in itertools.groupby(rows, key=lambda row: row["source"]):
        lines += ["", *textwrap.wrap(source, WIDTH), _heading()]
        lines += [_line(row) for row in group]
    return [*lines, "", *_counts(rows), *_outside(rows)]


def write(rows: list[Compared], path: Path) -> None:
    """Write all rows as CSV."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def _heading() -> str:
    return (
        f"  {'case and quantity':34}{'ours':>11}{'published':>11} {'unit':9}"
        f"{'diff, %':>8}{'tolerance':>10}  provenance"
    )


def _line(row: Compared) -> str:
    """Return the two lines of one row: the case, then quantity and numbers."""
    percent = row["difference_percent"]
    shown = "-" if percent is None else f"{percent:.4f}"
    return (
        f"{' ' if row['inside'] else '!'} {row['case']}\n"
        f"    {row['quantity']:32}{row['ours']:11.7g}{row['published']:11.7g} "
        f"{row['unit']:9}{shown:>8}{row['tolerance']:10.3g}  "
        f"{SHORT[row['provenance']]}"
    )


def _counts(rows: list[Compared]) -> list[str]:
    lines = [f"{'Provenance':28}{'values':>8}{'inside tolerance':>18}  kind"]
    for name, kind in KINDS.items():
        own = [row["inside"] for row in rows if row["provenance"] == name]
        lines.append(f"{name:28}{len(own):8d}{sum(own):18d}  {kind}")
    return lines


def _outside(rows: list[Compared]) -> list[str]:
    """Return the rows that miss, each with the reason that is on record."""
    missed = [row for row in rows if not row["inside"]]
    lines = ["", f"Outside tolerance: {len(missed)}"]
    for row in missed:
        reason = row["disputed"] or "no reason on record"
        lines += textwrap.wrap(
            f"{row['file']}: {row['case']}, {row['quantity']}: ours {row['ours']:.6g}, "
            f"published {row['published']:.6g} {row['unit']}, off by "
            f"{row['difference']:.2g}, allowed {row['tolerance']:.2g}. {reason}",
            WIDTH,
            initial_indent="  ",
            subsequent_indent="    ",
        )
    return lines


def main() -> None:
    """Print and write."""
    parser = argparse.ArgumentParser(description="Our value beside published ones.")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write all rows")
    options = parser.parse_args()
    rows = compared()
    sys.stdout.write("\n".join(report(rows)) + "\n")
    if options.csv:
        write(rows, options.csv)


if __name__ == "__main__":
    main()
