"""Pictures of firings: where curves, bands, marks and the allowed pressure stand.

The firings are invented. Exact: what was handed over stands at its place on the Axes.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from matplotlib.colors import to_hex
from worlds import borrowed

import castsugar as cs
from castsugar import Hardware, InputError
from castsugar.comparison.change import PressureBand, pressure_bands
from castsugar.mix.blends import of_mixes
from castsugar.motor.firing.expectation import expect
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Recorded, reduce_recording
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.peak_pressure import Spread
from castsugar.motor.pressure_table import burn_law_of
from castsugar.plot import firings, style
from castsugar.plot.export import written
from castsugar.plot.fired import firing_drawing, raw_drawing, trace_drawing
from castsugar.report.firing_rows import Asked
from castsugar.report.shown import Shown
from castsugar.static_test import StaticTest, review

pytestmark = pytest.mark.exact

NAN = float("nan")
EVIL = "<script>alert(1)</script> & \"quoted\" 'too' $x$.csv"
SI = Shown()
GRAIN = HollowCylinder(
    outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
)


def mix(sugar: str = "sucrose", name: str = "") -> cs.Mix:
    """Return 65 parts of nitrate and 35 of a sugar."""
    return cs.Mix.weigh({"potassium nitrate": 65, sugar: 35}, name=name)


def hardware() -> Hardware:
    """Return an invented motor."""
    return Hardware(
        grain=GRAIN, throat_diameter=0.008, burning=borrowed(), spread=Spread()
    )


@pytest.fixture(scope="module")
def bands() -> list[PressureBand]:
    """Fire two mixes in one motor."""
    mixes = [mix(name="base"), mix("sorbitol", EVIL)]
    rows = cs.evaluate(mixes, motor=hardware()).to_dict("records")
    return pressure_bands(mixes, rows, hardware(), draws=80)


def recorded() -> Recorded:
    """1 MPa and 40 N from 1 s to 3 s; a sample lost, ten lost, ten at the limit."""
    time = np.arange(0.0, 8.0, 1e-3)
    burning = (time >= 1.0) & (time <= 3.0)
    pressure = np.where(burning, 1e6, 0.0)
    pressure[(time >= 2.0) & (time < 2.01)] = NAN
    pressure[(time >= 2.5) & (time < 2.51)] = 1.2e6
    # A wobble of a thousandth: no sensor is quieter.
    wobble = 1.0 + 1e-3 * np.sin(np.arange(time.size) ** 1.5)
    thrust = np.where(burning, 40.0, 0.0) + 0.04 * wobble
    pressure = np.where(pressure < 1.2e6, pressure + 1e3 * wobble, pressure)
    return Recorded(time=time, pressure=pressure, thrust=thrust, pressure_ceiling=1.2e6)


def fired(recording: Recorded) -> StaticTest:
    stand = Stand(propellant_mass=0.1, throat_diameter=8e-3, throat_after=8e-3)
    return review(reduce_recording(recording, stand))


@pytest.fixture(scope="module")
def test(bands: list[PressureBand]) -> StaticTest:
    """A firing with an expectation, in a case that may hold 2 MPa."""
    return replace(fired(recorded()), expected=bands[0].expected)


def curve(axes: Any, label: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the points of the line of a name."""
    (line,) = (one for one in axes.lines if one.get_label() == label)
    return np.asarray(line.get_xdata()), np.asarray(line.get_ydata())


def words_of(draw: Any, width: int = 640) -> str:
    """Return every text of a drawing."""
    figure = draw(width).finish()
    texts = [*figure.texts, *(t for a in figure.axes for t in a.texts)]
    texts += [t for a in figure.axes for t in (a.xaxis.label, a.title)]
    texts += [a._left_title for a in figure.axes]
    texts += [t for one in figure.legends for t in one.get_texts()]
    return " ".join(t.get_text() for t in texts)


# --- what is foreseen


def test_best_estimate_is_that_of_the_table(bands: list[PressureBand]) -> None:
    """The quasi-steady firing peaks at the pressure of the row; the band holds it.

    It follows power laws between few pressures, the row a smooth law.
    """
    row = cs.evaluate(mix(), motor=hardware()).iloc[0]
    found = bands[0].expected
    assert found is not None
    assert 1e-6 * found.best.peak_pressure == pytest.approx(
        row.peak_pressure_MPa, rel=1e-3
    )
    low, high = found.bands["peak_pressure"]
    assert low < found.best.peak_pressure < high
    assert bands[0].burn_law == "borrowed: sucrose 65/35"


def test_band_is_wider_than_that_of_90_percent(bands: list[PressureBand]) -> None:
    """The same draws: 2.5 and 97.5 of 100 lie outside of 5 and 95, and say so."""
    wide, row = bands[0].expected, cs.evaluate(mix(), motor=hardware()).iloc[0]
    motor = hardware().motor(
        density=row.density_kg_m3,
        characteristic_velocity=row.characteristic_velocity_m_s,
        exponent=row.isentropic_exponent,
    )
    law = burn_law_of(of_mixes([mix()]), hardware())
    narrow = expect(motor, law, Spread(), draws=80, tail=0.05)
    assert wide is not None
    assert wide.bands["peak_pressure"][0] < narrow.bands["peak_pressure"][0]
    assert wide.bands["peak_pressure"][1] > narrow.bands["peak_pressure"][1]
    assert "peak_pressure_p97_5_MPa" in wide.to_dict()
    assert "peak_pressure_p95_MPa" in narrow.to_dict()


def test_thrust_band_follows_the_pressure_band(bands: list[PressureBand]) -> None:
    """Without doubt of throat and nozzle thrust is a function of pressure alone:
    the same draws lie at both ends, so that each end is the thrust of its pressure.
    """
    motor = hardware().motor(density=1800.0, characteristic_velocity=900.0)
    law = burn_law_of(of_mixes([mix()]), hardware())
    found = expect(motor, law, replace(Spread(), throat_diameter=0.0), draws=80)
    ambient = motor.ambient_pressure
    for low, thrust in (
        (found.low, found.thrust_low),
        (found.high, found.thrust_high),
    ):
        choked = low > 2.0 * ambient  # below, the thrust jumps to nothing
        pushed = motor.nozzle.thrust_coefficient(low, ambient) * low
        wanted = pushed * motor.nozzle.throat_area
        assert thrust[choked] == pytest.approx(wanted[choked], rel=2e-3)
    best = found.course
    middle = np.interp(0.5 * best.burn_time, best.time, best.thrust)
    ends = (
        np.interp(0.5 * best.burn_time, found.time, end)
        for end in (found.thrust_low, found.thrust_high)
    )
    low, high = ends
    assert low < middle < high


def test_curves_stand_in_the_unit_shown(bands: list[PressureBand]) -> None:
    """The highest point of the curve is the peak, in MPa and in psi (6.894757 kPa)."""
    expected = bands[0].expected
    assert expected is not None
    peak = expected.course.peak_pressure
    for units, unit in (("si", 1e6), ("us", 6894.757)):
        axes = firings.trace({"base": expected}, units=units)
        assert curve(axes, "base")[1].max() == pytest.approx(peak / unit, rel=1e-6)
        (shade,) = axes.collections
        top = shade.get_datalim(axes.transData).ymax
        assert top == pytest.approx(expected.high.max() / unit, rel=1e-6)


def test_allowed_pressure_is_the_same_line(
    bands: list[PressureBand], test: Any
) -> None:
    """Thick, of our ink, named, the region above shaded; far above it is told."""
    expected = bands[0].expected
    assert expected is not None
    case = cs.motor.Case(rated_pressure=8e6)
    held = replace(test, hardware=replace(hardware(), case=case))
    for axes in (
        firings.trace({"base": expected}, allowed=8e6),
        firings.firing(held),
    ):
        (line,) = (one for one in axes.lines if one.get_linewidth() == 2.8)
        assert set(line.get_ydata()) == {8.0}
        assert to_hex(line.get_color()) == style.INK
        assert [t.get_text() for t in axes.texts if "allowed" in t.get_text()] == [
            "allowed 8 MPa"
        ]
        assert axes.get_ylim()[1] > 8.0
    far = firings.trace({"base": expected}, allowed=1e9)
    assert any("above the picture" in t.get_text() for t in far.texts)
    assert far.get_ylim()[1] < 100.0


def test_trace_drawing_says_what_it_leaves_out(bands: list[PressureBand]) -> None:
    """Names are inert, draws without a pressure are counted, an example says so."""
    first = bands[0].expected
    assert first is not None
    wild = replace(first, high=np.full_like(first.high, np.inf), failed=9)
    some = [replace(bands[0], expected=wild), bands[1]]
    draw = trace_drawing(
        some, allowed=8e6, peaks={"base": 5e6}, thrust="ideal", show=SI, invented=True
    )
    words = words_of(draw)
    assert words.startswith("EXAMPLE: Pressure and thrust")
    assert "thrust, ideal, N" in words
    assert "9 of 80 draws have no stable pressure" in words
    assert "95 of 100 peaks of next batches stay below: base 5.00 MPa." in words
    svg = written(draw, ".svg").decode()
    assert "<script" not in svg
    assert "&lt;script&gt;" in svg


def test_mix_without_pressure(bands: list[PressureBand]) -> None:
    """A row without a stable pressure is named, and alone refused."""
    rows = cs.evaluate([mix()]).to_dict("records")
    rows[0] |= {"peak_pressure_MPa": math.inf, "burn_law_origin": "invented"}
    (found,) = pressure_bands([mix()], rows, hardware())
    assert found.expected is None
    with pytest.raises(InputError, match="no stable pressure"):
        trace_drawing([found], show=SI)
    both = words_of(trace_drawing([found, bands[0]], show=SI))
    assert "not drawn, no stable pressure" in both


def test_refused(bands: list[PressureBand], test: StaticTest) -> None:
    """Too few draws for 95 %, rows that are not those of the mixes, nothing to draw."""
    with pytest.raises(InputError, match="80 or more"):
        pressure_bands([], [], hardware(), draws=79)
    with pytest.raises(InputError, match="a row a mix"):
        pressure_bands([mix()], [], hardware())
    with pytest.raises(InputError, match="pressure, thrust"):
        firings.trace({}, "web")
    with pytest.raises(InputError, match="not recorded"):
        firings.firing(test, "volts")


# --- what was recorded


def test_firing_is_drawn_to_scale(test: StaticTest) -> None:
    """Start 1 s, end 3 s, 1.101325 MPa absolute between; at most 800 points."""
    axes = firings.firing(test)
    x, y = curve(axes, "recorded")
    assert len(x) <= 800
    assert np.median(y[(x > 1.1) & (x < 2.9)]) == pytest.approx(1.1023, abs=2e-3)
    assert np.median(y[x < 0.9]) == pytest.approx(0.1013, abs=2e-3)
    marks = sorted(
        one.get_xdata()[0] for one in axes.lines if one.get_label().startswith("_child")
        and len(set(one.get_xdata())) == 1
    )  # fmt: skip
    assert marks[0] == pytest.approx(1.0, abs=2e-3)
    assert marks[-1] == pytest.approx(3.0, abs=2e-3)


def test_expected_starts_at_the_start_of_burning(test: StaticTest) -> None:
    """With its band, in the same colour, from 1 s on."""
    axes = firings.firing(test)
    x, y = curve(axes, "predicted, best estimate")
    assert x[0] == pytest.approx(test.reduction.burning.start)
    assert y.max() == pytest.approx(1e-6 * test.expected.course.peak_pressure)
    shades = [one for one in axes.collections if one.get_alpha() == 0.2]
    assert [to_hex(one.get_facecolor()[0]) for one in shades] == [style.ORANGE]
    thrust = firings.firing(test, "thrust")
    assert curve(thrust, "predicted thrust, delivered")[0][0] == x[0]
    assert len([one for one in thrust.collections if one.get_alpha() == 0.2]) == 1


def test_dropouts_and_limit_are_hatched(test: StaticTest) -> None:
    """Two stretches of the pressure, of two hatches, named once each."""
    labels = firings.firing(test).get_legend_handles_labels()[1]
    assert "pressure: not recorded, bridged" in labels
    assert "pressure: sensor at its limit" in labels
    hatches = [p.get_hatch() for p in firings.firing(test).patches if p.get_hatch()]
    assert sorted(hatches) == ["//", "xx"]


def test_notes_state_the_rules(test: StaticTest) -> None:
    kept = replace(test.reduction, cause="a cause", evidence="thrust: its top")
    asked = Asked(file=EVIL, mix=EVIL)
    words = words_of(firing_drawing(replace(test, reduction=kept), asked, SI))
    for wanted in (
        "first and last time at 5 % of the peak of the pressure over the air",
        "line from the reading at rest before to that after",
        "the recording runs 0.000 s to 7.999 s",
        "Band: 95 of 100 predicted firings lie inside",
        "Doubted: a cause (likely): thrust: its top.",
        "c* at least",
        "No claim of safety",
    ):
        assert wanted in words.replace("\n", " ")


def test_a_late_clock_counts_from_its_first_sample() -> None:
    """A clock that counts from 1970, and a recording of thrust alone."""
    alone = replace(recorded(), pressure=None)
    late = replace(alone, time=alone.time + 1.7e9)
    near, far = (firings.firing(fired(one)) for one in (alone, late))
    assert far.get_xlabel() == "time from the first sample, s"
    assert near.get_xlim() == pytest.approx(far.get_xlim(), abs=1e-3)
    assert far._left_title.get_text() == "thrust, N"


def test_thinning_keeps_spikes_and_gaps() -> None:
    """A million zeros, a spike up and one down in one column; a gap stays a gap."""
    x, course = np.arange(1_000_000.0), np.zeros(1_000_000)
    course[500_010], course[500_020] = 7.0, -3.0
    at, drawn = firings.thinned(x, course)
    assert at.size <= 800
    assert (np.diff(at) > 0.0).all()
    assert drawn[drawn != 0.0].tolist() == [7.0, -3.0]
    course[100_000:200_000] = NAN
    at, drawn = firings.thinned(x, course)
    lost = at[np.isnan(drawn)]
    assert lost.min() == pytest.approx(100_000, abs=2500.0)
    assert lost.max() == pytest.approx(200_000, abs=2500.0)


# --- as read


def test_raw_against_time_with_gaps() -> None:
    """One reading of ten is missing, one absurd: both are gaps, and counted."""
    values = np.arange(10.0)
    values[4], values[7] = NAN, 1e300
    draw = raw_drawing("x.csv", np.arange(10.0), [("pressure as read, V", values)])
    words = words_of(draw)
    assert "As read: x.csv" in words
    assert "time, s" in words
    assert "pressure as read, V: 2 missing or absurd readings left out." in words
    (axes,) = draw(640).figure.axes
    (line,) = axes.lines
    assert np.isnan(line.get_ydata()).tolist() == [k in (4, 7) for k in range(10)]


@pytest.mark.parametrize(
    "time", [[0.0, 2.0, 1.0, 3.0], [0.0, 1.0, 1.0, 2.0], [0.0, NAN, 2.0, 3.0]]
)
def test_raw_against_the_sample_where_times_do_not_rise(time: list[float]) -> None:
    draw = raw_drawing("x.csv", np.array(time), [("thrust, N", np.arange(4.0))])
    assert "so samples are counted instead" in words_of(draw)
    (axes,) = draw(640).figure.axes
    assert axes.lines[0].get_xdata().tolist() == [1.0, 2.0, 3.0, 4.0]


def test_raw_of_nothing_is_refused() -> None:
    for time, values in (([], []), (np.arange(3.0), np.arange(2.0))):
        with pytest.raises(InputError, match="nothing was read"):
            raw_drawing("x.csv", np.array(time), [("p", np.array(values))])(640)
