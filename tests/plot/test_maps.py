"""The picture of ``castsugar map``: limits, reasons, the answer, the part shown.

The bench is the shipped example: invented. Exact: lines stand where the rows of the
table change sides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.patches import PathPatch

from castsugar import InputError
from castsugar.bench import write_example
from castsugar.cli.choice import read_column
from castsugar.cli.main import main
from castsugar.cli.picture_options import read_contours, read_zoom
from castsugar.plot import maps, style
from castsugar.plot.maps import Map, map_drawing
from castsugar.report.shown import Shown

pytestmark = pytest.mark.exact

THREE = ["KNO3", "powdered sugar", "corn syrup"]
COLD, FAINT = "does not burn", "flame below 900 K"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Map:
    """Return what the command draws, steps of 5 %."""
    folder = tmp_path_factory.mktemp("map")
    write_example(folder)
    taken: list[Map] = []

    def keep(one: Map, notes: Sequence[str], show: Shown) -> Any:
        taken.append(one)
        return map_drawing(one, notes, show)

    words = ["--step", "5%", "--mark", "base", "--bench", str(folder / "bench.toml")]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(maps, "map_drawing", keep)
        picture = folder / "map.svg"
        assert main(["map", *THREE, *words, "--picture", str(picture)]) == 0
    return taken[0]


def axes_of(
    made: Map, column: str, system: str = "si", *, width: int = 640, **changes: Any
) -> Any:
    """Draw a column; return its axes."""
    one = replace(made, column=read_column(column), **changes)
    sheet = map_drawing(one, [], Shown(system))(width)
    return sheet.figure.axes[0]


def keys_of(axes: Any) -> list[str]:
    return axes.get_legend_handles_labels()[1]


def areas_of(axes: Any) -> dict[str, PathPatch]:
    return {str(p.get_label()): p for p in axes.patches if isinstance(p, PathPatch)}


@pytest.mark.slow
def test_does_not_burn_and_below_900_K_are_two_marks(made: Map) -> None:
    """Cold mixes are those of 90 % nitrate and more; both have their own hatch."""
    axes = axes_of(made, "flame_temperature")
    areas = areas_of(axes)
    assert {COLD, FAINT} <= set(areas)
    assert areas[COLD].get_hatch() != areas[FAINT].get_hatch()
    cold = areas[COLD].get_path().vertices
    tops = axes.transProjection.inverted().transform(cold)[:, 0]
    assert tops.min() == pytest.approx(87.5)
    assert not {COLD, FAINT} & set(areas_of(axes_of(made, "pours_probability")))


@pytest.mark.slow
def test_the_edge_of_900_K_lies_between_the_rows(made: Map) -> None:
    """At its vertices the flame, interpolated along the lattice, has 900 K."""
    axes = axes_of(made, "characteristic_velocity")
    path = areas_of(axes)[FAINT].get_path().vertices
    shares = axes.transProjection.inverted().transform(path) / 100.0
    base = shares[np.abs(shares[:, 1]) < 1e-9]  # without powdered sugar
    edge = base[(base[:, 0] > 0.05) & (base[:, 0] < 0.8)][0, 0]
    heat = made.found.values("flame_temperature_K")
    side = (np.abs(made.shares[:, 1]) < 1e-9) & ~np.isnan(heat)
    order = np.argsort(made.shares[side, 0])
    nitrate, known = made.shares[side, 0][order], heat[side][order]
    assert np.interp(edge, nitrate, known) == pytest.approx(900.0)


@pytest.mark.slow
@pytest.mark.parametrize("width", [640, 340])
def test_the_allowed_pressure_is_one_line_on_every_pressure(
    made: Map, width: int
) -> None:
    """Thick, dark, named as on a firing; above it two marks, expected and 95 %."""
    for column in ("peak_pressure", "peak_pressure_p95", "pressure_margin"):
        axes = axes_of(made, column, width=width)
        lines = [c for c in axes.collections if np.allclose(c.get_linewidths(), 2.8)]
        assert len(lines) == 1
        (ink,) = lines[0].get_edgecolor()
        assert tuple(ink[:3]) == pytest.approx(rgb(style.INK))
        assert any(t.get_text() == "allowed 6.89 MPa" for t in axes.texts)
        areas = areas_of(axes)
        (hatched,) = [one for name, one in areas.items() if "burn strands" in name]
        (solid,) = [one for name, one in areas.items() if "do not fire" in name]
        assert hatched.get_hatch()
        assert not solid.get_hatch()
        assert solid.get_facecolor()[:3] == pytest.approx(rgb(style.SOFT))
    assert any("allowed 1000 psi" in t.get_text() for t in axes_of(
        made, "peak_pressure", "us").texts)  # fmt: skip


def rgb(ink: str) -> tuple[float, ...]:
    return tuple(int(ink[k : k + 2], 16) / 255.0 for k in (1, 3, 5))


def test_a_mix_without_a_pressure_breaks_nothing(made: Map) -> None:
    """What does not burn is covered by its own name, whatever the limits."""
    axes = axes_of(made, "pressure_margin")
    cold, hatched = areas_of(axes)[COLD], next(iter(areas_of(axes).values()))
    assert cold.get_zorder() > hatched.get_zorder()
    assert cold.get_facecolor()[3] == 1.0


def test_limits_of_the_shown_column_are_heavy_and_named(made: Map) -> None:
    axes = axes_of(made, "pours_probability")
    assert "pour viscosity at most 10 Pa s, in 85 of 100" in keys_of(axes)
    assert "a limit is broken" in keys_of(axes)
    axes = axes_of(made, "relative_solids_20C")
    assert "relative solids at 20 °C at least 0.95, in 60 of 100" in keys_of(axes)
    axes = axes_of(made, "characteristic_velocity")
    assert not any("pour viscosity" in key for key in keys_of(axes))


def test_the_answer_is_outlined(made: Map) -> None:
    """As many mixes are named as the table keeps; the line is on every column."""
    sheet = map_drawing(made, ["a note"], Shown())(640)
    words = " ".join(text.get_text() for text in sheet.figure.texts)
    count = int(made.kept.sum())
    assert count == sum(row["limits_broken"] == "" for row in rows_kept(made))
    assert f"{count} of 231 burn and keep all 3 limits: inside the green line" in words
    assert "EXAMPLE: Characteristic velocity c*" in words
    assert "a note" in words
    assert "inside: all 3 limits kept" in keys_of(sheet.figure.axes[0])


def test_no_answer_is_told(made: Map) -> None:
    """A limit that none keeps: no line, and a sentence that says so."""
    never = replace(made.found.judged[0], values=np.full(len(made.shares), np.inf))
    one = replace(made, found=replace(made.found, judged=(never,)))
    sheet = map_drawing(one, [], Shown())(640)
    words = [text.get_text() for text in sheet.figure.texts]
    assert "None of 231 burns and keeps the limit" in words
    assert not any("limit kept" in key for key in keys_of(sheet.figure.axes[0]))


def rows_kept(made: Map) -> list[dict[str, str]]:
    """Return burning rows with what they break, as the table says it."""
    kept = np.all([one.kept for one in made.found.judged], axis=0)
    usable = made.found.usable
    return [{"limits_broken": "" if k else "x"} for k in kept[usable]]


def test_measured_mixes_are_rings(made: Map) -> None:
    """The three mixes of strands.csv: 60/20/20, 58/14/28 and 66/20/14."""
    found = sorted((100.0 * made.measured).round(6).tolist())
    assert found == [[58.0, 14.0, 28.0], [60.0, 20.0, 20.0], [66.0, 20.0, 14.0]]
    assert "measured: strands or a firing" in keys_of(axes_of(made, "peak_pressure"))


def test_zoom_to_what_is_kept(made: Map) -> None:
    """Every kept mix lies on the picture; without one the option is refused."""
    ranges = replace(made, zoom="kept").ranges
    assert ranges is not None
    low, high = np.array(ranges).T
    held = made.shares[made.kept]
    assert ((held >= low) & (held <= high)).all()
    assert np.max(high - low) < 0.6
    found = replace(made.found, judged=())
    with pytest.raises(InputError, match="--zoom kept: no mix"):
        _ = replace(made, found=found, zoom="kept").ranges


def test_contours_in_the_unit_shown(made: Map) -> None:
    """1160 F is 900 K; levels that the map does not reach are told."""
    axes = axes_of(made, "flame_temperature", "us", contours=(2000.0,))
    assert "flame below 1160 °F" in keys_of(axes)
    assert "2000" in [t.get_text() for t in axes.texts]
    one = replace(made, contours=(850.0, 5000.0))
    sheet = map_drawing(one, [], Shown())(640)
    words = [text.get_text() for text in sheet.figure.texts]
    assert "Beyond what is shown: 5000." in words


@pytest.mark.parametrize(
    "text", ["", "800 x", "nan", "inf", " ".join(map(str, range(21)))]
)
def test_levels_that_are_none(text: str) -> None:
    with pytest.raises(InputError, match="--contours"):
        read_contours(text)


@pytest.mark.parametrize(
    "text", ["", "bounds", "50-60 10-20", "60-50 5-35 10-35", "50-160 5-35 10-35",
             "-5-60 5-35 10-35", "80-90 80-90 80-90", "0-10 0-10 0-10"],
)  # fmt: skip
def test_parts_that_are_none(text: str) -> None:
    with pytest.raises(InputError, match="--zoom"):
        read_zoom(text, {"kept": ""})


@pytest.mark.slow
def test_options_of_the_command(tmp_path: Path, capsys: Any) -> None:
    """A bad list costs one line and no work; each ending gives its kind of file."""
    command = ["map", *THREE, "--step", "20%", "--no-bench"]
    assert main([*command, "--contours", "8 hundred"]) == 2
    assert main([*command, "--zoom", "search"]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 2
    assert "no bounds of KNO3, powdered sugar, corn syrup" in err
    begins = {".svg": b"<svg", ".png": b"\x89PNG", ".pdf": b"%PDF"}
    for kind, begin in begins.items():
        file = tmp_path / f"map{kind}"
        more = ["--contours", "850 900", "--zoom", "50-70 0-40 0-40"]
        assert main([*command, *more, "--picture", str(file)]) == 0
        assert file.read_bytes().startswith(begin)
