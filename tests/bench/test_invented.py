"""Invented entries: named where an answer rests on them, and never good evidence."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import castsugar as cs
from castsugar.bench.bench import check_bench
from castsugar.bench.example import FILES, write_example
from castsugar.bench.explain import explain
from castsugar.bench.world import World, read
from castsugar.comparison.change import justify
from castsugar.comparison.claims import parse_claim
from castsugar.comparison.evidence import INVENTED, MEASURED, STANDINGS
from castsugar.comparison.uncertain_inputs import Conditions
from castsugar.readings.strand_files import read_strands
from castsugar.readings.tables import is_invented
from castsugar.records.prediction import freeze, thaw
from castsugar.report.schemas import schema

pytestmark = pytest.mark.exact  # text against text, and what the files say

#: Of the example: 4 lots, scale, pan, kitchen, its 3 measurements, motor, 3 burn laws.
ENTRIES = 14
KITCHEN = ("kitchen", *(f"kitchen.measured[{i}]" for i in range(3)))


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> World:
    folder = tmp_path_factory.mktemp("invented")
    write_example(folder)
    return read(folder / "bench.toml")


def edited(world: World, folder: Path, old: str, new: str, count: int = -1) -> World:
    """Return the example with other words in it, beside its files."""
    for name in FILES:
        shutil.copy(world.bench.path.parent / name, folder / name)
    path = folder / "bench.toml"
    path.write_text(world.bench.text.replace(old, new, count), "utf-8")
    return read(path)


def test_every_entry_and_file_of_the_example_is_invented(world: World) -> None:
    """As many as the example has; each is named with its place and its file."""
    assert len(world.invented) == ENTRIES
    assert world.invented[:2] == ('lots."bag A"', 'lots."sugar, 1 kg"')
    assert set(KITCHEN) < set(world.invented)
    assert world.invented[-1] == "motor.burn_law[2]: strands.csv"
    for name in FILES:
        assert is_invented(world.bench.path.parent / name)


def test_an_answer_names_what_it_rests_on(world: World) -> None:
    """Lots of what is in the mix, all strands, for one model takes them, the ball fall
    for syrup.
    """
    assert world.invented_for(["base"], uses=()) == ()
    assert world.invented_for(["base"], uses={"scale"}) == ("scale",)
    assert world.invented_for(["base"], uses={"lots"}) == (
        'lots."bag A"',
        'lots."sugar, 1 kg"',
        'lots."bottle 3"',  # the other bottle is not in use
    )
    # The model of burn rates takes all three mixes for every one.
    burned = tuple(f"motor.burn_law[{k}]: strands.csv" for k in range(3))
    for mix in ("base", "KNO3:61 powdered sugar:19 corn syrup:20"):
        assert world.invented_for([mix], uses={"motor"}) == ("motor", *burned)
    assert world.invented_for(["base"], uses={"kitchen"}) == KITCHEN
    dry = world.invented_for(["KNO3:65 sucrose:35"], uses={"kitchen"})
    assert set(KITCHEN) - set(dry) == {"kitchen.measured[1]"}  # the ball fall


def test_one_invented_file_shows_wherever_a_motor_is_used(
    world: World, tmp_path: Path
) -> None:
    """Own entries and an own file beside it: one model burns all, nothing elsewhere."""
    own = edited(world, tmp_path, "invented = true\n", "")
    text = own.bench.path.read_text("utf-8")
    text = text.replace('strands = "strands.csv"', 'strands = "own.csv"', 2)
    own.bench.path.write_text(text, "utf-8")
    strands = (tmp_path / "strands.csv").read_text("utf-8")
    (tmp_path / "own.csv").write_text(
        strands.replace("# INVENTED", "# Mine", 1), "utf-8"
    )
    own = read(own.bench.path)
    only = ("motor.burn_law[2]: strands.csv",)
    assert own.invented == only
    every = {"lots", "kitchen", "motor", "scale"}
    assert own.invented_for(["base"], uses=every - {"motor"}) == ()
    for mix in ("base", "KNO3:61 powdered sugar:19 corn syrup:20"):
        assert own.invented_for([mix], uses=every) == only


def test_without_the_lines_and_comments_nothing_is_invented(
    world: World, tmp_path: Path
) -> None:
    """Strands read alone say it, too, until the comment is gone."""
    assert all(
        s.invented for s in read_strands(world.bench.path.parent / "strands.csv")
    )
    own = edited(world, tmp_path, "invented = true\n", "")
    path = tmp_path / "strands.csv"
    path.write_text(path.read_text("utf-8").replace("# INVENTED", "# Mine", 1), "utf-8")
    assert read(own.bench.path).invented == ()
    assert not any(s.invented for s in read_strands(path))
    assert own.motor is not None
    assert own.motor.invented == ()


def test_a_record_keeps_that_its_bench_was_invented(world: World) -> None:
    """The tables that a batch keeps say it after they are read again."""
    folder = world.bench.path.parent
    kept = thaw(freeze(world.bench, folder), folder)
    assert kept is not None
    assert {"motor", "kitchen", "motor.burn_law[1]"} < set(kept.invented)


def change(world: World, *claims: str):
    """Return the change from the base to a mix with a law of its own."""
    return justify(
        world.mix("base"),
        world.mix("KNO3:58 powdered sugar:14 corn syrup:28"),
        conditions=Conditions(kitchen=world.kitchen, motor=world.motor),
        claims=[parse_claim(claim) for claim in claims],
        draws=200,
        confirm=False,
    )


@pytest.mark.slow
def test_nothing_is_supported_on_invented_numbers(world: World, tmp_path: Path) -> None:
    """The claim is supported once the lines and comments are gone, not before."""
    claims = ("lower pressure", "lower set ratio", "lower flame temperature")
    before = change(world, *claims)
    pressure, ratio, _ = before.claims
    assert (pressure.verdict, ratio.verdict) == ("cannot tell", "cannot tell")
    assert pressure.why == (
        "it rests on invented numbers, not yours: motor, motor.burn_law[0]: "
        "strands.csv, motor.burn_law[1]: strands.csv, motor.burn_law[2]: strands.csv"
    )
    standings = {e.subject.split(" at ")[0]: e.standing for e in before.evidence}
    assert standings["throat diameter"] == INVENTED
    assert standings["dry solids of light corn syrup"] == INVENTED
    assert MEASURED not in standings.values()
    own = edited(world, tmp_path, "invented = true\n", "")
    path = tmp_path / "strands.csv"
    path.write_text(path.read_text("utf-8").replace("# INVENTED", "# Mine", 1), "utf-8")
    after = change(read(own.bench.path), *claims)
    assert after.claims[0].verdict == "supported"
    assert INVENTED not in {e.standing for e in after.evidence}
    assert after.claims[2] == before.claims[2]  # rests on published numbers


def test_the_key_is_explained() -> None:
    """Though no table declares it."""
    assert "nobody measured it" in explain("invented")


def test_every_standing_is_in_the_schema_of_a_change() -> None:
    """What evidence may be, and what the document says that it may be, agree."""
    keys = schema("justify-2")["properties"]["evidence"]["items"]["properties"]
    assert keys["standing"]["description"] == f"one of: {', '.join(STANDINGS)}"


def test_invented_is_true_or_false() -> None:
    """In every table and entry; a recipe may still be called so."""
    text = '[scale]\nstep = "0.1 g"\ninvented = 1\n'
    with pytest.raises(
        cs.InputError, match=r"line 3: \[scale\] invented is 1; it must"
    ):
        check_bench(Path("bench.toml"), text)
    read = check_bench(
        Path("bench.toml"), '[recipes]\ninvented = "KNO3:65 sucrose:35"\n'
    )
    assert read.recipes == {"invented": "KNO3:65 sucrose:35"}
    assert read.invented == ()
    text = "[recipes]\ninvented = true\n[limits]\ninvented = true\n"
    text += "kn_max = { at_most = 300, invented = true }\n[units]\ninvented = false\n"
    read = check_bench(Path("bench.toml"), text)
    assert read.invented == ("recipes", "limits", "limits.kn_max")
    assert read.recipes == {}


def test_a_firing_is_as_invented_as_its_recording(world: World, tmp_path: Path) -> None:
    """Kept by `learn` without a mark: the first line of the recording tells."""
    own = edited(world, tmp_path, "invented = true\n", "")
    entry = (
        '\n[[motor.firing]]\nrecipe = "base"\npressure = "3 MPa"\nrate = "6 mm/s"\n'
        'source = "shot.csv"\n'
    )
    path = own.bench.path
    path.write_text(path.read_text("utf-8") + entry, "utf-8")
    named = "motor.firing[0]: shot.csv"
    again = read(path)
    assert named in again.invented
    assert named in again.invented_for(["base"], uses={"motor"})
