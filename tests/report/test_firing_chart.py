"""Pictures of a firing: what stands where. The firing is invented."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from castsugar import InputError
from castsugar.motor.assembly import Motor, Propellant
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.firing.expectation import expect
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Recorded, reduce_recording
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.nozzle import Nozzle
from castsugar.motor.peak_pressure import Spread
from castsugar.report.firing_chart import firing_chart, raw_chart
from castsugar.report.firing_rows import Asked
from castsugar.report.shown import Shown
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.series import Event, LineChart, Panel, Series, thinned
from castsugar.static_test import StaticTest, review

pytestmark = pytest.mark.exact

NAN = float("nan")
NAMESPACE = "{http://www.w3.org/2000/svg}"
EVIL = "<script>alert(1)</script> & \"quoted\" 'too'.csv"
ASKED = Asked(file=EVIL, mix=EVIL)


def recorded(rate: float = 1000.0) -> Recorded:
    """1 MPa and 40 N from 1 s to 3 s; a sample lost, ten lost, ten at the limit."""
    time = np.arange(0.0, 8.0, 1.0 / rate)
    burning = (time >= 1.0) & (time <= 3.0)
    pressure = np.where(burning, 1e6, 0.0)
    pressure[(time >= 2.0) & (time < 2.01)] = NAN
    pressure[(time >= 2.5) & (time < 2.51)] = 1.2e6
    # A wobble of a thousandth: no sensor is quieter.
    wobble = 1.0 + 1e-3 * np.sin(np.arange(time.size) ** 1.5)
    thrust = np.where(burning, 40.0, 0.0) + 0.04 * wobble
    pressure = np.where(pressure < 1.2e6, pressure + 1e3 * wobble, pressure)
    return Recorded(time=time, pressure=pressure, thrust=thrust, pressure_ceiling=1.2e6)


def fired(recording: Recorded | None = None) -> StaticTest:
    stand = Stand(propellant_mass=0.1, throat_diameter=8e-3, throat_after=8e-3)
    return review(reduce_recording(recording or recorded(), stand))


@pytest.fixture(scope="module")
def test() -> StaticTest:
    """A firing with an expectation."""
    grain = HollowCylinder(
        outer_diameter=32e-3,
        core_diameter=12e-3,
        segment_length=90e-3,
        segments=1,
        burning_ends=2,
    )
    motor = Motor(
        grain=grain,
        nozzle=Nozzle(throat_diameter=8e-3, exponent=1.13),
        propellant=Propellant(density=1800.0, characteristic_velocity=850.0),
        ambient_pressure=101325.0,
    )
    band = Band(low=1e4, high=1e8, rate=5e-3, exponent=0.3)
    law = BurnLaw(name="made up", bands=(band,), log_rate_u=0.1)
    spread = Spread(throat_diameter=0.005)
    return replace(fired(), expected=expect(motor, law, spread, draws=20))


def root_of(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def texts(svg: str) -> list[str]:
    return [e.text or "" for e in root_of(svg).iter(f"{NAMESPACE}text")]


def lines(svg: str, colour: str) -> list[list[tuple[float, float]]]:
    """Return the points of the thin or thick lines of a colour, one list a path."""
    found = []
    for path in root_of(svg).iter(f"{NAMESPACE}path"):
        if path.get("stroke") == colour:
            numbers = [float(v) for v in re.findall(r"-?[\d.]+", path.get("d", ""))]
            found.append(list(zip(numbers[::2], numbers[1::2], strict=True)))
    return found


def dashed(svg: str) -> list[float]:
    """Return the places of the events, in the order drawn [px]."""
    return [
        float(e.get("x1", "0"))
        for e in root_of(svg).iter(f"{NAMESPACE}line")
        if e.get("stroke-dasharray") == "5 3"
    ]


def frame(svg: str) -> tuple[float, float]:
    """Return left and right end of the panels [px]."""
    rect = next(e for e in root_of(svg).iter(f"{NAMESPACE}rect") if e.get("stroke"))
    left = float(rect.get("x", "0"))
    return left, left + float(rect.get("width", "0"))


# --- pieces ------------------------------------------------------------------------


def test_thinning_keeps_spikes_and_order() -> None:
    """A million zeros, one spike up and one down in one column, up first."""
    x = np.arange(1_000_000.0)
    course = np.zeros(x.shape)
    course[500_010], course[500_020] = 7.0, -3.0
    at, (drawn,) = thinned(x, [course])
    assert at.size == drawn.size == 800
    assert (np.diff(at) > 0.0).all()
    assert drawn[drawn != 0.0].tolist() == [7.0, -3.0]
    place = int(np.argmax(drawn))
    # A column is 2500 samples wide; the place is right to one column.
    assert abs(at[place] - 500_010.0) < 2500.0


def test_thinning_of_gaps_and_short_records() -> None:
    x = np.arange(4000.0)
    course = np.ones(x.shape)
    course[1000:2000] = NAN
    course[0] = NAN
    at, (drawn,) = thinned(x, [course])
    lost = at[np.isnan(drawn)]
    assert lost.min() == pytest.approx(1000.0, abs=10.0)
    assert lost.max() == pytest.approx(2000.0, abs=10.0)
    short = np.arange(800.0)
    same, (again,) = thinned(short, [short])
    assert same is short
    assert again is short
    # No sample for half of the time: no points there.
    hole = np.concatenate([np.linspace(0.0, 1.0, 1000), np.linspace(3.0, 4.0, 1000)])
    at, _ = thinned(hole, [hole])
    assert not ((at > 1.01) & (at < 2.99)).any()
    with pytest.raises(InputError):
        thinned(short, [short[1:]])


def some_chart(*events: Event, **changes) -> str:
    x = np.array([0.0, 10.0])
    series = (Series("a", x), Series("b", 2.0 * x, width=1.0))
    return line_chart(
        LineChart("t", "x", "s", x, (Panel("p", "", series, events=events),), **changes)
    )


def test_events_stand_where_the_axis_says() -> None:
    """0, 5 and 10 on an axis from 0 to 10; what lies beyond is left out."""
    events = [Event("c", 10.0), Event("m", 5.0), Event("a", 0.0), Event("no", 11.0)]
    svg = some_chart(*events)
    left, right = frame(svg)
    assert dashed(svg) == pytest.approx([left, 0.5 * (left + right), right], abs=0.01)
    assert [t for t in texts(svg) if t in "camno" and t.isalpha()][:1] != ["no"]
    assert "no" not in texts(svg)


def test_names_of_close_events_move_apart() -> None:
    svg = some_chart(Event("start", 5.0), Event("peak", 5.1), Event("end", 5.2))
    places = {
        e.text: float(e.get("x", "0"))
        for e in root_of(svg).iter(f"{NAMESPACE}text")
        if e.text in ("start", "peak", "end")
    }
    assert places["peak"] - places["start"] > 30.0
    assert places["end"] - places["peak"] > 30.0


def test_names_in_a_key_and_width_of_a_line() -> None:
    at_ends, in_key = some_chart(), some_chart(names_at_ends=False)
    assert frame(in_key)[1] > frame(at_ends)[1]
    widths = [p.get("stroke-width") for p in root_of(in_key).iter(f"{NAMESPACE}path")]
    assert widths == ["2.4", "1"]


# --- a firing ----------------------------------------------------------------------


def test_firing_is_drawn_to_scale(test) -> None:
    """Start 1 s, end 3 s: pressure from 0.101325 to 1.101325 MPa on one scale."""
    svg = firing_chart(test, ASKED, Shown())
    (pressure, thrust) = lines(svg, "#0072b2")
    assert max(len(pressure), len(thrust)) <= 800
    start, _, end, *_ = sorted(set(dashed(svg)))
    heights = [y for x, y in pressure if start + 5.0 < x < end - 5.0]
    middle = float(np.median(heights))
    rest = float(np.median([y for x, y in pressure if x < start - 3.0]))
    zero = max(
        float(e.get("y1", "0"))
        for e in root_of(svg).iter(f"{NAMESPACE}line")
        if e.get("stroke") == "#c9c9c9" and float(e.get("y1", "0")) < rest + 60.0
    )
    ratio = (zero - middle) / (zero - rest)
    assert ratio == pytest.approx(1.101325 / 0.101325, rel=0.02)


def test_what_is_doubted_is_said_under_the_picture(test) -> None:
    """The cause, and what points to it; nothing without one."""
    assert "Doubted" not in firing_chart(
        replace(test, reduction=replace(test.reduction, cause="")), ASKED, Shown()
    )
    kept = replace(test.reduction, cause="a cause", evidence="thrust: its top")
    svg = firing_chart(replace(test, reduction=kept), ASKED, Shown())
    assert "Doubted: a cause (likely): thrust: its top." in svg


def test_expected_starts_at_the_start_of_burning(test) -> None:
    svg = firing_chart(test, ASKED, Shown())
    start = min(dashed(svg))
    for course in lines(svg, "#d55e00"):
        assert course[0][0] == pytest.approx(start, abs=2.0)
        # It comes down at burnout: the last point is the lowest.
        assert course[-1][1] == max(y for _, y in course)
    (band,) = [
        p for p in root_of(svg).iter(f"{NAMESPACE}path") if p.get("fill-opacity")
    ]
    assert band.get("fill") == "#d55e00"
    assert "Band: 95 of 100 predicted firings lie inside, at each time" in texts(svg)


def test_draws_without_pressure_leave_the_band_open(test) -> None:
    high = test.expected.high.copy()
    high[20:40] = np.inf
    svg = firing_chart(
        replace(test, expected=replace(test.expected, high=high, failed=3)),
        ASKED,
        Shown(),
    )
    assert "3 of 20 draws have no stable pressure" in " ".join(texts(svg))
    assert not re.search(r"nan|\binf\b", svg)


def test_dropouts_and_limit_are_shaded(test) -> None:
    svg = firing_chart(test, ASKED, Shown())
    words = texts(svg)
    assert "pressure: not recorded, bridged" in words
    assert "pressure: sensor at its limit" in words
    assert svg.count("<pattern ") == 2
    # In the panel of the pressure alone: two stretches, two keys.
    assert svg.count('fill="url(#') == 2 + 2
    assert "c* at least" in " ".join(words)


def test_notes_state_the_rules(test) -> None:
    words = " ".join(texts(firing_chart(test, ASKED, Shown())))
    for wanted in (
        "first and last time at 5 % of the peak of the pressure over the air",
        "line from the reading at rest before to that after",
        "the recording runs 0.000 s to 7.999 s",
        "No claim of safety",
    ):
        assert wanted in words


def test_strings_are_inert_and_bytes_the_same(test) -> None:
    svg = firing_chart(test, ASKED, Shown())
    assert svg == firing_chart(test, ASKED, Shown())
    assert "<script" not in svg
    assert not re.search(r"nan|NaN|\binf\b|None", svg)
    raw = raw_chart(EVIL, np.arange(3.0), [(EVIL, EVIL, np.arange(3.0))])
    assert "<script" not in raw
    for picture in (svg, raw):
        ids = [e.get("id") for e in root_of(picture).iter() if e.get("id")]
        assert len(ids) == len(set(ids))


def test_thrust_alone_and_a_late_clock() -> None:
    """A clock that counts from 1970 is drawn from its first sample."""
    alone = replace(recorded(), pressure=None)
    late = replace(alone, time=alone.time + 1.7e9)
    svg = firing_chart(fired(late), Asked(file="late.csv"), Shown())
    assert "time from the first sample [s]" in texts(svg)
    assert "thrust [N]" in texts(svg)
    assert not any("pressure" in t for t in texts(svg))
    near, far = (dashed(firing_chart(fired(r), ASKED, Shown())) for r in (alone, late))
    assert near == pytest.approx(far, abs=0.1)


# --- as read -----------------------------------------------------------------------


def test_raw_against_time_with_gaps() -> None:
    """Sample 5 of 10 is missing: two strokes of 4 and 5 points."""
    values = np.arange(10.0)
    values[4] = NAN
    svg = raw_chart("x.csv", np.arange(10.0), [("pressure as read", "V", values)])
    (path,) = [
        p.get("d", "")
        for p in root_of(svg).iter(f"{NAMESPACE}path")
        if p.get("stroke") == "#0072b2"
    ]
    assert [part.count("L") + 1 for part in path.split("M")[1:]] == [4, 5]
    words = texts(svg)
    assert "time [s]" in words
    assert "As read: x.csv" in words
    assert "pressure as read: 1 missing or absurd readings left out." in words


@pytest.mark.parametrize(
    "time", [[0.0, 2.0, 1.0, 3.0], [0.0, 1.0, 1.0, 2.0], [0.0, NAN, 2.0, 3.0]]
)
def test_raw_against_the_sample_where_times_do_not_rise(time) -> None:
    svg = raw_chart("x.csv", np.array(time), [("thrust", "N", np.arange(4.0))])
    words = " ".join(texts(svg))
    assert "sample, counted from 1" in words
    assert "so samples are counted instead" in words
    (course,) = lines(svg, "#0072b2")
    assert np.diff([x for x, _ in course]) == pytest.approx(
        [course[1][0] - course[0][0]] * 3, abs=0.02
    )


def test_raw_of_absurd_readings() -> None:
    values = np.array([1.0, 1e300, -np.inf, 2.0])
    svg = raw_chart(
        "x.csv", np.arange(4.0), [("p", "MPa", values), ("f", "N", values * NAN)]
    )
    assert "no values" in texts(svg)
    with pytest.raises(InputError):
        raw_chart("x.csv", np.array([]), [("p", "MPa", np.array([]))])
    with pytest.raises(InputError):
        raw_chart("x.csv", np.arange(3.0), [("p", "MPa", np.arange(2.0))])
