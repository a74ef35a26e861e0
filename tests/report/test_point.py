"""Cards of one mix: what is no number is said once, in words."""

from __future__ import annotations

from pathlib import Path

import pytest

from castsugar.bench.example import write_example
from castsugar.page.answer import point_of
from castsugar.page.desk import Page
from castsugar.report.point import cards_of

pytestmark = pytest.mark.exact


@pytest.mark.parametrize(
    ("syrup", "told"),
    [
        (10, "does not flow"),
        (14.7, "tamp: too crowded for a number"),
        (20, " Pa s, 80 of 100"),
    ],
)
def test_what_does_not_flow_is_said_once(
    tmp_path: Path, syrup: float, told: str
) -> None:
    write_example(tmp_path)
    page = Page(tmp_path / "bench.toml")
    parts = {"KNO3": 66, "corn syrup": syrup}
    parts["powdered sugar"] = 100 - sum(parts.values())
    typed = {"parts": [[name, str(share)] for name, share in parts.items()]}
    state = page.state(page.start() | typed)
    point, _, _ = point_of(page.asked(state.settings), state, whole=False)
    pours = next(
        card for card in cards_of(point, {"key": ""}) if card["key"] == "pours"
    )
    assert pours["detail"].endswith(told)
    assert " to no flow" not in pours["detail"]
