"""Burning area against web: by hand, by the volume it must use up, and bad sizes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from castsugar import InputError
from castsugar.motor.grain import AreaTable, CylinderRow, HollowCylinder

pytestmark = pytest.mark.exact


def cylinder(**changes: float) -> HollowCylinder:
    """D 30, d 10, L 50 mm unless changed."""
    sizes = {"outer_diameter": 0.030, "core_diameter": 0.010, "segment_length": 0.050}
    return HollowCylinder(**(sizes | changes))


sizes = st.fixed_dictionaries(
    {
        "outer_diameter": st.floats(0.02, 0.1),
        "core_diameter": st.floats(0.004, 0.019),
        "segment_length": st.floats(0.005, 0.3),
        "segments": st.integers(1, 6),
        "burning_ends": st.sampled_from([0, 1, 2]),
    }
)


def test_area_by_hand() -> None:
    """A = pi/2 (D2 - (d+2x)2) + pi (d+2x)(L - 2x), in mm2.

    x 0 and 10: 900 pi = 2827.433 (pi/2 800 + pi 500; 0 + pi 900).
    x 5: pi/2 (900 - 400) + pi 20 40 = 1050 pi = 3298.672; ratio 7/6.
    """
    area = cylinder().area([0.0, 0.005, 0.010]) * 1e6
    expected = np.pi * np.array([900.0, 1050.0, 900.0])
    np.testing.assert_allclose(area, expected, rtol=1e-12)
    np.testing.assert_allclose(expected, [2827.43, 3298.67, 2827.43], atol=0.005)
    assert cylinder().largest_area == pytest.approx(1050e-6 * np.pi, rel=1e-12)


@pytest.mark.parametrize(("big", "core"), [(0.03, 0.01), (0.05, 0.02), (0.038, 0.012)])
def test_length_that_starts_as_it_ends(big: float, core: float) -> None:
    """L = (3 D + d) / 2: hand algebra of A(0) = A((D - d) / 2)."""
    grain = cylinder(
        outer_diameter=big, core_diameter=core, segment_length=(3 * big + core) / 2
    )
    first, last = grain.area([0.0, grain.web])
    assert first == pytest.approx(last, rel=1e-12)


def test_inhibited_ends_and_segments() -> None:
    """Ends inhibited: A = pi (d + 2x) L. One end: half the end terms of two."""
    x = np.linspace(0.0, 0.010, 6)
    bore = 0.010 + 2 * x
    np.testing.assert_allclose(
        cylinder(burning_ends=0, segments=4).area(x), 4 * np.pi * bore * 0.050, 1e-12
    )
    two, none = cylinder().area(x), cylinder(burning_ends=0).area(x)
    np.testing.assert_allclose(cylinder(burning_ends=1).area(x), (two + none) / 2)


def test_disc_burns_through_its_length() -> None:
    """L 8, wall 10 mm: the web is L / 2; the last area is two rings that meet.

    pi/2 (900 - (10 + 8)2) = 288 pi mm2.
    """
    disc = cylinder(segment_length=0.008)
    assert disc.web == pytest.approx(0.004)
    assert disc.area(disc.web) == pytest.approx(288e-6 * np.pi, rel=1e-12)
    assert disc.area(0.0041) == 0.0
    assert disc.volume_left(disc.web) == pytest.approx(0.0, abs=1e-18)


@given(sizes)
def test_area_uses_up_the_volume(size) -> None:
    """The area is a quadratic: three Gauss nodes integrate it exactly to the volume."""
    grain = HollowCylinder(**size)
    nodes, weights = np.polynomial.legendre.leggauss(3)
    x = 0.5 * grain.web * (nodes + 1)
    burnt = 0.5 * grain.web * float(weights @ grain.area(x))
    assert burnt == pytest.approx(grain.volume, rel=1e-12)
    ring = np.pi / 4 * (grain.outer_diameter**2 - grain.core_diameter**2)
    solid = size["segments"] * ring * size["segment_length"]
    assert grain.volume == pytest.approx(solid, rel=1e-12)
    envelope = grain.free_volume(grain.web)
    full = size["segments"] * np.pi / 4 * grain.outer_diameter**2
    assert envelope == pytest.approx(full * size["segment_length"], rel=1e-12)


@given(sizes)
def test_breakpoints_and_largest_area(size) -> None:
    """Between breakpoints the area is monotone; no point of a scan is larger."""
    grain = HollowCylinder(**size)
    assert grain.area(np.linspace(0, grain.web, 2001)).max() <= (
        grain.largest_area * (1 + 1e-12)
    )
    for low, high in zip(grain.breakpoints, grain.breakpoints[1:], strict=False):
        step = np.diff(grain.area(np.linspace(low, high, 200)))
        small = 1e-12 * grain.largest_area
        assert np.all(step >= -small) or np.all(step <= small)


def test_unequal_grains_by_hand() -> None:
    """D 30, L 50, d 10 and 14: webs 10 and 8; A - A(top) = -6 pi (x - top)2, in mm2.

    Tops at 5 (1050 pi) and 11/3 (3398/3 pi); of both at 13/3: 6532/3 pi. At 8 the
    second still burns (996 pi and 1020 pi), behind it is gone.
    """
    row = CylinderRow(cylinders=(cylinder(), cylinder(core_diameter=0.014)))
    assert row.web == pytest.approx(0.010)
    assert row.largest_area == pytest.approx(6532e-6 / 3 * np.pi, rel=1e-12)
    area = row.area([0.0, 0.008, 0.008 + 1e-9]) / np.pi * 1e6
    np.testing.assert_allclose(area, [1952.0, 2016.0, 996.0], rtol=1e-5)
    assert row.port_area == pytest.approx(25e-6 * np.pi)
    assert row.volume_left(0.008) == pytest.approx(56e-6 * 0.034 * np.pi, rel=1e-9)
    mixed = (cylinder(), cylinder(burning_ends=1))
    for wrong in ((), mixed):
        with pytest.raises(InputError, match="all with as many burning ends"):
            CylinderRow(cylinders=wrong)


@given(sizes)
def test_equal_grains_in_a_row_are_segments(size) -> None:
    one = HollowCylinder(**size | {"segments": 1})
    row = CylinderRow(cylinders=(one,) * size["segments"])
    many = HollowCylinder(**size)
    x = np.linspace(0.0, 1.1 * many.web, 50)
    np.testing.assert_allclose(row.area(x), many.area(x), rtol=1e-12)
    assert row.largest_area == pytest.approx(many.largest_area, rel=1e-12)
    np.testing.assert_allclose(row.breakpoints, many.breakpoints, rtol=1e-12)
    assert row.volume == pytest.approx(many.volume, rel=1e-12)


@given(st.lists(sizes, min_size=2, max_size=4))
def test_a_row_uses_up_its_volume_piece_by_piece(several) -> None:
    """Quadratic and monotone between breakpoints; no point of a scan is larger."""
    ends = several[0]["burning_ends"]
    grains = [HollowCylinder(**s | {"burning_ends": ends}) for s in several]
    row = CylinderRow(cylinders=tuple(grains))
    nodes, weights = np.polynomial.legendre.leggauss(3)
    burnt = 0.0
    for low, high in zip(row.breakpoints, row.breakpoints[1:], strict=False):
        x = low + 0.5 * (high - low) * (nodes + 1)
        burnt += 0.5 * (high - low) * float(weights @ row.area(x))
        step = np.diff(row.area(np.linspace(low, high, 50)))
        small = 1e-12 * row.largest_area
        assert np.all(step >= -small) or np.all(step <= small)
    assert burnt == pytest.approx(row.volume, rel=1e-9)
    most = row.area(np.linspace(0.0, row.web, 999)).max()
    assert most <= row.largest_area * (1 + 1e-12)


def test_table_is_straight_between_points() -> None:
    """By hand: 0.002 -> 0.004 over 10 mm, then flat to 15 mm.

    Volume 30e-6 + 20e-6; at 5 mm 0.003 m2 and 50e-6 - 12.5e-6 m3 left.
    """
    table = AreaTable(webs=(0.0, 0.01, 0.015), areas=(0.002, 0.004, 0.004))
    assert table.volume == pytest.approx(50e-6, rel=1e-12)
    assert table.area(0.005) == pytest.approx(0.003, rel=1e-12)
    left = table.volume_left([0.0, 0.005, 0.01, 0.0125, 0.015, 0.02])
    expected = np.array([50.0, 37.5, 20.0, 10.0, 0.0, 0.0]) * 1e-6
    np.testing.assert_allclose(left, expected, atol=1e-18)
    assert table.area(0.0151) == 0.0
    assert table.largest_area == 0.004
    assert np.isnan(table.port_area)


def test_table_of_a_cylinder_approaches_it() -> None:
    """Volume error of the trapezoid: web^3 |A''| / 12 / N^2 (A'' = -12 pi here)."""
    grain = cylinder()
    x = np.linspace(0.0, grain.web, 101)
    table = AreaTable(webs=tuple(x), areas=tuple(grain.area(x)))
    lack = grain.volume - table.volume
    assert lack == pytest.approx(grain.web**3 * 12 * np.pi / 12 / 100**2, rel=1e-6)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"outer_diameter": -0.03}, "outer diameter is -0.03 m; it must be"),
        ({"segment_length": 0.0}, "segment length is 0 m"),
        ({"segment_length": float("nan")}, "segment length is nan m"),
        ({"core_diameter": 0.030}, "core diameter 30 mm is not below the outer"),
        ({"core_diameter": 0.031}, "narrow the core"),
        ({"segments": 0}, "segments is 0; allowed: 1, 2, 3"),
        ({"segments": 1.5}, r"segments is 1\.5; allowed"),
        ({"burning_ends": 3}, "burning ends of a segment: 3; allowed: 0, 1 or 2"),
    ],
)
def test_bad_cylinder(changes: dict[str, float], message: str) -> None:
    """One line that names the size, what was got and what is allowed."""
    with pytest.raises(InputError, match=message) as caught:
        cylinder(**changes)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("webs", "areas", "message"),
    [
        ((0.0,), (1.0,), "at least 2 points"),
        ((0.0, 0.1), (1.0,), "2 webs and 1 areas"),
        ((0.0, 0.2, 0.1), (1.0, 1.0, 1.0), "must rise"),
        ((0.1, 0.2), (1.0, 1.0), "from 0"),
        ((0.0, 0.1), (1.0, -1.0), "0 or more"),
        ((0.0, 0.1), (0.0, 0.0), "not all 0"),
        ((0.0, float("inf")), (1.0, 1.0), "must rise"),
    ],
)
def test_bad_table(webs, areas, message: str) -> None:
    """Monotone web from 0, areas of 0 or more."""
    with pytest.raises(InputError, match=message):
        AreaTable(webs=webs, areas=areas)


def test_negative_web_and_port() -> None:
    """Both grains refuse a web below 0; a port has an area."""
    for grain in (cylinder(), AreaTable(webs=(0.0, 0.01), areas=(1.0, 1.0))):
        with pytest.raises(InputError, match="web burnt is -0"):
            grain.area([-0.001, 0.0])
    with pytest.raises(InputError, match="port area"):
        AreaTable(webs=(0.0, 0.01), areas=(1.0, 1.0), port_area=0.0)
