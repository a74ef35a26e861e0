"""Names and lots of a bench file in every command."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

import castsugar as cs
from castsugar.cli.main import main

BENCH = """\
[recipes]
"mine" = "KNO3:60 powdered sugar:20 corn syrup:20"

[lots."damp bag"]
ingredient = "KNO3"
moisture = "2 %"

[lots."thin syrup"]
ingredient = "corn syrup"
solids = "75 %"
solids_u = "1 %"
"""

RECIPE = {"KNO3": 60, "powdered sugar": 20, "corn syrup": 20}
LOTS = {
    "KNO3": cs.Lot(moisture=0.02),
    "corn syrup": cs.Lot(dry_solids=0.75, dry_solids_uncertainty=0.01),
}


@pytest.fixture
def bench(tmp_path: Path) -> str:
    path = tmp_path / "bench.toml"
    path.write_text(BENCH, "utf-8")
    return str(path)


@pytest.mark.exact
def test_a_name_is_its_recipe_weighed_from_the_lots(
    bench: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the command says is what Python says of the same lots."""
    assert main(["evaluate", "mine", "--bench", bench, "--json", "--no-confirm"]) == 0
    (row,) = json.loads(capsys.readouterr().out)["mixes"]
    wanted = cs.evaluate(cs.Mix.weigh(RECIPE, lots=LOTS)).iloc[0]
    assert row["name"] == "mine"
    for key in ("water_as_cast_percent", "flame_temperature_K", "density_kg_m3"):
        assert row[key] == pytest.approx(wanted[key], rel=1e-8)
    dry = cs.evaluate(cs.Mix.weigh(RECIPE)).iloc[0]
    assert row["flame_temperature_K"] < dry.flame_temperature_K - 20.0


@pytest.mark.exact
def test_uncertainty_of_a_lot_is_that_of_its_syrup() -> None:
    (use,) = cs.Mix.weigh(RECIPE, lots=LOTS).syrups
    assert (use.dry_solids, use.dry_solids_uncertainty) == (0.75, 0.01)


@pytest.mark.exact
def test_what_is_typed_goes_before_the_bench(
    bench: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["kitchen", "judge", "mine", "--bench", bench, "--cook", "119 C"]
    words += ["--minutes", "8", "--json"]
    assert main(words) == 0
    own = json.loads(capsys.readouterr().out)["mixes"][0]
    assert main([*words, "--syrup-solids", "82 %"]) == 0
    typed = json.loads(capsys.readouterr().out)["mixes"][0]
    key = "water_as_weighed_percent"
    # 20 % of the mix is syrup: 7 points of dry solids are 1.4 % of the mix.
    assert own[key] - typed[key] == pytest.approx(1.4, abs=1e-9)


@pytest.mark.exact
@pytest.mark.parametrize(
    "words",
    [
        ["evaluate", "mnie"],
        ["ballistics", "mnie"],
        ["kitchen", "judge", "mnie", "--cook", "119 C", "--minutes", "8"],
        ["compare", "mine", "mnie"],
        ["justify", "mine", "mnie"],
        ["sweep", "mnie", "--vary", "KNO3", "--from", "55%", "--to", "60%"],
        ["map", "KNO3", "powdered sugar", "corn syrup", "--mark", "mnie"],
    ],
)
def test_a_wrong_name_is_told_the_nearest(
    words: list[str], bench: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*words, "--bench", bench]) == 2
    said = capsys.readouterr().err
    assert "'mine'" in said
    assert said.count("\n") == 1


@pytest.mark.exact
def test_a_map_is_weighed_from_the_lots(
    bench: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "map.csv"
    words = ["map", "KNO3", "powdered sugar", "corn syrup", "--step", "20%"]
    words += ["--mark", "mine"]
    assert main([*words, "--bench", bench, "--csv", str(table)]) == 0
    capsys.readouterr()
    rows = list(csv.DictReader(table.read_text("utf-8").splitlines()))
    keys = [
        f"recipe.{name}_mass_percent"
        for name in ("potassium_nitrate", "light_corn_syrup")
    ]
    (row,) = [r for r in rows if [float(r[k]) for k in keys] == [60.0, 20.0]]
    # 60 % of nitrate with 2 % water, 20 % of syrup with 25 %, of sugar its own.
    wanted = 100.0 * cs.Mix.weigh(RECIPE, lots=LOTS).water_as_weighed
    assert float(row["water_as_weighed_percent"]) == pytest.approx(wanted, rel=1e-8)
