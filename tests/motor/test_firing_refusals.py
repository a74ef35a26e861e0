"""What a firing cannot be made of, and odd records that must not end in a traceback."""

from __future__ import annotations

import math
import time as clock
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from castsugar import InputError
from castsugar.motor.firing.inference import infer_law
from castsugar.motor.firing.law_doubts import rivals_of
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Recorded, Reduction, reduce_recording
from castsugar.motor.grain import AreaTable, HollowCylinder

# An invented firing: a trapezium with 0.5 % noise, 1 kHz.
TIME = np.linspace(0.0, 6.0, 6001)
SHAPE = np.interp(TIME, [1.0, 1.1, 3.0, 3.2], [0.0, 0.8, 1.0, 0.0])
NOISE = 0.005 * np.random.default_rng(1).standard_normal(TIME.size)
PRESSURE, THRUST = 2.0e6 * (SHAPE + NOISE), 150.0 * (SHAPE + NOISE)
SLOW = np.arange(0.0, 12.0, 0.25)
STAND = Stand(propellant_mass=0.1, throat_diameter=8e-3, throat_after=8e-3)
GRAIN = HollowCylinder(outer_diameter=32e-3, core_diameter=12e-3, segment_length=54e-3)


def record(**changes: object) -> Recorded:
    """Return the pressure alone, with changes."""
    given_: dict[str, object] = {"time": TIME, "pressure": PRESSURE, **changes}
    return Recorded(**given_)  # type: ignore[arg-type]


def part(start: float, end: float) -> Recorded:
    """Return what a record between two times would hold."""
    inside = (start <= TIME) & (end >= TIME)
    return record(time=TIME[inside], pressure=PRESSURE[inside])


def with_time(at: int, value: float) -> Recorded:
    """Return the record with one time replaced."""
    time = TIME.copy()
    time[at] = value
    return record(time=time)


def refused(act: Callable[[], object], says: str) -> None:
    """Expect one line that says so."""
    with pytest.raises(InputError, match=says) as caught:
        act()
    message = str(caught.value)
    assert "\n" not in message
    assert 20 < len(message) < 300


LOST = np.where((TIME > 1.5) & (TIME < 2.1), np.nan, PRESSURE)

REFUSALS: dict[str, tuple[Recorded, str]] = {
    "time goes back": (with_time(2000, 1.0), "times must rise"),
    "time repeats": (with_time(2000, float(TIME[1999])), "times must rise"),
    "time is missing": (with_time(2000, math.nan), "times must rise"),
    "time is endless": (with_time(6000, math.inf), "(?i)time"),
    "nothing burns": (record(pressure=1e4 * NOISE), "no burning found"),
    "constant": (record(pressure=np.full(TIME.size, 7e5)), "no burning found"),
    "all zero": (record(pressure=np.zeros(TIME.size)), "no burning found"),
    "no reading": (record(pressure=np.full(TIME.size, np.nan)), "every sample is miss"),
    "one reading": (
        record(pressure=np.where(TIME == 2.0, 1e6, np.nan)),
        "no burning found",
    ),
    "one spike": (record(pressure=np.where(TIME == 2.0, 1e6, 0.0)), "no burning"),
    "a short spike": (
        record(pressure=np.where(np.abs(TIME - 2.0) < 2.5e-3, 1e6, 0.0)),
        "no burning",
    ),
    "never chokes": (record(pressure=0.01 * PRESSURE), "no burning found"),
    "upside down": (record(pressure=-PRESSURE), "upside down.*--invert-pressure"),
    "thrust upside down": (
        record(pressure=None, thrust=-THRUST),
        "upside down.*--invert-thrust",
    ),
    "below zero as read": (
        record(pressure=PRESSURE - 5e6, taken_as_read=True),
        "(?i)no burning found|zero",
    ),
    "at zero at best as read": (
        record(pressure=2e6 * (SHAPE - 1.0), taken_as_read=True),
        "(?i)no burning found|zero",
    ),
    "starts too late": (part(2.0, 6.0), "starts during the burning"),
    "ends too early": (part(0.0, 2.0), "ends during the burning"),
    "no quiet before": (part(0.995, 6.0), "(starts during|quiet samples before)"),
    "few samples": (
        record(time=TIME[::250], pressure=PRESSURE[::250]),
        "samples are no recording",
    ),
    "few samples of the burning": (
        record(time=SLOW, pressure=np.interp(SLOW, TIME, PRESSURE)),
        "only 8 samples lie within the burning; at least 10",
    ),
    "too much missing": (record(pressure=LOST), "27 % of the burning was not recorded"),
    "a hole": (
        record(
            time=TIME[np.isfinite(LOST)],
            pressure=PRESSURE[np.isfinite(LOST)],
        ),
        "not recorded",
    ),
    "unequal": (record(pressure=PRESSURE[:-1]), "one reading for each time"),
    "empty": (
        record(time=np.array([]), pressure=np.array([])),
        "0 samples are no recording",
    ),
    "neither": (record(pressure=None), "neither pressure nor thrust"),
}


@pytest.mark.exact
@pytest.mark.parametrize("name", REFUSALS)
def test_refusals(name: str) -> None:
    """One line each, that says what is wrong."""
    recorded, says = REFUSALS[name]
    refused(lambda: reduce_recording(recorded, STAND), says)


@pytest.mark.exact
def test_what_lacks_an_input_is_not_told() -> None:
    """c* needs throat and mass; impulse, pressures and burn time need neither."""
    whole = {"pressure": PRESSURE, "thrust": THRUST}
    plain = reduce_recording(record(**whole), Stand())
    assert {"burn_time", "peak_pressure", "mean_pressure", "total_impulse"} <= set(
        plain.results
    )
    assert plain.not_told == {
        "characteristic_velocity": "no throat",
        "specific_impulse": "no mass",
        "thrust_coefficient": "no throat",
        "nozzle_efficiency": "no throat",
    }
    told = reduce_recording(record(**whole), Stand(throat_diameter=8e-3))
    assert "thrust_coefficient" in told.results
    assert told.not_told["characteristic_velocity"] == "no mass"
    refused(lambda: infer_law(plain, GRAIN), "throat diameter is missing")


@pytest.mark.exact
@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"exit_diameter": 5e-3}, "exit of the nozzle 5 mm, throat 8 mm"),
        ({"propellant_mass": -0.1}, "propellant mass is -0.1 kg"),
        ({"propellant_mass": 0.0}, "propellant mass is 0 kg"),
        ({"propellant_mass": math.nan}, "propellant mass is nan"),
        ({"throat_diameter": 0.0}, "throat diameter is 0 m"),
        ({"throat_after": -8e-3}, "throat after is -0.008 m"),
        ({"throat_after": 7e-3}, "7 mm after firing, 8 mm before"),
        ({"ambient_pressure": 0.0}, "ambient pressure is 0 Pa"),
        ({"share": 0.001}, "0.1 % of the peak; allowed: 1 % to 50 %"),
        ({"share": 0.6}, "60 % of the peak; allowed: 1 % to 50 %"),
        ({"share": math.nan}, "allowed: 1 % to 50 %"),
        ({"throat_u": -1e-5}, "uncertainty of throat"),
        ({"mass_u": math.inf}, "uncertainty of mass"),
        ({"pressure_calibration_u": math.nan}, "uncertainty of pressure calibration"),
        ({"thrust_calibration_u": -0.1}, "uncertainty of thrust calibration"),
        ({"ambient_u": -1.0}, "uncertainty of ambient"),
    ],
)
def test_a_stand_that_cannot_be(changes: dict[str, float], says: str) -> None:
    """Each input names itself, what was got and what is allowed."""
    refused(lambda: replace(STAND, **changes), says)


@pytest.mark.exact
def test_a_law_that_cannot_be_inferred() -> None:
    """No pressure, a sensor at its limit, sizes as unsure as the web."""
    thrust = reduce_recording(record(pressure=None, thrust=THRUST), STAND)
    refused(lambda: infer_law(thrust, GRAIN), "no pressure")
    limited = record(pressure=np.minimum(PRESSURE, 1e6), pressure_ceiling=1e6)
    refused(lambda: infer_law(reduce_recording(limited, STAND), GRAIN), "at its limit")
    refused(lambda: rivals_of(GRAIN, 0.011), "below the web of 10 mm")
    refused(lambda: rivals_of(GRAIN, -1e-4), "give 0 or more")


@pytest.mark.exact
def test_a_pressure_below_vacuum_gives_no_law() -> None:
    """A connection that is lost for 0.1 s, and then reads -0.4 MPa."""
    torn = np.where((TIME > 2.0) & (TIME < 2.1), -4e5, PRESSURE)
    reduced = reduce_recording(record(pressure=torn), STAND)
    refused(lambda: infer_law(reduced, GRAIN), "no burn law follows")


@pytest.mark.exact
def test_a_grain_that_was_not_fired_tells_no_exponent() -> None:
    """The pressure rises, the area of this grain falls: n is not told, nor a law."""
    falling = AreaTable(webs=(0.0, 0.005, 0.01), areas=(4e-3, 3e-3, 2e-3))
    found = infer_law(reduce_recording(record(), STAND), falling)
    assert not found.told
    refused(lambda: found.law("invented"), "does not tell the exponent")


@pytest.mark.exact
@pytest.mark.parametrize("points", [2, 3, 7])
def test_an_area_that_stays_the_same_tells_no_exponent(points: int) -> None:
    """A refusal, or a rate with a finite doubt, for every number of points."""
    table = AreaTable(
        webs=tuple(np.linspace(0.0, 0.01, points)), areas=(3e-3,) * points
    )
    reduced = reduce_recording(record(), STAND)
    try:
        found = infer_law(reduced, table)
    except InputError:
        refused(lambda: infer_law(reduced, table), "does not change")
        return
    assert not found.told
    assert math.isfinite(found.rate)
    assert 0.0 < found.log_rate_u < 1.0


# Odd records that are firings all the same.


def ends_of(recorded: Recorded) -> tuple[float, float]:
    """Return start and end of the burning, all results being finite."""
    reduced = reduce_recording(recorded, STAND)
    check_finite(reduced)
    return reduced.burning.start, reduced.burning.end


def check_finite(reduced: Reduction) -> None:
    """Check every number of a reduction."""
    for name, result in reduced.results.items():
        low, high = result.interval
        for number in (result.value, result.u, low, high):
            assert math.isfinite(number), name
    for row in reduced.effects.values():
        assert all(math.isfinite(number) for number in row.values())


#: Crossings of 5 % of the peak by hand: up 0.05/0.8 of 0.1 s, down 0.95 of 0.2 s.
START, END = 1.0 + 0.1 / 16.0, 3.0 + 0.95 * 0.2


@pytest.mark.exact
@pytest.mark.parametrize("rate", [20, 50, 200, 1000, 20_000])
def test_sampling_rates(rate: int) -> None:
    """Start and end are right to an interval or to the noise, whichever is more."""
    time = np.arange(0.0, 6.0, 1.0 / rate)
    noise = 0.005 * np.random.default_rng(rate).standard_normal(time.size)
    start, end = ends_of(
        record(time=time, pressure=2e6 * (np.interp(time, TIME, SHAPE) + noise))
    )
    # Noise of 0.5 % on ramps of 8 and 5 per second moves a crossing by 1 ms; 5 times.
    assert start == pytest.approx(START, abs=1.0 / rate + 5e-3)
    assert end == pytest.approx(END, abs=1.0 / rate + 5e-3)


@pytest.mark.exact
def test_jittered_sampling() -> None:
    """Times off by up to half an interval."""
    jitter = 4.9e-4 * np.random.default_rng(2).uniform(-1.0, 1.0, TIME.size)
    time = TIME + jitter
    found = ends_of(record(time=time, pressure=np.interp(time, TIME, PRESSURE)))
    assert found == pytest.approx((START, END), abs=5e-3)


@pytest.mark.exact
def test_a_long_quiet_tail() -> None:
    """Two minutes of nothing after the firing change nothing but the doubt."""
    time = np.linspace(0.0, 120.0, 120_001)
    noise = 0.005 * np.random.default_rng(3).standard_normal(time.size)
    shape = np.interp(time, TIME, SHAPE, right=0.0)
    found = reduce_recording(record(time=time, pressure=2e6 * (shape + noise)), STAND)
    short = reduce_recording(record(), STAND)
    assert found.burning.lasting == pytest.approx(short.burning.lasting, abs=2e-3)
    name = "characteristic_velocity"
    value, u = found.results[name].value, found.results[name].u
    assert value == pytest.approx(short.results[name].value, rel=2e-3)
    assert u == pytest.approx(short.results[name].u, rel=0.1)


@pytest.mark.exact
def test_an_igniter_that_is_a_lone_spike_is_no_burning() -> None:
    """One or two samples before the burning are a spike; more of them are not."""
    spike = np.where(np.abs(TIME - 0.5) < 0.9e-3, 1.0e6, 0.0)
    assert ends_of(record(pressure=PRESSURE + spike)) == pytest.approx(
        (START, END), abs=5e-3
    )
    igniter = 0.6e6 * np.exp(-(((TIME - 0.5) / 0.02) ** 2))
    reduced = reduce_recording(record(pressure=PRESSURE + igniter), STAND)
    assert ends_of(record(pressure=PRESSURE + igniter)) == pytest.approx(
        (START, END), abs=5e-3
    )
    assert any("before the burning: an igniter" in text for text in reduced.cautions)


@pytest.mark.exact
def test_two_burnings_are_refused_and_chuffing_is_said() -> None:
    """One second of quiet within three is two firings; short dips are counted."""
    humps = np.interp(
        TIME, [1.0, 1.1, 1.9, 2.0, 3.0, 3.1, 3.9, 4.0], [0, 1, 1, 0, 0, 1, 1, 0]
    )
    two = record(pressure=2e6 * (humps + NOISE))
    refused(lambda: reduce_recording(two, STAND), "two burnings")
    chuffs = np.where((TIME > 1.0) & (TIME < 3.0), np.sin(10 * np.pi * TIME) > 0.0, 0.0)
    reduced = reduce_recording(record(pressure=2e6 * (chuffs + NOISE)), STAND)
    check_finite(reduced)
    # Ten half-waves up of 0.1 s, of which nine have one more after them.
    assert reduced.burning.dips == 9
    assert any("9 times" in text for text in reduced.cautions)


@pytest.mark.exact
@pytest.mark.parametrize("size", [1e-250, 1e-30, 1e-3, 1e6, 1e30, 1e150])
def test_huge_and_small_forces(size: float) -> None:
    """A number of any size is reduced like any other."""
    plain = reduce_recording(record(pressure=None, thrust=THRUST), STAND)
    other = reduce_recording(record(pressure=None, thrust=size * THRUST), STAND)
    check_finite(other)
    assert other.results["total_impulse"].value / size == pytest.approx(
        plain.results["total_impulse"].value, rel=1e-9
    )


@pytest.mark.exact
def test_integers_are_readings_too() -> None:
    """Counts of a converter come as integers."""
    counts = np.round(THRUST * 10).astype(int)
    found = reduce_recording(record(pressure=None, thrust=counts), STAND)
    plain = reduce_recording(record(pressure=None, thrust=THRUST), STAND)
    wanted = 10 * plain.results["total_impulse"].value
    assert found.results["total_impulse"].value == pytest.approx(wanted, rel=1e-3)


def check_refused_or_finite(recorded: Recorded) -> None:
    """Reduce and infer; either a refusal in words, or numbers."""
    try:
        reduced = reduce_recording(recorded, STAND)
    except InputError:
        return
    check_finite(reduced)
    try:
        law = infer_law(reduced, GRAIN, rivals=rivals_of(GRAIN))
    except InputError:
        return
    assert math.isfinite(law.rate)
    assert math.isfinite(law.log_rate_u)
    assert not law.told or math.isfinite(law.exponent)


@pytest.mark.exact
@given(
    readings=arrays(
        float,
        st.integers(28, 80),
        elements=st.one_of(
            st.floats(-1e15, 1e15),
            st.sampled_from([0.0, 1e6, 2e6, math.nan, math.inf, -math.inf]),
        ),
    ),
    both=st.booleans(),
    as_read=st.booleans(),
)
def test_any_readings(readings: np.ndarray, both: bool, as_read: bool) -> None:
    """Whatever a file may hold: refused in one line, or finite."""
    time = np.linspace(0.0, 3.0, readings.size)
    check_refused_or_finite(
        Recorded(
            time=time,
            pressure=readings,
            thrust=readings if both else None,
            taken_as_read=as_read,
        )
    )


@pytest.mark.exact
@given(
    seed=st.integers(0, 2**31),
    pieces=st.lists(
        st.tuples(
            st.floats(0.0, 6.0),
            st.floats(0.001, 2.0),
            st.floats(-3e6, 3e6),
            st.sampled_from(["hump", "step", "spike", "slope", "lost", "stuck"]),
        ),
        min_size=1,
        max_size=5,
    ),
    noise=st.sampled_from([0.0, 1e3, 1e4, 1e5]),
    bits=st.sampled_from([0, 1e3, 1e4]),
)
def test_any_sum_of_odd_pieces(
    seed: int, pieces: list[tuple[float, float, float, str]], noise: float, bits: float
) -> None:
    """Humps, steps, spikes, slopes, lost and stuck samples on top of a firing."""
    rng = np.random.default_rng(seed)
    time = TIME[::10]
    value = PRESSURE[::10] * (seed % 2) + noise * rng.standard_normal(time.size)
    for at, width, height, kind in pieces:
        inside = np.abs(time - at) < 0.5 * width
        if kind == "hump":
            value = value + height * np.exp(-(((time - at) / width) ** 2))
        elif kind == "step":
            value = value + height * (time > at)
        elif kind == "spike":
            value[np.searchsorted(time, at) - 1] += height
        elif kind == "slope":
            value = value + height * time / 6.0
        else:
            value = np.where(inside, np.nan if kind == "lost" else height, value)
    if bits:
        value = bits * np.round(value / bits)
    check_refused_or_finite(Recorded(time=time, pressure=value, thrust=value))


@pytest.mark.slow
@pytest.mark.exact
def test_many_samples_take_no_time() -> None:
    """200,000 samples of two sensors; far above what it takes, for slow machines."""
    time = np.linspace(0.0, 6.0, 200_000)
    noise = 0.005 * np.random.default_rng(4).standard_normal(time.size)
    shape = np.interp(time, TIME, SHAPE) + noise
    recorded = Recorded(time=time, pressure=2e6 * shape, thrust=150.0 * shape)
    started = clock.perf_counter()
    reduced = reduce_recording(recorded, STAND)
    took = clock.perf_counter() - started
    check_finite(reduced)
    assert took < 5.0, took
