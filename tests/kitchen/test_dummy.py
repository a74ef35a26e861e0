"""The inert dummy: potassium chloride for the nitrate, in the kitchen alone."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import castsugar as cs
from castsugar.cli.main import main
from castsugar.kitchen import suspension, water
from castsugar.kitchen.boiling import salt_taken
from castsugar.kitchen.parameters import unmeasured, values_of
from castsugar.kitchen.pot import pot_of, poured
from castsugar.kitchen.solubility import salt_solubility

Capture = pytest.CaptureFixture[str]

COOK = cs.Cook.hold(392.15, 480.0)
KITCHEN = cs.Kitchen(cook=COOK, draws=100)
REAL = {"KNO3": 60.0, "sucrose": 20.0, "corn syrup": 20.0}
# The same volume of chloride: 60 x 1988 / 2109 = 56.56 parts.
DUMMY = {"KCl": 60.0 * 1988.0 / 2109.0, "sucrose": 20.0, "corn syrup": 20.0}
TEXT = "KCl:56.6 sucrose:20 corn syrup:20"


@pytest.mark.recalled
def test_water_over_dissolved_chloride() -> None:
    """Saturated solution: 84.34 % humidity at 25 C; boils at 108.6 C."""
    # L. Greenspan, J. Res. NBS 81A (1977) 89, table 2, and the handbook's boiling
    # point, both from memory. One slope serves both: it leaves 1 % of the activity at
    # 25 C and 1 % of the pressure at the boil (0.3 C).
    cold = water.salt_activity(salt_solubility(298.15, "potassium chloride"), True)
    assert float(cold) == pytest.approx(0.8434, abs=0.01)
    hot = water.salt_activity(salt_solubility(381.75, "potassium chloride"), True)
    pressure = float(hot * water.saturation_pressure(381.75))
    assert pressure == pytest.approx(101325.0, rel=0.01)


@pytest.mark.exact
def test_salts_side_by_side() -> None:
    """Each row gets its own salt, in activity and solubility, and its own share."""
    mask = np.array([False, True])
    names = ("potassium nitrate", "potassium chloride")
    each = [float(salt_solubility(350.0, name)) for name in names]
    values = unmeasured().central().changed(chloride_dissolved=np.asarray(1.2))
    shares = (float(values.nitrate_dissolved), 1.2)
    wanted = [share * one for share, one in zip(shares, each, strict=True)]
    assert salt_taken(values, np.asarray(350.0), mask) == pytest.approx(wanted)
    slopes = np.array([water.NITRATE, water.CHLORIDE])
    assert water.salt_activity(0.3, mask) == pytest.approx(np.exp(0.3 * slopes))


@pytest.mark.exact
def test_a_dummy_is_the_same_volume_of_another_salt() -> None:
    """Weighed as such, or said of a mix with nitrate: one pot, but for the scale."""
    values = values_of(unmeasured().mean)
    real, own = pot_of(cs.Mix.weigh(REAL)), pot_of(cs.Mix.weigh(DUMMY))
    stands_in = real.as_dummy()
    whole = 1.0 - 0.6 * (1.0 - suspension.CHLORIDE / suspension.NITRATE)
    assert (own.nitrate * whole) == pytest.approx(stands_in.nitrate)
    assert own.chloride.tolist() == [True]
    mine, same = (poured(p, values, COOK, 101325.0) for p in (own, stands_in))
    for a, b in zip(mine, same, strict=True):
        assert a == pytest.approx(b, rel=1e-9)
    # Less of it dissolves at 119 C, so more stands as grains.
    assert mine[1] > poured(real, values, COOK, 101325.0)[1]
    assert stands_in.as_dummy().nitrate == pytest.approx(stands_in.nitrate)


@pytest.mark.exact
def test_the_kitchen_judges_a_dummy() -> None:
    """Every kitchen column, by any name, as one of many, marked for what it is."""
    table = cs.kitchen_table([DUMMY, TEXT, REAL], KITCHEN)
    assert table["flags"].tolist()[:2] == ["DUMMY: inert, no propellant"] * 2
    assert table["flags"][2] == ""
    assert table["pour_viscosity_Pa_s"].notna().all()
    # At the same volume it pours like the real mix, within the chain's factor of 4.
    ratio = table["pour_viscosity_Pa_s"][0] / table["pour_viscosity_Pa_s"][2]
    assert 0.25 < ratio < 4.0
    shares = np.array([list(DUMMY.values())]) / sum(DUMMY.values())
    many = cs.kitchen_table(cs.blend(list(DUMMY), shares), KITCHEN)
    for key in (
        "pour_viscosity_Pa_s",
        "relative_solids_20C",
        "liquid_boils_C",
        "density_kg_m3",
    ):
        assert many[key][0] == pytest.approx(table[key][0], rel=1e-9)


@pytest.mark.exact
def test_nitrate_and_dummy_in_one_pot_have_no_model() -> None:
    """Half a dummy is none: it burns."""
    mix = {"KNO3": 30, "KCl": 30, "sucrose": 20, "corn syrup": 20}
    table = cs.kitchen_table(mix, KITCHEN)
    assert "nitrate and its dummy in one pot" in table["flags"][0]
    with pytest.raises(cs.RefusedError, match="inert dummy"):
        cs.evaluate(mix)


MANY = np.array([[0.6, 0.4]])
BURNT = [
    lambda: cs.evaluate(DUMMY),
    lambda: cs.evaluate([REAL, DUMMY]),
    lambda: cs.evaluate(DUMMY, kitchen=KITCHEN),
    lambda: cs.evaluate(cs.blend(["KCl", "sucrose"], MANY)),
    lambda: cs.equilibrium(DUMMY),
    lambda: cs.performance(DUMMY),
    lambda: cs.sensitivities(DUMMY),
    lambda: cs.compare([REAL, DUMMY], draws=100),
    lambda: cs.justify(REAL, DUMMY, draws=100),
    lambda: cs.search({"KCl": (0.5, 0.6), "sucrose": (0.4, 0.5)}),
    lambda: cs.search({"KNO3": (0.5, 0.6), "sucrose": 0.4}, tried={"a": DUMMY}),
]


@pytest.mark.exact
@pytest.mark.parametrize("call", BURNT)
def test_thermochemistry_refuses_a_dummy(call) -> None:
    """With the reason, and where it belongs."""
    with pytest.raises(cs.RefusedError, match=r"inert dummy, which does not.*kitchen"):
        call()


BENCH = f"""\
[recipes]
mine = "KNO3:60 sucrose:40"
dummy = "{TEXT}"

[search]
maximise = "density_kg_m3"
[search.ingredients]
KNO3 = "58 % to 62 %"
sucrose = "38 % to 42 %"
"""


@pytest.mark.exact
@pytest.mark.parametrize(
    "words",
    [
        ["evaluate", TEXT],
        ["evaluate", "dummy", "--bench", "bench.toml"],
        ["ballistics", TEXT],
        ["sweep", TEXT, "--vary", "KCl"],
        ["map", "KCl", "sucrose", "water"],
        ["compare", "KNO3:60 sucrose:40", TEXT],
        ["justify", "KNO3:60 sucrose:40", TEXT],
        ["batch", "new", TEXT, "--batch", "200 g", "--date", "2026-05-01"],
    ],
)
def test_commands_that_burn_refuse_a_dummy(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]
) -> None:
    """One line with the reason; nothing is written."""
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(BENCH, "utf-8")
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "inert dummy" in err
    assert "did you mean" not in err


@pytest.mark.exact
def test_a_dummy_among_the_recipes_does_not_stop_a_search(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was never burnt: the search leaves it out of the mixes that were tried."""
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(BENCH, "utf-8")
    assert main(["search", "bench.toml", "--no-confirm", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [mix["name"] for mix in found["tried_mixes"]] == ["mine"]
    bad = BENCH.replace("KNO3 =", "KCl =")
    Path("bench.toml").write_text(bad, "utf-8")
    assert main(["search", "bench.toml"]) == 2
    assert "line 8: [search.ingredients] KCl - 'KCl' is ref" in capsys.readouterr().err


@pytest.mark.exact
def test_the_weigh_sheet_of_a_dummy_is_headed_so(
    capsys: Capture, tmp_path: Path
) -> None:
    """On the screen, on paper and in JSON; no word of c*."""
    page = tmp_path / "sheet.html"
    words = ["weigh", TEXT, "--batch", "200 g"]
    cook = ["--cook", "119 C", "--minutes", "8"]
    assert main([*words, *cook, "--page", str(page)]) == 0
    text = capsys.readouterr().out
    assert text.startswith("DUMMY")
    assert "it is no propellant" in " ".join(text.split())
    assert "Ideal at" not in text
    assert "c*" not in text
    assert "<h1>DUMMY" in page.read_text("utf-8")
    assert main([*words, "--json"]) == 0  # without a cook, too
    document = json.loads(capsys.readouterr().out)
    assert document["dummy"] is True
    assert document["mixes"][0]["characteristic_velocity_m_s"] is None
    assert document["mixes"][0]["status"] == "not computed: a dummy does not burn"
    real = TEXT.replace("KCl", "KNO3")
    assert main(["weigh", real, "--batch", "200 g", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["dummy"] is False


@pytest.mark.exact
def test_measurements_of_a_dummy(capsys: Capture) -> None:
    """The cup says the same, however the chloride is named."""
    cup = {"tube_diameter": 8e-3, "tube_length": 0.03, "head": 0.06, "volume": 5e-5}
    cup["time"] = 300.0
    said = cs.kitchen.flow_out(REAL, COOK, **cup, salt="potassium chloride")
    own = cs.kitchen.flow_out(DUMMY, COOK, **cup)
    values = values_of(unmeasured().mean)
    assert said.predict(values) == pytest.approx(own.predict(values), rel=1e-9)
    words = ["kitchen", "pan-weight", "--recipe", TEXT, "--batch", "200 g"]
    assert main([*words, "--lost", "2 g", "--cook", "119 C", "--minutes", "10"]) == 0
    assert TEXT in capsys.readouterr().out
