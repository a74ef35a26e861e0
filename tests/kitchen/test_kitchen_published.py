"""The kitchen's values against published ones; a row is a test."""

from __future__ import annotations

import collections
import math

import pytest
from kitchen_checks import DISPUTED, EVALUATORS, KINDS, ours, read_rows, summary
from published_checks.rows import Row

ROWS = read_rows()


def _case(row: Row) -> object:
    reason = DISPUTED.get(row.id)
    marks = [getattr(pytest.mark, KINDS[row.provenance])]
    if reason:
        marks.append(pytest.mark.xfail(strict=True, reason=reason))
    return pytest.param(row, id=row.id, marks=marks)


@pytest.mark.parametrize("row", [_case(row) for row in ROWS])
def test_published_value(row: Row) -> None:
    """We are within the tolerance that the source's rounding and spread allow."""
    got = ours(row)
    # One part in 1e12 for values whose difference is the tolerance in decimals.
    allowed = row.tolerance + 1e-12 * abs(row.value)
    assert abs(got - row.value) <= allowed, row.message(got)


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


def test_summary_serves_the_benchmark() -> None:
    """One line a row; only the disputed ones are outside."""
    lines = summary()
    assert len(lines) == len(ROWS)
    outside = [line for line in lines if not line["inside"]]
    assert all(line["disputed"] for line in outside), outside
