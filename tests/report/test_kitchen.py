"""What the kitchen answers on a screen, in words and in its documents."""

from __future__ import annotations

import json
import math
import re
import shlex
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

import castsugar as cs
from castsugar.bench.open_points import check
from castsugar.cli.main import main
from castsugar.kitchen.handling import Handling
from castsugar.kitchen.parameters import BESIDE
from castsugar.kitchen.pot import pot_of
from castsugar.kitchen.verdict import judge
from castsugar.report import kitchen, kitchen_belief, kitchen_how
from castsugar.report.document import schema_of
from castsugar.report.field import FIELDS
from castsugar.report.screen import STATUSES
from castsugar.report.shown import Shown

# Exact: words and layout against their rules, numbers against rows made by hand.
pytestmark = pytest.mark.exact

FLOW = (
    'flow-out --recipe base --cook "119 C" --minutes 8 --tube-diameter "8 mm" '
    '--tube-length "30 mm" --head "60 mm" --volume "50 ml" --time "300 s" '
    '--salt "potassium chloride"'
)
PAN = 'pan-weight --recipe base --batch "200 g" --lost "2 g" --cook "119 C" --minutes 8'
BALL = (
    'ball-fall --ball "3 mm" --cup "40 mm" --fall "50 mm" --time "12 s" '
    '--temperature "25 C"'
)
BRINE = 'brine --mass "60 g" --loose "48 ml" --tapped "43 ml" --temperature "20 C"'
CLEAR = (
    'clear-point --liquid A --mass "20 g" --added "5.1 g" --portion "0.1 g" '
    '--temperature "85 C"'
)
BULK = 'bulk-density --mass "69 g" --volume "50 ml"'

#: Command -> its document and the parts of it; more in test_acceptance.py.
COMMANDS = {
    'judge base red "KNO3:60 sugar:15 corn syrup:25"': (
        "kitchen",
        kitchen.JUDGED_PARTS,
    ),
    'judge "KNO3:65 sorbitol:35"': ("kitchen", kitchen.JUDGED_PARTS),
    'judge base --cook "151 C 5 min"': ("kitchen", kitchen.JUDGED_PARTS),
    "parameters": ("kitchen_parameters", kitchen_belief.PARAMETER_PARTS),
    PAN: ("kitchen_measurement", kitchen_belief.MEASURED_PARTS),
    BALL: ("kitchen_measurement", kitchen_belief.MEASURED_PARTS),
    BULK: ("kitchen_measurement", kitchen_belief.MEASURED_PARTS),
    BRINE: ("kitchen_measurement", kitchen_belief.MEASURED_PARTS),
    CLEAR: ("kitchen_measurement", kitchen_belief.MEASURED_PARTS),
    f'{FLOW} --layer "3 mm"': ("kitchen_measurement", kitchen_belief.MEASURED_PARTS),
    **{
        f"{kind.replace(' ', '-')} --how": (
            "kitchen_protocol",
            kitchen_how.PROTOCOL_PARTS,
        )
        for kind in kitchen_how.PROTOCOLS
    },
}

#: A row as the table gives it.
ROW = {
    "name": "a",
    "flags": "",
    "flow_class": "pours",
    "pours_probability": 0.584,
    "pour_viscosity_Pa_s": 8.53,
    "pour_viscosity_Pa_s_interval": (2.1, math.inf),
    "pour_window_low_C": 116.1,
    "pour_window_high_C": 124.6,
    "liquid_boils_C": 121.7,
    "relative_solids_20C": 1.07,
    "relative_solids_20C_interval": (1.01, 1.15),
    "storage_humidity_max_percent": 67.0,
    "storage_humidity_max_percent_interval": (60.0, 70.0),
}


@pytest.fixture
def example(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The example bench, in the folder where one works."""
    monkeypatch.chdir(tmp_path)
    cs.bench.write_example(tmp_path)
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], command: str) -> tuple[int, str]:
    """Return exit code and output; nothing stands beside it."""
    capsys.readouterr()
    code = main(shlex.split(f"kitchen {command}"))
    out, err = capsys.readouterr()
    assert err == ""
    return code, out


@pytest.mark.parametrize("command", COMMANDS)
def test_a_screen(
    command: str, example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """24 lines of 80 columns, the gravest word first, what comes next runs."""
    del example
    code, out = said(capsys, f"{command} --units us")
    lines = out.splitlines()
    assert code == 0
    assert len(lines) <= 24
    assert max(map(len, lines[:-1])) <= 80
    words = [w for line in lines for w in STATUSES if line.startswith(f"{w}  ")]
    assert words == sorted(words, key=list(STATUSES).index)
    assert lines[-1].startswith("Next: castsugar ")
    protocol = command.endswith("--how")
    assert ("EXAMPLE" in out) != protocol
    if "parameters" not in command:
        shown = sum(line.startswith("! ") for line in lines)
        assert shown <= 3
        assert lines[-2].endswith("more: castsugar cautions")
    body = "\n".join(lines[:-1])
    assert not re.search(r"\d (MPa|kPa|mm|g|kg|°C|K|ml)\b", body)
    _, full = said(capsys, f"{command} --full")
    assert max(map(len, full.splitlines()[:-1])) <= 80


@pytest.mark.parametrize("command", COMMANDS)
def test_a_document(
    command: str, example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Valid by the schema of its fields, each with a meaning."""
    del example
    what, parts = COMMANDS[command]
    code, out = said(capsys, f"{command} --json")
    found = json.loads(out)
    assert code == 0
    assert found["schema"] == f"castsugar.{what}/2"
    schema = schema_of(what, parts)
    jsonschema.Draft202012Validator(schema).validate(found)
    assert set(found) <= set(schema["properties"])
    assert all(f.meaning for part in parts.values() for f in part.fields)
    assert found["invented"] != command.endswith("--how")


#: What is expected of a mix in an unknown pan and store.
HANDLED = Handling(
    layer=math.nan,
    rate=math.nan,
    wall=math.nan,
    warming=math.nan,
    boiling=math.nan,
    dose=(math.nan, math.nan),
    pourable=math.nan,
    cooling=(2400.0, 4200.0),
    shrinkage=0.028,
    glass=257.0,
    limit=79.0,
    cracks="rubbery",
    gains=((45.0, 30.0, 0.0), (60.0, 30.0, 0.0025), (80.0, 30.0, math.inf)),
    bag_days=(math.nan, math.nan),
)

WIDE_PAN = """\
[recipes]
base = "KNO3:60 powdered sugar:20 corn syrup:20"
more = "KNO3:60 powdered sugar:14 corn syrup:26"
[kitchen]
cook = "119 C 8 min"
batch = "200 g"
pan_diameter = "12 cm"
pan_mass = "600 g"
heater_watts = 200
heating_rate = 10
room_humidity = "60 %"
bag_area_m2 = 0.03
silica_gel = "5 g"
"""


@pytest.mark.slow
def test_a_known_pan_and_store(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Wall, heater, dose, minutes, cooling, cracks, damp: in full, cautions first."""
    (tmp_path / "bench.toml").write_text(WIDE_PAN, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    _, out = said(capsys, "judge base")
    assert "off the heat for" in out
    # 12 cm: some 45 K above the bulk while it warms by 10 K a minute.
    assert re.search(r"^! Pan wall at 1[56]\d °C or more", out, re.MULTILINE)
    _, full = said(capsys, "judge base --full")
    told = re.sub(r"\s+", " ", full)
    for words in (
        "200 g in a pan of 120 mm: 18 kg/m², turned every 60 s: 4.4 times as long",
        "while it warms by 10 K a minute",
        "min to boil off the water that leaves",
        "20 g dry mix, cold, takes",
        "in an oven before there is mix near it",
        "leave the rod until then",
        "no water or oil displacement",
        "In the bag 0.5 % takes",
    ):
        assert words in told, words
    _, both = said(capsys, "judge base more --full")
    assert "What to expect" in both
    found = json.loads(said(capsys, "judge base --json")[1])["handling"][0]
    # Exact: m / A, and three days told at the one humidity.
    assert found["layer_kg_m2"] == pytest.approx(0.2 / (math.pi * 0.06**2))
    assert [one["days"] for one in found["uptake"]] == [1.0, 7.0, 30.0]


def test_what_happens_in_the_pan() -> None:
    """One mix without limits: chance, thickness and likeness, window, setting."""
    found = list(kitchen.findings_of_one(ROW, (), HANDLED, Shown()))
    assert [(one.status, one.text) for one in found] == [
        (
            "RESULT",
            "Pours in 58 of 100 draws (below 10 Pa s). Median 9 Pa s, about like honey "
            "(2 to jams).",
        ),
        ("RESULT", "Pours more likely than not from 116 to 125 °C; boils at 122 °C."),
        (
            "RESULT",
            "Sets firm: relative solids at 20 °C 1.07 (1.01 to 1.15). Store sealed: "
            "in a month at 45, 60, 80 % humidity it gains 0, 0.25, no end % water "
            "(factor 2).",
        ),
    ]
    known = replace(HANDLED, pourable=114.0, gains=((60.0, 30.0, 0.0025),))
    _, window, sets = kitchen.findings_of_one(ROW, (), known, Shown())
    assert window.text.endswith("125 °C; off the heat for 1.9 min.")
    assert sets.text.endswith(
        "in a month at 60 % humidity it gains 0.25 % water (factor 2)."
    )
    wet = replace(known, gains=((90.0, 30.0, math.inf),), pourable=0.0)
    _, window, sets = kitchen.findings_of_one(ROW, (), wet, Shown())
    assert window.text.endswith("; off the heat at once too thick.")
    assert sets.text.endswith("at 90 % humidity it draws water without end.")


def test_a_mix_that_jams() -> None:
    """Most draws, and all of them: no number of a viscosity, no likeness."""
    jams = ROW | {"pour_viscosity_Pa_s": math.inf, "pours_probability": 0.004}
    first = next(kitchen.findings_of_one(jams, (), HANDLED, Shown()))
    assert first.text.endswith("Most draws jam (2 to jams).")
    jams["pour_viscosity_Pa_s_interval"] = (math.inf, math.inf)
    first = next(kitchen.findings_of_one(jams, (), HANDLED, Shown()))
    assert first.text.startswith("Pours in < 1 of 100 draws")
    assert first.text.endswith("Most draws jam.")


def test_a_limit_is_kept_or_broken(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The limits of the bench: 85 of 100 below 10 Pa s, solids at least 0.95."""
    limits = json.loads(said(capsys, "judge base --json")[1])["limits"]
    assert [(x["key"], x["verdict"]) for x in limits] == [
        ("pour_viscosity_Pa_s", "broken"),
        ("relative_solids_20C", "kept"),
    ]
    assert limits[1]["margin_percent"] == pytest.approx(
        100.0 * (limits[1]["judged"] - 0.95) / 0.95
    )
    bench = example / "bench.toml"
    text = bench.read_text("utf-8")
    bench.write_text(text.replace("at_least = 0.95", "at_least = 1.2"), "utf-8")
    out = said(capsys, "judge base")[1]
    assert "BROKEN  Sets firm" in out
    assert "at least" in out


@pytest.mark.parametrize(
    ("command", "word"),
    [
        ("judge base --cook '129 C 2 min'", ""),
        ("judge base --cook '131 C 2 min'", "! Bulk at 131 °C, above 130 °C"),
        ("judge base --cook '151 C 2 min'", "DO NOT  cook at 151 °C"),
        (PAN.replace("200 g", "300 g"), "! 300 g in one batch is more than 250 g"),
        (PAN.replace("200 g", "900 g"), "DO NOT   cook 900 g in one pan"),
    ],
)
def test_heat_and_mass_raise_their_words(
    command: str, word: str, example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing below the limits, a caution above the first, DO NOT above the second."""
    del example
    out = said(capsys, command)[1]
    assert word in out
    if not word:
        assert "DO NOT" not in out
        assert "! Bulk" not in out


def test_a_closed_pan(example: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Stated in [pan]: the first finding."""
    bench = example / "bench.toml"
    text = bench.read_text("utf-8")
    bench.write_text(text.replace("# sealed = true", "sealed = true"), "utf-8")
    assert "\nDO NOT  close the pan" in said(capsys, "judge base")[1]


def test_no_model_is_one_line(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither dashes nor numbers, and the reason."""
    del example
    out = said(capsys, 'judge "KNO3:65 isomalt:35"')[1]
    assert "CANNOT TELL  no kitchen model for isomalt: no viscosity data" in out
    assert "–" not in out
    assert "Least sure" not in out


@pytest.mark.slow
def test_a_measurement_is_kept_or_refused(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not saved, saved, and then the parameters are known by it; a wrong one is not."""
    bench = example / "bench.toml"
    before = bench.read_text("utf-8")
    assert "NOT SAVED  Add --save to keep it in bench.toml." in said(capsys, FLOW)[1]
    assert bench.read_text("utf-8") == before
    code, out = said(capsys, 'bulk-density --mass "50 g" --volume "50 ml" --save')
    assert code == 1
    assert re.search(
        r"REFUSED  \d+\.\d standard deviations from what is believed; not saved", out
    )
    assert bench.read_text("utf-8") == before
    code, out = said(capsys, f"{FLOW} --save")
    assert (code, "SAVED    In bench.toml." in out) == (0, True)
    assert len(cs.bench.read(bench).bench.kitchen["measured"]) == 4
    assert "flow-out" in said(capsys, "parameters --full")[1]


@pytest.mark.slow
def test_what_comes_next_keeps_the_measurement(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As printed it runs: with a bench, and without one."""
    for command in (BULK, f"{BULK} --no-bench"):
        last = said(capsys, command)[1].splitlines()[-1]
        words = shlex.split(last.removeprefix("Next: castsugar "))
        assert main(words) == 0
        assert "SAVED" in capsys.readouterr().out
    assert len(cs.bench.read(example / "bench.toml").bench.kitchen["measured"]) == 5


def test_parameters_are_sorted_by_what_they_move(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All rows; what was believed before says so; bands are 95 % ones."""
    del example
    found = json.loads(said(capsys, "parameters --json")[1])
    names = {one["name"] for one in found["parameters"]}
    assert set(found["contributions"]) == names - {"fines_gain", *BESIDE}
    factor = next(p for p in found["parameters"] if p["name"] == "liquid_factor")
    # A factor 1.0 with a standard deviation of ln of 0.53, 1.95996 of them each way.
    assert factor["value_interval"] == pytest.approx([0.35389, 2.82573], rel=1e-3)
    out = said(capsys, "parameters")[1]
    shares = list(found["contributions"])
    places = [out.index(f"\n{kitchen_belief.CALLED[name][0]}"[:10]) for name in shares]
    assert places == sorted(places)
    assert " of 9 measured" in out.splitlines()[0]


@pytest.mark.slow
def test_a_protocol_measures_nothing(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """--how with --save is refused; what it prints as next is a measurement."""
    del example
    assert main(["kitchen", "bulk-density", "--how", "--save"]) == 2
    capsys.readouterr()
    for kind in kitchen_how.PROTOCOLS:
        words = shlex.split(kitchen_how.PROTOCOLS[kind].typed)[1:]
        assert main(words) in (0, 1)


def test_units_of_the_bench(example: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """[units] show says how it is shown; --units goes before it."""
    bench = example / "bench.toml"
    text = re.sub(r"\[units\]\n(.+\n)*", "", bench.read_text("utf-8"))
    bench.write_text(f'{text}\n[units]\nshow = "us"\n', "utf-8")
    assert "Cook 246.2 °F 8 min" in said(capsys, "judge base")[1]
    assert "Cook 119 °C 8 min" in said(capsys, "judge base --units si")[1]


@pytest.mark.slow
def test_print_is_short(example: Path) -> None:
    """A few lines, no arrays: what was believed, measured, judged."""
    world = cs.bench.read(example / "bench.toml")
    assert world.kitchen is not None
    learnt = world.learnt()
    pots = pot_of(world.mix("base"), world.kitchen)
    told = [learnt, learnt.calibration, world.kitchen, world.kitchen.belief]
    verdict = str(judge(pots, world.kitchen))
    for one in (*told, verdict, check(world)):
        assert "array" not in str(one)
        assert len(str(one)) < 1000
    assert str(world.kitchen).endswith("4 of 9 parameters measured")
    assert re.match(r"1: pours in \d+ of 100 draws, median \d+ Pa s", verdict)


@pytest.mark.slow
def test_how_another_sugar_sets_is_said(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Words in place of relative solids, the shrinkage of erythritol, no flow-out."""
    del example
    out = " ".join(said(capsys, 'judge "KNO3:65 sorbitol:35"')[1].split())
    assert "RESULT Setting: firm enough to handle when cold, hard in 1 to 3 days" in out
    assert "No relative solids for your limit." in out
    assert "draws water without end above 66 % humidity" in out
    assert "flow-out" not in out
    out = " ".join(said(capsys, 'judge "KNO3:65 erythritol:35"')[1].split())
    assert "CAUTION Erythritol shrinks by 10 to 14 % as it freezes" in out
    out = " ".join(said(capsys, 'judge "KNO3:60 dextrose:20 corn syrup:20"')[1].split())
    assert "CANNOT TELL Setting: cannot be told: dextrose crystallises slowly" in out
    out = " ".join(said(capsys, 'judge "KNO3:65 dextrose:35"')[1].split())
    assert "CANNOT TELL no kitchen model for dry dextrose" in out


def test_a_dry_density_names_the_brine(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Milled nitrate of 52 g in 50 ml is taken with its doubt; brine tells more."""
    del example
    code, out = said(capsys, 'bulk-density --mass "52 g" --volume "50 ml" --no-bench')
    assert code == 0
    assert "INSIDE" in out
    assert "castsugar kitchen brine tells more" in " ".join(out.split())


@pytest.mark.slow
@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("", "runs by itself into bores above 12 mm"),
        ('--bore "20 mm"', "runs into a bore of 20 mm by itself"),
        ('--bore "6 mm"', "will not run into a bore of 6.0 mm by itself"),
    ],
)
def test_a_layer_on_the_spatula(
    more: str, words: str, example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """rho g h against rho g R / 2: a bore wider than four layers; nothing is learnt."""
    del example
    plain = json.loads(said(capsys, f"{FLOW} --json")[1])
    code, out = said(capsys, f'{FLOW} --layer "3 mm" {more}')
    assert code == 0
    assert words in " ".join(out.split())
    found = json.loads(said(capsys, f'{FLOW} --layer "3 mm" {more} --json')[1])
    assert found["parameters_after"] == plain["parameters_after"]
    assert plain["yield_stress_Pa"] is None
    density = cs.Mix.weigh({"KNO3": 60, "powdered sugar": 20, "corn syrup": 20}).density
    assert found["yield_stress_Pa"] == pytest.approx(density * 9.80665 * 3e-3, rel=0.01)


def test_too_crowded_for_a_number() -> None:
    """Above 0.95 of the packing the class stands where the viscosity was."""
    row = ROW | {"relative_solids_pour": 0.951, "flow_class": "tamp"}
    assert FIELDS["pour_viscosity_Pa_s"].cells(row, Shown()) == ("tamp", "")
    pours = next(iter(kitchen.findings_of_one(row, (), HANDLED, Shown())))
    assert "Too crowded for a number: tamp." in pours.text
    assert "8" not in pours.text.replace("58", "")
    fine = row | {"relative_solids_pour": 0.949}
    assert FIELDS["pour_viscosity_Pa_s"].cells(fine, Shown())[0] == "9"


def test_a_tapped_mould_is_said(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "tapped" not in said(capsys, "judge base")[1]
    path = example / "bench.toml"
    stated = path.read_text().replace("[kitchen]\n", "[kitchen]\ntap = true\n")
    path.write_text(stated)
    assert "mould tapped" in said(capsys, "judge base")[1]


@pytest.mark.slow
@pytest.mark.exact
def test_bars_before_and_after(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """On the page and as a picture: what moves, in the words of the table."""
    words = 'brine --mass "60 g" --loose "52 ml" --tapped "46 ml" --temperature "20 C"'
    more = "--full --picture b.svg --page b.html"
    assert main(shlex.split(f"kitchen {words} {more}")) == 0
    out = capsys.readouterr().out
    before, after = re.findall(r"packing +\S+ +(\S+ to \S+) +\S+ +(\S+ to \S+)", out)[0]
    drawing = (example / "b.svg").read_text("utf-8")
    assert f"packing: {before}, now {after}" in drawing
    assert "EXAMPLE: What the brine tells" in drawing
    assert "syrup grade" not in drawing
    page = (example / "b.html").read_text("utf-8")
    assert page.count("<svg") == 2  # of a broad and of a narrow screen


@pytest.mark.exact
def test_no_bars_where_nothing_is_learnt(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A reading that is set aside moves nothing; a protocol measures nothing."""
    words = 'bulk-density --mass "37 g" --volume "50 ml" --picture b.svg'
    assert main(shlex.split(f"kitchen {words}")) == 1
    assert "it moves nothing, so nothing is drawn" in capsys.readouterr().err
    assert not (example / "b.svg").exists()
    assert main(["kitchen", "brine", "--how", "--picture", "b.svg"]) == 2
    assert "leave out --picture" in capsys.readouterr().err
