"""Pictures of a change of mix: differences, products, pressure against time."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest
from worlds import borrowed

import castsugar as cs
from castsugar import Conditions, Hardware, InputError
from castsugar.comparison.change import (
    Products,
    chamber_products,
)
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.peak_pressure import Spread
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
