"""The bench file: what is accepted, and one clear line for what is not."""

from __future__ import annotations

import os
import string
import subprocess
import sys
import tempfile
from pathlib import Path
from unittest.mock import ANY

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import castsugar as cs
from castsugar.bench.bench import check_bench, read_bench
from castsugar.bench.editing import append_measurement
from castsugar.bench.example import write_example
from castsugar.bench.world import World
from castsugar.records.prediction import freeze, thaw

pytestmark = pytest.mark.exact  # text against text

GOOD = """\
# my kitchen
[kitchen]
altitude = "300 m"   # above the sea
cook = "119 C"
minutes = 8

[kitchen.packing]
value = 0.62
spread = 0.02

[[kitchen.measured]]
kind = "pan weight"
recipe = "KNO3:60 sugar:20 corn syrup:20"
cook = "119 C"
minutes = 10
batch = "200 g"
lost = "1.4 g"

[[kitchen.measured]]
kind = "bulk density"
mass = "63 g"
volume = "50 ml"
"""

PATH = Path("bench.toml")


def test_good_file() -> None:
    """Values in SI, measurements in their order."""
    bench = check_bench(PATH, GOOD)
    assert bench.kitchen["altitude"] == pytest.approx(300.0)
    assert bench.kitchen["packing"]["spread"] == 0.02
    kinds = [m["kind"] for m in bench.kitchen["measured"]]
    assert kinds == ["pan weight", "bulk density"]
    assert bench.kitchen["measured"][0]["lost"] == pytest.approx(1.4e-3)
    assert bench.motor is None


def test_empty_file_means_nothing_measured() -> None:
    """An empty bench is a bench."""
    assert check_bench(PATH, "").kitchen["measured"] == []


BAD = [
    ("[kitchn]\n", 1, "did you mean [kitchen]"),
    ("x = 1\n", 1, "[x] is not known"),
    (GOOD.replace("altitude =", "altitud ="), 3, "did you mean 'altitude'"),
    (GOOD.replace('"300 m"', "300"), 3, "has no unit"),
    (GOOD.replace('"300 m"', '"0,3 m"'), 3, "decimal comma"),
    (GOOD.replace('"300 m"', "true"), 3, "number with its unit in quotes"),
    (GOOD.replace("minutes = 8", 'minutes = "8"'), 5, "without quotes"),
    (GOOD.replace("spread = 0.02", ""), 7, "spread is missing"),
    (GOOD.replace('kind = "pan weight"', 'kind = "pan wight"'), 12, "'pan weight'"),
    (GOOD.replace('kind = "bulk density"\n', ""), 19, "allowed: pan weight"),
    (GOOD.replace('mass = "63 g"', 'mass = "-63 g"'), 21, "below zero"),
    (GOOD.replace('mass = "63 g"', 'mas = "63 g"'), 21, "did you mean 'mass'"),
    (GOOD.replace('cook = "119 C"\nminutes = 8', "cook = 119"), 4, "text in quotes"),
    (GOOD.replace("cook =", 'air_pressure = "980 mbar"\ncook =', 1), 3, "give one"),
    ("[kitchen]\nmeasured = 3\n", 2, "[[kitchen.measured]]"),
    ("[motor]\n", 1, "throat is missing"),
]


@pytest.mark.parametrize(("text", "line", "words"), BAD)
def test_bad_file(text: str, line: int, words: str) -> None:
    """File, line, table, what was got and what is allowed, on one line."""
    for variant in (text, text.replace("\n", "\r\n")):
        with pytest.raises(cs.InputError) as caught:
            check_bench(PATH, variant)
        message = str(caught.value)
        assert words in message
        assert message.startswith(f"bench.toml, line {line}:")
        assert "\n" not in message


def test_syntax_error_names_the_line() -> None:
    """The reader's own complaint, with the file."""
    with pytest.raises(cs.InputError, match=r"bench\.toml is not valid TOML.*line 2"):
        check_bench(PATH, "[kitchen]\ncook = \n")


def test_files_that_are_none(tmp_path: Path) -> None:
    """Missing, a folder, not UTF-8, far too big: one line each."""
    odd = tmp_path / "odd.toml"
    odd.write_bytes(b"\xff\xfe[kitchen]")
    big = tmp_path / "big.toml"
    big.write_text("#" * 5_000_000)
    for path, words in (
        (tmp_path / "none.toml", "cannot be read"),
        (tmp_path, "cannot be read"),
        (odd, "not UTF-8"),
        (big, "allowed"),
    ):
        with pytest.raises(cs.InputError, match=words):
            read_bench(path)


def test_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    """Some editors write one."""
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, encoding="utf-8-sig")
    assert read_bench(path).kitchen["minutes"] == 8


ENTRY = {
    "kind": "bulk density",
    "mass": "64 g",
    "volume": "50 ml",
    "note": 'quotes " and \\ and\nlines, \u00e4',
}


def test_append_keeps_every_byte_before(tmp_path: Path) -> None:
    """Comments and order stay; what was written reads back."""
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, "utf-8")
    bench = append_measurement(path, ENTRY)
    assert path.read_text("utf-8").startswith(GOOD)
    assert bench.kitchen["measured"][-1]["note"] == ENTRY["note"]
    assert read_bench(path).kitchen["measured"][2]["mass"] == pytest.approx(0.064)
    assert list(tmp_path.iterdir()) == [path]


def test_append_makes_a_file(tmp_path: Path) -> None:
    """The first measurement starts the file."""
    path = tmp_path / "new.toml"
    append_measurement(path, ENTRY)
    assert len(read_bench(path).kitchen["measured"]) == 1


def test_append_refuses_what_would_not_read_back(tmp_path: Path) -> None:
    """Nothing is written then."""
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, "utf-8")
    with pytest.raises(cs.InputError, match="is missing"):
        append_measurement(path, {"kind": "bulk density", "mass": "1 g"})
    assert path.read_text("utf-8") == GOOD


def test_append_is_whole_or_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A failure at the last step leaves the old file and no other."""
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, "utf-8")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(cs.InputError, match="No space left"):
        append_measurement(path, ENTRY)
    assert path.read_text("utf-8") == GOOD
    assert list(tmp_path.iterdir()) == [path]


#: Twice the same keys, a stated parameter and a motor with keys of the same names.
TANGLED = """\
# a bench, invented
[kitchen]   # the stove
"altitude" = "300 m"
minutes = 8

[ kitchen . packing ]
value = 0.62
spread = 0.02

[kitchen.liquid_factor]
value = 1.1
spread = 0.3

[[kitchen.measured]]  # first
kind = "bulk density"
mass = "63 g"
volume = "50 ml"

[[ kitchen.measured ]]
kind = "bulk density"
mass = "64 g"
volume = "50 ml"

[[kitchen.measured]]
kind = "ball fall"
ball = "3 mm"
cup = "40 mm"
fall = "50 mm"
time = "9.5 s"
temperature = "25 C"
"""

WHERE = [
    (('"altitude" = "300 m"', '"altitude" = "high"'), 3, "[kitchen] altitude"),
    (("minutes = 8", "minutes = true"), 4, "[kitchen] minutes"),
    (("value = 0.62", 'value = "0.62"'), 7, "[kitchen.packing] value"),
    (("value = 1.1", "value = nan"), 11, "[kitchen.liquid_factor] value"),
    (("spread = 0.3", "sprad = 0.3"), 12, "did you mean 'spread'"),
    (('mass = "63 g"', 'mass = "63"'), 16, "has no unit"),
    (('mass = "64 g"', 'mass = "64"'), 21, "has no unit"),
    (('mass = "64 g"\nvolume', 'mass = "64 ml"\nvolume'), 21, "is not a mass unit"),
    (('64 g"\nvolume = "50 ml"', '64 g"\nvolume = ""'), 22, "has no number"),
    (('mass = "64 g"\n', ""), 19, "mass is missing"),
    (('temperature = "25 C"', 'temperature = "25 g"'), 30, "temperature unit"),
    (('time = "9.5 s"', "time = 1979-05-27"), 29, "with its unit in quotes"),
    (('kind = "ball fall"', 'kind = "Ball Fall"'), 25, "did you mean 'ball fall'"),
    (('kind = "ball fall"', "kind = 3"), 25, "allowed: pan weight"),
    (('cup = "40 mm"', 'cup = "40 mm"\nrecipe = "KNO3:60"'), 28, "recipe is not known"),
    (('cup = "40 mm"', 'cup = "40 mm"\nsalt = "x"'), 28, "salt is not known"),
    (
        ('volume = "50 ml"\n\n[[ ', 'salt = "table"\nvolume = "50 ml"\n\n[[ '),
        17,
        "salt",
    ),
    (("[kitchen.liquid_factor]", "[kitchen.liquid_facto]"), 10, "'liquid_factor'"),
]


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize(("change", "line", "words"), WHERE)
def test_line_of_each_fault(
    change: tuple[str, str], line: int, words: str, newline: str
) -> None:
    """Right also with repeated keys and tables, quotes and remarks."""
    assert TANGLED.count(change[0]) == 1
    text = TANGLED.replace(*change).replace("\n", newline)
    with pytest.raises(cs.InputError) as caught:
        check_bench(PATH, text)
    message = str(caught.value)
    assert words in message
    assert "\n" not in message
    assert message.startswith(f"bench.toml, line {line}:"), message


def test_tangled_file_is_good() -> None:
    """What the faults are put into has none."""
    kitchen = check_bench(PATH, TANGLED).kitchen
    assert [m["kind"] for m in kitchen["measured"]][2] == "ball fall"
    assert kitchen["packing"]["value"] == 0.62
    assert kitchen["liquid_factor"]["origin"] == "stated in the bench file"
    inline = "[kitchen]\npacking = { value = 0.6, spread = 0 }\n"
    assert check_bench(PATH, inline).kitchen["packing"]["spread"] == 0.0
    dotted = "kitchen.packing.value = 0.6\nkitchen.packing.spread = 0.01\n"
    assert check_bench(PATH, dotted).kitchen["packing"]["value"] == 0.6


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[kitchen]\nminutes = 3\nminutes = 4\n", "line 3"),
        ("[kitchen]\naltitude = 300 m\n", "line 2"),
        ("[kitchen]\naltitude = 0,3\n", "line 2"),
        ("[kitchen]\n[kitchen]\n", "line 2"),
        ('[kitchen]\ncook = "119 C\n', "line 2"),
        ("\x00", "line 1"),
        ("# c\n[kitchen", "line 2"),
    ],
)
def test_syntax_faults_name_their_line(text: str, words: str) -> None:
    """One line with the file and where in it."""
    with pytest.raises(cs.InputError) as caught:
        check_bench(PATH, text)
    message = str(caught.value)
    assert message.startswith("bench.toml")
    assert words in message
    assert "\n" not in message


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("# c\nx = 1\n", 2),
        ("# c\n[[x]]\n", 2),
        ("# c\nkitchen = 3\n", 2),
        ("# c\nkitchen.minutes = true\n", 2),
        ("[kitchen]\nminutes = 3\npacking = {value = 0.6}\n", 3),
        ('[kitchen]\nsyrup = """\ncook = 3\n"""\ncook = 4\n', 5),
        ("[kitchen]\n'minutes' = true\n", 2),
        ("# c\n[kitchens.packing]\n", 2),
        ("[kitchen]\n# a\u2028b\nminutes = true\n", 3),
        ("\ufeff[kitchen]\nminutes = true\n", 2),
    ],
)
def test_line_of_odd_forms(text: str, line: int) -> None:
    """Forms that TOML allows as well."""
    with pytest.raises(cs.InputError, match=rf"^bench\.toml, line {line}:"):
        check_bench(PATH, text)


@pytest.mark.parametrize(
    "text",
    [
        '[[kitchen.measured]]\nkind = ["bulk density"]\n',
        "[kitchen]\nx = " + "[" * 3000 + "]" * 3000 + "\n",
        "[kitchen]\nminutes = " + "9" * 5000 + "\n",
        "[kitchen]\nminutes = " + "9" * 400 + "\n",
    ],
    ids=["kind", "nested", "digits", "large"],
)
def test_no_text_crashes_the_reader(text: str) -> None:
    """Whatever stands in the file: an InputError of one line."""
    with pytest.raises(cs.InputError) as caught:
        check_bench(PATH, text)
    assert "\n" not in str(caught.value)


@given(st.text(alphabet=string.printable + "\u00e4\u2028\x00", max_size=60))
@settings(max_examples=150)
def test_any_text_is_read_or_refused(text: str) -> None:
    """Never anything but a bench or an InputError."""
    for whole in (text, "[kitchen]\n" + text, "[[kitchen.measured]]\n" + text):
        try:
            check_bench(PATH, whole)
        except cs.InputError as error:
            assert str(error).startswith("bench.toml")  # noqa: PT017


@pytest.mark.slow
@given(
    note=st.text(
        st.characters(exclude_categories=["Cs"], exclude_characters="\x7f"),
        max_size=40,
    )
)
@settings(max_examples=60, deadline=None)  # waits for the disk
def test_any_note_survives(note: str) -> None:
    """Quotes, backslashes, line ends, control characters: as they were given."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.toml"
        for _ in range(2):
            append_measurement(path, {**ENTRY, "note": note})
        notes = [m["note"] for m in read_bench(path).kitchen["measured"]]
    assert notes == [note, note]


@pytest.mark.parametrize(
    "start",
    [
        b"# no end of line",
        b"[kitchen]\nminutes = 8 # no end of line",
        b"\n\n\n",
        b"# only a remark\n",
        "# \u00e4\u00f6 \u2028\n".encode(),
        b"# c\r\n[kitchen]\r\nminutes = 8\r\n",
        b"\xef\xbb\xbf# c\n",
    ],
)
def test_append_keeps_bytes(start: bytes, tmp_path: Path) -> None:
    """Every byte that was there, then the entry; twice."""
    path = tmp_path / "bench.toml"
    path.write_bytes(start)
    append_measurement(path, ENTRY)
    once = path.read_bytes()
    append_measurement(path, ENTRY)
    assert once.startswith(start)
    assert path.read_bytes().startswith(once)
    assert len(read_bench(path).kitchen["measured"]) == 2


@pytest.mark.parametrize(
    "text",
    [
        'kitchen = { altitude = "300 m" }\n',
        "[kitchen]\nmeasured = []\n",
        "[kitchen]\nmeasured = 3\n",
        "[kitchen\n",
        "[kitchn]\n",
    ],
)
def test_append_to_what_cannot_take_it(text: str, tmp_path: Path) -> None:
    """One line, the file as it was, nothing beside it."""
    path = tmp_path / "bench.toml"
    path.write_bytes(text.encode())
    with pytest.raises(cs.InputError) as caught:
        append_measurement(path, ENTRY)
    assert "\n" not in str(caught.value)
    assert path.read_bytes() == text.encode()
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    "entry",
    [
        {**ENTRY, "note": 3},
        {**ENTRY, "mass": "64"},
        {**ENTRY, "kind": "bulk"},
        {**ENTRY, "minutes": 3.0},
        {},
        {**ENTRY, "note": "a\udcff"},
        {**ENTRY, "note": None},
    ],
)
def test_bad_entry_makes_no_file(entry: dict[str, object], tmp_path: Path) -> None:
    """Refused before anything is written; no temporary file stays."""
    path = tmp_path / "new.toml"
    try:
        with pytest.raises(cs.InputError) as caught:
            append_measurement(path, entry)
        assert "\n" not in str(caught.value)
    finally:
        assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("stage", ["open", "write", "chmod", "interrupted"])
def test_each_step_may_fail(
    stage: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Old file and folder as they were, whatever step fails."""
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, "utf-8")
    wanted: type[BaseException] = cs.InputError

    def fail(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    if stage == "open":
        monkeypatch.setattr(Path, "open", fail)
    elif stage == "write":
        monkeypatch.setattr(os, "fsync", fail)
    elif stage == "chmod":
        monkeypatch.setattr(Path, "chmod", fail)
    else:
        monkeypatch.setattr(os, "replace", stop)
        wanted = KeyboardInterrupt
    with pytest.raises(wanted):
        append_measurement(path, ENTRY)
    monkeypatch.undo()
    assert path.read_text("utf-8") == GOOD
    assert list(tmp_path.iterdir()) == [path]


def test_append_into_no_folder(tmp_path: Path) -> None:
    """A folder that does not exist is not made."""
    with pytest.raises(cs.InputError, match="cannot be written"):
        append_measurement(tmp_path / "none" / "bench.toml", ENTRY)
    assert list(tmp_path.iterdir()) == []


def test_append_keeps_permissions(tmp_path: Path) -> None:
    """What the user closed stays closed."""
    path = tmp_path / "bench.toml"
    path.write_text(GOOD, "utf-8")
    path.chmod(0o600)
    append_measurement(path, ENTRY)
    assert path.stat().st_mode & 0o777 == 0o600


def test_append_follows_a_link(tmp_path: Path) -> None:
    """A bench file kept elsewhere by a symbolic link."""
    real, link = tmp_path / "real.toml", tmp_path / "bench.toml"
    real.write_text(GOOD, "utf-8")
    os.symlink(real, link)
    append_measurement(link, ENTRY)
    assert link.is_symlink()
    assert len(read_bench(real).kitchen["measured"]) == 3


@pytest.mark.slow
def test_a_bench_that_is_read_needs_no_editor(tmp_path: Path) -> None:
    """What changes the file is loaded where it is changed, not by a reader."""
    write_example(tmp_path)
    code = (
        "import sys; sys.modules['tomlkit'] = None\n"
        "from castsugar.cli.main import main\n"
        "sys.exit(main(['evaluate', 'base', '--bench', 'bench.toml']))"
    )
    found = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, check=False
    )
    assert found.returncode == 0, found.stderr


# --- units, names, premixes, quotes --------------------------------------------------


def test_units_are_si_unless_us_is_said() -> None:
    """Metric is no choice: what is allowed stands in the line."""
    assert World(check_bench(PATH, ""), cs.load_database()).units == "si"
    bench = check_bench(PATH, '[units]\nshow = "us"\n')
    assert World(bench, cs.load_database()).units == "us"
    said = r"line 2: \[units\] show is 'metric'; allowed: si, us$"
    with pytest.raises(cs.InputError, match=said):
        check_bench(PATH, '[units]\nshow = "metric"\n')


NAMES = """\
[premixes]
"dry blend" = "KNO3:75 powdered sugar:25"

[recipes]
base = "KNO3:60 powdered sugar:20 corn syrup:20"
blended = "dry blend:80 corn syrup:20"

[[kitchen.measured]]
kind = "pan weight"
recipe = "base"
cook = "250F 10 min"
batch = "200 g"
lost = "1.4 g"

[motor]
throat = "8 mm"
[motor.grain]
outer = "36 mm"
core = "14 mm"
length = "62 mm"
[[motor.burn_law]]
recipe = "blended"
rate = "5 mm/s"
pressure = "1 MPa"
exponent = 0.3
rate_spread = "5 %"
exponent_spread = 0.03
"""


def test_names_and_premixes_serve_wherever_a_recipe_does() -> None:
    """80 of 75:25 are 60 and 20 by hand, so both recipes are one mix."""
    world = World(check_bench(PATH, NAMES), cs.load_database())
    base = "KNO3:60 powdered sugar:20 corn syrup:20"
    assert world.recipes == {"base": base, "blended": base}
    assert world.bench.kitchen["measured"][0]["recipe"] == base
    assert world.bench.motor is not None
    assert world.bench.motor["burn_law"][0]["recipe"] == base
    typed = world.mix("Dry Blend:40 KNO3:20")
    assert typed.name == "Dry Blend:40 KNO3:20"
    assert dict(typed.recipe) == pytest.approx(
        {"KNO3": 50 / 60, "powdered sugar": 10 / 60}
    )
    assert world.stated_motor.burning.evidence[0].name == base
    kept = thaw(freeze(world.bench, Path()), Path())  # a record has no [recipes]
    assert kept is not None
    assert kept.motor == world.bench.motor | {"burn_law": [ANY]}
    assert kept.kitchen["measured"] == world.bench.kitchen["measured"]
    assert kept.motor["burn_law"][0]["recipe"] == base


BAD_NAMES = [
    ('recipe = "blended"', 'recipe = "blend"', "no name in [recipes]; did you mean"),
    ('"dry blend:80', '"dry blend:80%', "recipes] blended - parts ('corn syrup') and"),
    ('"dry blend" =', '"dry:blend" =', "has a sign in its name"),
    ('"KNO3:75', '"KNO3;75', "[premixes] dry blend: 'KNO3' has no ':'"),
]


@pytest.mark.parametrize(("old", "new", "message"), BAD_NAMES)
def test_bad_names_and_premixes_have_their_line(
    old: str, new: str, message: str
) -> None:
    """File, line, key, what to do."""
    with pytest.raises(cs.InputError) as caught:
        check_bench(PATH, NAMES.replace(old, new))
    line = NAMES.replace(old, new).split(new)[0].count("\n") + 1
    assert str(caught.value).startswith(f"bench.toml, line {line}: ")
    assert message in str(caught.value)


QUOTES = [
    ("throat = \u201c8 mm\u201d", 'word processor makes them; write throat = "8 mm"'),
    ("[lots.\u201cbag A\u201d]", 'write [lots."bag A"]'),
    ("throat = 8 mm  # wide", 'the text 8 mm has no quotes; write throat = "8 mm"'),
    ("cook = 119 C", 'write cook = "119 C"'),
    ('throat = "8 mm', 'one quote of "8 mm is missing; write throat = "8 mm"'),
    ('throat = 8 mm"', 'one quote of 8 mm" is missing; write throat = "8 mm"'),
]


@pytest.mark.parametrize(("line", "message"), QUOTES)
def test_wrong_quotes_are_one_line_with_the_right_ones(line: str, message: str) -> None:
    """What, where, what to write."""
    with pytest.raises(cs.InputError) as caught:
        check_bench(PATH, f"# mine\n[motor]\n{line}\n[scale]\n")
    assert str(caught.value).startswith("bench.toml, line 3: ")
    assert str(caught.value).endswith(message)


def test_other_faults_of_toml_keep_their_words() -> None:
    """Nothing is said of quotes where quotes are right."""
    with pytest.raises(cs.InputError, match="is not valid TOML"):
        check_bench(PATH, "[motor]\nthroat = [1, 2\n")
