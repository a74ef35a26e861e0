"""Grains as measured: density, its doubt, and the motor of them, by hand.

Outer 36, core 14, length 62 mm: volume 17050 pi mm3; with 1800 kg/m3 96.416 g.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from castsugar import InputError
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case, Material
from castsugar.motor.grain import CylinderRow, HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.motor.real_grain import RealGrain, RealGrains
from castsugar.motor.trace import fire

pytestmark = pytest.mark.exact

CASE = Case(
    rated_pressure=7e6,
    inner_diameter=0.040,
    thickness=0.003,
    material=Material(name="tube", yield_strength=2.4e8),
    safety_factor=2.0,
)
SHAPE = HollowCylinder(
    outer_diameter=0.036, core_diameter=0.014, segment_length=0.062, burning_ends=2
)


def grains(*masses: float, shape: HollowCylinder = SHAPE) -> RealGrains:
    """Return grains of one shape; masses in g."""
    some = tuple(RealGrain(shape=shape, mass=1e-3 * m) for m in masses)
    return RealGrains(grains=some, solid=1800.0)


def hardware(**changes: object) -> Hardware:
    given = {
        "grain": replace(SHAPE, segments=2),
        "throat_diameter": 0.008,
        "burning": BurnModel(),
        "case": CASE,
    }
    return Hardware(**given | changes)  # type: ignore[arg-type]


def test_density_and_its_doubt() -> None:
    """0.1 mm each: ln 1107.21/1100, ln 1097.19/1100, ln 62.1/62; 0.05 g of 91 g."""
    found = grains(91.0)
    assert found.share == pytest.approx(91.0 / 96.41548, rel=1e-6)
    sizes = 0.0065333, 0.0025578, 0.0016116
    u = math.hypot(*sizes, 0.05 / 91.0)
    assert found.shares_u[0] == pytest.approx(found.share * u, rel=1e-4)
    assert found.share_u == pytest.approx(found.shares_u[0], rel=1e-12)
    assert math.isnan(found.lighter)


def test_of_several_grains() -> None:
    """Four alike: half the doubt. 88 g beside 90 and 92 g: 3/91 lighter."""
    many, one = grains(91.0, 91.0, 91.0, 91.0), grains(91.0)
    assert many.share == pytest.approx(one.share, rel=1e-12)
    assert many.share_u == pytest.approx(one.share_u / 2.0, rel=1e-12)
    assert grains(92.0, 88.0, 90.0).lighter == pytest.approx(3.0 / 91.0, rel=1e-12)
    assert grains(91.0, 91.0, 91.0, 91.0).lighter == 0.0


def test_what_a_size_does_to_area_over_density_counts_once() -> None:
    """Largest area A0 + 6 pi x2 at x = (L - 2 d)/6: 1610.667 pi mm2 (34/6 mm).

    0.1 mm more of D, d, L: 1614.272 pi, 1613.202 pi, 1613.202 pi; less that of the
    volume.
    """
    area = [math.log(a / 1610.6667) for a in (1614.2717, 1613.2017, 1613.2017)]
    volume = [0.0065333, -0.0025578, 0.0016116]
    wanted = math.hypot(*(a - v for a, v in zip(area, volume, strict=True)))
    assert grains(91.0).log_area_u == pytest.approx(wanted, rel=1e-3)


def test_the_motor_with_them_in_it() -> None:
    """Kn 2 x 1610.667/16; the supply goes with Kn and density; doubt is theirs."""
    found, drawn = grains(91.0, 89.0), hardware(density_ratio=0.96)
    motor = found.loaded(drawn)
    assert motor.kn_max == pytest.approx(201.3333, rel=1e-6)
    assert motor.density_ratio == pytest.approx(90.0 / 96.41548, rel=1e-6)
    real, usual = (m.supply(1800.0, 900.0).per_rate for m in (motor, drawn))
    more = float(real[0] / usual[0])
    assert more == pytest.approx(motor.density_ratio / 0.96, rel=1e-9)
    assert motor.spread.density == pytest.approx(0.05 * math.sqrt(2.0) / 180.0)
    assert motor.spread.area == found.log_area_u
    assert motor.spread.throat_diameter == drawn.spread.throat_diameter


def test_unequal_grains_burn_all_their_mass() -> None:
    longer = replace(SHAPE, core_diameter=0.0145, segment_length=0.064)
    some = tuple(RealGrain(shape=s, mass=0.092) for s in (SHAPE, longer))
    found = RealGrains(grains=some, solid=1800.0)
    assert isinstance(found.row, CylinderRow)
    motor = found.loaded(hardware()).motor(density=1800.0, characteristic_velocity=9e2)
    band = Band(low=0.0, high=math.inf, rate=5e-3, exponent=0.3)
    trace = fire(motor, BurnLaw(name="invented", bands=(band,), log_rate_u=0.1))
    assert trace.mass_loaded == pytest.approx(0.184, rel=1e-9)
    assert trace.mass_burned == pytest.approx(0.184, rel=1e-6)


def test_denser_than_the_mix_is_refused() -> None:
    """97.37 g is 100.99 %; 97.5 g says what each number alone would have to be.

    54166.67 mm3: outer root (1112.374 + 196), core root (1296 - 1112.374), length
    62 x 54166.67/53564.2.
    """
    assert grains(97.37).loaded(hardware()).density_ratio == 1.0
    with pytest.raises(InputError) as caught:
        grains(90.0, 97.5)
    text = str(caught.value)
    assert "grain 2 would be 101.1 % as dense as its mix" in text
    assert "outer 36.17 mm or core 13.55 mm or length 62.7 mm or mass 96.42 g" in text
    # A core cannot make up for it where the whole cylinder is too small.
    with pytest.raises(InputError, match="or length") as caught:
        grains(120.0)
    assert "core" not in str(caught.value)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"core_diameter": 0.0079}, "throat diameter 8 mm is larger than the core"),
        ({"outer_diameter": 0.0401}, "the case 40 mm inside; the grain must fit"),
    ],
)
def test_grains_that_do_not_fit(changes: dict[str, float], message: str) -> None:
    shape = replace(SHAPE, **changes)
    with pytest.raises(InputError, match=message):
        grains(90.0, shape=shape).loaded(hardware())


def test_nothing_is_no_grain() -> None:
    with pytest.raises(InputError, match="no grain was measured"):
        RealGrains(grains=(), solid=1800.0)
    with pytest.raises(InputError, match="grain mass"):
        RealGrain(shape=SHAPE, mass=0.0)
