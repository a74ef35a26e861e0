"""A change of mix: claims, limits, what would overturn it, and what it rests on.

Motor and strands are invented.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from worlds import borrowed

import castsugar as cs
from castsugar import (
    Claim,
    Conditions,
    Cook,
    Hardware,
    InputError,
    Kitchen,
    RefusedError,
    Requirement,
    UnknownNameError,
    justify,
    load_database,
)
from castsugar.columns import COLUMN
from castsugar.comparison.change import Change, JudgedLimit, amounts_of, judge_limits
from castsugar.comparison.claims import (
    BURN_RATE,
    OPEN,
    REFUTED,
    SUPPORTED,
    WORDS,
    Judged,
    judged,
    overturn_of,
    parse_claim,
)
from castsugar.comparison.compare import CANNOT_TELL, HIGHER, LOWER, Cell
from castsugar.comparison.draws import Part, Summary
from castsugar.comparison.evidence import STANDINGS, evidence_of
from castsugar.comparison.uncertain_inputs import Input
from castsugar.limits import BROKEN, KEPT, NOT_COMPUTED, LimitVerdict
from castsugar.motor.grain import HollowCylinder

# Exact: each expected number is worked out beside it, or read from another table.
pytestmark = pytest.mark.exact

FLAME, POUR, PEAK = "flame_temperature_K", "pour_viscosity_Pa_s", "peak_pressure_MPa"
SUCROSE = {"potassium nitrate": 65, "sucrose": 35}
SORBITOL = {"potassium nitrate": 65, "sorbitol": 35}
SYRUP = {"potassium nitrate": 60, "powdered sugar": 20, "corn syrup": 20}
SOFTER = {"potassium nitrate": 62, "powdered sugar": 14, "corn syrup": 24}


@cache
def dry() -> Change:
    """Return sorbitol for sucrose, without kitchen and motor."""
    claims = [Claim(column=FLAME, direction="lower")]
    return justify(SUCROSE, SORBITOL, claims=claims, draws=200, confirm=False)


@cache
def wings() -> Change:
    """Return more syrup, with a kitchen, and a motor on a published law."""
    motor = Hardware(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
        ),
        throat_diameter=0.008,
        burning=borrowed(),
    )
    kitchen = Kitchen(cook=Cook.hold(392.15, 480.0))
    return justify(
        SYRUP,
        SOFTER,
        conditions=Conditions(kitchen=kitchen, motor=motor),
        draws=200,
        confirm=False,
    )


# Claims.


def test_every_word_of_a_claim_is_a_column() -> None:
    assert set(WORDS.values()) <= {*COLUMN, BURN_RATE}
    for word, column in WORDS.items():
        for direction in ("lower", "higher"):
            wanted = Claim(column=column, direction=direction)
            for text in (
                f"{direction} {word}",
                f" {direction.title()}  {word.upper()}",
            ):
                assert parse_claim(text) == wanted
            assert parse_claim(f"{direction} {column}") == wanted


def test_claims_that_are_none() -> None:
    for text in ("", "lower", "pressure", "lower "):
        with pytest.raises(InputError, match="'lower' or 'higher'"):
            parse_claim(text)
    with pytest.raises(UnknownNameError, match="did you mean 'pour viscosity'"):
        parse_claim("lower pour viscosty")
    # A column of the table that is not compared.
    with pytest.raises(UnknownNameError):
        parse_claim("lower gas_molar_mass_g_mol")


def cell_of(
    column: str = FLAME,
    *,
    median: float = 0.0,
    deviation: float = 1.0,
    verdict: str = CANNOT_TELL,
    chance: float = 0.5,
    parts: tuple[tuple[float, float], ...] = (),
) -> Cell:
    """Return a cell; parts are (effect, share)."""
    one = Input(key="k", kind="pressure", label="it", uncertainty=1.0, unit="")
    return Cell(
        column=column,
        value=1.0,
        interval=(0.0, 2.0),
        difference=Summary(
            mean=median,
            deviation=deviation,
            median=median,
            interval=(median - 2.0 * deviation, median + 2.0 * deviation),
            failed=0.0,
        ),
        chance_higher=chance,
        verdict=verdict,
        merit="",
        best=math.nan,
        failed=0.0,
        one_step=0.0,
        step_item="",
        parts=tuple(Part(input=one, effect=e, share=s) for e, s in parts),
    )


@pytest.mark.parametrize(
    ("found", "direction", "verdict", "chance"),
    [
        (HIGHER, "higher", SUPPORTED, 0.99),
        (HIGHER, "lower", REFUTED, 0.01),
        (LOWER, "lower", SUPPORTED, 0.99),
        (LOWER, "higher", REFUTED, 0.01),
        (CANNOT_TELL, "lower", OPEN, 0.01),
    ],
)
def test_claims_are_judged_by_the_verdict(
    found: str, direction: str, verdict: str, chance: float
) -> None:
    """The chance is that of what is claimed: 0.99 that it is higher, 0.01 lower."""
    above = 0.01 if found == LOWER else 0.99
    cells = {FLAME: cell_of(verdict=found, chance=above)}
    got = judged(Claim(column=FLAME, direction=direction), cells)
    assert (got.verdict, got.why) == (verdict, "")
    assert got.chance == pytest.approx(chance)


def test_a_claim_on_what_was_not_computed_says_what_to_add() -> None:
    for column, option in ((PEAK, "--bench"), (BURN_RATE, "--bench"), (POUR, "--cook")):
        with pytest.raises(InputError, match=option):
            judged(Claim(column=column, direction="lower"), {})


@pytest.mark.parametrize(
    ("column", "direction", "said"),
    [
        ("flame_temprature_K", "lower", "did you mean 'flame_temperature_K'"),
        ("status", "lower", "'status'"),
        (FLAME, "cooler", "says 'cooler'; allowed: 'lower', 'higher'"),
        (FLAME, None, "says None; allowed"),
    ],
)
def test_a_claim_is_checked_as_it_is_made(
    column: str, direction: str, said: str
) -> None:
    """Before anything is computed: a word too wrong to be judged later."""
    with pytest.raises((InputError, UnknownNameError), match=said):
        Claim(column=column, direction=direction)


# What would overturn it.


@pytest.mark.parametrize(
    ("median", "effect", "steps"),
    [
        (30.0, -6.0, 5.0),  # 30 up; each step takes 6 away
        (30.0, 6.0, -5.0),
        (-30.0, 4.0, 7.5),
        (30.0, 3.0, -10.0),
        (30.0, 2.99, math.inf),  # more than 10 steps: not worth telling
        (30.0, math.nan, math.nan),
        (30.0, 0.0, math.nan),
    ],
)
def test_steps_that_bring_a_difference_to_nothing(
    median: float, effect: float, steps: float
) -> None:
    cell = cell_of(median=median, verdict=HIGHER, parts=((effect, 0.8), (1.0, 0.2)))
    found = overturn_of(cell)
    assert found.steps == pytest.approx(steps, nan_ok=True)
    assert (found.share, found.alone, found.verdict) == (0.8, False, HIGHER)
    assert found.input is not None
    assert found.input.label == "it"


@pytest.mark.parametrize(("share", "alone"), [(0.73, False), (0.75, True)])
def test_what_settles_an_open_verdict(share: float, alone: bool) -> None:
    """Median 1, deviation 1: known, 1.96 sqrt(1 - share) is left.

    That is below 1 from a share of 1 - 1 / 1.96**2 = 0.7397 on.
    """
    cell = cell_of(median=1.0, parts=((1.0, share), (1.0, 1.0 - share)))
    found = overturn_of(cell)
    assert (found.alone, math.isnan(found.steps)) == (alone, True)
    assert overturn_of(cell_of()).input is None


# Limits.


def held(
    *needs: Requirement, drawn: list[float], rows: list[dict[str, float]]
) -> tuple[JudgedLimit, ...]:
    """Hold two mixes with hand-made draws of the flame, the same for both."""
    draws = dry().comparison.draws
    values = np.column_stack([np.array(drawn)] * 2)
    return judge_limits(needs, replace(draws, values={FLAME: values}), rows)


def test_shares_of_the_draws_and_margins() -> None:
    """Of 1501 ... 1510, seven are at most 1507; one that failed keeps nothing."""
    drawn = [1500.0 + k for k in range(1, 10)] + [math.nan]
    rows = [{FLAME: 1400.0}, {FLAME: 1600.0}]
    need = Requirement(column=FLAME, at_most=1507.0, at_least=1350.0)
    most, least = held(need, drawn=drawn, rows=rows)
    assert (most.sense, most.value, least.sense, least.value) == (
        "<=",
        1507.0,
        ">=",
        1350.0,
    )
    one, two = most.standings
    assert (one.verdict, two.verdict) == (KEPT, BROKEN)
    assert one.margin == pytest.approx(107.0 / 1507.0)
    assert two.margin == pytest.approx(-93.0 / 1507.0)
    assert (one.share, two.share) == (0.7, 0.7)
    assert [s.verdict for s in least.standings] == [KEPT, KEPT]
    assert least.standings[0].margin == pytest.approx(50.0 / 1350.0)
    assert [s.share for s in least.standings] == [0.9, 0.9]
    assert {s.ground for h in (most, least) for s in h.standings} == {""}


def test_a_limit_met_exactly_and_one_not_computed() -> None:
    need = Requirement(column=FLAME, at_most=1500.0)
    rows = [{FLAME: 1500.0}, {FLAME: math.nan}]
    (found,) = held(need, drawn=[1500.0] * 4, rows=rows)
    one, two = found.standings
    assert (one.verdict, one.margin, one.share) == (KEPT, 0.0, 1.0)
    assert (two.verdict, two.share) == (NOT_COMPUTED, 1.0)
    assert math.isnan(two.margin)
    rows = [{FLAME: 1500.0 * (1.0 + 1e-6)}, {FLAME: 1500.0 * (1.0 + 1e-9)}]
    (found,) = held(need, drawn=[1500.0] * 4, rows=rows)
    assert [s.verdict for s in found.standings] == [BROKEN, KEPT]


def test_a_column_that_is_not_drawn_and_a_limit_of_nothing() -> None:
    column = "oxygen_balance_percent"
    need = Requirement(column=column, at_most=0.0)
    rows = [{column: -12.0}, {column: 2.0}]
    (found,) = held(need, drawn=[1500.0] * 4, rows=rows)
    assert [s.verdict for s in found.standings] == [KEPT, BROKEN]
    assert all(math.isnan(s.share) for s in found.standings)
    assert all(math.isnan(s.margin) for s in found.standings)


def test_a_limit_at_the_median_is_kept_by_half_of_the_draws() -> None:
    """Of 200 draws without ties, the middle between the 100th and the 101st."""
    change = dry()
    drawn = np.sort(change.comparison.draws.values[FLAME][:, 1])
    need = Requirement(column=FLAME, at_most=float(drawn[99:101].mean()))
    (found,) = judge_limits([need], change.comparison.draws, change.rows)
    assert found.standings[1].share == 0.5


@pytest.mark.slow
def test_a_chance_is_held_against_the_quantile_of_the_table() -> None:
    """The table tells the 10th and 90th of 100 of the pour, the 95th of the peak.

    They are the same numbers. At its own value a limit is kept, beyond it broken.
    """
    change = wings()
    draws = change.comparison.draws
    asked = [
        (POUR, "at_most", 0.9, "pour_viscosity_p90_Pa_s"),
        (POUR, "at_least", 0.9, "pour_viscosity_p10_Pa_s"),
        (PEAK, "at_most", 0.95, "peak_pressure_p95_MPa"),
    ]
    for column, bound, chance, told in asked:
        need = {"column": column, "probability": chance, bound: 1.0}
        needs = [Requirement(**need)]
        conditions, mixes = draws.outlook.conditions, draws.outlook.mixes
        chances = needs[0].chances()
        rows = conditions.rows(mixes, confirm=False, chances=chances)
        (first,) = judge_limits(needs, draws, rows)
        values = [s.value for s in first.standings]
        assert values == pytest.approx([float(r[told]) for r in rows], rel=1e-12)
        outward = 1.0 if bound == "at_least" else -1.0
        for step, verdict in ((0.0, KEPT), (1e-6, BROKEN), (-1e-6, KEPT)):
            need[bound] = values[1] * (1.0 + outward * step)
            (found,) = judge_limits([Requirement(**need)], draws, rows)
            assert found.standings[1].verdict == verdict
            assert found.probability == chance
            assert all(math.isnan(s.share) for s in found.standings)
            ground = "borrowed burning rate" if column == PEAK else ""
            assert {s.ground for s in found.standings} == {ground}


# On the scale.


@pytest.mark.parametrize("step", [1e-4, 5e-4, 1e-3, 3e-4])
def test_the_scale_takes_all_of_the_batch(step: float) -> None:
    """Both sum to the batch to a step; nothing is a step off its share."""
    batch = 0.2
    weighed = amounts_of(cs.Mix.weigh(SYRUP), cs.Mix.weigh(SOFTER), batch, step)
    for name, recipe in (("base", SYRUP), ("new", SOFTER)):
        each = [getattr(a, name) for a in weighed]
        assert abs(sum(each) - batch) <= 0.5 * step + 1e-12
        for amount, share in zip(each, recipe.values(), strict=True):
            whole = round(batch / step) * step
            assert abs(amount - whole * share / 100.0) < step
            assert round(amount / step) == pytest.approx(amount / step, abs=1e-6)
    assert sum(a.change for a in weighed) == pytest.approx(0.0, abs=1e-12)


def test_one_item_under_two_names_is_weighed_once() -> None:
    base = cs.Mix.weigh({"KNO3": 65, "sucrose": 35})
    new = cs.Mix.weigh({"potassium nitrate": 50, "Sucrose": 30, "water": 20})
    found = amounts_of(base, new, 0.1, 1e-3)
    told = [(a.item, round(1e3 * a.base), round(1e3 * a.new)) for a in found]
    assert told == [
        ("potassium nitrate", 65, 50),
        ("sucrose", 35, 30),
        ("water", 0, 20),
    ]


# What it rests on.


@pytest.mark.slow
def test_every_number_has_its_source() -> None:
    """A key of the sources, or words; the uncertainty is the one that was drawn."""
    sources = load_database().sources
    for change in (dry(), wings()):
        assert change.evidence
        for one in change.evidence:
            assert one.standing in STANDINGS
            assert (
                one.source in sources
                or " " in one.source
                or one.standing == ("measured")
            )
            keys = re.findall(r"\(([a-z]+(?:-[a-z0-9]+)+)\)", one.note)
            assert set(keys) <= set(sources)
        drawn = {i.label: i.uncertainty for i in change.comparison.draws.inputs}
        told = {
            e.subject.replace("enthalpies", "enthalpy"): e.uncertainty
            for e in change.evidence
        }
        enthalpies = [s for s in drawn if s.startswith("enthalpy of formation of")]
        assert enthalpies
        for subject in enthalpies:
            assert told[subject] == pytest.approx(drawn[subject])


def test_every_ingredient_stands_in_the_evidence() -> None:
    subjects = [e.subject for e in wings().evidence]
    assert len(subjects) == len(set(subjects))
    names = {c.ingredient.name for m in wings().mixes for c in m.cast}
    assert len(names) > 4
    for name in names:
        solid = name.startswith("syrup solids")
        assert f"density of {'syrup solids' if solid else name}" in subjects
    rates = [e for e in wings().evidence if e.subject.startswith("burning rate of")]
    assert [e.standing for e in rates] == ["borrowed", "borrowed"]
    # A rival of the enthalpy of sorbitol, by the solution cycle: -1336 kJ/mol.
    (sorbitol,) = [e for e in dry().evidence if e.subject.endswith("of sorbitol")][:1]
    assert (sorbitol.value, sorbitol.uncertainty) == (-1353.7, 18.0)
    assert "-1336 kJ/mol (derived-solution-cycle)" in sorbitol.note


def test_an_alternative_is_what_the_evidence_tells() -> None:
    """The value that was taken, and the catalogue's own as its rival no more."""
    mix = cs.Mix.weigh(SORBITOL, alternatives={"sorbitol": "polyol cycle"})
    change = justify(SUCROSE, mix, draws=100, confirm=False)
    found = evidence_of(change.comparison.draws.outlook, load_database())
    (one,) = [e for e in found if e.subject == "enthalpy of formation of sorbitol"]
    assert one.value == pytest.approx(-1336.0, abs=0.5)
    assert one.source == "derived-solution-cycle"


# Together.


def test_what_makes_a_change_justified() -> None:
    change = dry()
    assert (change.claims[0].verdict, change.justified) == (SUPPORTED, True)
    claim = change.claims[0].claim
    for word in (OPEN, REFUTED):
        other = Judged(claim=claim, verdict=word, chance=0.5)
        assert not replace(change, claims=(*change.claims, other)).justified
    kept = LimitVerdict(value=1.0, verdict=KEPT, share=1.0, margin=0.1)
    for word in (KEPT, BROKEN, NOT_COMPUTED):
        limit = JudgedLimit(
            column=FLAME,
            sense="<=",
            value=1.0,
            probability=None,
            standings=(kept, replace(kept, verdict=word)),
        )
        held_by = replace(change, limits=(limit,))
        assert held_by.justified == (word == KEPT)
        assert held_by.broken == (() if word == KEPT else (limit,))
        # What the old mix breaks is no fault of the new one.
        old = replace(limit, standings=limit.standings[::-1])
        assert replace(change, limits=(old,)).justified
    rows = (change.rows[0], {**change.rows[1], "status": "disputed"})
    assert not replace(change, rows=rows).justified
    assert replace(change, rows=rows[::-1]).justified


def test_what_is_not_justified_at_all() -> None:
    own = cs.Ingredient(
        name="own sugar",
        formula="C6H12O6",
        enthalpy_of_formation=-1e6,
        density=1500.0,
    )
    with pytest.raises(RefusedError, match="none of the catalogue's"):
        justify(SUCROSE, {"potassium nitrate": 65, own: 35}, draws=100)
    for column, need in (("relative_solids_20C", "kitchen"), (PEAK, "motor")):
        limit = Requirement(column=column, at_most=2.0)
        with pytest.raises(InputError, match=f"needs a {need}"):
            justify(SUCROSE, SORBITOL, limits=[limit], draws=100)


def test_a_mix_for_itself_changes_nothing() -> None:
    change = justify(SUCROSE, dict(SUCROSE), draws=100, confirm=False)
    for cell in change.cells.values():
        assert (cell.verdict, cell.difference.median) == (CANNOT_TELL, 0.0)
        assert cell.difference.interval == (0.0, 0.0)
    assert {o.input for o in change.overturns} == {None}
    assert all(a.change == 0.0 for a in change.amounts)
    assert change.justified  # nothing was claimed, nothing is broken


def test_rounding_is_no_difference() -> None:
    """Half of the draws 10 lower, half equal to 14 digits: the interval ends at 0."""
    draws = dry().comparison.draws
    base = np.full(200, 67.0)
    new = np.where(np.arange(200) < 100, 57.0, 67.0 - 1.42e-14)
    assert (new[100:] < base[100:]).all()
    values = np.column_stack([base, new])
    found = replace(draws, values={**draws.values, FLAME: values})
    assert set(found.difference(FLAME, 1, 0).tolist()) == {-10.0, 0.0}
    values = np.column_stack([[67.0, np.inf, 67.0], [np.inf, np.inf, np.nan]])
    found = replace(draws, values={**draws.values, FLAME: values})
    ends = found.difference(FLAME, 1, 0)
    assert ends[:2].tolist() == [np.inf, 0.0]
    assert np.isnan(ends[2])
