"""``check``: what of a bench is invented, misfit, missing or assumed, by weight."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from castsugar.bench.bench import check_bench
from castsugar.bench.example import write_example
from castsugar.bench.open_points import STATUSES, BenchCheck, check
from castsugar.bench.world import World, read
from castsugar.data.load import load_database

pytestmark = pytest.mark.exact  # text against what the files say


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> BenchCheck:
    folder = tmp_path_factory.mktemp("check")
    write_example(folder)
    return check(read(folder / "bench.toml"))


def of(text: str) -> BenchCheck:
    return check(World(check_bench(Path("bench.toml"), text), load_database()))


def test_the_example_is_all_invented(example: BenchCheck) -> None:
    """14 entries; the laws that the recipes burn by first, the spare bottle last."""
    invented = [point.entry for point in example.of("invented")]
    assert len(invented) == 14
    assert invented[0] == "motor.burn_law[0]: strands.csv"
    assert invented.index("motor") < invented.index("kitchen") < invented.index("scale")
    assert not example.of("invented")[-1].used
    assert 'lots."bottle 2"' in invented[-3:]
    assert example.exit_code == 1
    assert example.counts == {
        "recipes": 2,
        "lots": 4,
        "unused_lots": 1,
        "limits": 3,
        "measurements": 3,
        "burn_laws": 3,
    }
    assert example.files == ("bench.toml", "strands.csv")
    assert example.units == "si"


def test_what_is_missing_assumed_and_does_not_fit(example: BenchCheck) -> None:
    """The efficiency waits for a firing; usual spreads; the third mix scatters."""
    assert [p.entry for p in example.of("missing")] == ["motor.measured_efficiency"]
    assumed = {point.entry for point in example.of("assumed")}
    assert {"motor.area_spread", "motor.c_star_spread"} < assumed
    assert "motor.density_ratio" not in assumed  # the example states it
    assert "lots of red iron oxide" in assumed
    # Widths of burn rates that nobody stated; batch to batch moves a pressure most.
    assert example.of("assumed")[0].entry == "scatter.batch"
    assert example.of("assumed")[0].text == "of burning rates: 6 % is taken"
    for point in example.of("misfit"):
        assert point.entry.startswith(("motor.burn_law", "kitchen.measured"))
    ranks = [STATUSES.index(point.status) for point in example.points]
    assert ranks == sorted(ranks)


def test_an_empty_bench_misses_everything() -> None:
    """Nothing is invented then; the answer is still a no."""
    found = of("")
    assert {point.entry for point in found.of("missing")} == {
        "motor",
        "lots",
        "limits",
        "scale",
        "pan",
        "kitchen.cook",
    }
    assert found.of("invented") == ()
    assert found.exit_code == 1
    assert found.counts["recipes"] == 0


FULL = """\
[recipes]
base = "KNO3:65 sucrose:35"
[lots.a]
ingredient = "KNO3"
moisture = "0.1 %"
[lots.b]
ingredient = "sucrose"
moisture = "0.1 %"
[scale]
step = "0.1 g"
[pan]
volume = "1 l"
[kitchen]
cook = "119 C 8 min"
[limits]
kn_max = { at_most = 300 }
[motor]
throat = "8 mm"
measured_efficiency = "90 %"
[motor.grain]
outer = "36 mm"
core = "14 mm"
length = "62 mm"
[motor.case]
rated_pressure = "1000 psi"
[[motor.burn_law]]
borrowed = "sucrose 65/35"
"""


FIRED = """\
[[motor.firing]]
recipe = "KNO3:65 sucrose:35"
pressure = "3 MPa"
rate = "9 mm/s"
c_star_efficiency = "90 %"
"""


@pytest.mark.slow
def test_what_is_only_assumed_is_no_no() -> None:
    """Exit code 0; a measurement that contradicts, or one line, makes it 1."""
    found = of(FULL)
    assert {point.status for point in found.points} == {"assumed"}
    assert "motor.burn_law[0]" in {point.entry for point in found.points}
    assert {"pan.residue_cup", "kitchen.packing"} < {p.entry for p in found.points}
    assert found.exit_code == 0
    fired = FULL.replace('measured_efficiency = "90 %"\n', "") + FIRED
    assert of(fired).of("missing") == ()
    assert of(FULL.replace("[pan]", "[pan]\ninvented = true")).exit_code == 1
    odd = '[[kitchen.measured]]\nkind = "bulk density"\nvolume = "50 ml"\n'
    odd += 'mass = "38 g"\n'  # 0.36 of the volume is crystal; powders pack 0.6
    (point,) = of(FULL + odd).of("misfit")
    assert point.entry == "kitchen.measured[0]"
    assert of(FULL + odd).exit_code == 1


def test_it_goes_into_json(example: BenchCheck) -> None:
    """Plain values, every point with its status."""
    told = json.loads(json.dumps(example.to_dict()))
    assert {point["status"] for point in told["points"]} <= set(STATUSES)
    assert told["conditions"]["pressure_Pa"] == example.conditions["pressure"]
