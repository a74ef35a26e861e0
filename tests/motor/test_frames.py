"""Filmed firings that can be worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from castsugar.constants import COVERAGE
from castsugar.errors import CastsugarError, InputError
from castsugar.motor import scatter
from castsugar.motor.firing.frames import (
    ENDS,
    LEAST,
    SHORT,
    UNBURNT,
    Factor,
    Frames,
    burn_time,
    log_course,
    mass_flow,
    mean_pressure,
    mean_rate,
    rate_at_mean,
)
from castsugar.motor.firing.law_doubts import rivals_of
from castsugar.motor.firing.quantities import Measured, Stand
from castsugar.motor.grain import AreaTable, HollowCylinder

# Exact: definitions, worked out by hand beside each.
pytestmark = pytest.mark.exact

TWO = Frames(first=12, last=72, rate=30.0)
STAND = Stand(propellant_mass=0.2, throat_diameter=8e-3, throat_after=8e-3)
NEUTRAL = AreaTable(webs=(0.0, 0.01), areas=(0.02, 0.02))


def test_frames_are_read_and_counted() -> None:
    assert Frames.parse("first=12, last=72 rate=30", where="--frames") == TWO
    assert (TWO.count, TWO.lasting, str(TWO)) == (60, 2.0, "first=12 last=72 rate=30")
    assert Frames.parse(str(replace(TWO, rate=29.97)), where="x").rate == 29.97


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("first=72 last=12 rate=30", "first frame is 72, last 12"),
        ("first=12 last=12 rate=30", "first < last"),
        ("first=12 last=72", "rate missing"),
        ("", "first and last and rate missing"),
        ("first=12 last=72 rate=0", "allowed: 5 to 5000"),
        ("first=12 last=72 rate=nan", "allowed: 5 to 5000"),
        ("first=12 last=72 rate=30fps", "frames a second as a number"),
        ("first=-1 last=72 rate=30", "a whole number"),
        ("first=1.5 last=72 rate=30", "a whole number"),
        ("frist=12 last=72 rate=30", "did you mean 'first'"),
        ("first=12 first=13 last=72 rate=30", "write each once"),
        ("first 12 last 72 rate 30", "write each once"),
    ],
)
def test_what_is_typed_wrong_is_named(text: str, words: str) -> None:
    with pytest.raises(CastsugarError, match=words) as error:
        Frames.parse(text, where="--frames")
    assert str(error.value).count("--frames") == 1


def test_burn_time_and_its_ends() -> None:
    """Two ends, each a rectangle of a frame and one of 0.15 s: half-width / sqrt 3."""
    found = burn_time(TWO)
    frame, ends = (math.sqrt(2.0) * half / math.sqrt(3.0) for half in (1 / 30, 0.15))
    assert found.value == 2.0
    assert found.u == pytest.approx(math.hypot(frame, ends), rel=1e-12)


def test_a_short_burn_has_a_frame_and_the_stated_time_more() -> None:
    last = round(30 * SHORT)
    enough, short = (
        burn_time(Frames(first=0, last=end, rate=30.0)) for end in (last, last - 1)
    )
    for name, part in enough.parts.items():
        assert short.parts[name] == pytest.approx(2.0 * part, rel=1e-12)


def test_what_is_no_longer_than_its_ends_is_refused() -> None:
    with pytest.raises(InputError, match="record its pressure"):
        burn_time(Frames(first=0, last=int(LEAST * 30), rate=30.0))
    with pytest.raises(InputError, match=r"allowed 0\.01 to 300 s"):
        burn_time(Frames(first=0, last=20_000, rate=30.0))


def test_mean_pressure_by_hand() -> None:
    """0.2 kg in 2 s through 50.27 mm2 with 850 m/s: 0.1 x 850 / 50.27e-6 Pa."""
    flow = mass_flow(burn_time(TWO), STAND)
    found = mean_pressure(flow, STAND, 850.0, {"c* efficiency": 0.06})
    assert flow.value == pytest.approx(0.1, rel=1e-12)
    assert found.value == pytest.approx(0.1 * 850.0 / (math.pi * 16e-6), rel=1e-12)
    # Doubts of the logarithm: ends and frames of 2 s, mass, two throat readings, c*.
    time = burn_time(TWO).u / 2.0
    throat = 2.0 * STAND.throat_u / 8e-3 / math.sqrt(2.0)
    u = math.hypot(time, STAND.mass_u, throat, 0.06)
    assert found.u / found.value == pytest.approx(u, rel=1e-12)
    low, high = found.interval
    assert math.log(high / low) == pytest.approx(2.0 * COVERAGE * u, rel=1e-12)


@pytest.mark.parametrize("lasting", [SHORT, 2.0, 5.0])
@pytest.mark.parametrize("wrong", [-ENDS, ENDS])
def test_an_end_wrong_by_the_stated_time_stays_inside(
    lasting: float, wrong: float
) -> None:
    """Burn time and pressure, with c* known as well as nothing else would be."""
    rate = 60.0
    read = burn_time(Frames(first=0, last=round(rate * (lasting + wrong)), rate=rate))
    flow = mass_flow(read, STAND)
    found = mean_pressure(flow, STAND, 850.0, {})
    true = STAND.propellant_mass * 850.0 / (math.pi * 16e-6) / lasting
    for band, truth in ((read.interval, lasting), (found.interval, true)):
        assert band[0] < truth < band[1]


def test_mean_rate_is_web_over_time() -> None:
    """A web of 11 mm in 2 s; 0.1 mm on a diameter moves the web by 0.05 of it."""
    grain = HollowCylinder(
        outer_diameter=0.036, core_diameter=0.014, segment_length=0.06
    )
    found = mean_rate(burn_time(TWO), grain, rivals_of(grain, 1e-4))
    assert found.value == pytest.approx(5.5e-3, rel=1e-12)
    assert found.parts["outer diameter"] / found.value == pytest.approx(
        math.log(11.05 / 11.0), rel=1e-9
    )


def test_course_of_a_grain_that_doubles() -> None:
    """n = 1/2 and A from 1 to 2: p = A^2, so that all means are integrals by hand.

    mean of p^-n = mean of 1/A = ln 2; mean of p^(1-n) = 3/2; mean p = 1.5 / ln 2.
    """
    grain = AreaTable(webs=(0.0, 1.0), areas=(1.0, 2.0))
    by_hand = -math.log(math.log(2.0)) - 0.5 * math.log(1.5 / math.log(2.0))
    assert log_course(grain, 0.5) == pytest.approx(by_hand, abs=1e-7)
    assert by_hand < 0.0
    assert log_course(NEUTRAL, 0.4) == pytest.approx(0.0, abs=1e-12)


def test_rate_and_pressure_share_the_burn_time() -> None:
    """A burn time read long by 1 % takes (1 - n) of it from ln r at that pressure.

    2 s, in 0.1 s of which, 0 to 0.2 s evenly, no web burned.
    """
    n, n_u = scatter.EXPONENT
    pressure = Factor(value=2e6, parts={"ends": 0.05 * 2e6, "c*": 0.06 * 2e6})
    rate = Factor(value=5e-3, parts={"ends": 0.05 * 5e-3, "web": 0.01 * 5e-3})
    found = rate_at_mean(rate, pressure, NEUTRAL)
    parts = (
        *((1.0 - n) * 0.05, n * 0.06, 0.01, n_u * math.hypot(0.05, 0.06)),
        (1.0 - n) * UNBURNT / 2.0 / math.sqrt(3.0),
    )
    faster = 5e-3 * (2.0 / (2.0 - UNBURNT)) ** (1.0 - n)
    assert (found.centre, found.rate) == (2e6, pytest.approx(faster, rel=1e-12))
    assert found.log_rate_u == pytest.approx(math.hypot(*parts), rel=1e-12)
    own = Factor(value=5e-3, parts={**rate.parts, "frames": 0.03 * 5e-3})
    more = rate_at_mean(own, pressure, NEUTRAL)
    assert more.shared_u == pytest.approx(found.shared_u, rel=1e-12)
    assert more.shared_u < more.log_rate_u


def test_a_factor_never_falls_below_nothing() -> None:
    wide = Factor(value=1.0, parts={"c*": 0.9})
    assert wide.interval[0] > 0.0 > Measured(value=1.0, parts={"c*": 0.9}).interval[0]
