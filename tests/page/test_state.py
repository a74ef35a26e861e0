"""What the boxes of the page take, and the one line about what they refuse."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from castsugar.kitchen.heat import Cook
from castsugar.page.answer import answered
from castsugar.page.boxes import BoxError
from castsugar.page.desk import Page

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


def test_settings_are_read_in_si(page: Page, start: dict[str, Any]) -> None:
    """250 F are 121.111 C; 5/16 in are 7.9375 mm, by the definition of the inch."""
    typed = start | {
        "cook": "250 F",
        "minutes": "10",
        "throat": "5/16 in",
        "grains": "5",
        "pour_viscosity_Pa_s-at_most": "8.5",
    }
    found = dict(page.state(typed).settings)
    assert found["cook"].pour_temperature == pytest.approx(218.0 / 1.8 + 273.15)
    assert found["cook"].duration == 600.0
    assert found["throat"] == pytest.approx(7.9375e-3, rel=1e-12)
    assert (found["grains"], found["pour_viscosity_Pa_s-at_most"]) == (5, 8.5)


def test_a_cook_keeps_the_minutes_of_the_bench(
    page: Page, start: dict[str, Any]
) -> None:
    """The temperature alone may be typed; a text with its own time stands as it is."""
    alone = page.state(start | {"cook": "121 C", "minutes": ""}).settings
    assert dict(alone)["cook"] == Cook.hold(394.15, 480.0)
    whole = start | {"cook": "0 min 25 C, 6 min 121 C", "minutes": ""}
    profile = dict(page.state(whole).settings)["cook"]
    assert (profile.duration, profile.pour_temperature) == (360.0, 394.15)


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
    ("cook", {"cook": "119"}, "unit"),
    ("cook", {"cook": "119,5 C"}, "decimal comma"),
    ("cook", {"cook": "900 C"}, "200"),
    ("cook", {"minutes": "NaN"}, "nan min"),
    ("cook", {"minutes": "1e9"}, "up to 24 h"),
    ("throat", {"throat": "8"}, "unit"),
    ("throat", {"throat": "NaN mm"}, "throat"),
    ("throat", {"throat": "1e9 mm"}, "0.3 to 200 mm"),
    ("throat", {"throat": "-8 mm"}, "throat"),
    ("throat", {"throat": "8,5 mm"}, "decimal comma"),
    ("grains", {"grains": "2.5"}, "1 to 50, whole"),
    ("grains", {"grains": "51"}, "1 to 50"),
    ("grains", {"grains": "0"}, "1 to 50"),
    ("grains", {"grains": "NaN"}, "1 to 50"),
    (
        "pour_viscosity_Pa_s-at_most",
        {"pour_viscosity_Pa_s-at_most": "NaN"},
        "finite",
    ),
    (
        "pour_viscosity_Pa_s-at_most",
        {"pour_viscosity_Pa_s-at_most": "1e9 Pa s"},
        "pour viscosity, at most",
    ),
    (
        "pour_viscosity_Pa_s-at_most",
        {"pour_viscosity_Pa_s-at_most": "-1"},
        "allowed 0.001 to",
    ),
    (
        "pour_viscosity_Pa_s-at_most",
        {"pour_viscosity_Pa_s-at_most": "8,5"},
        "write 8.5",
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
        page.state(start | {"parts": PARTS} | change)
    assert caught.value.key == key
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("typed", "us", "value"),
    [
        ("900 psi", False, 6.2052815638513865),  # 6894.757293168361 Pa each
        ("900", True, 6.2052815638513865),
        ("5.5", False, 5.5),
        ("5.5 MPa", True, 5.5),
        ("case", False, "case"),
    ],
)
def test_a_limit_with_its_unit(
    page: Page, typed: str, us: bool, value: float | str
) -> None:
    """A plain number is in the units shown; "case" is what the case may hold."""
    start = page.start("us" if us else "si")
    state = start | {"peak_pressure_MPa-at_most": typed}
    ((key, found),) = page.state(state).settings
    assert key == "peak_pressure_MPa-at_most"
    assert found == value if value == "case" else found == pytest.approx(value)
    assert quick(page, state)["verdict"]


def test_us_units_are_those_of_every_box(page: Page) -> None:
    """8 mm are 0.31496 in, 119 C 246.2 F, 6.895 MPa 1000 psi, by their definitions."""
    starts = {key: box.start for key, box in page.boxes["us"].items()}
    assert (starts["throat"], starts["cook"]) == ("0.315 in", "246.2 F")
    assert starts["peak_pressure_MPa-at_most"] == "1000 psi"
    assert page.state(page.start("us") | starts).settings == ()
    sliders = {one["key"]: one for one in page.bench("us")["boxes"]}
    assert (sliders["cook"]["unit"], sliders["throat"]["unit"]) == ("F", "in")


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
