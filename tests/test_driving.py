"""Mixes in the user's motor: peak, margin, origin of the law, and the bench file."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

import castsugar as cs
from castsugar import Hardware, load_database
from castsugar.bench.bench import check_bench, read_bench
from castsugar.bench.motor import hardware_of
from castsugar.cli.main import main
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.burn_model import MeasuredMix, blend_law
from castsugar.motor.case import Case
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import BurnKnowledge
from castsugar.motor.peak_pressure import Spread

RATE, EXPONENT = 4.6e-3, 0.31
LAW = BurnLaw(
    name="invented",
    bands=(Band(low=1e5, high=1e7, rate=RATE, exponent=EXPONENT),),
    log_rate_u=0.0,
    origin="stated",
)
GRAIN = HollowCylinder(
    outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
)
MIX = cs.Mix.weigh({"KNO3": 60, "powdered sugar": 20, "corn syrup": 20})


def hardware(**changes: object) -> Hardware:
    """Return a motor of which everything is sure."""
    given: dict[str, object] = {
        "grain": GRAIN,
        "throat_diameter": 0.008,
        "burning": BurnKnowledge(law=blend_law([], borrowed=LAW)),
        "spread": Spread(),
        "density_ratio": 1.0,
        "draws": 20,
        **changes,
    }
    return Hardware(**given)  # type: ignore[arg-type]


@pytest.mark.exact
def test_peak_is_the_closed_form() -> None:
    """Mass balance: p = (a rho c* Kn)^(1/(1-n)), here at the largest Kn."""
    case = Case(rated_pressure=5e6)
    row = cs.evaluate(MIX, motor=hardware(case=case)).iloc[0]
    kn = GRAIN.largest_area / (math.pi / 4 * 0.008**2)
    a = RATE / 1e6**EXPONENT
    product = a * row.density_kg_m3 * row.characteristic_velocity_m_s * kn
    wanted = product ** (1 / (1 - EXPONENT))
    assert row.kn_max == pytest.approx(kn, rel=1e-12)
    assert 1e6 * row.peak_pressure_MPa == pytest.approx(wanted, rel=1e-9)
    # Nothing is uncertain: the 95 % pressure is the pressure itself.
    assert 1e6 * row.peak_pressure_p95_MPa == pytest.approx(wanted, rel=1e-9)
    margin = 100.0 * (5e6 - wanted) / 5e6
    assert row.pressure_margin_percent == pytest.approx(margin, rel=1e-9)
    assert row.burn_law_origin == "borrowed: invented"


@pytest.mark.exact
@pytest.mark.parametrize("freedom", [1.0, 3.0, math.inf])
def test_few_strands_of_a_measured_mix_widen_its_pressure(freedom: float) -> None:
    """ln p moves by t u / (1 - n): 95 of 100 lie below t of 0.95, Student's or normal.

    Student's t of 0.95 is 6.314 with 1 and 2.353 with 3 degrees of freedom (any table).
    """
    law = BurnLaw(
        name="own",
        bands=LAW.bands,
        log_rate_u=0.02,
        covariance=((0.02**2, 0.0), (0.0, 0.0)),
        degrees_of_freedom=freedom,
    )
    parts = (0.6, 0.2, 0.2)
    known = BurnKnowledge(
        law=blend_law([MeasuredMix(name="own", fractions=parts, law=law)]),
        components=("potassium nitrate", "powdered sugar", "light corn syrup"),
    )
    motor = hardware(burning=known, draws=4000)
    row = cs.evaluate(MIX, motor=motor).iloc[0]
    assert row.burn_law_origin.startswith("measured")
    t = {1.0: 6.314, 3.0: 2.353, math.inf: 1.645}[freedom]
    moved = math.log(row.peak_pressure_p95_MPa / row.peak_pressure_MPa)
    assert moved == pytest.approx(t * 0.02 / (1 - EXPONENT), rel=0.07)
    # The comparison draws the same burn law.
    conditions = cs.Conditions(motor=motor, flow="equilibrium")
    found = cs.compare([MIX], conditions=conditions, doubts=cs.Doubts.none())
    values = np.log(found.draws.values["peak_pressure_MPa"][:, 0])
    moved = float(np.quantile(values, 0.95) - np.median(values))
    assert moved == pytest.approx(t * 0.02 / (1 - EXPONENT), rel=0.1)


@pytest.mark.exact
def test_density_efficiency_and_temperature() -> None:
    """Each factor on the mass made enters with the power 1/(1-n)."""
    power = 1 / (1 - EXPONENT)

    def peak(**changes: object) -> float:
        row = cs.evaluate(MIX, motor=hardware(**changes)).iloc[0]
        return float(row.peak_pressure_MPa)

    plain = peak()
    assert peak(density_ratio=0.95) == pytest.approx(plain * 0.95**power, rel=1e-9)
    # A stated efficiency is for performance; a measured one counts for the margin.
    assert peak(efficiency=0.9) == pytest.approx(plain, rel=1e-12)
    measured = peak(efficiency=0.9, efficiency_measured=True)
    assert measured == pytest.approx(plain * 0.9**power, rel=1e-9)
    warm = peak(grain_temperature=318.15, temperature_sensitivity=0.002)
    assert warm == pytest.approx(plain * math.exp(0.04) ** power, rel=1e-9)


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


@pytest.mark.exact
def test_measured_mix_keeps_its_own_law(bench: Path) -> None:
    """A measured mix has a tighter band than one between the measured."""
    table = driven(bench, [RATIOS["a"], (61.7, 16.7, 21.6)])
    assert table.burn_law_origin[0] == "measured: a"
    assert table.burn_law_origin[1].startswith("mixture model of 3 measured mixes")
    spread = table.peak_pressure_p95_MPa / table.peak_pressure_MPa
    assert 1.0 < spread[0] < spread[1]
    # Between the three, the best estimate lies between theirs.
    corners = driven(bench, list(RATIOS.values())).peak_pressure_MPa
    assert corners.min() < table.peak_pressure_MPa[1] < corners.max()


@pytest.mark.exact
def test_foreign_ingredient_widens_the_band(bench: Path) -> None:
    """What no measured mix holds is said, and doubted."""
    hard = hardware_of(read_bench(bench), load_database())
    parts = {"KNO3": 60, "powdered sugar": 20, "corn syrup": 17, "Fe2O3": 3}
    row = cs.evaluate(cs.Mix.weigh(parts), motor=hard).iloc[0]
    assert "3 % of it in no measured mix" in row.burn_law_origin
    plain = driven(bench, [(60, 20, 17)]).iloc[0]
    assert row.peak_pressure_p95_MPa > plain.peak_pressure_p95_MPa


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
    (MOTOR, "burn_law is missing"),
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
        "peak pressure, 95 of 100 below, MPa",
        "measured: a",
        "Not modelled in the motor",
        "Erosive burning is not modelled",
        "belongs with the effective molar mass",
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
RISING = [(50.0, t / p, p) for _, t, p in ROWS]


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
def test_strands_of_one_mix_in_two_files_are_one_law(tmp_path: Path) -> None:
    """The same readings in one file give the same law, to the bit."""
    strands_file(tmp_path / "whole.csv", ROWS)
    strands_file(tmp_path / "first.csv", ROWS[:5])
    strands_file(tmp_path / "second.csv", ROWS[5:])
    one = of_files(tmp_path, 'strands = "whole.csv"').burning.law
    two = of_files(
        tmp_path, 'strands = "first.csv"', 'strands = "second.csv"'
    ).burning.law
    assert len(one.mixes) == len(two.mixes) == 1
    assert two.mixes[0].law.degrees_of_freedom == 8 - 2
    assert two.mixes[0].law.bands == one.mixes[0].law.bands
    assert two.mixes[0].law.covariance == one.mixes[0].law.covariance


@pytest.mark.exact
@pytest.mark.parametrize(
    ("first", "then", "second", "words"),
    [
        (ROWS, ROWS[::-1], 'strands = "b.csv"', "would count twice"),
        (ROWS[:5], ROWS, 'strands = "b.csv"', "would count twice; leave out .*a.csv"),
        (ROWS, ROWS[:1], 'strands = "b.csv"', "would count twice; leave out .*b.csv"),
        (ROWS, ROWS, 'strands = "a.csv"', "would count twice"),
        (RISING[:4], RISING[4:], 'strands = "b.csv"', "no burn law"),
        (
            ROWS[:4],
            ROWS[4:],
            'rate = "5 mm/s"\npressure = "1 MPa"\nexponent = 0.4\n'
            'rate_spread = "10 %"\nexponent_spread = 0.05',
            "a.csv and a stated rate both say how",
        ),
    ],
)
def test_what_cannot_be_one_law_is_refused(
    first: list[tuple[float, float, float]],
    then: list[tuple[float, float, float]],
    second: str,
    words: str,
    tmp_path: Path,
) -> None:
    """One line with both files: strands that count twice, or that make no law.

    A file that was copied and went on counts what it was copied from once.
    """
    strands_file(tmp_path / "a.csv", first)
    strands_file(tmp_path / "b.csv", then)
    with pytest.raises(cs.InputError, match=words) as caught:
        of_files(tmp_path, 'strands = "a.csv"', second)
    message = str(caught.value)
    assert "\n" not in message
    assert message.count(".csv") >= 1 + ("rate" not in words)


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
