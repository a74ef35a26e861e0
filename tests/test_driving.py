"""Mixes in the user's motor: peak, margin, origin of the law, and the bench file."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from burning import strands, sure

import castsugar as cs
from castsugar import Hardware, load_database
from castsugar.bench.bench import check_bench, read_bench
from castsugar.bench.motor import hardware_of
from castsugar.cli.main import main
from castsugar.motor.burn_evidence import FIRING, Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.peak_pressure import Spread
from castsugar.readings.strand_files import read_strand_files

RATE, EXPONENT = 4.6e-3, 0.31
GRAIN = HollowCylinder(
    outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
)
MIX = cs.Mix.weigh({"KNO3": 60, "powdered sugar": 20, "corn syrup": 20})


def hardware(**changes: object) -> Hardware:
    """Return a motor of which everything is sure."""
    given: dict[str, object] = {
        "grain": GRAIN,
        "throat_diameter": 0.008,
        "burning": sure(RATE, EXPONENT),
        "spread": Spread(),
        "density_ratio": 1.0,
        **changes,
    }
    return Hardware(**given)  # type: ignore[arg-type]


@pytest.mark.exact
def test_peak_is_the_closed_form() -> None:
    """Mass balance: p = S a p^n (1 - p / (rho RT)), here at the largest Kn.

    With RT = (G c*)^2, G at an exponent of 1.13; two steps of the fixed point.
    """
    case = Case(rated_pressure=5e6)
    row = cs.evaluate(MIX, motor=hardware(case=case)).iloc[0]
    kn = GRAIN.largest_area / (math.pi / 4 * 0.008**2)
    a = RATE / 1e6**EXPONENT
    product = a * row.density_kg_m3 * row.characteristic_velocity_m_s * kn
    factor = 1.13**0.5 * (2 / 2.13) ** (2.13 / 0.26)
    fills = 1 / (row.density_kg_m3 * (factor * row.characteristic_velocity_m_s) ** 2)
    wanted = product ** (1 / (1 - EXPONENT))
    for _ in range(2):
        wanted = (product * (1 - fills * wanted)) ** (1 / (1 - EXPONENT))
    assert row.kn_max == pytest.approx(kn, rel=1e-12)
    # The exponent of the next batch leans a little to what is held beforehand.
    assert 1e6 * row.peak_pressure_MPa == pytest.approx(wanted, rel=1e-3)
    # Uncertain are strands to motor and the firing, 0.5 % each: 1.645 of their root.
    high = wanted * math.exp(1.6449 * math.hypot(0.005, 0.005) / (1 - EXPONENT))
    assert 1e6 * row.peak_pressure_p95_MPa == pytest.approx(high, rel=2e-3)
    margin = 100.0 * (5e6 - high) / 5e6
    assert row.pressure_margin_percent == pytest.approx(margin, rel=5e-3)
    assert row.burn_law_origin == "measured: own"


@pytest.mark.exact
def test_the_scatter_between_batches_widens_the_pressure_of_the_next_one() -> None:
    """ln p moves by 1.645 of all standard uncertainties over 1 - n.

    Not that of grains of the batch whose strands burned.
    """
    motor = hardware(burning=sure(RATE, EXPONENT, batch=0.06))
    row = cs.evaluate(MIX, motor=motor).iloc[0]
    here = math.log(row.peak_pressure_p95_this_batch_MPa / row.peak_pressure_MPa)
    next_ = math.log(row.peak_pressure_p95_MPa / row.peak_pressure_MPa)
    known = 1.6449 / (1 - EXPONENT)
    # The strands show the pot, not the recipe: its scatter counts twice for the next.
    assert next_ == pytest.approx(
        known * math.hypot(0.005, 0.005, 0.06, 0.06), rel=0.03
    )
    assert here == pytest.approx(known * math.hypot(0.005, 0.005), abs=0.01)


@pytest.mark.slow
@pytest.mark.exact
def test_one_firing_lowers_the_limit_no_further_than_it_knows() -> None:
    """Before the third the p95 is at least that without any, times exp(-1.96 u).

    u of ln(efficiency x rate): 2 % of the one, 5 % of strands against motors and 2.5 %
    from firing to firing of the other.
    """
    parts = dict(MIX.recipe)
    slow = Burned(
        name="fired",
        fractions=parts,
        kind=FIRING,
        batch="pot",
        pressure=np.array([2e6]),
        rate=np.array([0.5 * RATE * 2.0**EXPONENT]),
        log_rate_u=0.015,
    )
    own = strands(RATE, EXPONENT)
    case = Case(rated_pressure=5e6)
    before = cs.evaluate(MIX, motor=hardware(burning=BurnModel([own]), case=case))
    high = before.peak_pressure_p95_MPa[0]
    least = high * math.exp(-1.96 * math.hypot(0.02, 0.05, 0.025))
    told = {
        "burning": BurnModel([own, slow]),
        "efficiency": 0.8,
        "efficiency_measured": True,
        "efficiency_u": 0.02,
        "case": case,
    }
    one = cs.evaluate(MIX, motor=hardware(**told, firings=1)).iloc[0]
    assert one.peak_pressure_p95_MPa == pytest.approx(least, rel=1e-9)
    three = cs.evaluate(MIX, motor=hardware(**told, firings=3)).iloc[0]
    assert three.peak_pressure_p95_MPa < 0.9 * least
    assert one.peak_pressure_MPa == pytest.approx(three.peak_pressure_MPa, rel=1e-9)


@pytest.mark.exact
def test_density_efficiency_and_temperature() -> None:
    """Each factor on the mass made enters with the power 1/(1-n)."""
    power = 1 / (1 - EXPONENT)

    def peak(**changes: object) -> float:
        row = cs.evaluate(MIX, motor=hardware(**changes)).iloc[0]
        return float(row.peak_pressure_MPa)

    plain = peak()
    assert peak(density_ratio=0.95) == pytest.approx(plain * 0.95**power, rel=1e-3)
    # A stated efficiency is for performance; a measured one counts for the margin.
    assert peak(efficiency=0.9) == pytest.approx(plain, rel=1e-12)
    measured = peak(efficiency=0.9, efficiency_measured=True)
    assert measured == pytest.approx(plain * 0.9**power, rel=2e-3)
    warm = peak(grain_temperature=318.15, temperature_sensitivity=0.002)
    assert warm == pytest.approx(plain * math.exp(0.04) ** power, rel=1e-3)


@pytest.mark.exact
def test_rows_without_c_star_keep_their_place() -> None:
    """No nozzle or no flame: NaN and the reason, the others untouched."""
    cold = cs.Mix.weigh({"KNO3": 30, "sucrose": 10, "water": 60})
    table = cs.evaluate([MIX, cold], motor=hardware())
    assert np.isfinite(table.peak_pressure_MPa[0])
    assert np.isnan(table.peak_pressure_MPa[1])
    assert "no c*" in table.burn_law_origin[1]
    bare = cs.evaluate(MIX, motor=hardware(), exit_pressure=None).iloc[0]
    assert "no c*" in bare.burn_law_origin


STRANDS = """\
# invented readings
length_mm,time_s,pressure_MPa,temperature_C,mix
"""
RATIOS = {"a": (60, 20, 20), "b": (65, 15, 20), "c": (60, 15, 25)}
ITEMS = ("KNO3", "powdered sugar", "corn syrup")
NAMES = "KNO3:{} powdered sugar:{} corn syrup:{}"
MOTOR = """\
[motor]
throat = "8 mm"
exit = "18 mm"

[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "55 mm"
segments = 3

[motor.case]
rated_pressure = "1000 psi"
plastic = true
"""


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """Write an invented bench with strands of three mixes."""
    rng = np.random.default_rng(4)
    text, laws = STRANDS, MOTOR
    for (mix, parts), a in zip(RATIOS.items(), (4.6, 5.4, 4.1), strict=True):
        for p in (0.1013, 0.1013, 1.0, 1.0, 3.0, 3.0, 7.0, 7.0):
            rate = a * p**0.31 * math.exp(0.02 * rng.standard_normal())
            text += f"50.0,{50.0 / rate:.3f},{p},20,{mix}\n"
        recipe = NAMES.format(*parts)
        laws += f'\n[[motor.burn_law]]\nrecipe = "{recipe}"\n'
        laws += f'strands = "strands.csv"\nmix = "{mix}"\n'
    (tmp_path / "strands.csv").write_text(text)
    (tmp_path / "bench.toml").write_text(laws)
    return tmp_path / "bench.toml"


def driven(path: Path, recipes: list[tuple[float, float, float]]) -> object:
    """Evaluate mixes in the motor of a bench file."""
    mixes = [
        cs.Mix.weigh(
            dict(zip(("KNO3", "powdered sugar", "corn syrup"), r, strict=True))
        )
        for r in recipes
    ]
    return cs.evaluate(mixes, motor=hardware_of(read_bench(path), load_database()))


@pytest.mark.slow
@pytest.mark.exact
def test_nothing_jumps_between_measured_mixes(bench: Path) -> None:
    """A band grows with the distance from what was burned, a little."""
    table = driven(bench, [RATIOS["a"], (61.7, 16.7, 21.6)])
    assert table.burn_law_origin[0] == "measured: a"
    assert table.burn_law_origin[1].startswith("model of 3 mixes: 3.3 % of the mass")
    spread = table.peak_pressure_p95_MPa / table.peak_pressure_MPa
    assert 1.0 < spread[0] < 1.1 * spread[1]
    # Between the three, the best estimate lies between theirs.
    corners = driven(bench, list(RATIOS.values())).peak_pressure_MPa
    assert corners.min() < table.peak_pressure_MPa[1] < corners.max()


@pytest.mark.exact
def test_foreign_ingredient_widens_the_band(bench: Path) -> None:
    """What no measured mix holds is said, and doubted."""
    hard = hardware_of(read_bench(bench), load_database())
    parts = {"KNO3": 60, "powdered sugar": 20, "corn syrup": 17, "Fe2O3": 3}
    row = cs.evaluate(cs.Mix.weigh(parts), motor=hard).iloc[0]
    assert row.burn_law_origin == "model of 3 mixes: 3 % of the mass from a"
    plain = driven(bench, [(60, 20, 17)]).iloc[0]
    wide, narrow = (
        one.peak_pressure_p95_MPa / one.peak_pressure_MPa for one in (row, plain)
    )
    assert wide > narrow


@pytest.mark.exact
def test_blends_are_mixes(bench: Path) -> None:
    """Thousands at once give what one by one gives."""
    shares = np.array([[0.6, 0.2, 0.2], [0.62, 0.16, 0.22], [0.5, 0.3, 0.2]])
    hard = hardware_of(read_bench(bench), load_database())
    many = cs.evaluate(cs.blend(ITEMS, shares), motor=hard)
    each = driven(bench, [tuple(100 * row) for row in shares])
    for key in (
        "peak_pressure_MPa",
        "peak_pressure_p95_MPa",
        "pressure_margin_percent",
    ):
        np.testing.assert_allclose(many[key], each[key], rtol=1e-9)
    assert list(many.burn_law_origin) == list(each.burn_law_origin)


LAWFUL = MOTOR + '\n[[motor.burn_law]]\nborrowed = "sucrose 65/35"\n'

BAD = [
    (LAWFUL.replace('throat = "8 mm"', 'throat = "13 mm"'), "larger than the core"),
    (LAWFUL.replace('core = "12 mm"', 'core = "40 mm"'), "not below the outer"),
    (LAWFUL.replace("sucrose 65/35", "sucrose 60/40"), "did you mean"),
    (LAWFUL.replace("segments = 3", "segments = 2.5"), "whole number"),
    (
        LAWFUL.replace('"8 mm"', '"8 mm"\nefficiency = 0.9\nmeasured_efficiency = 0.9'),
        "both given",
    ),
    (LAWFUL.replace("plastic = true", "plastic = 1"), "true or false"),
    (
        LAWFUL.replace("rated_pressure", "rated_presure"),
        "'rated_pressure'",
    ),
    (LAWFUL.replace('rated_pressure = "1000 psi"\n', ""), "no limit"),
    (
        MOTOR
        + '\n[[motor.burn_law]]\nrecipe = "KNO3:65 sucrose:35"\nrate = "5 mm/s"\n',
        "pressure is missing",
    ),
    (
        MOTOR + '\n[[motor.burn_law]]\nrecipe = "KNO3:65 sucrose:35"\n'
        'strands = "none.csv"\n',
        "none.csv",
    ),
]


@pytest.mark.exact
@pytest.mark.parametrize(("text", "words"), BAD)
def test_bad_motor_table(text: str, words: str, tmp_path: Path) -> None:
    """One line with the file and what is allowed."""
    path = tmp_path / "bench.toml"
    with pytest.raises(cs.CastsugarError) as caught:
        hardware_of(check_bench(path, text), load_database())
    message = str(caught.value)
    assert words in message
    assert "bench.toml" in message or "none.csv" in message
    assert "\n" not in message


@pytest.mark.exact
def test_borrowed_law_is_said_and_wide() -> None:
    """A law of others: named, and its 95 % pressure far above the best estimate."""
    hard = hardware_of(check_bench(Path("bench.toml"), LAWFUL), load_database())
    row = cs.evaluate(cs.Mix.weigh({"KNO3": 65, "sucrose": 35}), motor=hard).iloc[0]
    assert row.burn_law_origin.startswith("borrowed: sucrose 65/35")
    # 25 % on the rate is 1.25^(1.645/(1-0.319)) = 1.71 on the 95 % pressure.
    assert row.peak_pressure_p95_MPa / row.peak_pressure_MPa > 1.6


@pytest.mark.slow
@pytest.mark.exact
def test_command(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Page, cautions, JSON and picture of a motor."""
    picture = bench.parent / "trace.svg"
    words = ["evaluate", NAMES.format(60, 20, 20), "--bench", str(bench)]
    assert main([*words, "--full", "--picture", str(picture)]) == 0
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines()[:-1])) <= 80
    flat = " ".join(text.split())
    for said in (
        "In your motor, an estimate about an unproved case",
        "peak pressure, 95 of 100 next batches below",
        "measured: a",
        "Not modelled in the motor",
        "What can raise the peak",
        "Mukunda-Paul",
        "castsugar ballistics",
        "pressure and margin with the ideal c* (cautious)",
        "g of propellant: beyond 125 g",
    ):
        assert said in flat, said
    assert picture.read_text("utf-8").startswith("<svg")
    assert main([*words, "--json", "--no-confirm"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["mixes"][0]["impulse_letter"] == "H"
    for said in (
        "A pipe rating is no allowable for a motor case",
        "estimate about a case that nobody has proved",
    ):
        assert said in " ".join(document["cautions"]), said


@pytest.mark.exact
@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--bench", "none.toml"], "cannot be read"),
        (["--picture", "t.svg"], "add --bench FILE"),
    ],
)
def test_bad_command(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2 and one line."""
    assert main(["evaluate", "KNO3:65 sucrose:35", "--no-confirm", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert err.count("\n") == 1


#: Strands by a rule, with some scatter: rates at 0.5, 1, 2, 4 MPa.
ROWS = [
    (50.0, 50.0 / (4.0 * p**0.3) * (1.02, 0.99, 1.0)[i % 3], p)
    for i, p in enumerate((0.5, 1.0, 2.0, 4.0, 0.5, 1.0, 2.0, 4.0))
]


#: The faster, the higher the pressure by far: no burn law.


def strands_file(path: Path, rows: list[tuple[float, float, float]]) -> None:
    head = "length_mm,time_s,pressure_MPa"
    lines = [f"{length},{time},{p}" for length, time, p in rows]
    path.write_text("\n".join([head, *lines]) + "\n", "utf-8")


def of_files(folder: Path, *entries: str) -> Hardware:
    """Return the motor of a bench file whose entries are of one mix, or nearly."""
    text = MOTOR + "".join(
        f'\n[[motor.burn_law]]\nrecipe = "{recipe}"\n{entry}\n'
        for recipe, entry in zip(
            ("KNO3:60 sucrose:40", "saltpeter:3 sucrose:2"), entries, strict=False
        )
    )
    return hardware_of(check_bench(folder / "bench.toml", text), load_database())


@pytest.mark.exact
def test_strands_of_one_batch_in_two_files_are_one_batch(tmp_path: Path) -> None:
    """The same readings in one file are the same rows; of two pots they are not."""
    strands_file(tmp_path / "whole.csv", ROWS)
    strands_file(tmp_path / "first.csv", ROWS[:5])
    strands_file(tmp_path / "second.csv", ROWS[5:])
    pot = '\nbatch = "pot 1"'
    halves = ('strands = "first.csv"', 'strands = "second.csv"')
    one = of_files(tmp_path, f'strands = "whole.csv"{pot}').burning.rows
    two = of_files(tmp_path, *(half + pot for half in halves)).burning.rows
    assert one.batches == two.batches == ("pot 1",)
    np.testing.assert_allclose(two.log_rate, one.log_rate, rtol=1e-15)
    assert (two.freedom, two.squares) == (one.freedom, pytest.approx(one.squares))
    assert len(of_files(tmp_path, *halves).burning.rows.batches) == 2


@pytest.mark.exact
@pytest.mark.parametrize(
    ("first", "then", "second", "told"),
    [
        (ROWS, ROWS[::-1], 'strands = "b.csv"', (1, "b.csv", 0, "a.csv")),
        (ROWS[:5], ROWS, 'strands = "b.csv"', (0, "a.csv", 1, "b.csv")),
        (ROWS, ROWS[:1], 'strands = "b.csv"', (1, "b.csv", 0, "a.csv")),
        (ROWS, ROWS, 'strands = "a.csv"', (1, "a.csv", 0, "a.csv")),
    ],
)
def test_strands_that_would_count_twice_are_refused(
    first: list[tuple[float, float, float]],
    then: list[tuple[float, float, float]],
    second: str,
    told: tuple[int, str, int, str],
    tmp_path: Path,
) -> None:
    """One line with both entries: the one that is too many, and where it stands.

    A file that was copied and went on counts what it was copied from once.
    """
    strands_file(tmp_path / "a.csv", first)
    strands_file(tmp_path / "b.csv", then)
    with pytest.raises(cs.InputError) as caught:
        of_files(tmp_path, 'strands = "a.csv"', second)
    starts = [MOTOR.count("\n") + 2 + 4 * n for n in (0, 1)]
    out, file, other, of = told
    assert str(caught.value).endswith(
        f"bench.toml, line {starts[out]}: [motor.burn_law] all its strands, of {file}, "
        f"are among those of the entry in line {starts[other]}, of {of}, and would "
        "count twice; take this entry out"
    )
    with pytest.raises(cs.InputError, match=r"a.csv is given twice; give it once$"):
        read_strand_files([tmp_path / "a.csv"] * 2)


@pytest.mark.slow
@pytest.mark.exact
def test_only_its_own_strands_are_held_against_a_mix(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Three strands leave one degree of freedom: said of their mix, of no other."""
    strands_file(tmp_path / "many.csv", ROWS)
    strands_file(tmp_path / "few.csv", ROWS[:3])
    text = MOTOR
    for recipe, name in (("KNO3:60 sucrose:40", "many"), ("KNO3:66 sucrose:34", "few")):
        text += f'\n[[motor.burn_law]]\nrecipe = "{recipe}"\nstrands = "{name}.csv"\n'
    (tmp_path / "bench.toml").write_text(text)
    said = {}
    for share in (60, 63, 66):
        words = [f"KNO3:{share} sucrose:{100 - share}", "--no-confirm"]
        assert main(["evaluate", *words, "--bench", str(tmp_path / "bench.toml")]) == 0
        said[share] = "degree of freedom" in capsys.readouterr().out
    assert said == {60: False, 63: False, 66: True}


@pytest.mark.exact
@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"throat_after": 0.0063}, "throat diameter after a firing is 6.3 mm, before"),
        ({"throat_after": 0.0121}, "allowed: 80 to 150 % of it"),
        ({"cone_half_angle": 1.0}, "cone half angle is 57.2958 degrees; allowed: 0"),
        ({"igniter_mass": -1e-3}, "igniter mass is -1 g; it must be 0 or more"),
        ({"igniter_time": 0.0}, "igniter time is 0 s"),
        ({"hottest_grain": 283.15}, "hottest grain temperature is 10 C, the grain"),
    ],
)
def test_what_a_firing_does_to_a_motor_is_checked(
    given: dict[str, float], message: str
) -> None:
    """Refused in one line, with what is allowed."""
    with pytest.raises(cs.InputError, match=message):
        hardware(**given)


@pytest.mark.slow
@pytest.mark.exact
def test_an_exhaust_below_an_exponent_of_one_has_a_pressure() -> None:
    """Its pressure is told, for that needs c* alone; no nozzle gives its thrust."""
    from castsugar.comparison.change import pressure_bands
    from castsugar.motor.fired_mixes import firings
    from castsugar.rows import records

    mix = cs.Mix.weigh({"KNO3": 51.1, "powdered sugar": 15.4, "corn syrup": 33.5})
    motor = hardware()
    for exponent, fired in ((0.9618, False), (1.13, True)):
        (row,) = records(cs.evaluate([mix], motor=motor).to_dict("list"))
        row |= {"isentropic_exponent": exponent}
        assert row["peak_pressure_MPa"] > 0.0
        assert (firings(motor, [mix], [row])[0] is not None) == fired
        (band,) = pressure_bands([mix], [row], motor)
        assert (band.expected is not None) == fired
        assert fired or "exponent of 0.962" in band.reason


@pytest.mark.exact
def test_without_an_oxidizer_there_is_no_pressure() -> None:
    """Sugar alone burns in no motor, whatever its decomposition would give as c*."""
    mix = cs.Mix.weigh({"powdered sugar": 60, "corn syrup": 40})
    row = cs.evaluate(mix, motor=hardware()).iloc[0]
    assert row.oxidizer_fuel_ratio == 0.0
    assert math.isnan(row.peak_pressure_MPa)
    assert math.isnan(row.peak_pressure_p95_MPa)
    assert "not computed: no c*" in row.burn_law_origin
