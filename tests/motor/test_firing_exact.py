"""Firings that can be reduced by hand: rectangles, trapezia, straight drifts."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Recorded, Reduction, reduce_recording
from castsugar.motor.nozzle import impulse_class

# A trapezium: quiet, up from 1.0 to 1.2 s, level to 3.0 s, down to 3.5 s, quiet.
# Burning lies between the crossings of a share s of the peak h: on the way up s of the
# rise time is cut off, on the way down s of the fall time, so that with a = 0.2, b =
# 1.8, c = 0.5 s and a throat area A
#   burn time  t = b + (1 - s)(a + c)
#   integral   J = h (b + (a + c)/2 (1 - s^2))   (two small triangles are missing)
#   c*           = A (J_p + p_a t) / m           (absolute pressure)
AMBIENT = 101325.0
RISE, LEVEL, FALL = 0.2, 1.8, 0.5
PEAK, PUSH = 2.0e6, 150.0
MASS, THROAT = 0.1, 8e-3
AREA = math.pi / 4 * THROAT**2
STAND = Stand(propellant_mass=MASS, throat_diameter=THROAT, throat_after=THROAT)
TIME = np.linspace(0.0, 6.0, 601)


def trapezium(time: np.ndarray) -> np.ndarray:
    """Return the trapezium of height 1."""
    return np.asarray(np.interp(time, [1.0, 1.2, 3.0, 3.5], [0.0, 1.0, 1.0, 0.0]))


def by_hand(share: float = 0.05) -> tuple[float, float]:
    """Return burn time and integral of the trapezium of height 1."""
    ramps = RISE + FALL
    return LEVEL + (1.0 - share) * ramps, LEVEL + 0.5 * ramps * (1.0 - share**2)


def record(**changes: object) -> Recorded:
    """Return the trapezium as pressure over ambient and as thrust."""
    shape = trapezium(TIME)
    given_: dict[str, object] = {
        "time": TIME,
        "pressure": PEAK * shape,
        "thrust": PUSH * shape,
        **changes,
    }
    return Recorded(**given_)  # type: ignore[arg-type]


def values(reduced: Reduction) -> dict[str, float]:
    """Return the results without their doubt."""
    return {name: result.value for name, result in reduced.results.items()}


def check_the_trapezium(reduced: Reduction, share: float = 0.05) -> None:
    """Hold all results against those by hand."""
    t, j = by_hand(share)
    whole = PEAK * j + AMBIENT * t
    wanted = {
        "burn_time": t,
        "peak_pressure": PEAK + AMBIENT,
        "steady_peak_pressure": PEAK + AMBIENT,
        "mean_pressure": whole / t,
        "pressure_integral": whole,
        "characteristic_velocity": AREA * whole / MASS,
        "total_impulse": PUSH * j,
        "mean_thrust": PUSH * j / t,
        "peak_thrust": PUSH,
        "specific_impulse": PUSH * j / (MASS * 9.80665),
        "thrust_coefficient": PUSH * j / (AREA * whole),
    }
    assert values(reduced) == pytest.approx(wanted, rel=1e-9)
    assert reduced.burning.start == pytest.approx(1.0 + share * RISE, rel=1e-9)
    assert reduced.burning.end == pytest.approx(3.5 - share * FALL, rel=1e-9)


@pytest.mark.exact
@pytest.mark.parametrize("share", [0.01, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5])
def test_trapezium(share: float) -> None:
    """Every result, at any share of the peak that is allowed.

    Sampled so finely that the steps on the ramps do not look like rounding.
    """
    time = np.linspace(0.0, 6.0, 6001)
    shape = trapezium(time)
    reduced = reduce_recording(
        record(time=time, pressure=PEAK * shape, thrust=PUSH * shape),
        replace(STAND, share=share),
    )
    check_the_trapezium(reduced, share)


@pytest.mark.exact
def test_effect_of_the_limits() -> None:
    """Half, twice and four times 5 %: the results that those limits would give."""
    reduced = reduce_recording(record(), STAND)
    assert sorted(reduced.effects) == pytest.approx([0.025, 0.05, 0.1, 0.2])
    for share, row in reduced.effects.items():
        t, j = by_hand(share)
        velocity = AREA * (PEAK * j + AMBIENT * t) / MASS
        wanted = {
            "burn_time": t,
            "characteristic_velocity": velocity,
            "total_impulse": PUSH * j,
        }
        assert row == pytest.approx(wanted, rel=1e-9)


@pytest.mark.exact
def test_rectangle() -> None:
    """On from 1.00 to 3.00 s, 201 samples, and with them one interval up, one down.

    Between samples lies a straight line, so it is a trapezium of a = c = 0.01 s and
    b = 2 s: t = 2 + 0.95 x 0.02, J = h (2 + 0.01 (1 - 0.05^2)). Nothing is noisy, so
    nothing is suspicious, although there are only two different readings.
    """
    shape = ((TIME > 0.995) & (TIME < 3.005)).astype(float)
    assert shape.sum() == 201
    reduced = reduce_recording(
        record(pressure=PEAK * shape, thrust=PUSH * shape), STAND
    )
    t, j = 2.0 + 0.95 * 0.02, 2.0 + 0.01 * (1.0 - 0.05**2)
    found = values(reduced)
    assert found["burn_time"] == pytest.approx(t, rel=1e-9)
    assert found["total_impulse"] == pytest.approx(PUSH * j, rel=1e-9)
    velocity = AREA * (PEAK * j + AMBIENT * t) / MASS
    assert found["characteristic_velocity"] == pytest.approx(velocity, rel=1e-9)
    assert found["peak_pressure"] == pytest.approx(PEAK + AMBIENT, rel=1e-12)
    assert not any("equal readings" in text for text in reduced.cautions)
    assert not reduced.pressure.at_limit.any()


@pytest.mark.published
@pytest.mark.parametrize(
    ("impulse", "letter"),
    [(40.00, "E"), (40.01, "F"), (160.00, "G"), (160.01, "H")],
)
def test_letter_at_the_edges(impulse: float, letter: str) -> None:
    """Classes of NFPA 1125 and public tables of it: E ends at 40.00 N s, G at 160.00.

    A trapezium of that impulse, through the whole reduction.
    """
    height = impulse / by_hand()[1]
    reduced = reduce_recording(record(thrust=height * trapezium(TIME)), STAND)
    found = reduced.results["total_impulse"].value
    assert found == pytest.approx(impulse, rel=1e-13)
    assert impulse_class(found) == letter


@pytest.mark.exact
def test_a_throat_that_grows() -> None:
    """8 mm before and 9 mm after: the mean area is that of (64 + 81)/2 mm2 squared."""
    grown = reduce_recording(record(), replace(STAND, throat_after=9e-3))
    same = reduce_recording(record(), STAND)
    ratio = 0.5 * (64.0 + 81.0) / 64.0
    for name, power in (("characteristic_velocity", 1), ("thrust_coefficient", -1)):
        wanted = same.results[name].value * ratio**power
        assert grown.results[name].value == pytest.approx(wanted, rel=1e-12)
    # A throat that was not measured after counts as unchanged, and it is said.
    unknown = reduce_recording(record(), replace(STAND, throat_after=None))
    assert values(unknown) == values(same)
    assert any("--throat-after" in text for text in unknown.cautions)
    assert any("grew by 12 %" in text for text in grown.cautions)


@pytest.mark.exact
def test_budget_by_hand() -> None:
    """No noise, no drift: what the calibration, mass and air pressure add.

    c* = A (J + p_a t) / m, so that a calibration error acts on J alone and the air
    pressure on p_a t alone; a mass and a thrust calibration act in full.
    """
    stand = replace(
        STAND,
        mass_u=0.004,
        pressure_calibration_u=0.02,
        thrust_calibration_u=0.03,
        ambient_u=2e3,
    )
    reduced = reduce_recording(record(), stand)
    t, j = by_hand()
    whole = PEAK * j + AMBIENT * t
    velocity = reduced.results["characteristic_velocity"]
    parts = {name: part / velocity.value for name, part in velocity.parts.items()}
    assert parts["calibration"] == pytest.approx(0.02 * PEAK * j / whole, rel=1e-6)
    assert parts["ambient pressure"] == pytest.approx(2e3 * t / whole, rel=1e-6)
    assert parts["propellant mass"] == pytest.approx(0.004, rel=1e-9)
    # One area is known to 2 u / d; of two measurements the mean is, or a part of it.
    assert 2 * 5e-5 / 8e-3 / 1.42 <= parts["throat"] <= 2 * 5e-5 / 8e-3 * 1.0001
    impulse = reduced.results["specific_impulse"]
    parts = {name: part / impulse.value for name, part in impulse.parts.items()}
    assert parts["calibration"] == pytest.approx(0.03, rel=1e-9)
    assert parts["propellant mass"] == pytest.approx(0.004, rel=1e-9)
    # Squares add (JCGM 100:2008, 5.1.2), the interval is 1.96 times as wide, and the
    # shares of the variance make a whole.
    u = math.sqrt(sum(part**2 for part in velocity.parts.values()))
    assert velocity.u == pytest.approx(u, rel=1e-12)
    low, high = velocity.interval
    assert high - low == pytest.approx(2 * 1.959964 * u, rel=1e-9)
    assert sum(velocity.shares().values()) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.exact
@pytest.mark.parametrize("slope", [-2e4, 3e4])
@pytest.mark.parametrize("offset", [-5e4, 101325.0])
def test_a_straight_drift_is_taken_away(slope: float, offset: float) -> None:
    """A straight zero, whatever its height: the means of its parts lie on it."""
    drift = offset + slope * TIME
    drifted = record(
        pressure=PEAK * trapezium(TIME) + drift,
        thrust=PUSH * trapezium(TIME) + 1e-4 * drift,
    )
    reduced = reduce_recording(drifted, STAND)
    check_the_trapezium(reduced)
    assert reduced.pressure is not None
    zero = reduced.pressure.zero
    assert zero.rule == "line"
    assert zero.at(2.0) == pytest.approx(offset + 2.0 * slope, rel=1e-9)


@pytest.mark.exact
def test_without_quiet_samples_after_the_zero_is_that_before() -> None:
    """The record ends 0.2 s after burnout; that costs certainty, not the value."""
    short = TIME < 3.7
    reduced = reduce_recording(
        record(
            time=TIME[short],
            pressure=PEAK * trapezium(TIME[short]) + 7e4,
            thrust=None,
        ),
        STAND,
    )
    whole = reduce_recording(record(thrust=None), STAND)
    assert values(reduced) == pytest.approx(values(whole), rel=1e-9)
    assert reduced.pressure is not None
    assert reduced.pressure.zero.rule == "before only"
    assert any("record longer" in text for text in reduced.cautions)
    name = "characteristic_velocity"
    assert reduced.results[name].u > whole.results[name].u


@pytest.mark.exact
@pytest.mark.parametrize("gauge", [True, False])
def test_taken_as_read(gauge: bool) -> None:
    """A gauge sensor reads p - p_a, an absolute one p; no zero is taken away."""
    pressure = PEAK * trapezium(TIME) + (0.0 if gauge else AMBIENT)
    reduced = reduce_recording(
        record(pressure=pressure, pressure_is_gauge=gauge, taken_as_read=True), STAND
    )
    check_the_trapezium(reduced)


@pytest.mark.exact
@pytest.mark.parametrize("gauge", [True, False])
def test_gauge_or_absolute_does_not_matter_with_a_zero(gauge: bool) -> None:
    """The zero is ambient either way; a wrong word is noticed."""
    absolute = record(
        pressure=PEAK * trapezium(TIME) + AMBIENT, pressure_is_gauge=gauge
    )
    reduced = reduce_recording(absolute, STAND)
    check_the_trapezium(reduced)
    noticed = any("said to be gauge" in text for text in reduced.cautions)
    assert noticed == gauge


# Dropouts.


@pytest.mark.exact
@pytest.mark.parametrize("lost", [math.nan, math.inf, 0.0])
def test_lone_dropouts_are_bridged(lost: float) -> None:
    """On straight pieces the straight line over a missing sample is the truth."""
    pressure, thrust = PEAK * trapezium(TIME), PUSH * trapezium(TIME)
    for at in (150, 200, 201, 280, 325):
        pressure[at] = thrust[at] = lost
    reduced = reduce_recording(record(pressure=pressure, thrust=thrust), STAND)
    check_the_trapezium(reduced)
    for channel in (reduced.pressure, reduced.thrust):
        assert channel is not None
        assert channel.bridged.sum() == 5
        # Four places, of which one is two samples wide: 9 intervals of 0.01 s.
        share = 9 * 0.01 / by_hand()[0]
        assert channel.bridged_share == pytest.approx(share, rel=1e-6)
    assert sum("samples replaced" in text for text in reduced.cautions) == 2
    assert reduced.results["total_impulse"].parts["dropouts"] > 0.0


@pytest.mark.exact
@pytest.mark.parametrize("how", ["missing", "cut out"])
def test_a_gap_is_bridged(how: str) -> None:
    """0.2 s on the level part are missing; samples of NaN, or no samples at all."""
    gone = (TIME > 2.0) & (TIME < 2.2)
    shape = trapezium(TIME)
    if how == "missing":
        shape = np.where(gone, np.nan, shape)
        reduced = reduce_recording(
            record(pressure=PEAK * shape, thrust=PUSH * shape), STAND
        )
    else:
        left = {"time": TIME[~gone], "pressure": PEAK * shape[~gone]}
        reduced = reduce_recording(record(**left, thrust=PUSH * shape[~gone]), STAND)
    check_the_trapezium(reduced)
    assert reduced.pressure is not None
    share = 0.2 / by_hand()[0]
    assert reduced.pressure.bridged_share == pytest.approx(share, rel=0.06)
    assert any("not recorded" in text for text in reduced.cautions)
    # A tenth of what lies under the bridge is doubted.
    doubt = reduced.results["total_impulse"].parts["dropouts"]
    assert doubt == pytest.approx(0.1 * PUSH * 0.2, rel=0.06)


# A sensor at its limit.


@pytest.mark.exact
@pytest.mark.parametrize("how", ["gauge", "absolute", "absolute as read"])
def test_a_sensor_at_its_limit(how: str) -> None:
    """Peak and integrals are lower limits, the burn time is not."""
    rest = 0.0 if how == "gauge" else AMBIENT
    limit = 1.5e6
    pressure = np.minimum(PEAK * trapezium(TIME) + rest, limit)
    reduced = reduce_recording(
        record(
            pressure=pressure,
            pressure_ceiling=limit,
            pressure_is_gauge=how == "gauge",
            taken_as_read=how == "absolute as read",
        ),
        STAND,
    )
    lower = {name for name, result in reduced.results.items() if result.bound}
    assert lower == {
        "peak_pressure",
        "steady_peak_pressure",
        "mean_pressure",
        "pressure_integral",
        "characteristic_velocity",
        "thrust_coefficient",
    }
    assert reduced.results["thrust_coefficient"].bound == "at most"
    assert any("at its limit" in text for text in reduced.cautions)
    assert reduced.results["peak_pressure"].value == pytest.approx(
        limit - rest + AMBIENT
    )


@pytest.mark.exact
def test_a_thrust_sensor_at_its_limit() -> None:
    """What hangs on the thrust is a lower limit, C_F too; pressure is not touched."""
    thrust = np.minimum(PUSH * trapezium(TIME), 100.0)
    reduced = reduce_recording(record(thrust=thrust, thrust_ceiling=100.0), STAND)
    lower = {name for name, result in reduced.results.items() if result.bound}
    assert lower == {
        "total_impulse",
        "mean_thrust",
        "peak_thrust",
        "specific_impulse",
        "thrust_coefficient",
    }


def flat_cautions(pressure: np.ndarray) -> list[str]:
    """Return what is said of equal readings at the top."""
    reduced = reduce_recording(record(pressure=pressure, thrust=None), STAND)
    return [text for text in reduced.cautions if "--pressure-range" in text]


@pytest.mark.exact
def test_a_flat_top_is_suspect() -> None:
    """Noise everywhere but at the top: something was cut off there. Else nothing is."""
    noise = 0.01 * PEAK * np.random.default_rng(1).standard_normal(TIME.size)
    hump = PEAK * np.sin(np.pi * np.clip((TIME - 1.0) / 2.5, 0.0, 1.0)) + noise
    cut = record(pressure=np.minimum(hump, 0.8 * PEAK), thrust=None)
    reduced = reduce_recording(cut, STAND)
    assert reduced.results["peak_pressure"].bound == "at least"
    assert any("at its limit" in text for text in reduced.cautions)
    assert flat_cautions(hump) == []
    step = PEAK / 2**11
    assert flat_cautions(step * np.round(hump / step)) == []


# What must not matter.


@pytest.mark.slow
@pytest.mark.exact
@settings(max_examples=25)
@given(
    origin=st.floats(-1e4, 1e4),
    force=st.floats(1e-2, 1e3),
    size=st.floats(0.3, 30.0),
)
def test_origin_and_units_do_not_matter(
    origin: float, force: float, size: float
) -> None:
    """Another zero of time shifts start and end; other units scale what has them."""
    shape = trapezium(TIME)
    plain = values(reduce_recording(record(), STAND))
    other = reduce_recording(
        record(
            time=TIME + origin,
            pressure=size * PEAK * shape,
            thrust=force * PUSH * shape,
        ),
        replace(
            STAND, ambient_pressure=size * AMBIENT, ambient_u=size * STAND.ambient_u
        ),
    )
    powers = {
        "burn_time": 1.0,
        "thrust_coefficient": force / size,
        "specific_impulse": force,
        "characteristic_velocity": size,
    }
    for name, value in values(other).items():
        scale = size if "pressure" in name else force
        scale = powers.get(name, scale)
        assert value == pytest.approx(scale * plain[name], rel=1e-7), name
    assert other.burning.start - origin == pytest.approx(1.01, abs=1e-8)


@pytest.mark.exact
@pytest.mark.parametrize("samples", [61, 121, 1201, 12001, 120001])
def test_sample_rate_does_not_matter(samples: int) -> None:
    """The same straight pieces with more or fewer samples, all corners among them."""
    time = np.linspace(0.0, 6.0, samples)
    shape = trapezium(time)
    reduced = reduce_recording(
        record(time=time, pressure=PEAK * shape, thrust=PUSH * shape), STAND
    )
    check_the_trapezium(reduced)


@pytest.mark.slow
@pytest.mark.exact
@settings(max_examples=25)
@given(seed=st.integers(0, 2**31))
def test_uneven_sampling_does_not_matter(seed: int) -> None:
    """Up to half an interval early or late, with the corners among the samples."""
    rng = np.random.default_rng(seed)
    uneven = TIME + 0.0049 * rng.uniform(-1.0, 1.0, TIME.size)
    time = np.unique(np.r_[uneven, [1.0, 1.2, 3.0, 3.5]])
    shape = trapezium(time)
    reduced = reduce_recording(
        record(time=time, pressure=PEAK * shape, thrust=PUSH * shape), STAND
    )
    check_the_trapezium(reduced)


@pytest.mark.exact
def test_one_sensor_alone_gives_what_both_gave() -> None:
    """Pressure alone, thrust alone; thrust needs no throat."""
    both = values(reduce_recording(record(), STAND))
    pressure = values(reduce_recording(record(thrust=None), STAND))
    thrust = values(
        reduce_recording(record(pressure=None), Stand(propellant_mass=MASS))
    )
    together = {**thrust, **pressure, "thrust_coefficient": both["thrust_coefficient"]}
    assert together == pytest.approx(both, rel=1e-12)
    assert "characteristic_velocity" not in thrust
    assert "specific_impulse" not in pressure
