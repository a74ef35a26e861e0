"""``castsugar justify`` as it is used: the record, its schema, and what is refused.

The bench, its strands and its motor are invented.
"""

from __future__ import annotations

import html
import json
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from castsugar import UnknownNameError, justify
from castsugar.cli.main import main
from castsugar.report.schemas import NAMES, schema

# Exact: answers follow from what is typed, or are held against each other; the schema
# is JSON Schema 2020-12, checked by the reference implementation for Python.
pytestmark = pytest.mark.exact

SCRIPT = "<script>alert(1)</script>"
IMAGE = "<img src=x onerror=alert(2)>"

STRANDS = """\
length_mm,time_s,pressure_MPa,temperature_C,mix
50,22.4,0.1013,20,60/20/20
50,22.1,0.1013,20,60/20/20
50,10.6,1.0,20,60/20/20
50,10.8,1.0,20,60/20/20
50,7.7,3.0,20,60/20/20
50,7.9,3.0,20,60/20/20
50,6.0,7.0,20,60/20/20
50,5.9,7.0,20,60/20/20
"""
BENCH = f"""\
[recipes]
"base" = "KNO3:60 powdered sugar:20 corn syrup:20"
"softer" = "KNO3:62 powdered sugar:14 corn syrup:24"
"{SCRIPT}" = "KNO3:62 powdered sugar:14 corn syrup:24"
[scale]
step = "0.1 g"
[kitchen]
cook = "119 C"
minutes = 8
[limits]
pour_viscosity_Pa_s = {{ at_most = 15, probability = "60 %" }}
peak_pressure_MPa = {{ at_most = "case", probability = "95 %" }}
relative_solids_20C = {{ at_least = 0.95 }}
characteristic_velocity_m_s = {{ at_least = 890 }}
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
[[motor.burn_law]]
recipe = "KNO3:60 powdered sugar:20 corn syrup:20"
strands = "strands.csv"
"""
SUCROSE, SORBITOL = "KNO3:65 sucrose:35", "KNO3:65 sorbitol:35"
FLAME = "flame_temperature_K"
#: Keys that every command with conditions writes.
NOT_DECLARED = {
    "water_lost",
    "enthalpy_alternatives",
    "product_set",
    "syrup_dry_solids",
    "syrup_dextrose_equivalent",
}
FULL = ["base", SCRIPT, "--bench", f"{IMAGE}.toml", "--claim", "higher c*"]
FULL += ["--reason", f"{SCRIPT} & {IMAGE}"]
#: Few draws, one solver: what is asked here does not hang on either.
QUICK = ["--draws", "200", "--no-confirm"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Work in a folder with the bench file, once under a name that tries more."""
    place, before = tmp_path_factory.mktemp("bench"), Path.cwd()
    for name in ("bench.toml", f"{IMAGE}.toml"):
        (place / name).write_text(BENCH, "utf-8")
    (place / "strands.csv").write_text(STRANDS, "utf-8")
    os.chdir(place)
    yield place
    os.chdir(before)


def alone(words: Sequence[str]) -> list[str]:
    """Return words that read no bench file but one that they name."""
    return [*words] if "--bench" in words else [*words, "--no-bench"]


def justified(*words: str, code: int) -> None:
    """Run the command in the folder."""
    assert main(["justify", *alone(words), *QUICK]) == code


def record(*words: str, code: int) -> dict[str, Any]:
    """Run the command and return its JSON."""
    justified(*words, "--json", "-o", "record.json", "--force", code=code)
    found: dict[str, Any] = json.loads(Path("record.json").read_text("utf-8"))
    return found


@pytest.fixture(scope="module")
def full(folder: Path) -> dict[str, Any]:
    """All wings, four limits, every string of the user full of tags: JSON and page."""
    return record(*FULL, "--page", "full.html", code=0)


@pytest.fixture(scope="module")
def sweet(folder: Path) -> dict[str, Any]:
    """Sorbitol for sucrose: JSON, page and text."""
    claim = ["--claim", "lower flame temperature"]
    justified(SUCROSE, SORBITOL, *claim, "-o", "sweet.txt", code=0)
    page = ["--page", "sweet.html"]
    return record(SUCROSE, SORBITOL, *claim, *page, code=0)


@pytest.fixture(scope="module")
def same(folder: Path) -> dict[str, Any]:
    """The same recipe twice: JSON and page."""
    claims = ["--claim", "lower flame temperature", "--claim", "higher c*"]
    return record(SUCROSE, SUCROSE, *claims, "--page", "same.html", code=1)


class Read(HTMLParser):
    """Tags and attributes of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]


def inert(page: str) -> None:
    """Hold a page against what may be active on it: no script, nothing from outside."""
    read = Read(page)
    active = {"script", "img", "iframe", "object", "embed", "base"}
    assert not active & set(read.tags)
    assert not [name for name, _ in read.attributes if name.startswith("on")]
    links = [value for name, value in read.attributes if name in ("href", "src")]
    assert links
    assert all(link.startswith(("#", "data:")) for link in links)
    pictures = [part.split("</svg>")[0] for part in page.split("<svg")[1:]]
    assert len(pictures) % 2 == 0  # each wide and narrow
    for picture in pictures:
        ET.fromstring(f"<svg{picture}</svg>")


def change_in(document: dict[str, Any], key: str = FLAME) -> dict[str, Any]:
    """Return one difference of the new mix."""
    name = document["mixes"][1]["name"]
    own = [d for d in document["differences"] if (d["mix"], d["key"]) == (name, key)]
    return own[-1]


# What is justified, and what is not.


@pytest.mark.slow
def test_sorbitol_burns_cooler_for_certain(sweet: dict[str, Any]) -> None:
    """By some 120 K, every draw; the budget leads with what sources differ on."""
    (claim,) = sweet["claims"]
    assert (claim["verdict"], claim["probability"]) == ("supported", 1.0)
    assert sweet["justified"]
    effect = change_in(sweet)
    assert effect["verdict"] == "lower"
    assert effect["difference_interval"][1] < -50.0
    first = effect["uncertainty_budget"][0]
    assert first["input"] == "enthalpy of formation of sorbitol"
    assert first["share"] > 0.9
    (named,) = [i for i in sweet["inputs"] if i["input"] == first["input"]]
    assert "-1336 kJ/mol" in named["conflict"]
    assert sweet["overturns"][0]["input"] == first["input"]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["sweet.txt", "sweet.html"])
def test_words_and_page_say_so_too(sweet: dict[str, Any], name: str) -> None:
    """Claim and budget; the page has the conflict with its number."""
    text = html.unescape(Path(name).read_text("utf-8"))
    words = " ".join(re.sub("<[^>]*>", "", text).split())
    assert 'SUPPORTED Claim "lower flame temperature": \u2212' in words
    if name.endswith("html"):
        share = change_in(sweet)["uncertainty_budget"][0]["share"]
        assert f"enthalpy of formation of sorbitol {100 * share:.0f} %" in words
        assert "-1336" in words


@pytest.mark.slow
def test_the_same_recipe_tells_nothing(same: dict[str, Any]) -> None:
    """No column is told apart, by exactly 0; still a page."""
    own = same["differences"]
    assert {e["verdict"] for e in own} == {"cannot tell"}
    assert {e["difference"] for e in own} == {0.0}
    assert {tuple(e["difference_interval"]) for e in own} == {(0.0, 0.0)}
    assert {c["verdict"] for c in same["claims"]} == {"cannot tell"}
    assert {c["probability"] for c in same["claims"]} == {0.5}
    assert not same["justified"]
    page = Path("same.html").read_text("utf-8")
    assert "the same weights" in page
    inert(page)


@pytest.mark.slow
def test_the_same_recipe_in_a_motor(folder: Path) -> None:
    """One curve, no map: nothing lies between a mix and itself."""
    words = ("base", "base", "--bench", "bench.toml", "--page", "twice.html")
    justified(*words, code=1)
    page = Path("twice.html").read_text("utf-8")
    assert "Where the new mix lies" not in page
    assert "Pressure against time" in page
    inert(page)


@pytest.mark.slow
def test_the_record_holds_a_still_of_the_triangle(full: dict[str, Any]) -> None:
    """Where the two mixes lie among the limits, at both widths, without script."""
    page = Path("full.html").read_text("utf-8")
    assert len(re.findall("<title[^>]*>[^<]*Where the new mix lies", page)) == 2
    assert "<script" not in page


@pytest.mark.slow
def test_all_wings_in_one_record(full: dict[str, Any]) -> None:
    """Each wing has its column; the limit of the case is its rating, in MPa."""
    columns = {e["key"] for e in full["differences"]}
    assert {"pour_viscosity_Pa_s", "peak_pressure_MPa", FLAME} <= columns
    limits = {limit["key"]: limit for limit in full["limits"]}
    assert len(limits) == 4
    # 1000 psi = 6.894757293 MPa (NIST SP 811: 1 psi = 6894.757 Pa).
    assert limits["peak_pressure_MPa"]["limit"] == pytest.approx(6.894757293)
    assert limits["relative_solids_20C"]["mixes"][1]["share_of_draws"] is not None
    pour = limits["pour_viscosity_Pa_s"]["mixes"]
    assert pour[1]["share_of_draws"] is None
    assert [one["verdict"] for one in pour] == ["broken", "kept"]
    grounds = [one["ground"] for one in limits["peak_pressure_MPa"]["mixes"]]
    assert grounds == ["", "model of 1 mix: 6 % of the mass from 60/20/20"]
    for limit in full["limits"]:
        sign = 1.0 if limit["sense"] == "<=" else -1.0
        for one in limit["mixes"]:
            left = sign * (limit["limit"] - one["judged"]) / abs(limit["limit"])
            assert one["margin_percent"] == pytest.approx(100.0 * left, abs=1e-7)
            assert one["verdict"] == ("kept" if left >= 0.0 else "broken")
    assert set(full["files_read"]) == {f"{IMAGE}.toml", "strands.csv"}
    grams = {one["item"]: (one["now_g"], one["new_g"]) for one in full["amounts"]}
    # 200 g of 60/20/20 and of 62/14/24.
    assert grams["powdered sugar"] == pytest.approx((40.0, 28.0))


def screen(capsys: pytest.CaptureFixture[str], code: int, *words: str) -> list[str]:
    """Run the command and return the lines of its screen."""
    capsys.readouterr()
    justified(*words, code=code)
    return capsys.readouterr().out.splitlines()


def test_the_first_screen_answers(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Claims first; 24 lines of 80 characters; grams; a command to go on with."""
    del folder
    typed = ["--bench", "bench.toml", "--units", "us"]
    claims = ["--claim", "higher flame temperature", "--claim", "lower pressure"]
    lines = screen(capsys, 1, "base", "softer", *claims, *typed)
    assert len(lines) <= 24
    assert max(map(len, lines[:-1])) <= 80
    assert lines[1].startswith('CANNOT TELL  Claim "lower peak pressure": ')
    words = [line[:11].strip() for line in lines if re.match("[A-Z]{4}", line)]
    assert words[:3] == ["CANNOT TELL", "SUPPORTED", "KEPT"]
    rows = [re.split("  +", line)[0].partition(",")[0] for line in lines]
    assert rows.index("flame temperature") < rows.index("peak pressure p95")
    text = " ".join(" ".join(lines).split())
    assert "1.411 -> 0.9877 oz" in text
    assert "its pressure without own strands; base" in text.replace(", made now,", "")
    assert lines[-1] == "Next: castsugar weigh softer --bench bench.toml"


@pytest.mark.slow
@pytest.mark.parametrize("units", ["si", "us"])
def test_one_batch_of_each_cannot_tell_and_says_how_many_would(
    folder: Path, capsys: pytest.CaptureFixture[str], units: str
) -> None:
    """Strands of both, 6 % apart: the claim is open, on recipes, at a pressure.

    5 and 11 batches: 16 (sigma^2 + 0.025^2 / 4) / ln(1.06)^2 + 2 at 2 and 4 %.
    """
    lines = STRANDS.splitlines()
    slower = [
        ",".join([a, f"{1.06 * float(t):.4f}", *more, "60/17/23"])
        for a, t, *more, _ in (line.split(",") for line in lines[1:])
    ]
    (folder / "both.csv").write_text("\n".join([*lines, *slower]) + "\n", "utf-8")
    laws = [
        f'[[motor.burn_law]]\nrecipe = "KNO3:60 powdered sugar:{sugar} corn syrup:'
        f'{40 - sugar}"\nstrands = "both.csv"\nmix = "60/{sugar}/{40 - sugar}"\n'
        for sugar in (20, 17)
    ]
    (folder / "both.toml").write_text(
        BENCH.partition("[[motor.burn_law]]")[0] + "".join(laws), "utf-8"
    )
    both = ["base", "KNO3:60 powdered sugar:17 corn syrup:23"]
    typed = ["--bench", "both.toml", "--units", units]
    claims = ["--claim", "lower pressure", "--claim", "burns slower"]
    for found in (
        screen(capsys, 1, *both, *claims, *typed),
        _compared(capsys, *both, *typed),
    ):
        assert len(found) <= 24
        assert max(map(len, found[:-1])) <= 80
        text = " ".join(" ".join(found).split())
        assert "he two batches differ by 6.0 % in rate, batches of one mix may" in text
        assert "differ as much. About 5 batches of each would tell if your" in text
        assert "if your scatter is 2 %, 11 at 4 %; chance that it is lower" in text
        assert "%, one batch each." in text
        unit = "psi" if units == "us" else "MPa"
        assert re.search(rf"recipes at [\d.]+ {unit}", text)


def _compared(capsys: pytest.CaptureFixture[str], *words: str) -> list[str]:
    """Run compare and return the lines of its screen."""
    capsys.readouterr()
    main(["compare", *words, *QUICK])
    return capsys.readouterr().out.splitlines()


@pytest.mark.slow
def test_nothing_is_supported_on_invented_numbers(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The example line, an open claim, and the word beside what is kept."""
    made_up = BENCH.replace("[motor]", "[motor]\ninvented = true")
    (folder / "made_up.toml").write_text(made_up, "utf-8")
    typed = ["--bench", "made_up.toml", "--page", "made_up.html"]
    typed += ["--picture", "traces=made_up.svg"]
    lines = screen(capsys, 1, "base", "softer", *typed, "--claim", "lower pressure")
    assert lines[1].startswith("EXAMPLE: invented numbers in made_up.toml")
    text = " ".join(" ".join(lines).split())
    assert "It rests on invented numbers: nothing is supported on them." in text
    assert "limits, its pressure without own strands, by invented numbers" in text
    page = Path("made_up.html").read_text("utf-8")
    first = page.partition("</svg>")[0]
    assert ">EXAMPLE: Pressure against time: base, softer<" in first
    traces = Path("made_up.svg").read_text("utf-8")
    assert ">EXAMPLE: Effect of each ingredient<" in traces


def test_a_refuted_claim_lies_outside(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    del folder
    claim = ["--claim", "higher flame temperature"]
    lines = screen(capsys, 1, SUCROSE, SORBITOL, *claim)
    assert lines[1].startswith('OUTSIDE  Claim "higher flame temperature": \u2212')
    assert "the claim lies outside, it is lower." in " ".join(" ".join(lines).split())


@pytest.mark.slow
def test_pictures(folder: Path) -> None:
    """Each is drawn where it is asked for."""
    asked = ("differences", "firing", "products", "map", "traces")
    files = [word for one in asked for word in ("--picture", f"{one}={one}.svg")]
    mix = "KNO3:61 powdered sugar:16 corn syrup:23"
    words = ["base", mix, "--bench", "bench.toml", *files, *QUICK]
    assert main(["justify", *words, "-o", "x.txt", "--force"]) in (0, 1)
    drawn = [ET.fromstring((folder / f"{n}.svg").read_text("utf-8")) for n in asked]
    # Names as typed.
    assert any(str(t).startswith("KNO3 61.0 %") for t in drawn[-1].itertext())


def test_result_objects_print_in_a_few_lines() -> None:
    """No dump; JSON and a table are there."""
    mixes = [{"KNO3": 65, "sucrose": 35}, {"KNO3": 65, "sorbitol": 35}]
    found = justify(*mixes, draws=100, confirm=False)
    assert len(str(found)) < 1000
    assert str(found).splitlines()[0] == f"{SUCROSE} -> {SORBITOL}: justified"
    read = json.loads(found.to_json())
    assert read["justified"]
    assert len(read["evidence"]) == len(found.evidence)
    assert len(found.to_frame()) == 12


@pytest.mark.slow
def test_a_broken_limit_is_a_no(folder: Path) -> None:
    """Turned round, the mix that keeps its limits goes, one that breaks two comes."""
    found = record("softer", "base", "--bench", "bench.toml", code=1)
    broken = [c["key"] for c in found["limits"] if c["mixes"][1]["verdict"] == "broken"]
    assert broken == ["pour_viscosity_Pa_s"]
    assert not found["justified"]


def test_contradicted_is_a_no(folder: Path) -> None:
    found = record(SUCROSE, SORBITOL, "--claim", "higher flame_temperature_K", code=1)
    (claim,) = found["claims"]
    assert (claim["verdict"], claim["probability"]) == ("contradicted", 0.0)


# Strings of the user stay strings.


@pytest.mark.slow
def test_tags_are_text_on_the_page(full: dict[str, Any]) -> None:
    page = Path("full.html").read_text("utf-8")
    assert len(page.encode()) < 400_000
    for word in (SCRIPT, IMAGE):
        assert word not in page
        assert word.replace("<", "&lt;").replace(">", "&gt;") in page
    inert(page)


@pytest.mark.slow
def test_tags_are_text_in_json_and_words(full: dict[str, Any]) -> None:
    """JSON holds them as they are; Markdown escapes them; text has no markup."""
    assert full["recipes"][1]["name"] == SCRIPT
    assert full["reason"] == f"{SCRIPT} & {IMAGE}"
    mix = f"{SCRIPT}={SORBITOL}"
    words = [SUCROSE, mix, "--reason", f"{SCRIPT} *bold*"]
    justified(*words, "--markdown", "-o", "tags.md", "--force", code=0)
    text = Path("tags.md").read_text("utf-8")
    assert "script" in text
    # CommonMark 0.31, 2.4: a backslash before "<" makes it a literal; or an entity;
    # 4.5 and 6.1: code holds no markup.
    text = re.sub("```.*?```|`[^`]*`", "", text, flags=re.DOTALL)
    bare = text.replace("\\<", "").replace("&lt;", "")
    assert "<script" not in bare
    assert "*bold*" not in text.replace("\\*bold\\*", "")


# The schema.


@pytest.mark.slow
def test_records_are_as_the_schema_says(
    full: dict[str, Any], sweet: dict[str, Any], same: dict[str, Any]
) -> None:
    """All wings, none, and the same mix twice obey it; other values do not."""
    checked = schema("justify-2")
    jsonschema.Draft202012Validator.check_schema(checked)
    checker = jsonschema.Draft202012Validator(checked)
    for document in (full, sweet, same):
        checker.validate(document)
        assert set(document) - set(checked["properties"]) <= NOT_DECLARED
        for key in checked["required"]:
            assert not checker.is_valid({k: v for k, v in document.items() if k != key})
    assert not checker.is_valid(full | {"schema": "castsugar.justify/1"})
    assert not checker.is_valid(full | {"evidence": [{"value": "much"}]})


def test_schemas_have_names() -> None:
    titles = {schema(name)["title"] for name in NAMES}
    assert {"castsugar.compare/2", "castsugar.justify/2"} <= titles
    with pytest.raises(UnknownNameError, match="did you mean 'justify-2'"):
        schema("justify-1")


# Bad input: exit code 2, one line, nothing written.

REFUSED = [
    (["base", "sofer"], "'sofer'; did you mean 'softer'"),
    (["base", "zzz:"], "recipe 2: "),
    (["base", "softer", "--claim", "lower presure"], "did you mean 'pressure'"),
    (["base", "softer", "--claim", "better"], "'lower' or 'higher'"),
    (["base", "softer", "--draws", "10"], "--draws is 10; allowed 100 to"),
    (["base", "softer", "--seed", "-1"], "the seed is -1"),
    (["base", "softer", "--scale-step", "0 g"], "--scale-step is 0 g; allowed"),
    (["base", "softer", "--batch", "0 g"], "--batch is 0 g; allowed"),
    (["base", "softer", "--batch", "heavy"], "--batch"),
    (["base", "softer", "--exit-pressure", "none"], "--exit-pressure is none"),
    (["base", "KNO3:65 aluminium:35"], "'aluminium' is refused"),
    (["base", "KNO3:65 suger:35"], "did you mean 'sugar'"),
    (["base", "softer", "--page", "no/such.html"], "does not exist"),
    (["base", "softer", "-o", "x", "--page", "x"], "give two files"),
    (["base", "softer", "--bench", "none.toml"], "none.toml cannot be read"),
]


@pytest.mark.parametrize(("words", "message"), REFUSED, ids=[r[1] for r in REFUSED])
def test_bad_input(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str], message: str
) -> None:
    before = sorted(p.name for p in folder.iterdir())
    typed = [*words] if "--bench" in words else ["--bench", "bench.toml", *words]
    if "--page" not in words:
        typed += ["--page", "refused.html", "-o", "refused.txt"]
    assert main(["justify", *typed]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert message in printed.err
    assert printed.err.startswith("castsugar: ")
    assert printed.err.count("\n") == 1
    assert sorted(p.name for p in folder.iterdir()) == before


@pytest.mark.slow
def test_wings_that_were_not_asked_for(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A claim or a limit on what is not computed names the option that is missing."""
    claims = {"pressure": "--bench", "pour viscosity": "--cook", "set ratio": "--cook"}
    for word, option in claims.items():
        words = [SUCROSE, SORBITOL, "--claim", f"lower {word}"]
        assert main(["justify", *alone(words), *QUICK]) == 2
        assert option in capsys.readouterr().err
    limits = {
        "relative_solids_20C = { at_least = 1 }": "--cook",
        'peak_pressure_MPa = { at_most = "5 MPa" }': "--bench",
    }
    for line, option in limits.items():
        (folder / "dry.toml").write_text(f"[limits]\n{line}\n", "utf-8")
        words = [SUCROSE, SORBITOL, "--bench", "dry.toml"]
        assert main(["justify", *alone(words), *QUICK]) == 2
        assert option in capsys.readouterr().err


def test_a_file_that_exists_stays(
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Refused before anything is computed; --force replaces it."""
    path = folder / "kept.html"
    path.write_text("mine", "utf-8")

    def never(*_: object, **__: object) -> None:
        raise AssertionError("computed")

    with monkeypatch.context() as patched:
        patched.setattr("castsugar.comparison.change.justify", never)
        for option in ("--page", "-o"):
            words = [SUCROSE, SORBITOL, option, "kept.html"]
            assert main(["justify", *words]) == 2
            assert "--force" in capsys.readouterr().err
        words = [SUCROSE, SORBITOL, "--page", "kept.html", "--force"]
        assert main(["justify", *words]) == 70
        assert "AssertionError: computed" in capsys.readouterr().err
    assert path.read_text("utf-8") == "mine"
    justified(SUCROSE, SORBITOL, "-o", "kept.html", "--force", code=0)
    assert "Change of mix" in path.read_text("utf-8")


# The same bytes.

AGAIN = """
import json, sys
from castsugar.cli.main import main
for words in json.loads(sys.argv[1]):
    main(words)
"""


@pytest.mark.slow
def test_the_same_bytes_in_a_fresh_process(full: dict[str, Any], folder: Path) -> None:
    """Whatever the order of sets is, whatever was done before, wherever it goes."""
    dry = [SUCROSE, SORBITOL]
    justified(*dry, "-o", "first.txt", code=0)
    justified(*dry, "--markdown", "-o", "first.md", code=0)
    justified(*FULL, "--json", "-o", "first.json", code=0)
    again = [
        [*FULL, "--json", "--output=other.json", "--page=other.html"],
        [*dry, "--output", "other.txt"],
        [*dry, "-o", "other.md", "--markdown"],
    ]
    words = json.dumps([["justify", *alone(own), *QUICK] for own in again])
    here = os.environ.get("PYTHONHASHSEED", "random")
    subprocess.run(
        [sys.executable, "-c", AGAIN, words],
        cwd=folder,
        env=os.environ | {"PYTHONHASHSEED": "2" if here == "1" else "1"},
        check=True,
        capture_output=True,
    )
    for kind in ("json", "html", "txt", "md"):
        name = "full.html" if kind == "html" else f"first.{kind}"
        first, other = (folder / n for n in (name, f"other.{kind}"))
        assert first.stat().st_size > 500
        assert first.read_bytes() == other.read_bytes()
