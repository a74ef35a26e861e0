"""Pictures of the pan, and of the delay column.

Exact: where the cook ends a curve has the numbers of the kitchen's table; a column of
one rate burns down along one straight line.
"""

from __future__ import annotations

import numpy as np
import pytest

import castsugar as cs
from castsugar import InputError, ValidityError
from castsugar.kitchen.curves import viscosity_curve, water_curve
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.delay import delay_time
from castsugar.motor.delay_inputs import Settings, Thrusting
from castsugar.plot import delays, pot
from castsugar.report.shown import Shown

pytestmark = pytest.mark.exact

COOK = cs.Cook.hold(392.15, 480.0)
KITCHEN = cs.Kitchen(cook=COOK, draws=200)


def mix(syrup: float = 20.0, name: str = "base") -> cs.Mix:
    shares = {"KNO3": 60, "powdered sugar": 40 - syrup, "corn syrup": syrup}
    return cs.Mix.weigh(shares, name=name)


def test_curve_ends_at_the_table() -> None:
    """Of the same draws the viscosity; of 5 parts of water, half of it known to leave,
    2.5 stay of 97.5.
    """
    (bands,) = cs.kitchen.kitchen_intervals([mix()], KITCHEN)
    low, _, high = viscosity_curve(mix(), KITCHEN, np.array([392.15]))[:, 0]
    wanted = bands["pour_viscosity_Pa_s"]
    assert (low, high) == pytest.approx(wanted, rel=1e-12)
    parts = {"KNO3": 60, "sucrose": 35, "water": 5}
    known = cs.Mix.weigh(parts, water_lost=0.5)
    water = water_curve(known, KITCHEN, np.array([1.0, 480.0]))
    assert water == pytest.approx(2.5 / 97.5, rel=1e-9)


def test_curves_run_the_right_way() -> None:
    """It thickens as it cools, and dries as it cooks; a longer cook leaves less."""
    thick = viscosity_curve(mix(), KITCHEN, np.linspace(370.0, 395.0, 6))
    assert (np.diff(thick[1]) < 0.0).all()
    water = water_curve(mix(), KITCHEN, np.linspace(10.0, 480.0, 6))
    assert (np.diff(water[1]) < 0.0).all()
    assert (water[0] <= water[1]).all()


def test_curves_stand_in_the_unit_shown() -> None:
    """119 °C is 246.2 °F; the classes of the kitchen are named at their limits."""
    for units, at in (("si", 119.0), ("us", 246.2)):
        axes = pot.viscosity({"base": mix()}, KITCHEN, units=units)
        upright = [x for x in axes.lines if len(set(x.get_xdata())) == 1]
        assert upright[0].get_xdata()[0] == pytest.approx(at)
        assert axes.get_yscale() == "log"
        words = {t.get_text() for t in axes.texts}
        assert {"runny below", "pours below", "tamp below", "cook ends"} <= words
    water = pot.cook({"base": mix(), "more": mix(24.0)}, KITCHEN)
    assert water.get_legend_handles_labels()[1] == ["base", "more"]
    assert water.get_xlim() == (0.0, 8.0)


def test_mixes_without_a_model() -> None:
    """Named and left out; alone refused, as is nothing at all."""
    other = cs.Mix.weigh({"KNO3": 65, "xylitol": 35}, name="xylitol")
    with pytest.raises(ValidityError):
        pot.viscosity({"xylitol": other}, KITCHEN)
    with pytest.raises(InputError, match="no mix"):
        pot.cook({}, KITCHEN)
    drawings = pot.pan_drawings(
        {"base": mix(), "xylitol": other}, KITCHEN, show=Shown(), invented=True
    )
    sheet = drawings["viscosity"](640)
    words = " ".join(t.get_text() for t in sheet.figure.texts)
    assert sheet.title.startswith("EXAMPLE: ")
    assert "xylitol: not drawn" in words
    assert drawings["water"](340).is_narrow


def test_column_of_one_rate_is_one_line() -> None:
    """3 mm/s at any pressure: 12 mm last 4 s, whatever the thrust does."""
    band = Band(low=1e4, high=1e8, rate=3e-3, exponent=0.0)
    law = BurnLaw(name="made up", bands=(band,), log_rate_u=0.05)
    at_once = Settings(ignition_lag=0.0, emptying=0.0)
    fired = Thrusting.constant(1e6, 1.0)
    found = delay_time(law, fired, length=12e-3, settings=at_once)
    axes = delays.delay(found)
    (line,) = (one for one in axes.lines if one.get_label() == "best estimate")
    x, y = np.asarray(line.get_xdata()), np.asarray(line.get_ydata())
    assert y == pytest.approx(12.0 - 3.0 * x, abs=1e-6)
    (shade,) = axes.collections
    ends = shade.get_datalim(axes.transData)
    assert ends.xmax == pytest.approx(1.0 + found.time.high)
    assert {t.get_text() for t in axes.texts} == {"thrust ends", "column through"}
    sheet = delays.delay_drawing(found, "Delay", show=Shown("us"))(340)
    assert "in" in sheet.words
    assert "after thrust" in sheet.words
