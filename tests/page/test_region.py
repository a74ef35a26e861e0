"""Areas and lines of the triangle against the mixes that they are drawn through."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from matplotlib.path import Path as Outline

from castsugar.draw_set import MANY
from castsugar.evaluation import evaluate_columns
from castsugar.limits import chances_of, judge
from castsugar.page.answer import region, surveyed
from castsugar.page.desk import Page
from castsugar.page.triangle import triangle_of
from castsugar.survey import Lattice, lattice

# Exact: derived beside each, or both sides are computed.
pytestmark = pytest.mark.exact

VIEW = ((50.0, 65.0), (0.0, 40.0), (5.0, 40.0))


def test_the_lattice_of_a_view() -> None:
    """Shares sum to the whole, keep the view, and are few enough; coarse is coarser."""
    for whole in (100.0, 97.0):
        found = lattice(VIEW, whole)
        assert np.allclose(found.shares.sum(axis=1), whole)
        for column, (low, high) in zip(found.shares.T, VIEW, strict=True):
            assert column.min() >= low - 1e-9
            assert column.max() <= high + 1e-9
        assert 250 < len(found.shares) <= 450
    assert len(lattice(VIEW, least=2.0).shares) < 150


def test_the_contour_of_a_plane() -> None:
    """Of nitrate less 57 it is the line nitrate = 57; of a constant there is none."""
    found = lattice(VIEW)
    (line,) = found.lines(found.shares[:, 0] - 57.0)
    assert {round(first, 6) for first, _ in line} == {57.0}
    (area,) = found.areas(found.shares[:, 0] - 57.0)
    assert min(first for first, _ in area) == pytest.approx(57.0)
    assert max(first for first, _ in area) == pytest.approx(65.0)
    assert found.lines(np.ones(len(found.shares))) == []
    assert found.areas(-np.ones(len(found.shares))) == []
    assert found.areas(np.full(len(found.shares), np.nan)) == []


def test_an_area_with_a_hole() -> None:
    """Outside a circle of radius 3 on a square of 20: area 400 less that of the hole.

    The shoelace sum of the joined outline counts the hole negative; the circle is
    drawn through a grid of 0.5, its area 28.27 to 2 %.
    """
    axis = np.arange(0.0, 20.01, 0.5)
    one, other = np.meshgrid(axis, axis, indexing="ij")
    grid = Lattice(axis, axis, np.ones_like(one, dtype=bool), np.zeros((one.size, 3)))
    away = np.hypot(one - 10.0, other - 10.0).ravel() - 3.0
    (area,) = grid.areas(away)
    x, y = np.array(area).T
    shoelace = 0.5 * abs(float(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))))
    assert 400.0 - shoelace == pytest.approx(28.27, rel=0.02)


def inside(areas: list[Any], points: Any) -> Any:
    """Return which points lie in one of some areas."""
    found = np.zeros(len(points), dtype=bool)
    for area in areas:
        found |= Outline(np.array(area)).contains_points(points)
    return found


def test_areas_are_where_mixes_keep_the_limits(
    page: Page, start: dict[str, Any]
) -> None:
    """Every mix of the lattice, moved a little to its middle, is judged by itself."""
    triangle, asked = triangle_of(page.world), page.asked(())
    found = surveyed(asked, "KNO3:60 powdered sugar:20 corn syrup:20")
    drawn = region(page, start)
    points = found.lattice.shares[:, [0, 2]]
    grid = (found.lattice.first.mean(), found.lattice.last.mean())
    near = points + 1e-4 * (np.array(grid) - points)
    few, chances = (
        asked.question.for_table(MANY + 1),
        {"chances": chances_of(asked.limits)},
    )
    texts = [
        " ".join(f"{n}:{x:.8f}" for n, x in zip(triangle.bounds, row, strict=True))
        for row in found.lattice.shares
    ]
    alone = evaluate_columns(
        few.weigh(texts), windows=False, **few.evaluate_options(), **chances
    )
    kept = np.logical_and.reduce([x.kept for x in judge(asked.limits, alone)])
    assert 0 < kept.sum() < len(kept)
    assert (kept == found.kept).all()
    clear = np.abs(np.minimum.reduce(found.distances)) > 1e-3
    assert (inside(drawn["kept"], near) == kept)[clear].all()
    peak, high = (
        np.array(alone[key]) for key in ("peak_pressure_MPa", "peak_pressure_p95_MPa")
    )
    assert (inside(drawn["above"], near) == (peak > asked.case)).all()
    only = (high > asked.case) & (peak <= asked.case)
    assert only.any()
    edge = np.abs(found.pressed(asked.case)[1]) > 1e-3
    assert (inside(drawn["unknown"], near) == only)[edge].all()


def test_a_narrow_throat_shows_where_it_bursts(
    page: Page, start: dict[str, Any]
) -> None:
    """Where the expected peak is above the case nothing is only not known."""
    narrow = start | {"throat": "6 mm"}
    drawn = region(page, narrow, coarse=True)
    assert drawn["above"]
    assert drawn["kept"] == []
    assert drawn["best"] is None
    asked = page.asked(page.state(narrow).settings)
    found = surveyed(
        asked,
        "KNO3:60 powdered sugar:20 corn syrup:20",
        coarse=True,
    )
    above = np.array(found.columns["peak_pressure_MPa"]) > asked.case
    assert f"the expected peak of {int(above.sum())} is above" in drawn["words"]


def test_what_has_no_pour_model_keeps_nothing(bench: Any) -> None:
    """Three ingredients without a model of the pour: no area, and the reason."""
    text = bench.read_text("utf-8").replace(
        '"corn syrup" = "10 % to 35 %"', '"mannitol" = "10 % to 35 %"'
    )
    bench.write_text(text, "utf-8")
    page = Page(bench)
    told = region(
        page,
        page.start()
        | {"parts": [["KNO3", "60"], ["powdered sugar", "20"], ["mannitol", "20"]]},
        coarse=True,
    )
    assert told["kept"] == []
    assert "not computed" in told["words"]
    assert told["best"] is None


@pytest.mark.slow
def test_the_best_mix_keeps_all_and_is_best(page: Page, start: dict[str, Any]) -> None:
    """By the goal of the bench, within its bounds of 55 to 60 % nitrate."""
    asked = page.asked(())
    found = surveyed(asked, "KNO3:60 powdered sugar:20 corn syrup:20")
    column = np.array(found.columns["density_impulse_kg_s_m3"])
    nitrate, _, syrup = found.lattice.shares.T
    within = (nitrate > 54.99) & (nitrate < 60.01) & (syrup > 9.99) & (syrup < 35.01)
    best = int(np.argmax(np.where(found.kept & within, column, -np.inf)))
    assert best != int(np.argmax(np.where(found.kept, column, -np.inf)))
    assert region(page, start)["best"] == found.lattice.shares[best].tolist()


def test_a_recipe_without_room_is_one_line(page: Page, start: dict[str, Any]) -> None:
    """Nothing is left for the corners by 80 % of a fourth ingredient."""
    parts = [["KNO3", "10"], ["corn syrup", "10"], ["sorbitol", "80"]]
    with pytest.raises(Exception, match="no mix of the triangle") as caught:
        region(page, start | {"parts": parts})
    assert getattr(caught.value, "key", "") == "parts"
