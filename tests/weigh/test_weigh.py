"""The weigh sheet: mass balance, rounding, corrections. Nothing is burnt here."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from castsugar import InputError, load_database
from castsugar.bench.bench import check_bench
from castsugar.cli.main import main
from castsugar.motor.grain import AreaTable, HollowCylinder
from castsugar.numerics import apportion
from castsugar.weigh import (
    Equipment,
    Piece,
    Sizes,
    balance,
    corrected,
    equipment_of,
    notes,
    pieces_of,
    plan,
    read_charge,
    sizes_of,
)
from castsugar.weigh.charge import portions, steps_up
from castsugar.weigh.result import warnings

pytestmark = pytest.mark.exact

DATABASE = load_database()
HAND = "KNO3:60 sucrose:20 corn syrup:20"
GRAM = 1e-3


def sheet(recipe=HAND, *, lost=0.0, equipment=None, pieces=(), batch=None, ratio=1.0):
    charge = read_charge(recipe, None, DATABASE)
    return plan(
        charge,
        equipment or Equipment(),
        mix=charge.mix(water_lost=lost),
        pieces=pieces,
        batch=batch,
        density_ratio=ratio,
    )


ROUGH = Equipment(step=GRAM, residue_cup=2 * GRAM, residue_pan=4 * GRAM)


def test_sheet_worked_by_hand() -> None:
    """100 g on a scale of 1 g, 2 g of syrup stay in the cup, half the water leaves.

    In the pan 98 g: 58.8 KNO3, 19.6 sucrose, 19.6 syrup; 21.6 syrup go on the scale.
    Rounded down 58 + 19 + 21 = 98, two steps are missing: KNO3 (0.8) gets one, and
    the first of two 0.6, the syrup. Water 0.23 x 19.6 = 4.508 g, half of it leaves.
    """
    found = sheet(lost=0.5, equipment=ROUGH, batch=0.1)
    masses = {line.typed: line.steps for line in found.lines}
    assert masses == {"corn syrup": 22, "sucrose": 19, "KNO3": 59}
    assert list(masses) == ["corn syrup", "sucrose", "KNO3"]
    assert found.total == pytest.approx(0.1, abs=1e-15)
    assert found.line("light corn syrup").exact == pytest.approx(21.6e-3, abs=1e-15)
    assert found.line("light corn syrup").dry == pytest.approx(0.77 * 22e-3)
    assert found.water_lost == pytest.approx(2.254e-3, abs=1e-12)
    assert found.castable == pytest.approx(91.746e-3, abs=1e-12)
    dry = 1.0 - 0.2 * 0.23
    assert found.line("sucrose").dry_share == pytest.approx(0.2 / dry, abs=1e-12)


def test_correction_worked_by_hand() -> None:
    """61 g of KNO3 instead of 59: 61 / 0.6 = 101.67 g must be in the pan.

    With the cup 103.67, so 43 whole grams more than 61: 104 on the scale, 102 in the
    pan. KNO3 lacks 0.2, sucrose 20.4, syrup 22.4; rounded down 42, the missing one
    goes to the first 0.4, the syrup.
    """
    found = corrected(sheet(equipment=ROUGH, batch=0.1), {"potassium nitrate": 0.061})
    assert [a.steps for a in found.additions] == [23, 20, 0]
    assert found.total == pytest.approx(0.104, abs=1e-15)
    assert found.worst == pytest.approx(0.6e-3, abs=1e-12)
    name, more = found.take_off
    assert (name, more) == ("potassium nitrate", pytest.approx(2e-3))
    # 20 g of sucrose, one more than 19, ask for 100 g in the pan: 60 g of KNO3
    both = {"potassium nitrate": 0.071, "sucrose": 0.020}
    found = corrected(sheet(equipment=ROUGH, batch=0.1), both)
    assert found.take_off == ("potassium nitrate", pytest.approx(11e-3))


def test_castings_of_the_example_hardware() -> None:
    """Common practice, no source: 500 g serve four to five grains of a small motor
    with strands and two delay fills. Invented hardware.

    A grain is pi/4 (36^2 - 14^2) x 62 = 53.564 cm3.
    """
    grain = HollowCylinder(
        outer_diameter=36e-3, core_diameter=14e-3, segment_length=62e-3, segments=4
    )
    sizes = Sizes(delay_diameter=16e-3, delay_length=30e-3)
    totals = {}
    for count in (4, 5):
        pieces = pieces_of(grain, sizes, grains=count, strands=3, delays=2)
        assert pieces[0].volume == pytest.approx(53.564e-6, rel=1e-4)
        found = sheet(pieces=pieces, lost=0.15, ratio=0.96)
        volume = count * 53.564e-6 + 3 * 6e-6 + 2 * 0.25 * math.pi * 16e-3**2 * 30e-3
        assert found.needed == pytest.approx(volume * found.density, rel=1e-4)
        totals[count] = found.total
        said = DATABASE.cautions_for("weigh", {"batch_mass": 1e3 * found.total})
        strong = [c.key for c in said if c.quantity == "batch_mass"]
        assert ("batch-above-500" in strong) == (count == 5)
    assert 0.400 < totals[4] < 0.500 < totals[5] < 0.560


def test_grain_of_any_shape_is_its_table() -> None:
    """Area 2000 to 4000 mm2 over 10 mm: 3e-5 m3."""
    grain = AreaTable(webs=(0.0, 0.01), areas=(0.002, 0.004))
    (piece,) = pieces_of(grain, Sizes(), grains=2)
    assert piece.volume == pytest.approx(3e-5)


def test_round_strands_and_defaults() -> None:
    text = '[casting]\nstrand_diameter = "10 mm"\nstrand_length = "50 mm"\n'
    sizes = sizes_of(check_bench(Path("b.toml"), text))
    assert sizes.strand_volume == pytest.approx(0.25 * math.pi * 1e-4 * 0.05)
    assert sizes.assumed == ("delay",)
    assert sizes_of(None).strand_volume == pytest.approx(6e-6)
    assert sizes_of(None).assumed == ("strand", "delay")


ITEMS = (
    "KNO3",
    "sucrose",
    "dextrose",
    "powdered sugar",
    "corn syrup",
    "glucose syrup 42 DE",
    "water",
    "red iron oxide",
)

recipes = st.dictionaries(
    st.sampled_from(ITEMS), st.floats(0.5, 100.0), min_size=1, max_size=6
).map(lambda parts: " ".join(f"{name}:{amount:.6f}" for name, amount in parts.items()))
scales = st.sampled_from([1e-2, 1e-3, 5e-4, 2e-4, 1e-4, 1e-5])
fractions = st.floats(0.0, 1.0)
residues = st.floats(0.0, 8e-3)


def made(recipe, step, lost, cup, pan, **asked):
    """Return a sheet; give up cases in which nothing would be left to weigh or cast."""
    equipment = Equipment(step=step, residue_cup=cup, residue_pan=pan)
    try:
        return sheet(recipe, lost=lost, equipment=equipment, **asked)
    except InputError:
        assume(False)
        raise


def check(found) -> None:
    """Total is exact to the step, lines within one; what is weighed goes somewhere."""
    step = found.equipment.step
    assert sum(line.steps for line in found.lines) == found.steps
    for line in found.lines:
        assert abs(line.mass - line.exact) < step * (1.0 + 1e-6)
        ratio = line.share * found.in_pan
        assert abs(line.in_pan - ratio) < step * (1.0 + 1e-6)
    assert math.fsum(line.exact for line in found.lines) == pytest.approx(
        found.total, abs=1e-12
    )
    assert math.fsum(mass for _, mass in balance(found)) == pytest.approx(
        found.total, abs=1e-9 * found.total
    )


@given(recipes, scales, fractions, residues, residues, st.floats(0.05, 3.0))
def test_every_batch_balances(recipe, step, lost, cup, pan, batch) -> None:
    found = made(recipe, step, lost, cup, pan, batch=batch)
    assert abs(found.total - batch) <= 0.5 * step * (1.0 + 1e-6)
    check(found)


@given(recipes, scales, fractions, residues, residues, st.integers(1, 9))
def test_every_casting_is_served(recipe, step, lost, cup, pan, count) -> None:
    """Rounding up leaves less than one step too much on the scale."""
    pieces = (Piece(kind="grain", count=count, volume=38e-6, size=""),)
    found = made(recipe, step, lost, cup, pan, pieces=pieces, ratio=0.96)
    check(found)
    assert found.needed == pytest.approx(
        count * 38e-6 * 0.96 * found.mix.density, rel=1e-12
    )
    assert -1e-6 * step <= found.spare < step * (1.0 + 1e-6)


errors = st.lists(st.integers(-30, 60), min_size=6, max_size=6)


@given(
    recipes,
    scales,
    st.floats(0.05, 2.0),
    errors,
    st.sets(st.integers(0, 5), min_size=1),
    st.floats(0.0, 0.99),
    st.one_of(st.none(), st.floats(0.0, 3.0)),
)
def test_a_correction_meets_the_ratio_or_says_that_it_cannot(
    recipe, step, batch, errors, weighed, part, at_most
) -> None:
    """Also for masses that are no whole steps (`part` of one); nothing is taken out."""
    found = made(recipe, step, 0.0, 1.5e-3, 4e-3, batch=batch)
    actual = {}
    for index, line in enumerate(found.lines):
        mass = line.mass + (errors[index] + part) * step
        if index in weighed and mass > line.cup:
            actual[line.name] = mass
    assume(actual)
    fix = corrected(found, actual, at_most=at_most)
    for line, entry in zip(found.lines, fix.additions, strict=True):
        assert entry.steps >= 0
        start = actual.get(line.name, 0.0)
        assert entry.total == pytest.approx(start + entry.steps * step, abs=1e-12)
        ratio = line.share * fix.in_pan
        assert abs(entry.total - line.cup - ratio) < step * (1.0 + 1e-6)
    assert fix.worst < step * (1.0 + 1e-6)
    assert fix.in_pan >= found.in_pan - step * (1.0 + 1e-6)
    if at_most is not None:
        assert fix.possible == (fix.total <= at_most + 1e-6 * step)
        assert bool(fix.reason) == (not fix.possible)


def test_a_line_that_would_stay_in_its_cup_is_refused() -> None:
    """0.5 / 73.6 of 48.5 g is 0.33 g: rounded to half grams, none of it is poured."""
    recipe = "KNO3:7.34375 sucrose:65.75 corn syrup:0.5"
    with pytest.raises(InputError, match=r"'corn syrup' would be 0\.33 g in the pot"):
        sheet(
            recipe,
            equipment=Equipment(step=0.5e-3, residue_cup=1.5e-3, residue_pan=4e-3),
            batch=0.05,
        )


@given(recipes, scales, st.floats(0.05, 2.0), st.sets(st.integers(0, 5)))
def test_what_was_weighed_as_planned_needs_nothing(recipe, step, batch, done) -> None:
    found = made(recipe, step, 0.0, 1.5e-3, 4e-3, batch=batch)
    lines = [line for index, line in enumerate(found.lines) if index in done]
    fix = corrected(found, {line.name: line.mass for line in lines})
    assert fix.nothing_to_do
    assert [a.total for a in fix.additions] == pytest.approx(
        [line.mass for line in found.lines], abs=1e-12
    )


@settings(deadline=200)
@given(st.lists(st.floats(0.0, 1e4), min_size=1, max_size=8))
def test_apportion_keeps_sum_and_quota(quotas) -> None:
    count = round(math.fsum(quotas))
    whole = math.fsum(quotas) or 1.0
    scaled = [q * count / whole for q in quotas]
    counts = apportion(scaled, count)
    assert sum(counts) == count
    assert all(abs(c - q) < 1.0 + 1e-5 for c, q in zip(counts, scaled, strict=True))


def test_apportion_refuses_quotas_of_another_sum() -> None:
    with pytest.raises(ValueError, match="sum to"):
        apportion([1.5, 1.5], 5)


@given(st.integers(1, 10**6), st.integers(1, 10**6))
def test_portions_fit_and_sum(count, most) -> None:
    assume(count / most < 1000)
    parts = portions(count, most)
    assert sum(parts) == count
    assert max(parts) <= most
    assert max(parts) - min(parts) <= 1


def test_a_whole_number_of_steps_is_not_rounded_up() -> None:
    """0.3 / 0.1 is 2.9999999999999996 in floats."""
    assert steps_up(0.3e-3, 0.1e-3) == 3
    assert steps_up(0.3001e-3, 0.1e-3) == 4


def test_lots_count_as_they_are_weighed() -> None:
    """Moist nitrate: 60 parts as is are 58.2 dry; the sheet weighs 60."""
    text = '[lots.wet]\ningredient = "KNO3"\nmoisture = "3 %"\n'
    bench = check_bench(Path("b.toml"), text)
    charge = read_charge(HAND, bench, DATABASE)
    found = plan(charge, ROUGH, mix=charge.mix(), batch=0.102)
    line = found.line("potassium nitrate")
    assert line.mass == pytest.approx(60e-3)
    assert line.dry == pytest.approx(58.2e-3)
    assert line.lot.name == "wet"


def test_recipes_by_name_and_labels() -> None:
    text = f'[recipes]\n"base" = "{HAND}"\n'
    bench = check_bench(Path("b.toml"), text)
    assert read_charge("base", bench, DATABASE).name == "base"
    assert read_charge("mine=KNO3:2 sugar:1", None, DATABASE).name == "mine"


def test_order_is_liquid_small_sugar_oxidizer() -> None:
    recipe = "KNO3:60 sucrose:15 red iron oxide:1 water:4 corn syrup:20"
    kinds = [line.kind for line in sheet(recipe, batch=0.2).lines]
    assert kinds == ["syrup", "liquid", "minor", "powder", "oxidizer"]


def test_equipment_says_what_nobody_stated() -> None:
    assert equipment_of(None).assumed == ("step", "residue_cup", "residue_pan")
    text = '[scale]\nstep = "0.5 g"\naccuracy = "0.2 g"\ncapacity = "300 g"\n'
    text += '[pan]\nresidue_cup = "0 g"\nvolume = "1 l"\n'
    found = equipment_of(check_bench(Path("b.toml"), text))
    assert found.assumed == ("residue_pan",)
    assert (found.step, found.accuracy, found.capacity) == (0.5e-3, 0.2e-3, 0.3)
    assert (found.residue_cup, found.volume) == (0.0, 1e-3)
    finer = equipment_of(check_bench(Path("b.toml"), text), 1e-4)
    assert (finer.step, finer.accuracy) == (1e-4, 0.5e-4)


def test_a_stated_vessel_comes_off_what_the_scale_holds() -> None:
    """300 g of KNO3 on a scale of 150 g: two portions, with a vessel of 60 g four."""
    for vessel, parts in ((None, 2), (0.06, 4)):
        equipment = Equipment(capacity=0.15, vessel=vessel)
        found = sheet("KNO3:75 sucrose:25", equipment=equipment, batch=0.4)
        line = found.line("potassium nitrate")
        assert len(line.portions) == parts
        assert max(line.portions) * 1e-4 + (vessel or 0.0) <= 0.15 + 1e-12
        said = " ".join(warnings(found, {}))
        assert ("whose own mass comes off it" in said) is (vessel is None)
    # nobody stated the vessel: 100 g of sucrose may be too much, 60 g are not
    said = warnings(sheet("KNO3:60 sucrose:40", equipment=EQ, batch=0.3), {})
    assert [text.split(":")[0] for text in said] == ["sucrose", "KNO3"]
    assert not warnings(sheet("KNO3:50 sucrose:50", equipment=EQ, batch=0.12), {})


EQ = Equipment(capacity=0.15)


def test_a_vessel_that_leaves_no_room_is_refused() -> None:
    text = '[scale]\nstep = "1 g"\ncapacity = "60 g"\nvessel = "59.5 g"\n'
    with pytest.raises(InputError, match="nothing could be weighed"):
        check_bench(Path("b.toml"), text)
    fine = check_bench(Path("b.toml"), text.replace("59.5", "59"))
    assert equipment_of(fine).most_steps == 1


def test_notes_say_what_to_mind() -> None:
    """By hand: 600 g in the pan, 1.5 g iron oxide are 15 steps, 270 > 200 g."""
    equipment = Equipment(capacity=0.2, volume=0.4e-3, residue_cup=0.0)
    recipe = "KNO3:119.9 sucrose:40 corn syrup:39.8 red iron oxide:0.3"
    found = sheet(recipe, equipment=equipment, batch=0.6)
    said = " ".join([*warnings(found, {}), *notes(found, grain_volume=38e-6)])
    assert "one step of the scale is 11 % of it" in said
    assert "weigh 2 portions or more" in said
    assert "fill the pan more than half" in said
    assert "enough for 8 grains" in said


BAD = [
    (lambda: sheet(batch=3e-3), "nothing is left to cast"),
    (lambda: sheet(), "give either"),
    (lambda: sheet("KNO3:1000 sucrose:0.1", batch=0.1), "less than a step"),
    (lambda: sheet(batch=0.1, equipment=Equipment(step=1e-12)), "step of the scale"),
    (lambda: Equipment(step=0.0), "must be above 0"),
    (lambda: Equipment(capacity=1e-5), "less than its step"),
    (lambda: pieces_of(None, Sizes(), grains=4), "needs the size of a grain"),
    (lambda: pieces_of(None, Sizes(), strands=-1), "allowed 0 to 10000"),
    (lambda: pieces_of(None, Sizes()), "nothing is to be cast"),
    (lambda: corrected(sheet(batch=0.1), {"water": 1.0}), "not on the sheet"),
    (
        lambda: corrected(sheet(batch=0.1), {"light corn syrup": 1e-3}),
        "1.5 g stay in its cup",
    ),
    (lambda: corrected(sheet(batch=0.1), {"sucrose": math.nan}), "must be above 0"),
]


@pytest.mark.parametrize(("make", "says"), BAD)
def test_what_cannot_be_is_refused(make, says) -> None:
    with pytest.raises(InputError, match=says) as caught:
        make()
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("recipe", "says"),
    [
        ("bse", "did you mean 'base'"),
        ("KNO3:60 sucrse:40", "recipe: unknown ingredient 'sucrse'"),
        ("KNO3:60", None),
    ],
)
def test_recipes_that_are_not_known(recipe, says) -> None:
    bench = check_bench(Path("b.toml"), '[recipes]\nbase = "KNO3:6 sugar:4"\n')
    if says is None:
        assert read_charge(recipe, bench, DATABASE).shares == {"potassium nitrate": 1.0}
        return
    with pytest.raises(Exception, match=says):
        read_charge(recipe, bench, DATABASE)


def test_an_ounce_scale_weighs_in_its_own_steps() -> None:
    """``step = "0.05 oz"``: every line is a multiple of 0.05 in ounces."""
    bench = check_bench(Path("bench.toml"), '[scale]\nstep = "0.05 oz"\n')
    equipment = equipment_of(bench)
    made = sheet(batch=0.2, equipment=equipment)
    assert equipment.unit == "oz"
    for line in made.lines:
        ounces = equipment.reading(line.steps)
        assert ounces == round(20.0 * ounces) / 20.0  # a multiple of 0.05
        assert ounces * 0.028349523125 == pytest.approx(line.mass, rel=1e-12)


@pytest.mark.exact
def test_what_is_weighed_is_what_dries_in_the_pan(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twice the mass in one pan dries half as fast: 1 - exp(-t / tau), tau by layer."""
    text = """
[kitchen]
cook = "105 C 10 min"
batch = "200 g"
pan_diameter = "16 cm"
"""
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    gone = []
    for grams in (200, 400):
        words = ["weigh", "KNO3:60 sugar:20 corn syrup:20", "--batch", f"{grams} g"]
        assert main([*words, "--json", "-o", "sheet.json", "--force"]) == 0
        row = json.loads(Path("sheet.json").read_text("utf-8"))["mixes"][0]
        start, left = (
            0.01 * row[f"water_as_{when}_percent"] for when in ("weighed", "cast")
        )
        gone.append(-math.log(left / (1.0 - left) / (start / (1.0 - start))))
    assert gone[0] / gone[1] == pytest.approx(398.5 / 198.5, rel=1e-3)
