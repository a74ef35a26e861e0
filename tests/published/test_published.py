"""Our value against every published one; a row is a test."""

from __future__ import annotations

import pytest
from published_checks import DISPUTED, KINDS, Row, ours, read_rows


def _case(row: Row) -> object:
    reason = DISPUTED.get(row.id)
    marks = [getattr(pytest.mark, KINDS[row.provenance])]
    if reason:
        marks.append(pytest.mark.xfail(strict=True, reason=reason))
    return pytest.param(row, id=row.id, marks=marks)


@pytest.mark.parametrize("row", [_case(row) for row in read_rows()])
def test_published_value(row: Row) -> None:
    """We are within the tolerance that the source's rounding and spread allow."""
    got = ours(row)
    # One part in 1e12 for values whose difference is the tolerance in decimals.
    allowed = row.tolerance + 1e-12 * abs(row.value)
    assert abs(got - row.value) <= allowed, row.message(got)
