"""What the boxes of the page take, and the one line about what they refuse."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from castsugar.page.answer import answered
from castsugar.page.desk import BoxError, Page

# Exact: texts and what they say are written beside each other.
pytestmark = pytest.mark.exact

quick, rest = (partial(answered, whole=whole) for whole in (False, True))

PARTS = [["KNO3", "60"], ["powdered sugar", "17"], ["corn syrup", "23"]]


def test_the_bench_itself_is_no_setting(page: Page, start: dict[str, Any]) -> None:
    """Texts of the bench, and empty ones, leave the bench as it is."""
    assert page.state(start).settings == ()
    empty = {"parts": PARTS, "cook": "", "minutes": "", "throat": ""}
    read = page.state(empty)
    assert read.settings == ()
    assert read.recipe == "KNO3:60 powdered sugar:17 corn syrup:23"


def test_settings_are_those_of_a_file(page: Page, start: dict[str, Any]) -> None:
    """What the file would hold, a cook read: 250 F are 121.111 C."""
    typed = start | {
        "cook": "250 F 10 min",
        "throat": "5/16 in",
        "grains": "5",
        "pour_viscosity_Pa_s-at_most": "8.5",
    }
    found = dict(page.state(typed).settings)
    assert found["cook"].pour_temperature == pytest.approx(218.0 / 1.8 + 273.15)
    assert found["cook"].duration == 600.0
    assert found["throat"] == "5/16 in"
    assert (found["grains"], found["pour_viscosity_Pa_s-at_most"]) == (5, 8.5)
    profile = page.state(start | {"cook": "0 min 25 C, 6 min 121 C"}).settings
    assert dict(profile)["cook"].duration == 360.0
    motor = page.asked(page.state(typed).settings).question.motor
    assert motor is not None  # 5/16 in are 7.9375 mm, by the definition of the inch
    assert motor.throat_diameter == pytest.approx(7.9375e-3, rel=1e-12)


def test_a_bare_number_has_the_unit_of_the_file(
    page: Page, start: dict[str, Any]
) -> None:
    """Of a throat; a limit is in the unit of its column."""
    assert page.state(start | {"throat": "9"}).settings == (("throat", "9 mm"),)
    pressure = start | {"peak_pressure_MPa-at_most": "5"}
    asked = page.asked(page.state(pressure).settings)
    assert next(x.value for x in asked.limits if x.key == "peak_pressure_MPa") == 5.0


REFUSED: tuple[tuple[str, dict[str, Any], str], ...] = (
    ("parts", {"parts": [["KNO3", "-3"], ["sucrose", "35"]]}, "negative"),
    ("parts", {"parts": [["KNO3", "60,5"], ["sucrose", "35"]]}, "decimal comma"),
    ("parts", {"parts": [["KNO3", "NaN"], ["sucrose", "35"]]}, "no amount"),
    ("parts", {"parts": [["KNO3", "Infinity"], ["sucrose", "35"]]}, "no amount"),
    ("parts", {"parts": [["KNO3", "1e9"], ["sucrose", "35"]]}, "plain decimal"),
    ("parts", {"parts": [["KNO3:1 sugar", "60"]]}, "one part a box"),
    ("parts", {"parts": [["KNO3", "60"], ["knO3", "35"]]}, "comes twice"),
    ("parts", {"parts": []}, "1 to 20 parts"),
    ("parts", {"parts": [["KNO3", 60]]}, "no text"),
    ("parts", {"parts": "KNO3:60"}, "1 to 20 parts"),
    ("parts", {"parts": [["KNO3", ""], ["sucrose", "35"]]}, "leaves the recipe"),
    ("cook", {"cook": "119"}, "has no unit"),
    ("cook", {"cook": "119 C"}, "says no time"),
    ("cook", {"cook": "119,5 C 8 min"}, "decimal comma"),
    ("cook", {"cook": "900 C 8 min"}, "200"),
    ("cook", {"cook": "119 C NaN min"}, "'C NaN min'"),
    ("cook", {"cook": "119 C 1e9 min"}, "up to 24 h"),
    ("throat", {"throat": "NaN mm"}, "throat"),
    ("throat", {"throat": "1e9 mm"}, "0.3 to 200 mm"),
    ("throat", {"throat": "-8 mm"}, "throat"),
    ("throat", {"throat": "8,5 mm"}, "decimal comma"),
    ("grains", {"grains": "2.5"}, "must be a whole number"),
    ("grains", {"grains": "51"}, "1 to 50"),
    ("grains", {"grains": "0"}, "1 to 50"),
    ("grains", {"grains": "NaN"}, "must be a number"),
    (
        "pour_viscosity_Pa_s-at_most",
        {"pour_viscosity_Pa_s-at_most": "NaN"},
        "write a number",
    ),
    (
        "pour_viscosity_Pa_s-at_most",
        {"pour_viscosity_Pa_s-at_most": "1e9 Pa s"},
        "write a number",
    ),
    (
        "pour_viscosity_Pa_s-at_most",
        {"pour_viscosity_Pa_s-at_most": "-1"},
        "allowed 0.001 to",
    ),
    (
        "pour_viscosity_Pa_s-at_most",
        {"pour_viscosity_Pa_s-at_most": "8,5"},
        "is '8,5'; write a number",
    ),
    (
        "peak_pressure_MPa-at_most",
        {"peak_pressure_MPa-at_most": "1000000000"},
        "allowed",
    ),
    ("flame", {"flame": "3"}, "the bench states none"),
    ("units", {"units": "imperial"}, "si or us"),
    ("cook", {"cook": ["119 C"]}, "no text"),
    ("cook", {"cook": "1" * 5000}, "no text"),
)


@pytest.mark.parametrize(("key", "change", "words"), REFUSED)
def test_what_is_no_value_is_one_line(
    page: Page, start: dict[str, Any], key: str, change: dict[str, Any], words: str
) -> None:
    """Every refusal names its box and says in one line what is wrong."""
    with pytest.raises(BoxError) as caught:
        quick(page, start | {"parts": PARTS} | change)
    assert caught.value.key == key
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("900 psi", 6.2052815638513865),  # 6894.757293168361 Pa each
        ("5.5", 5.5),
        ("5.5 MPa", 5.5),
    ],
)
def test_a_pressure_with_its_unit(page: Page, typed: str, value: float) -> None:
    """A plain number is in the unit of the column, whatever is shown."""
    for units in ("si", "us"):
        state = page.start(units) | {"peak_pressure_MPa-at_most": typed}
        limits = page.asked(page.state(state).settings).limits
        first = next(x for x in limits if x.key == "peak_pressure_MPa")
        assert first.value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("typed", [None, [], "state", 3])
def test_what_is_no_state_is_refused(
    page: Page, start: dict[str, Any], typed: Any
) -> None:
    """Anything but a table of boxes."""
    with pytest.raises(BoxError):
        page.state(typed)


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ([["KNO3", "60"], ["powdered suger", "40"]], "did you mean"),
        ([["KNO3", "60"], ["aluminium", "40"]], "aluminium"),
    ],
)
def test_what_is_no_mix_is_one_line(
    page: Page, start: dict[str, Any], parts: list[list[str]], words: str
) -> None:
    """The library's own message about an ingredient, at the box of the recipe."""
    with pytest.raises(BoxError) as caught:
        quick(page, start | {"parts": parts})
    assert caught.value.key == "parts"
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_motor_that_cannot_be_is_one_line(page: Page, start: dict[str, Any]) -> None:
    """A throat wider than the core of 14 mm."""
    with pytest.raises(BoxError) as caught:
        quick(page, start | {"throat": "15 mm"})
    assert caught.value.key == "throat"
