"""The tables of the search in a bench file: what they become, one line for a fault."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

import castsugar as cs
from castsugar.bench import search_tables
from castsugar.bench.bench import TABLES, Bench, check_bench
from castsugar.bench.motor import hardware_of
from castsugar.bench.search import search_asked, search_conditions
from castsugar.bench.world import World
from castsugar.cli.search_task import task_of
from castsugar.columns import CHANGE, COST, SYRUP
from castsugar.data.load import Database, load_database
from castsugar.kitchen.heat import parse_cook
from castsugar.kitchen.parameters import Kitchen
from castsugar.limits import searchable
from castsugar.motor.hardware import Hardware
from castsugar.optimize.multistart import Effort
from castsugar.optimize.search import run_search
from castsugar.optimize.task import OBJECTIVE, Sloppiness, Task
from castsugar.plausible import collected
from castsugar.thermo.flow import FLOWS

pytestmark = pytest.mark.exact  # text against what it says

PATH = Path("bench.toml")

#: An invented workshop: no real person's motor.
MOTOR = """\
[motor]   # invented
throat = "8 mm"
efficiency = "90 %"
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "55 mm"
segments = 3
[motor.case]
rated_pressure = "6 MPa"
[[motor.burn_law]]
recipe = "KNO3:60 powdered sugar:20 corn syrup:20"
rate = "3.6 mm/s"
pressure = "2 MPa"
exponent = 0.3
rate_spread = "5 %"
exponent_spread = 0.05
"""

SEARCH = """\
[recipes]   # invented
"base" = "KNO3:60 powdered sugar:20 corn syrup:20"
[scale]
step = "0.1 g"
capacity = "500 g"
vessel = "60 g"
accuracy = "0.04 g"
[limits]
pour_viscosity_Pa_s = { at_most = 10, probability = "80 %" }
peak_pressure_MPa = { at_most = "1000 psi", probability = "95 %" }
relative_solids_20C = { at_least = 0.8 }
[search]
maximise = "density_impulse_kg_s_m3"
pressure = "1000 psi"
exit_pressure = "14 psi"
flow = "equilibrium"
batch = "200 g"
cook = "119 C 8 min"
seed = 3
draws = 50
ratios = ["powdered sugar:corn syrup >= 0.5"]
front = ["specific_impulse_s", "peak_pressure_MPa"]
robust = true
syrup_solids_spread = "1 %"
moisture_spread = "0.1 %"
cook_temperature_spread = 2
cook_time_spread = "1 min"
[search.ingredients]
"KNO3" = "55 % to 70 %"
"powdered sugar" = "10 % to 35 %"
"corn syrup" = "10 % to 30 %"
"red iron oxide" = "1 %"
[search.stock]
"corn syrup" = "50 g"
"""


@pytest.fixture(scope="module")
def database() -> Database:
    return load_database()


def bench(text: str) -> Bench:
    return check_bench(PATH, text)


def task(text: str, **given) -> Task:
    return task_of(World(bench(text), load_database()), **given)


def wings(text: str) -> dict[str, Kitchen | Hardware]:
    """Build kitchen and motor as the command line does."""
    read = bench(text)
    said = search_conditions(read)
    cook = parse_cook(said.cook, said.minutes)
    motor = replace(hardware_of(read, load_database()), draws=said.draws)
    return {"kitchen": Kitchen(cook=cook, draws=said.draws), "motor": motor}


def test_every_key_arrives() -> None:
    """Each value by hand from the text: 14 psi is 14 x 6894.757293168 Pa."""
    given = wings(MOTOR + SEARCH)
    found = task(MOTOR + SEARCH, **given)
    space = found.space
    names = ("potassium nitrate", "powdered sugar", "light corn syrup")
    assert space.bounds == dict(
        zip(names, [(0.55, 0.70), (0.10, 0.35), (0.10, 0.30)], strict=True)
    )
    assert space.fixed == {"red iron oxide": 0.01}
    assert space.columns == (*names, "red iron oxide") == found.settings.items
    assert space.ratios == ("powdered sugar:light corn syrup >= 0.5",)
    assert space.purchases == {"light corn syrup": 0.05}
    assert (space.batch, space.scale_step) == (0.2, 1e-4)
    assert space.choices == {}
    settings = found.settings
    assert settings.pressure == pytest.approx(6894757.293168, rel=1e-12)
    assert settings.exit_pressure == pytest.approx(14 * 6894.757293168, rel=1e-12)
    assert settings.flow == "equilibrium"
    assert settings.kitchen is given["kitchen"]
    assert settings.motor is given["motor"]
    assert settings.water_lost == 0.0
    assert (found.objective, found.maximise) == ("density_impulse_kg_s_m3", True)
    pour, pressure, sets, rating = found.requirements
    assert (pour.column, pour.at_most) == ("pour_viscosity_Pa_s", 10.0)
    assert (pour.at_least, pour.probability) == (None, 0.8)
    assert pressure.at_most == pytest.approx(6.894757293168, rel=1e-12)
    assert pressure.probability == 0.95
    # The case is rated at 6 MPa, below what [limits] asks for: that holds, too.
    assert (rating.at_most, rating.probability) == (6.0, 0.95)
    assert (sets.at_least, sets.probability) == (0.8, None)
    # 60 : 20 : 20 parts of 100.
    assert found.tried == {
        "base": {names[0]: 0.6, names[1]: 0.2, names[2]: 0.2},
    }
    assert found.front == (
        ("specific_impulse_s", True),
        ("peak_pressure_MPa", False),
    )
    assert found.sloppiness == Sloppiness(
        weighing=4e-5,
        syrup_solids=0.01,
        moisture=0.001,
        cook_temperature=2.0,
        cook_time=60.0,
    )
    assert found.effort.seed == 3


def test_every_key_is_tried() -> None:
    """No key of the tables is without a test in this file."""
    tried = set(tomllib.loads(SEARCH)["search"])
    tried |= {"minimise", "weights", "water_lost", "minutes", "choices", "goal"}
    assert tried == set(TABLES["search"].KEYS)
    assert set(tomllib.loads(SEARCH)["scale"]) == set(TABLES["scale"].KEYS)


def test_conditions_for_the_command_line() -> None:
    """Known without catalogue, kitchen and motor."""
    said = search_conditions(bench(SEARCH))
    cook = parse_cook(said.cook, said.minutes)
    assert (cook.pour_temperature, cook.duration) == (392.15, 480.0)
    assert (said.draws, said.seed, said.water_lost) == (50, 3, None)


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [
        ('cook = "119 C"\nminutes = 7.5', 450.0),
        ('cook = "119 C for 8 min"', 480.0),
        ('cook = "246F 0.1 h"', 360.0),
        ('cook = "0 min 25 C, 6 min 105 C, 14 min 119 C"', 840.0),
    ],
)
def test_forms_of_a_cook(typed: str, seconds: float) -> None:
    """The command line's own syntax, and time beside temperature."""
    said = search_conditions(bench(SHORT.replace("[search]", f"[search]\n{typed}", 1)))
    assert parse_cook(said.cook, said.minutes).duration == pytest.approx(seconds)


def test_old_names_of_columns_are_read_with_a_remark() -> None:
    """Under today's name, a margin in per cent, pressures as they were."""
    text = SHORT.replace(
        "[search]\n",
        "[limits]\npressure_margin = { at_least = 0.25 }\n"
        'set_ratio = { at_least = 0.9 }\n[search]\nminimise = "chamber_pressure_MPa"\n'
        'front = ["pressure_margin", "specific_impulse_s"]\n',
        1,
    )
    with collected() as remarks:
        read = bench(text)
    assert {column: limit["at_least"] for column, limit in read.limits.items()} == {
        "pressure_margin_percent": 25.0,  # 100 times, columns.RENAMED
        "relative_solids_20C": 0.9,
    }
    assert read.search is not None
    assert read.search["minimise"] == "peak_pressure_MPa"
    assert read.search["front"][0] == ("pressure_margin_percent", True)
    assert [one.code for one in remarks] == ["old-name"] * 4
    assert "now 'pressure_margin_percent', its values times 100" in remarks[0].text
    assert "bench.toml, line 2: [limits] pressure_margin" in remarks[0].text


def test_a_weight_of_an_old_column_is_per_its_new_unit() -> None:
    """A weight of 50 per 1 is one of 0.5 per 1 %."""
    text = SHORT.replace(
        "[search]\n",
        '[search]\nmaximise = "weighted sum"\n'
        "weights = { pressure_margin = 50, kn_max = 1 }\n",
        1,
    )
    with collected():
        read = bench(text)
    assert read.search is not None
    assert read.search["weights"] == {"pressure_margin_percent": 0.5, "kn_max": 1.0}


def test_did_you_mean_knows_the_old_names() -> None:
    """A slip in an old name leads to the new one."""
    text = SHORT + "[limits.chamber_presure_p95_MPa]\nat_most = 5\n"
    with pytest.raises(cs.InputError, match="did you mean 'peak_pressure_p95_MPa'"):
        bench(text)


#: The least that a search needs.
SHORT = """\
[search]
[search.ingredients]
KNO3 = "55 % to 70 %"
sucrose = "30 % to 45 %"
"""


def test_what_is_taken_where_nothing_is_stated() -> None:
    """The defaults of the parts themselves; pressures as on the command line."""
    found = task(SHORT)
    assert (found.objective, found.maximise) == (OBJECTIVE, True)
    assert found.settings.flow == "no-solidification"
    assert found.settings.pressure == pytest.approx(6894757.293168, rel=1e-12)
    assert found.settings.exit_pressure == 101325.0
    assert found.effort == Effort(seed=0)
    assert found.front is None
    assert found.sloppiness is None
    assert (found.requirements, dict(found.tried)) == ((), {})
    assert (found.space.batch, found.space.scale_step) == (None, None)
    said = search_conditions(bench(SHORT))
    assert (said.cook, said.minutes, said.draws, said.seed) == (None,) * 4


def test_scale_alone_asks_for_no_batch() -> None:
    """The scale belongs to the workshop; a search without a batch ignores its step."""
    assert task('[scale]\nstep = "1 g"\n' + SHORT).space.scale_step is None


def test_a_scale_of_which_nothing_is_stated_shows_tenths_of_a_gram() -> None:
    """As weigh, batch and check say; common practice, no source."""
    asked = SHORT.replace("[search]", '[search]\nbatch = "200 g"', 1)
    assert task(asked).space.scale_step == 1e-4


def test_robust_without_more() -> None:
    """Half a step of the scale by default (0.1 g), and the usual where no scale is."""
    robust = SHORT.replace("[search]", "[search]\nrobust = true", 1)
    assert task(robust).sloppiness == Sloppiness()
    found = task('[scale]\nstep = "0.1 g"\n' + robust).sloppiness
    assert found == Sloppiness(weighing=5e-5)


def test_seed_of_a_call_goes_first() -> None:
    """File, call, neither."""
    seeded = SHORT.replace("[search]", "[search]\nseed = 7", 1)
    assert task(seeded).effort.seed == 7
    assert task(seeded, seed=0).effort.seed == 0
    assert task(SHORT, seed=5).effort.seed == 5
    with pytest.raises(cs.InputError, match="seed is -1"):
        task(SHORT, seed=-1)


CHOICES = """\
[search]
batch = "200 g"
water_lost = "20 %"
minimise = "weighted sum"
ratios = ["sugar:corn syrup <= 2", "table sugar : KNO3 <= 0.6"]
[search.weights]
specific_impulse_s = -1
flame_temperature_K = 0.01
[search.ingredients]
KNO3 = "55 % to 70 %"
sugar = "10 % to 35 %"
"corn syrup" = "10 % to 30 %"
[search.choices]
sugar = ["sucrose", "dextrose"]
[search.stock]
sugar = "60 g"
glucose = "50 g"
"""


def test_choices_and_weights() -> None:
    """A slot goes before an alias; an alternative may be named by an alias of its own.

    "sugar" is an alias of sucrose in the catalogue; as a slot it is either of two.
    """
    found = task(CHOICES)
    assert found.space.choices == {"sugar": ("sucrose", "dextrose")}
    assert found.space.columns == (
        "potassium nitrate",
        "sucrose",
        "dextrose",
        "light corn syrup",
    )
    assert found.space.ratios == (
        "sugar:light corn syrup <= 2",
        "sucrose:potassium nitrate <= 0.6",
    )
    assert found.space.purchases == {"sugar": 0.06, "dextrose": 0.05}
    assert (found.objective, found.maximise) == ("weighted sum", False)
    assert found.weights == {"specific_impulse_s": -1.0, "flame_temperature_K": 0.01}
    assert found.settings.water_lost == 0.2
    assert len(found.space.regions()) == 2


def test_fixed_ratio_and_balance() -> None:
    """Of 1 % oxide, 10 to 30 % syrup, sugar 0.8 of it: nitrate takes 45 to 81 %."""
    text = SEARCH.replace(">= 0.5", "= 0.8").replace('"10 % to 35 %"', '"0 % to 35 %"')
    space = task(
        MOTOR + text.replace('"55 % to 70 %"', '"balance"'), **wings(MOTOR + SEARCH)
    ).space
    assert space.bounds["potassium nitrate"] == (0.0, 1.0)
    assert space.ratios == ("powdered sugar:light corn syrup = 0.8",)
    (region,) = space.regions()
    nitrate = sorted(region.corners[:, space.columns.index("potassium nitrate")])
    # 50 g of syrup for 200 g are 25 %: 1 - 0.01 - 1.8 x 0.25, and x 0.1.
    assert (nitrate[0], nitrate[-1]) == pytest.approx((0.54, 0.81))


PRICES = """[prices]
"corn syrup" = "5 EUR/kg"
KNO3 = "1 EUR/lb"
[lots."bottle 3"]
ingredient = "corn syrup"
price = "0.003 EUR/g"
"""


def test_goals_in_words_and_prices_of_lots() -> None:
    """A pound is 0.45359237 kg; the lot's own price goes before the list."""
    wanted = {
        "most total impulse": ("total_impulse_N_s", True),
        "least change from  base": ("change_from_recipe_percent", False),
    }
    for words, (column, more) in wanted.items():
        text = SEARCH.replace(
            'maximise = "density_impulse_kg_s_m3"', f'goal = "{words}"'
        )
        found = task(MOTOR + PRICES + text, **wings(MOTOR + SEARCH))
        assert (found.objective, found.maximise) == (column, more)
        assert found.near == ("base" if "change" in words else "")
    assert found.prices is not None
    assert found.prices.currency == "EUR"
    assert found.prices.per_kg == pytest.approx(
        {"light corn syrup": 3.0, "potassium nitrate": 1.0 / 0.45359237}
    )


def test_the_cheapest_needs_every_price() -> None:
    """In the names that were typed."""
    text = SHORT.replace("[search]", '[search]\ngoal = "cheapest per N s"', 1)
    with pytest.raises(cs.InputError, match=r"stated of sucrose: add price to its lot"):
        task(PRICES + text)
    with pytest.raises(cs.InputError, match=r"stated of KNO3, sucrose: add price"):
        task(text)


@pytest.mark.parametrize(
    ("change", "line", "words"),
    [
        (('"1 EUR/lb"', "1"), 3, "[prices] KNO3 is 1; write '3.20 EUR/kg'"),
        (('"1 EUR/lb"', '"1 EUR"'), 3, "write '3.20 EUR/kg', a number, a currency"),
        (('"1 EUR/lb"', '"1 EUR/l"'), 3, "and the mass that it buys"),
        (('"1 EUR/lb"', '"-1 EUR/kg"'), 3, "is '-1 EUR/kg'; write"),
        (('"1 EUR/lb"', '"1 USD/lb"'), 3, "is in USD, others are in EUR; give one"),
        (("KNO3", "KNO9"), 3, "KNO9 - unknown ingredient"),
        (("KNO3", '"light corn syrup"'), 3, "is in the table under another name"),
        (('"0.003 EUR/g"', '"dear"'), 6, "price is 'dear'; write"),
        (('"0.003 EUR/g"', '"3 USD/kg"'), 6, "price is in USD, others are in EUR"),
    ],
)
def test_bad_prices(change: tuple[str, str], line: int, words: str) -> None:
    """One line, where it stands."""
    with pytest.raises(cs.InputError) as caught:
        task(PRICES.replace(*change) + SHORT)
    assert words in str(caught.value)
    assert str(caught.value).startswith(f"bench.toml, line {line}: ")


def test_fixed_slot() -> None:
    """One share for whichever sugar it is."""
    fixed = CHOICES.replace('sugar = "10 % to 35 %"', 'sugar = "20 %"')
    assert task(fixed).space.fixed == {"sugar": 0.2}


def test_case_is_what_the_case_may_hold(database: Database) -> None:
    """A rating is taken as it is: 6 MPa."""
    text = MOTOR + SHORT.replace(
        "[search]",
        '[limits]\npeak_pressure_p95_MPa = {at_most = "case"}\n[search]',
        1,
    )
    motor = hardware_of(bench(text), database)
    assert task(text, motor=motor).requirements[0].at_most == pytest.approx(6.0)
    with pytest.raises(cs.InputError, match=r"line 19: .* no case is known"):
        task(text)
    with pytest.raises(cs.InputError, match=r"no case is known; add \[motor.case\]"):
        task(text, motor=replace(motor, case=None))


def test_gauge_pressure_is_made_absolute() -> None:
    """100 psig is 100 x 6894.757293168 + 101325 Pa."""
    text = SHORT.replace(
        "[search]", '[limits.peak_pressure_MPa]\nat_most = "100 psig"\n[search]', 1
    )
    assert bench(text).limits["peak_pressure_MPa"]["at_most"] == pytest.approx(
        0.7908007293168, rel=1e-12
    )


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("pour_viscosity_Pa_s", ("pour_viscosity_Pa_s", False)),
        ("flame_temperature_K", ("flame_temperature_K", False)),
        ("pour_window_high_C", ("pour_window_high_C", True)),
        ("least density_kg_m3", ("density_kg_m3", False)),
        ("most  flame_temperature_K", ("flame_temperature_K", True)),
        ("least peak_pressure_MPa", ("peak_pressure_MPa", False)),
        (
            "delivered_specific_impulse_s",
            ("delivered_specific_impulse_s", True),
        ),
    ],
)
def test_better_way_of_a_front(typed: str, wanted: tuple[str, bool]) -> None:
    """Less pressure, viscosity and heat; more of all else; a word overrules."""
    front = f'[search]\nfront = ["specific_impulse_s", "{typed}"]'
    read = bench(SHORT.replace("[search]", front, 1)).search
    assert read is not None
    assert read["front"] == (("specific_impulse_s", True), wanted)


def test_words_agree_with_the_search() -> None:
    """What this room cannot import from the other is the same there."""
    assert searchable() == search_tables.SEARCHABLE
    assert set(FLOWS) == set(search_tables.FLOWS)
    known = {*search_tables.SEARCHABLE, COST, SYRUP, CHANGE}
    assert known >= search_tables.LESS_IS_BETTER


@pytest.mark.slow
def test_the_example_runs() -> None:
    """From the file to an answer: a tiny search with all wings, sloppy batches too."""
    asked = (MOTOR + SEARCH).replace('flow = "equilibrium"\n', "")
    asked = asked.replace('"80 %"', '"60 %"')  # without a pan drying is hardly known
    small = replace(
        task(asked, **wings(asked)),
        effort=Effort(points=60, prices=False, starts=1, seed=1),
        front=None,  # takes as long as all the rest
    )
    outcome = run_search(small, confirm=False)
    assert outcome.feasible
    recipe = outcome.found.recipe
    assert sum(recipe.values()) == pytest.approx(1.0)
    assert recipe["red iron oxide"] == pytest.approx(0.01)
    assert 0.55 - 1e-9 <= recipe["potassium nitrate"] <= 0.70 + 1e-9
    assert recipe["light corn syrup"] <= 0.25 + 1e-9  # 50 g at hand for 200 g
    assert recipe["powdered sugar"] >= 0.5 * recipe["light corn syrup"] - 1e-9
    values = outcome.found.values
    assert values["pour_viscosity_Pa_s, 60 of 100"] <= 10.0 * (1 + 1e-6)
    assert values["peak_pressure_MPa, 95 of 100"] <= 6.894757293168 * (1 + 1e-6)
    assert values["relative_solids_20C"] >= 0.8 - 1e-6
    assert set(outcome.tried_values) == {"base"}
    assert set(outcome.rows) >= {"best", "weighable", "robust", "base"}
    assert outcome.weighable is not None
    steps = outcome.weighable.masses / 1e-4
    assert steps == pytest.approx(steps.round(), abs=1e-6)


def test_file_without_a_search(database: Database) -> None:
    """Says what to add."""
    for call in (search_conditions, lambda b: search_asked(b, database)):
        with pytest.raises(cs.InputError, match=r"bench\.toml has no \[search\] table"):
            call(bench(MOTOR))


def test_reference_only_is_refused(database: Database) -> None:
    """A textbook fuel that a database of one's own knows is never weighed."""
    hydrogen = cs.Ingredient(
        name="hydrogen",
        formula="H2",
        enthalpy_of_formation=0.0,
        density=70.8,  # any
        role="fuel",
    )
    own = replace(database, _index=database._index | {"hydrogen": hydrogen})
    for text, words in (
        (SHORT + 'hydrogen = "1 %"\n', "line 5: [search.ingredients] hydrogen - "),
        ('[recipes]\nx = "KNO3:60 hydrogen:1"\n' + SHORT, "line 2: [recipes] x - "),
    ):
        with pytest.raises(cs.InputError) as caught:
            task_of(World(bench(text), own))
        assert str(caught.value).startswith(f"bench.toml, {words}")
        assert "'hydrogen', which is none of the catalogue's" in str(caught.value)


def test_kitchen_beside_stated_water() -> None:
    """Two ways in which water leaves contradict."""
    text = SHORT.replace("[search]", '[search]\nwater_lost = "20 %"', 1)
    kitchen = Kitchen(cook=parse_cook("119 C", 8), draws=20)
    with pytest.raises(cs.InputError, match=r"line 2: .*without a kitchen"):
        task(text, kitchen=kitchen)


def line_of(text: str, start: str) -> int:
    """Count the line that starts so."""
    lines = [n for n, one in enumerate(text.split("\n"), 1) if one.startswith(start)]
    assert len(lines) == 1, lines
    return lines[0]


#: Change of SEARCH, the start of the line that is blamed, words of the message.
BAD = [
    # table recipes
    (('"base" = ', '"best" = '), '"best"', "[recipes] best is a name that a search"),
    (('"base" = ', '"runner 2" = '), '"runner 2"', "call your mix otherwise"),
    (('"base" = "KNO3:60 p', '"base" = "mine=KNO3:60 p'), '"base"', "'mine' is one"),
    (('"KNO3:60 powdered sugar:20 corn syrup:20"', "3"), '"base"', "recipe in quotes"),
    (("KNO3:60 powdered", "KNO3:60,5 powdered"), '"base"', "decimal comma"),
    (("KNO3:60 powdered", "KNO3:60 powdred"), '"base"', "unknown ingredient"),
    (("KNO3:60 powdered", "sulfur:60 powdered"), '"base"', "'sulfur' is refused"),
    (('"base" = ', '" " = '), "[recipes]", "has the name ' '"),
    (('"base" = ', '"a\\nb" = '), "[recipes]", r"has the name 'a\nb'"),
    # table scale
    (('step = "0.1 g"', 'stp = "0.1 g"'), "stp", "did you mean 'step'"),
    (('step = "0.1 g"\n', ""), "[scale]", "step is missing"),
    (('step = "0.1 g"', 'step = "0 g"'), "step", "step is 0 g; allowed 0.0001 to 50 g"),
    (('step = "0.1 g"', 'step = "0.1"'), "step", "has no unit"),
    (('accuracy = "0.04 g"', 'accuracy = "-1 g"'), "accuracy", "below zero"),
    (('accuracy = "0.04 g"', 'accuracy = "300 g"'), "accuracy", "allowed 0 to 50 g"),
    (('step = "0.1 g"', 'step = "150 g"'), "step", "allowed 0.0001 to 50 g"),
    (('batch = "200 g"', 'batch = "0.15 g"'), "[search]", "more than half the batch"),
    # table limits
    (
        ("relative_solids_20C =", "relative_solid ="),
        "relative_solid",
        "did you mean 'relative_solids_20C'",
    ),
    (
        ("relative_solids_20C =", "zzz ="),
        "zzz",
        "is no column; allowed: oxidizer_fuel_ratio,",
    ),
    (("relative_solids_20C =", "flow_class ="), "flow_class", "is no column"),
    (("{ at_least = 0.8 }", "0.8"), "relative_solids_20C", "must be a table"),
    (
        ("{ at_least = 0.8 }", "{}"),
        "relative_solids_20C",
        "has no number; give at_most",
    ),
    (
        ("{ at_least = 0.8 }", "{ least = 1 }"),
        "relative_solids_20C",
        "did you mean 'at_least'",
    ),
    (
        ("{ at_least = 0.8 }", '{ at_least = "0.8" }'),
        "relative_solids_20C",
        "a number without quotes, in the unit of the column",
    ),
    (
        ("{ at_least = 0.8 }", "{ at_least = nan }"),
        "relative_solids_20C",
        "not a finite number",
    ),
    (
        ("{ at_least = 0.8 }", "{ at_least = true }"),
        "relative_solids_20C",
        "must be a number",
    ),
    (
        (
            "relative_solids_20C = { at_least = 0.8 }",
            'sugar_degraded_percent = { at_most = 2, probability = "90 %" }',
        ),
        "sugar_degraded_percent",
        "sugar_degraded_percent - sugar_degraded_percent has no draws",
    ),
    (
        ("{ at_least = 0.8 }", "{ at_least = 0.8, at_most = 0.7 }"),
        "relative_solids_20C",
        "limits on relative_solids_20C contradict",
    ),
    (('"80 %"', '"30 %"'), "pour_viscosity", "allowed 50 to 99 %"),
    (('"80 %"', "80"), "pour_viscosity", "is above 1, that is 100 %"),
    (('at_most = "1000 psi"', 'at_most = "1000"'), "peak", "has no unit"),
    (('at_most = "1000 psi"', 'at_most = "cse"'), "peak", "or 'case' for what"),
    (('at_most = "1000 psi"', 'at_least = "case"'), "peak", "limits what is at_mo"),
    # of the search, objective
    (("maximise = ", "maximize = "), "maximize", "did you mean 'maximise'"),
    (('"density_impulse_kg_s_m3"', '"density_impulse"'), "maximise", "did you mean"),
    (
        ("maximise = ", 'minimise = "flame_temperature_K"\nmaximise = '),
        "minimise",
        "and maximise are both given",
    ),
    (
        ('"density_impulse_kg_s_m3"', '"weighted sum"'),
        "maximise",
        "add weights = { column = 1.0 }",
    ),
    (
        ("[search.stock]", "[search.weights]\nrelative_solids_20C = 1\n[search.stock]"),
        "[search.weights]",
        "weights need maximise = 'weighted sum'",
    ),
    # of the search, goals
    (
        ('maximise = "density_impulse_kg_s_m3"', 'goal = "highest pressure"'),
        "goal",
        "is 'highest pressure', no goal: pressure and burning rate burst cases",
    ),
    (
        ('maximise = "density_impulse_kg_s_m3"', 'goal = "fastest burning rate"'),
        "goal",
        "burst cases and add no impulse",
    ),
    (
        ('maximise = "density_impulse_kg_s_m3"', 'maximise = "peak_pressure_MPa"'),
        "maximise",
        "most peak_pressure_MPa is no goal: pressure and burning rate",
    ),
    (
        ('"peak_pressure_MPa"]', '"most peak_pressure_MPa"]'),
        "front",
        "most peak_pressure_MPa is no goal",
    ),
    (
        ('maximise = "density_impulse_kg_s_m3"', 'goal = "cheap"'),
        "goal",
        "no goal; allowed: 'most total impulse', 'cheapest per N s'",
    ),
    (
        ('maximise = "density_impulse_kg_s_m3"', 'goal = "least change from bse"'),
        "goal",
        "names 'bse', no recipe of [recipes]; did you mean 'base'?",
    ),
    (
        ('"density_impulse_kg_s_m3"\n', '"flame_temperature_K"\ngoal = "cheap"\n'),
        "goal",
        "goal and maximise are both given; give one",
    ),
    # of the search, conditions
    (('pressure = "1000 psi"\n', 'pressure = "1000"\n'), "pressure", "has no unit"),
    (('\npressure = "1000 psi"\n', '\npressure = "1 GPa"\n'), "pressure", "unit"),
    (
        ('\npressure = "1000 psi"\n', '\npressure = "200 MPa"\n'),
        "pressure",
        "is 200 MPa; allowed 0.001 to 100 MPa",
    ),
    (('"14 psi"', '"1001 psi"'), "exit_pressure", "is not below the chamber pressure"),
    (('"14 psi"', '"0 psi"'), "exit_pressure", "allowed 0.001 to 10000 kPa"),
    (('flow = "equilibrium"', 'flow = "slow"'), "flow", "allowed: no-solidification"),
    (('batch = "200 g"', 'batch = "0 g"'), "batch", "is 0 g; allowed 0.1 to 10000 g"),
    (('batch = "200 g"\n', ""), "[search.stock]", "add batch = '200 g'"),
    (('"119 C 8 min"', '"119 C"'), "cook =", "says no time"),
    (('"119 C 8 min"', '"119,5 C 8 min"'), "cook =", "decimal comma"),
    (('"119 C 8 min"', '"hot"'), "cook =", "has no number"),
    (("seed = 3", 'seed = 3\nwater_lost = "9 %"'), "water_lost", "and cook are both"),
    (
        ('cook = "119 C 8 min"', "minutes = 8"),
        "minutes",
        "needs cook; give that too: cook = '119 C 8 min'",
    ),
    (("seed = 3", "seed = -3"), "seed", "a whole number, 0 or more"),
    (("seed = 3", "seed = 3.0"), "seed", "a whole number, 0 or more"),
    (("seed = 3", "seed = true"), "seed", "a whole number, 0 or more"),
    (("draws = 50", "draws = 5"), "draws", "is 5; allowed 20 to 100000"),
    (("robust = true", "robust = 1"), "robust", "must be true or false"),
    (("robust = true\n", ""), "syrup_solids_spread", "add that"),
    (
        ('robust = true\nsyrup_solids_spread = "1 %"\n', ""),
        "moisture_spread",
        "says nothing without robust = true",
    ),
    (
        ('moisture_spread = "0.1 %"', 'moisture_spread = "30 %"'),
        "moisture_sp",
        "allowed 0 to 19.9",
    ),
    # of the search, ratios and front
    (('["powdered sugar:corn syrup >= 0.5"]', '"x"'), "ratios", "list of texts"),
    (
        ("syrup >= 0.5", "syrup = 9"),
        "[search]",
        "together: powdered sugar:corn syrup =",
    ),
    (("syrup >= 0.5", "syrup > 0.5"), "ratios", "is not understood; write 'sucrose"),
    (
        ("powdered sugar:corn syrup >=", "powderd sugar:corn syrup >="),
        "ratios",
        "'powderd sugar' is not in [search.ingredients]; did you mean 'powdered sugar'",
    ),
    (
        ("powdered sugar:corn syrup >=", "H2O:corn syrup >="),
        "ratios",
        "it holds KNO3, powdered sugar, corn syrup, red iron oxide",
    ),
    (("syrup >= 0.5", "syrup >= half"), "[search]", "must be a number above 0"),
    (
        ("powdered sugar:corn syrup >=", "KNO3:saltpeter >="),
        "[search]",
        "ratio 'KNO3:KNO3 >= 0.5' compares an ingredient with itself",
    ),
    (('["specific_impulse_s", ', "["), "front", "has 1 columns; give two"),
    (('"specific_impulse_s"', '"specific_impulse"'), "front", "'specific_impulse_s'"),
    (('["specific_impulse_s"', '["most x"'), "front", "names 'x', no column"),
    (('["specific_impulse_s"', '["weighted sum"'), "front", "no column"),
    (
        ('["specific_impulse_s"', '["most peak_pressure_MPa"'),
        "front",
        "names 'peak_pressure_MPa' twice",
    ),
    # table search.ingredients
    (('"KNO3" = "55 % to', '"KNO" = "55 % to'), '"KNO"', "unknown ingredient 'KNO'"),
    (('"red iron oxide" = "1', '"chlorate" = "1'), '"chlorate"', "is refused"),
    (
        ('oxide" = "1 %"', 'oxide" = "1"'),
        '"red iron oxide"',
        "is '1'; write '55 % to 70 %', '1 %' for a",
    ),
    (('oxide" = "1 %"', 'oxide" = 0.01'), '"red iron oxide"', "is 0.01; write"),
    (('oxide" = "1 %"', 'oxide" = "rest"'), '"red iron oxide"', "or 'balance' for"),
    (
        (
            '"10 % to 35 %"\n"corn syrup" = "10 % to 30 %"',
            '"balance"\n"corn syrup" = "balance"',
        ),
        '"corn syrup" = "b',
        "is the balance, as is 'powdered sugar'; only one can take the rest",
    ),
    (('"55 % to 70 %"', '"55 to 70 %"'), '"KNO3"', "is '55 to 70 %'; write"),
    (('"55 % to 70 %"', '"55 % to 70 % to 80 %"'), '"KNO3"', "write '55 % to 70 %'"),
    (('"55 % to 70 %"', '"55 - 70 %"'), '"KNO3"', "bounds look like '55 % to 70 %'"),
    (('"55 % to 70 %"', '"55 % to 170 %"'), '"KNO3"', "is above 1, that is 100 %"),
    (
        ('"55 % to 70 %"', '"70 % to 55 %"'),
        '"KNO3"',
        "bounds of 'KNO3' contradict: at least 70 %, at most 55 %",
    ),
    (
        ('"55 % to 70 %"', '"85 % to 90 %"'),
        "[search]",
        "no mix keeps these limits together",
    ),
    (
        ('"red iron oxide" = "1 %"', 'saltpeter = "1 %"'),
        "saltpeter",
        "'saltpeter' is 'potassium nitrate', which is in the space already (as 'KNO3')",
    ),
    # table search.stock
    (('"corn syrup" = "50 g"', '"corn" = "50 g"'), '"corn"', "did you mean 'corn syr"),
    (('"corn syrup" = "50 g"', "KNO3 = 50"), "KNO3", "has no unit"),
    (('"50 g"', '"50 g"\n"light syrup" = "9 g"'), '"light syrup"', "another name"),
    (('"50 g"', '"10 g"'), "[search]", "10 g of corn syrup for 200 g"),
]


@pytest.mark.parametrize(("change", "start", "words"), BAD, ids=range(len(BAD)))
def test_bad_table(change: tuple[str, str], start: str, words: str) -> None:
    """File, line, table, what was typed and what is allowed, on one line."""
    assert SEARCH.count(change[0]) == 1, change
    text = SEARCH.replace(*change)
    for variant in (text, text.replace("\n", "\r\n")):
        with pytest.raises(cs.InputError) as caught:
            task(variant)
        message = str(caught.value)
        assert words in message
        assert "\n" not in message
        assert message.startswith(f"bench.toml, line {line_of(text, start)}: ["), (
            message
        )


#: The same with choices and weights.
BAD_CHOICES = [
    (('["sucrose", "dextrose"]', '"sucrose"'), 14, "list of texts"),
    (
        (', "dextrose"]\n[search.stock]\nsugar = "60 g"\nglucose = "50 g"', "]"),
        1,
        "slot 'sugar' offers ('sucrose',); give two or more alternatives",
    ),
    (('["sucrose", "dextrose"]', '["sucrose", "dextros"]'), 14, "'dextrose'"),
    (('["sucrose", "dextrose"]', '["sucrose", "beet sugar"]'), 14, "already"),
    (('["sucrose", "dextrose"]', '["sugar", "dextrose"]'), 14, "a slot and an ingr"),
    (('\nsugar = ["', '\nsugr = ["'), 14, "did you mean 'sugar'? add it to"),
    (("specific_impulse_s = -1", "specific_impulse = -1"), 7, "'specific_impulse_s'"),
    (("specific_impulse_s = -1", "specific_impulse_s = true"), 7, "must be a number"),
    (
        (
            "specific_impulse_s = -1\nflame_temperature_K = 0.01",
            "relative_solids_20C = 0",
        ),
        6,
        "has no weight but 0",
    ),
    (
        ("specific_impulse_s = -1", "relative_solids_20C = -1"),
        1,
        "relative_solids_20C needs a kitchen",
    ),
    (("specific_impulse_s = -1", "kn_max = -1"), 1, "kn_max needs a motor"),
    (
        ('"weighted sum"', '"weighted sum"\nrobust = "yes"'),
        5,
        "robust is 'yes'; it must be true or false",
    ),
    (("[search.weights]", "[search.waits]"), 6, "is not known"),
    (('sugar = "60 g"', 'sugar = "0 g"'), 1, "0 g of sugar for 200 g"),
]


@pytest.mark.parametrize(("change", "line", "words"), BAD_CHOICES)
def test_bad_choices(change: tuple[str, str], line: int, words: str) -> None:
    """As above."""
    assert CHOICES.count(change[0]) == 1, change
    with pytest.raises(cs.InputError) as caught:
        task(CHOICES.replace(*change))
    message = str(caught.value)
    assert words in message
    assert "\n" not in message
    assert message.startswith(f"bench.toml, line {line}: [search"), message


def test_limit_that_needs_a_wing_is_blamed_where_it_stands() -> None:
    """The limit's own line, not that of the search."""
    text = SEARCH.replace("cook =", "#").replace("draws", "#")
    line = line_of(text, "pour_viscosity")
    with pytest.raises(cs.InputError, match=f"line {line}: .* needs a kitchen"):
        task(text)


def test_delivered_impulse_needs_an_efficiency(database: Database) -> None:
    """Stated in the motor's table, or not computed."""
    text = MOTOR + SHORT.replace(
        "[search]", '[search]\nmaximise = "delivered_specific_impulse_s"', 1
    )
    motor = hardware_of(bench(text), database)
    assert task(text, motor=motor).objective == "delivered_specific_impulse_s"
    with pytest.raises(cs.InputError, match=r"\[search\] - .* needs an efficiency"):
        task(text, motor=replace(motor, efficiency=None))


@pytest.mark.parametrize("table", ["recipes", "scale", "limits", "search"])
def test_tables_that_are_none(table: str) -> None:
    """A number in the place of a table."""
    with pytest.raises(cs.InputError, match=rf"line 1: \[{table}\] must be a table"):
        bench(f"{table} = 3\n")
    if table == "search":
        for inner in ("ingredients", "choices", "stock"):
            text = f'[search]\n{inner} = 3\n[search.ingredients]\nKNO3 = "1 %"\n'
            text = text if inner != "ingredients" else "[search]\ningredients = 3\n"
            with pytest.raises(cs.InputError, match="must be a table"):
                bench(text)
        with pytest.raises(cs.InputError, match="ingredients is missing; give"):
            bench("[search]\n")
        empty = "[search]\n[search.ingredients]\n"
        with pytest.raises(cs.InputError, match="space has no ingredient"):
            task(empty)
