"""A filmed firing beside its mix and its motor. The firing is invented."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

import castsugar as cs
from castsugar import Hardware
from castsugar.errors import InputError
from castsugar.filmed_test import held_efficiency, review_frames
from castsugar.motor.burn_evidence import published
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.efficiency import MEDIANS, Reading, learn_efficiencies
from castsugar.motor.firing.frames import Frames
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.grain import HollowCylinder
from castsugar.static_test import StaticTest

# Exact: the balance m c* = p A t is solved again by hand.
pytestmark = pytest.mark.exact

FRAMES = Frames(first=12, last=72, rate=30.0)
STAND = Stand(propellant_mass=0.1, throat_diameter=8e-3, throat_after=8e-3)
MIX = cs.Mix.weigh("KNO3:65 sucrose:35")
BAND = Band(low=0.0, high=math.inf, rate=4e-3, exponent=0.3)
LAW = BurnLaw(name="invented", bands=(BAND,), log_rate_u=0.1)
FRACTIONS = {"potassium nitrate": 0.65, "sucrose": 0.35}
MOTOR = Hardware(
    grain=HollowCylinder(
        outer_diameter=0.032, core_diameter=0.012, segment_length=0.08
    ),
    throat_diameter=8e-3,
    burning=BurnModel([published(LAW, FRACTIONS)]),
)


def filmed(**changes: object) -> StaticTest:
    known: dict[str, object] = {"mix": MIX, "hardware": MOTOR} | changes
    stand = known.pop("stand", STAND)
    return review_frames(FRAMES, stand, **known)  # type: ignore[arg-type]


@pytest.mark.slow
def test_the_mean_pressure_is_that_of_its_own_ideal_velocity() -> None:
    """p A t = m eta c*(p): the ideal c* at the pressure found gives it back."""
    found = filmed()
    p = found.results["mean_pressure"].value
    row = cs.evaluate([MIX], pressure=p, exit_pressure=STAND.ambient_pressure)
    ideal = float(row["characteristic_velocity_m_s"].iloc[0])
    burned = MEDIANS[0] * ideal * STAND.propellant_mass
    assert p * math.pi * 16e-6 * FRAMES.lasting == pytest.approx(burned, rel=1e-6)
    assert found.row["characteristic_velocity_m_s"] == pytest.approx(ideal, rel=1e-6)


@pytest.mark.slow
def test_no_peak_no_exponent_no_efficiency() -> None:
    found = filmed(peak_thrust=30.0)
    told = {"burn_time", "mass_flow", "mean_pressure", "mean_rate", "peak_thrust"}
    assert set(found.results) == told
    assert found.results["peak_thrust"].bound == "at least"
    assert found.inferred is None
    assert found.characteristic_velocity_efficiency is None
    assert found.filmed is not None
    assert "exponent" in dict(found.filmed.not_told)


def test_without_a_mix_or_a_grain_the_rest_is_told() -> None:
    bare = filmed(mix=None, hardware=None)
    assert set(bare.results) == {"burn_time", "mass_flow"}
    assert bare.rate is None
    assert bare.filmed is not None
    why = dict(bare.filmed.not_told)
    assert "--mix" in why["mean pressure"]
    assert "--bench" in why["mean rate"]
    assert "mean_pressure" in filmed(hardware=None).results
    assert "mean_rate" in filmed(mix=None).results


@pytest.mark.slow
def test_the_efficiency_is_the_one_that_is_held() -> None:
    held = learn_efficiencies().characteristic_velocity
    assert held_efficiency(None) == (held.median, held.next_u)
    assert held_efficiency(MOTOR) == (held.median, held.next_u)
    stated = replace(MOTOR, efficiency=0.85)
    assert held_efficiency(stated) == (0.85, held.next_u)
    one = Reading(
        name="first", characteristic_velocity=0.85, characteristic_velocity_u=0.02
    )
    told = learn_efficiencies([one])
    own = told.characteristic_velocity
    fired = replace(
        MOTOR,
        efficiencies=told,
        efficiency=own.median,
        efficiency_measured=True,
        efficiency_u=own.next_u,
    )
    assert held_efficiency(fired) == (own.median, own.next_u)
    # A recorded firing narrows what a filmed one says.
    wide, narrow = (filmed(hardware=h).results["mean_pressure"] for h in (MOTOR, fired))
    assert narrow.u < wide.u
    assert narrow.value < wide.value


@pytest.mark.slow
def test_its_rate_stands_at_the_temperature_of_the_strands() -> None:
    """A grain 20 K warmer burns faster: what the model learns is corrected for it."""
    cold, warm = (
        filmed().rate,
        filmed(
            hardware=replace(MOTOR, grain_temperature=MOTOR.grain_temperature + 20.0)
        ).rate,
    )
    assert cold is not None
    assert warm is not None
    change = math.log(cold.value / warm.value)
    assert change == pytest.approx(20.0 * MOTOR.temperature_sensitivity, rel=1e-2)
    assert 0.0 < warm.shared <= warm.u


@pytest.mark.slow
def test_a_scale_that_read_too_much_is_doubted() -> None:
    """5.4 MPa x 50 mm2 x C_F of at most 1.5 is some 40 N here; a ton is not."""
    assert not filmed(peak_thrust=30.0).doubts
    assert "the scale read 2000 N" in filmed(peak_thrust=2000.0).doubts[0]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"throat_diameter": None, "throat_after": None}, "throat diameter is missing"),
        ({"throat_diameter": 3e-4, "throat_after": 3e-4}, "allowed: up to 100 MPa"),
        ({"throat_diameter": 3e-2, "throat_after": 3e-2}, "a throat chokes above"),
    ],
)
def test_what_cannot_be_is_refused(change: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        filmed(stand=replace(STAND, **change), hardware=None)


def test_a_mass_that_is_not_the_grains_is_doubted() -> None:
    assert any(
        "without voids" in d
        for d in filmed(
            hardware=replace(
                MOTOR,
                grain=replace(MOTOR.grain, segment_length=0.16),  # type: ignore[type-var]
            )
        ).doubts
    )
