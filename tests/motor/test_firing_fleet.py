"""Fleets of simulated firings: what is seen, and what is told.

A tenth of ``benchmarks/validation/firing.py`` here, limits three standard
errors wider; a few of each fault in ``test_firing_alarms.py``.
"""

from __future__ import annotations

import pytest
from judged_firings import CLEAN, ROWS, STRUCK, figures, row

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
