"""How mixes stand to a limit: kept, broken, or not computed and why."""

from __future__ import annotations

import math

import numpy as np
import pytest

import castsugar as cs
from castsugar.evaluation import evaluate_columns
from castsugar.kitchen.heat import parse_cook
from castsugar.limits import (
    BROKEN,
    KEPT,
    NOT_COMPUTED,
    PEAK,
    POUR,
    RATING,
    Limit,
    Requirement,
    chance_column,
    chances_of,
    judge,
    judge_rows,
    limits_of,
    rated,
)

pytestmark = pytest.mark.exact  # arithmetic of one line

SOLIDS = "relative_solids_20C"


def test_three_values() -> None:
    """Above, at, below, beyond everything, and nothing: NaN is never broken."""
    low = Limit(column=SOLIDS, sense=">=", value=0.8)
    values = [1.0, 0.8, 0.6, math.inf, -math.inf, math.nan]
    (found,) = judge([low], {SOLIDS: values})
    wanted = [KEPT, KEPT, BROKEN, KEPT, BROKEN, NOT_COMPUTED]
    assert [one.verdict for one in found] == wanted
    assert found.margin[:3] == pytest.approx([0.25, 0.0, -0.25])
    assert math.isnan(found[5].margin)
    assert found.kept.tolist() == [v == KEPT for v in wanted]
    assert found.broken.tolist() == [v == BROKEN for v in wanted]


def test_what_is_known_to_a_factor_has_a_ratio() -> None:
    """A viscosity of 25 over a limit of 10 is 2.5 times it; a pressure has none."""
    pour, peak = limits_of(
        [
            Requirement(column=POUR, at_most=10.0, probability=0.85),
            Requirement(column=PEAK, at_most=8.0, probability=0.95),
        ]
    )
    columns = {chance_column(POUR, 0.85): [25.0], chance_column(PEAK, 0.95): [6.0]}
    thick, pressed = judge([pour, peak], columns)
    assert (thick[0].verdict, thick[0].factor) == (BROKEN, 2.5)
    assert (pressed[0].verdict, pressed[0].margin) == (KEPT, 0.25)
    assert math.isnan(pressed[0].factor)


def test_quantiles_that_limits_ask_for() -> None:
    """At most with 85 %: the 85th; at least: the 15th; each is asked for once."""
    needs = [
        Requirement(column=POUR, at_most=10.0, at_least=1.0, probability=0.85),
        Requirement(column=POUR, at_most=9.0, probability=0.85),
        Requirement(column=SOLIDS, at_least=0.95),
    ]
    assert chances_of(limits_of(needs)) == ((POUR, 0.85), (POUR, 0.15))


@pytest.mark.parametrize(
    ("column", "row", "why"),
    [
        (SOLIDS, {"flow_class": "not asked"}, "no kitchen was given ([kitchen] cook)"),
        (PEAK, {"burn_law_origin": "not asked"}, "no motor was given ([motor])"),
        (PEAK, {"burn_law_origin": "not computed: too steep"}, "too steep"),
        (SOLIDS, {"flags": "a; kitchen not computed: no sugar"}, "no sugar"),
        ("specific_impulse_s", {"status": "cold"}, "cold"),
        ("specific_impulse_s", {"status": "not computed: browned"}, "browned"),
        ("specific_impulse_s", {"status": "ok"}, "not computed for this mix"),
    ],
)
def test_why_it_is_not_computed(column: str, row: dict[str, str], why: str) -> None:
    """The row says why; one beside it that is computed has no reason."""
    need = Limit(column=column, sense=">=", value=1.0)
    (found,) = judge_rows([need], [row, {column: 2.0}])
    assert (found[0].verdict, found[0].reason) == (NOT_COMPUTED, why)
    assert (found[1].verdict, found[1].reason) == (KEPT, "")


def test_many_mixes_at_once() -> None:
    """5,000 at once stand as each of them alone."""
    values = np.linspace(0.0, 2.0, 5000)
    need = Limit(column=SOLIDS, sense="<=", value=1.0)
    (found,) = judge([need], {SOLIDS: values})
    assert len(found) == 5000
    assert int(found.kept.sum()) == int((values <= 1.0).sum())
    for place in range(0, 5000, 500):
        (alone,) = judge([need], {SOLIDS: values[[place]]})
        assert alone[0].verdict == found[place].verdict
        assert alone[0].margin == found[place].margin


def test_the_allowed_pressure_is_always_a_limit() -> None:
    """Unless a limit says as much: then it stands alone."""
    loose = Requirement(column=PEAK, at_most=8.0, probability=0.95)
    strict = Requirement(column=PEAK, at_most=6.0, probability=0.99)
    unsure = Requirement(column=PEAK, at_most=6.0)
    margin = Requirement(column="pressure_margin_percent", at_least=10.0)
    assert rated([loose], math.nan) == (loose,)
    for enough in (strict, margin):
        assert rated([enough], 7e6) == (enough,)
    for less in (loose, unsure):
        one, own = rated([less], 7e6)
        assert one is less
        assert (own.column, own.at_most, own.probability) == (PEAK, 7.0, 0.95)
        assert own.whose == own.limits()[0].whose == RATING


def test_rows_carry_the_quantiles_of_their_own_draws() -> None:
    """What a limit asks for is what the row shows: one estimator, the same draws."""
    kitchen = cs.Kitchen(cook=parse_cook("119 C", "8 min"))
    columns = evaluate_columns(
        "KNO3:60 powdered sugar:20 corn syrup:20",
        kitchen=kitchen,
        windows=False,
        chances=[(POUR, 0.1), (POUR, 0.9)],
    )
    for level, told in ((0.1, "p10"), (0.9, "p90")):
        shown = columns[f"pour_viscosity_{told}_Pa_s"]
        asked = columns[chance_column(POUR, level)]
        np.testing.assert_array_equal(asked, shown)


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("condensed_mass_fraction", 60.0),
        ("pours_probability", 85.0),
        ("throat_pressure_ratio", -0.1),
    ],
)
def test_a_share_is_not_a_percentage(column: str, value: float) -> None:
    """60 in a column of 0 to 1 is a slip: said in one line, with what is possible."""
    with pytest.raises(cs.InputError, match=f"{column} is .*; allowed 0 to 1"):
        Requirement(column=column, at_most=value)
    Requirement(column=column, at_least=0.0, at_most=1.0)


def test_a_limit_that_is_impossible() -> None:
    """The same ranges as in a bench file: 1.7 K was meant as 1,700."""
    with pytest.raises(cs.InputError, match=r"is 1\.7 K; allowed 250 to 5000 K"):
        Requirement(column="flame_temperature_K", at_most=1.7)


def test_limits_are_taken_in_both_forms() -> None:
    """As stated or one by one; anything else is refused in words."""
    need = Requirement(column=SOLIDS, at_least=0.5, at_most=1.1)
    single = Limit(column=SOLIDS, sense=">=", value=0.9)
    assert limits_of([need, single]) == (*need.limits(), single)
    stated = cs.weigh.Conditions(pressure=3e6, exit_pressure=None, limits=[need])
    assert stated.limits == need.limits()
    with pytest.raises(cs.InputError, match="limit is 'mild'; give a Requirement"):
        cs.weigh.Conditions(pressure=3e6, exit_pressure=None, limits=["mild"])  # type: ignore[list-item]
