"""Pictures of a change of mix: differences, products, pressure against time."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from castsugar.report.firing_band import BY_NUMBERS, BY_RATING, firing_band_chart
from worlds import borrowed

import castsugar as cs
from castsugar import Conditions, Hardware, InputError
from castsugar.comparison.change import (
    PressureBand,
    Products,
    chamber_products,
    pressure_bands,
)
from castsugar.mix.blends import of_mixes
from castsugar.motor.firing.expectation import expect
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.peak_pressure import Spread
from castsugar.motor.pressure_table import burn_law_of
from castsugar.report.species_bars import species_bars

# Exact: differences of a mix with itself are 0, a made-up interval stands where the
# scale of its row puts it, masses of products are those of their atoms.
pytestmark = pytest.mark.exact

SCRIPT = "<script>alert(1)</script>"
SVG = "{http://www.w3.org/2000/svg}"
GRAIN = HollowCylinder(
    outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
)


def mix(sugar: str = "sucrose", name: str = "") -> cs.Mix:
    """Return 65 parts of nitrate and 35 of a sugar."""
    return cs.Mix.weigh({"potassium nitrate": 65, sugar: 35}, name=name)


def hardware() -> Hardware:
    """Return an invented motor."""
    return Hardware(
        grain=GRAIN,
        throat_diameter=0.008,
        burning=borrowed(),
        spread=Spread(),
    )


def texts(svg: str) -> list[str]:
    """Return every text of a picture."""
    return [e.text or "" for e in ET.fromstring(svg).iter(f"{SVG}text")]


# --- products


def test_products_are_the_mass_of_the_mix() -> None:
    """Shares sum to 1; K2CO3 holds (nearly) all potassium: 0.65 x 138.205/202.206."""
    (found,) = chamber_products([mix()])
    assert sum(found.gases.values()) + sum(found.condensed.values()) == pytest.approx(
        1.0, abs=2e-3
    )
    carbonate = found.condensed["K2CO3(L)"]
    gone = found.gases["KOH"] * 138.205 / (2.0 * 56.105)
    assert carbonate + gone == pytest.approx(0.65 * 138.205 / 202.206, rel=5e-3)
    assert list(found.gases.values()) == sorted(found.gases.values(), reverse=True)


def test_products_of_a_kitchen_have_less_water() -> None:
    """The water that the kitchen takes does not burn."""
    syrup = cs.Mix.weigh({"KNO3": 60, "powdered sugar": 20, "corn syrup": 20})
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=100)
    wet, dry = (
        chamber_products([syrup], Conditions(kitchen=k))[0] for k in (None, kitchen)
    )
    assert dry.gases["H2O"] < wet.gases["H2O"]


def test_species_bars() -> None:
    """Bars are in proportion to shares; small ones are summed; phases are named."""
    found = [
        Products(
            name=SCRIPT,
            gases={"CO2": 0.4, "A": 0.002, "B": 0.001},
            condensed={"K2CO3(L)": 0.2},
        ),
        Products(name="new", gases={"CO2": 0.2}, condensed={"K2CO3(s)": 0.4}),
        Products(name="cold", gases={}, condensed={}, reason="no flame"),
    ]
    svg = species_bars(found)
    words = texts(svg)
    assert {"CO2", "other gases", "0.3 %", "K2CO3 liquid", "K2CO3 solid"} <= {*words}
    assert {"40.0 %", "20.0 %", "< 0.01 %", "cold: not computed, no flame"} <= {*words}
    bars = [
        float(e.get("width", ""))
        for e in ET.fromstring(svg).iter(f"{SVG}rect")
        if e.get("height") == "14"
    ]
    # CO2 of both, other gases of one, then the solid, which is more.
    assert bars == pytest.approx(
        [bars[0] * s for s in (1.0, 0.5, 0.0075, 1.0, 0.5)], abs=0.02
    )
    assert species_bars(found) == svg
    assert "<script" not in svg


def test_species_bars_refused() -> None:
    """None that burns, or more than hatches tell apart."""
    cold = Products(name="cold", gases={}, condensed={}, reason="no flame")
    warm = Products(name="warm", gases={"CO2": 1.0}, condensed={})
    for products in ([cold], [warm] * 7, []):
        with pytest.raises(InputError, match="give 1 to 6"):
            species_bars(products)


# --- pressure against time


@pytest.fixture(scope="module")
def bands() -> list[PressureBand]:
    """Fire two mixes in one motor."""
    return banded(hardware())


def banded(motor: Hardware) -> list[PressureBand]:
    """Fire sucrose and sorbitol."""
    mixes = [mix(name="base"), mix("sorbitol", SCRIPT)]
    rows = cs.evaluate(mixes, motor=motor).to_dict("records")
    return pressure_bands(mixes, rows, motor, draws=80)


def test_best_estimate_is_that_of_the_table(bands: list[PressureBand]) -> None:
    """The curve peaks at the pressure of the row; the band holds it.

    The curve follows power laws between few pressures, the row a smooth law.
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


def test_firing_band_chart(bands: list[PressureBand]) -> None:
    """Two bands, two curves and the limit; names are inert, bytes the same."""
    svg = firing_band_chart(bands, limit=5e6)
    assert svg.count('fill-opacity="0.24"') == 2
    assert {"base", BY_NUMBERS} <= {*texts(svg)}
    assert "<script" not in svg
    assert SCRIPT in texts(svg)
    assert svg == firing_band_chart(bands, limit=5e6)
    assert BY_NUMBERS not in texts(firing_band_chart(bands))
    rated = texts(firing_band_chart(bands, limit=5e6, limit_name=BY_RATING))
    assert "your rating, unproved" in rated
    assert BY_NUMBERS not in rated


def test_open_band_is_said_not_drawn(bands: list[PressureBand]) -> None:
    """Draws without a stable pressure: no band of that mix, and the count is told."""
    first = bands[0].expected
    assert first is not None
    wild = replace(first, high=np.full_like(first.high, np.inf), failed=9)
    svg = firing_band_chart([replace(bands[0], expected=wild), bands[1]])
    assert svg.count('fill-opacity="0.24"') == 1
    words = " ".join(texts(svg))
    assert "9 of 80 draws have no stable pressure" in words
    assert "has no upper end" in words
    few = replace(bands[0], expected=replace(first, failed=1))
    words = " ".join(texts(firing_band_chart([few])))
    assert "1 of 80 draws" in words
    assert "upper end" not in words


def test_far_band_is_cut_and_said(bands: list[PressureBand]) -> None:
    """A band far above the curves is cut where they stay legible."""
    first = bands[0].expected
    assert first is not None
    wide = replace(first, high=100.0 * first.high, time=10.0 * first.time)
    words = " ".join(texts(firing_band_chart([replace(bands[0], expected=wide)])))
    top = 2.5e-6 * first.best.peak_pressure
    last = 2.5 * first.best.burn_time
    assert f"Bands go on above {top:.3g} MPa." in words
    assert f"Bands go on after {last:.3g} s." in words


def test_mix_without_pressure() -> None:
    """A row without a stable pressure is named, and alone refused."""
    rows = cs.evaluate([mix()]).to_dict("records")
    rows[0] |= {"peak_pressure_MPa": math.inf, "burn_law_origin": "invented"}
    (found,) = pressure_bands([mix()], rows, hardware())
    assert found.expected is None
    assert found.reason == "no stable pressure"
    with pytest.raises(InputError, match="no stable pressure"):
        firing_band_chart([found])
    both = firing_band_chart([found, *banded(hardware())[:1]])
    assert "not drawn, no stable pressure" in " ".join(texts(both))


def test_bands_refused() -> None:
    """Too few draws for 95 %, and rows that are not those of the mixes."""
    with pytest.raises(InputError, match="80 or more"):
        pressure_bands([], [], hardware(), draws=79)
    with pytest.raises(InputError, match="a row a mix"):
        pressure_bands([mix()], [], hardware())
