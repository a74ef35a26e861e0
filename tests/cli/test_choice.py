"""Columns by name: with or without the unit, and by names of version 1."""

from __future__ import annotations

import pytest

from castsugar import UnknownNameError
from castsugar.cli.choice import plottable, read_column
from castsugar.columns import RENAMED, stem
from castsugar.plausible import collected

pytestmark = pytest.mark.exact  # names against names


@pytest.mark.parametrize("column", plottable(), ids=lambda column: column.key)
def test_every_key_goes_without_its_unit(column) -> None:
    """Also where a longer key begins alike: peak_pressure beside its p95."""
    with collected() as remarks:
        assert read_column(column.key) is column
        assert read_column(stem(column)) is column
    assert remarks == []


@pytest.mark.parametrize("old", RENAMED)
def test_old_names_are_taken_with_a_remark(old: str) -> None:
    """Each leads to the column of today."""
    with collected() as remarks:
        assert read_column(old).key == RENAMED[old].key
    assert [one.code for one in remarks] in (["old-name"], [])
    assert remarks or old == "pressure_margin"  # the new one without its unit


def test_old_names_go_without_their_units_and_with_slips() -> None:
    """As the new ones do."""
    with collected():
        assert read_column("chamber_pressure").key == "peak_pressure_MPa"
        assert read_column("pour window width").key == "pour_window_width_K"
    with pytest.raises(UnknownNameError, match="did you mean 'peak_pressure_p95_MPa'"):
        read_column("chamber_presure_p95_MPa")
