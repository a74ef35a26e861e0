"""The files of published values themselves: complete, and copied right."""

from __future__ import annotations

import collections
import math
import re

import pytest
from published_checks import DISPUTED, EVALUATORS, KINDS, Row, read_rows

ROWS = read_rows()

#: "+2 x C-093 log Kf at 1000 K" and, for a zero, "+2 x C-093 log Kf".
_TERM = re.compile(r"([+-][\d.]+) x (\w-\d{3}) (.+?)(?: at ([\d.]+) K)?")
_ZERO = re.compile(r"zero of (.+); linear in 1/T between (\d+) and (\d+) K")


def test_rows_are_complete() -> None:
    """Every number says where it comes from and how far it may be trusted."""
    for row in ROWS:
        texts = (row.case, row.tolerance_reason, row.source, row.locator)
        assert all(text.strip() for text in texts), row.id
        assert row.provenance in KINDS, row.id
        assert math.isfinite(row.value), row.id
        assert 0.0 < row.tolerance < math.inf, row.id
        assert row.quantity in EVALUATORS, row.id
        assert row.unit == EVALUATORS[row.quantity][0], row.id


def test_rows_are_told_apart() -> None:
    """No two rows have one name, and no evaluator or dispute is without a row."""
    counts = collections.Counter(row.id for row in ROWS)
    assert [name for name, count in counts.items() if count > 1] == []
    assert set(EVALUATORS) == {row.quantity for row in ROWS}
    assert set(DISPUTED) <= set(counts)


TABLES = [row for row in ROWS if row.file == "janaf"]


@pytest.mark.published
@pytest.mark.parametrize("row", TABLES, ids=[row.id for row in TABLES])
def test_row_is_copied_right(row: Row) -> None:
    """The value is what the text tables of the `janaf` package give."""
    pytest.importorskip("janaf", reason="the package janaf holds the tables")
    zero = _ZERO.fullmatch(row.locator)
    if zero:
        assert row.value == pytest.approx(_zero(zero), abs=0.05)  # one decimal
    else:
        # Sums of numbers of three decimals: exact but for binary rounding.
        assert row.value == pytest.approx(_sum(row.locator), abs=1e-9)


def _sum(locator: str, temperature: float = math.nan) -> float:
    """Add up the terms of a locator."""
    total = 0.0
    for text in locator.split("; "):
        term = _TERM.fullmatch(text)
        assert term is not None, text
        at = float(term[4]) if term[4] else temperature
        total += float(term[1]) * _entry(term[2], term[3], at)
    return total


def _zero(match: re.Match[str]) -> float:
    """Return where the sum is zero, by a line through two temperatures in 1/T."""
    low, high = float(match[2]), float(match[3])
    at_low, at_high = _sum(match[1], low), _sum(match[1], high)
    share = at_low / (at_low - at_high)
    return 1.0 / (1.0 / low + share * (1.0 / high - 1.0 / low))


def _entry(table: str, column: str, temperature: float) -> float:
    """Look up one number; lines that remark on a transition are passed over."""
    import janaf

    found = [
        line[column]
        for line in janaf.Table(index=table).df.iter_rows(named=True)
        if line["T(K)"] == temperature and line["Note"] is None
    ]
    assert len(found) == 1, (table, column, temperature)
    return float(found[0])
