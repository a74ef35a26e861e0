"""Fleets of simulated firings: what is seen, and what is told.

A tenth of ``benchmarks/validation/firing.py`` here, limits three standard
errors wider.
"""

from __future__ import annotations

import pytest
from judged_firings import CLEAN, ROWS, STRUCK, alarmed, figures, row, share

# Exact: the truth is that of simulated motors.
pytestmark = pytest.mark.exact


@pytest.mark.simulation
def test_a_tenth_of_the_fleets() -> None:
    """Alarms on sound and faulty firings, intervals, burn laws, corrections."""
    counts = dict.fromkeys(ROWS, STRUCK // 10) | {"clean": CLEAN // 10}
    rows = {name: row(("counted", name, count))[2] for name, count in counts.items()}
    found = list(figures(rows))
    assert len(found) > 50
    assert [f for f in found if not f.kept(errors=3.0)] == []


def test_a_few_of_each() -> None:
    """Sound firings pass, a clipped sensor does not."""
    _, _, sound = row(("setting", "clean", 24))
    # Of 24 firings with a chance of 9 %: 8 or more in 0.1 % of all fleets.
    assert sum(map(alarmed, sound)) < 8
    _, _, struck = row(("setting", "clip 85 %", 9))
    assert share(map(alarmed, struck))[0] > 60.0
