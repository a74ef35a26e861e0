"""Count how many values of each source the tables hold; prints Markdown.

    python species_data/count_sources.py

A value is a number in a cell that its row gives a source for; of a species in the
product files, one record (its fits, or its density) counts as one.
"""

from __future__ import annotations

import csv
import re
import sys
from collections import Counter
from pathlib import Path

HERE = Path(__file__).resolve().parent

#: Columns of numbers that have a source column of their own.
OWN = {"enthalpy_source": "enthalpy", "density_source": "density"}


def is_number(text: str) -> bool:
    """Say whether a cell holds a number."""
    return re.fullmatch(r"[-+]?\d+(\.\d+)?(e[-+]?\d+)?", text) is not None


def count_tables(folder: Path = HERE) -> Counter[str]:
    """Return source -> numbers in the CSV files."""
    found: Counter[str] = Counter()
    for path in sorted(folder.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as stream:
            for row in csv.DictReader(stream):
                for column, source in row.items():
                    if column.endswith("source") and source:
                        about = OWN.get(column, "")
                        found[source] += sum(
                            key.startswith(about) and is_number(cell or "")
                            for key, cell in row.items()
                        )
    return found


def count_products(folder: Path = HERE) -> Counter[str]:
    """Return source -> records of species in the product files."""
    found: Counter[str] = Counter()
    for path in sorted(folder.glob("products*.yaml")):
        text = path.read_text(encoding="utf-8")
        found.update(re.findall(r'source: "?([a-z0-9-]+)', text))
    return found


def table(folder: Path = HERE) -> str:
    """Return what README shows: source, numbers, records, licence."""
    tables, products = count_tables(folder), count_products(folder)
    lines = [
        "| source | numbers in tables | records of species | licence |",
        "|---|---|---|---|",
    ]
    with (folder / "sources.csv").open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream):
            key = row["key"]
            if tables[key] or products[key]:
                counts = f"{tables[key]} | {products[key]}"
                lines.append(f"| `{key}` | {counts} | {row['licence']} |")
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(table() + "\n")
