"""What mixes burn to: masses of products, and their bars."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

import castsugar as cs
from castsugar import Conditions, InputError
from castsugar.comparison.change import Products, chamber_products
from castsugar.plot.export import written
from castsugar.plot.products import species, species_drawing

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Exact: masses of products are those of their atoms; bars are in proportion to shares.
pytestmark = pytest.mark.exact

SCRIPT = "<script>alert(1)</script>"
FOUND = (
    Products(
        name=SCRIPT,
        gases={"CO2": 0.4, "A": 0.002, "B": 0.001},
        condensed={"K2CO3(L)": 0.2},
    ),
    Products(name="new", gases={"CO2": 0.2}, condensed={"K2CO3(s)": 0.4}),
    Products(name="cold", gases={}, condensed={}, reason="no flame"),
)


def test_products_are_the_mass_of_the_mix() -> None:
    """Shares sum to 1; K2CO3 holds (nearly) all potassium: 0.65 x 138.205/202.206."""
    (found,) = chamber_products([cs.Mix.weigh({"KNO3": 65, "sucrose": 35})])
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


def rows(axes: Axes) -> list[str]:
    """Return the names of the rows, from above."""
    return [label.get_text() for label in axes.get_yticklabels()]


def test_a_bar_a_mix_and_product() -> None:
    """In percent, the largest first; small ones summed, phases named, grounds apart."""
    axes = species(FOUND)
    assert rows(axes) == [
        "gases", "CO2", "other gases", "liquid, solid", "K2CO3 solid", "K2CO3 liquid",
    ]  # fmt: skip
    bars = sorted(axes.patches, key=lambda bar: bar.get_y())
    widths = [bar.get_width() for bar in bars]
    assert widths == pytest.approx([40.0, 20.0, 0.3, 0.0, 0.0, 40.0, 20.0, 0.0])
    assert [bar.get_hatch() for bar in bars[:2]] == ["", "////"]
    words = [text.get_text() for text in axes.texts]
    assert words[:4] == ["40.0 %", "20.0 %", "0.3 %", "< 0.01 %"]
    top, bottom = axes.get_ylim()[1], axes.get_ylim()[0]
    assert top < bars[0].get_y() < bars[-1].get_y() < bottom
    handles, labels = axes.get_legend_handles_labels()
    assert labels == [SCRIPT, "new"]
    assert [h.patches[0].get_hatch() for h in handles] == ["", "////"]


def test_recipes_have_short_names() -> None:
    """Shares alone, but where they tell nothing apart."""
    one, other = "KNO3:65 sucrose:35", "KNO3:65 sorbitol:35"
    for names, wanted in (
        (["base", other], ["base", "65/35"]),
        ([one, other], [one, other]),
    ):
        found = [Products(name=n, gases={"CO2": 1.0}, condensed={}) for n in names]
        assert species(found).get_legend_handles_labels()[1] == wanted


def test_what_the_picture_says() -> None:
    """Names are inert; numbers stand in the description; who is left out."""
    svg = written(species_drawing(FOUND, invented=True), ".svg").decode()
    assert "<script" not in svg
    assert "EXAMPLE: Main products in the chamber" in svg
    assert "CO2 40.0 % and 20.0 %; other gases 0.3 % and &lt; 0.01 %" in svg
    assert "cold: not computed, no flame" in svg
    assert (
        "liquid, solid"
        not in species_drawing(
            [Products(name="gas", gases={"CO2": 1.0}, condensed={})]
        )(340).words
    )


def test_refused() -> None:
    """None that burns, or more than hatches tell apart."""
    warm = Products(name="warm", gases={"CO2": 1.0}, condensed={})
    for products in (FOUND[2:], [warm] * 7, []):
        for draw in (species, species_drawing):
            with pytest.raises(InputError, match="give 1 to 6"):
                draw(products)
