"""``castsugar justify`` as it is used: the record, its schema, and what is refused.

The bench, its strands and its motor are invented.
"""

from __future__ import annotations

import copy
import html
import json
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from dataclasses import replace
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from castsugar import UnknownNameError, justify, load_database
from castsugar.cli.main import main
from castsugar.data import Source
from castsugar.plain import to_json
from castsugar.report.blocks.html import to_html
from castsugar.report.blocks.markdown import to_markdown
from castsugar.report.blocks.text import to_text
from castsugar.report.change.document import change_document
from castsugar.report.change.rows import change_rows
from castsugar.report.change.words import Asked
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
pour_viscosity_Pa_s = {{ at_most = 15, probability = "80 %" }}
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
    """Tags, attributes and scripts of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.scripts: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]
        if tag == "script":
            self.scripts.append("")

    def handle_data(self, data: str) -> None:
        if self.tags and self.tags[-1] == "script" and self.cdata_elem == "script":
            self.scripts[-1] += data


#: What a page adds to the script of its panel: that it came to its end.
DONE = 'document.getElementById("what-if").classList.add("works");'


def inert(page: str, *, panels: int = 1, pictures: int = 1) -> None:
    """Hold a page against what may be active on it: our own script and its data."""
    read = Read(page)
    own = resources.files("castsugar.report").joinpath("what_if.js").read_text("utf-8")
    assert len(read.scripts) == 2 * panels
    if panels:
        data, script = read.scripts
        assert set(json.loads(data)) >= {"dials", "names"}
        assert script.replace(DONE, "").strip() == own.strip()
    assert not {"img", "iframe", "object", "embed", "base"} & set(read.tags)
    assert not [name for name, _ in read.attributes if name.startswith("on")]
    links = [value for name, value in read.attributes if name in ("href", "src")]
    assert links
    assert all(link.startswith(("#", "data:")) for link in links)
    drawn = [part.split("</svg>")[0] for part in page.split("<svg")[1:]]
    assert len(drawn) >= pictures
    for picture in drawn:
        ET.fromstring(f"<svg{picture}</svg>")


# What is justified, and what is not.


def test_sorbitol_burns_cooler_for_certain(sweet: dict[str, Any]) -> None:
    """By some 120 K, every draw; the doubt is the enthalpy on which sources differ."""
    (claim,) = sweet["claims"]
    assert (claim["verdict"], claim["probability"]) == ("supported", 1.0)
    assert sweet["justified"]
    effect = sweet["effects"]["new"][0]
    assert (effect["column"], effect["verdict"]) == (FLAME, "lower")
    assert effect["difference_interval"][1] < -50.0
    first = effect["doubt"][0]
    assert first["input"] == "enthalpy of formation of sorbitol"
    assert first["share"] > 0.9
    (named,) = [i for i in sweet["inputs"] if i["input"] == first["input"]]
    assert "-1336 kJ/mol" in named["conflict"]
    assert sweet["overturns"][0]["input"] == first["input"]


@pytest.mark.parametrize("name", ["sweet.txt", "sweet.html"])
def test_words_and_page_say_so_too(sweet: dict[str, Any], name: str) -> None:
    """Claim, chance, the conflict with its number."""
    words = " ".join(Path(name).read_text("utf-8").replace("&gt;", ">").split())
    assert "lower flame temperature: supported (chance > 99.9 %)" in words
    share = sweet["effects"]["new"][0]["doubt"][0]["share"]
    assert f"enthalpy of formation of sorbitol {100 * share:.0f} %" in words
    assert "-1336" in words.replace("\u2212", "-")


def test_the_same_recipe_tells_nothing(same: dict[str, Any]) -> None:
    """No column is told apart, by exactly 0; still a page."""
    effects = same["effects"]["new"]
    assert {e["verdict"] for e in effects} == {"cannot tell"}
    assert {e["difference"] for e in effects} == {0.0}
    assert {tuple(e["difference_interval"]) for e in effects} == {(0.0, 0.0)}
    assert {c["verdict"] for c in same["claims"]} == {"cannot tell"}
    assert {c["probability"] for c in same["claims"]} == {0.5}
    assert not same["justified"]
    page = Path("same.html").read_text("utf-8")
    assert "same recipe" in page
    inert(page, panels=0)


def test_all_wings_in_one_record(full: dict[str, Any]) -> None:
    """Each wing has its column; the limit of the case is its rating, in MPa."""
    columns = [e["column"] for e in full["effects"]["new"]]
    assert {"pour_viscosity_Pa_s", "peak_pressure_MPa", FLAME} <= set(columns)
    limits = {limit["column"]: limit for limit in full["limits"]}
    assert len(limits) == 4
    # 1000 psi = 6.894757293 MPa (NIST SP 811: 1 psi = 6894.757 Pa).
    assert limits["peak_pressure_MPa"]["value"] == pytest.approx(6.894757293)
    assert limits["relative_solids_20C"]["new"]["share_of_draws"] is not None
    pour = limits["pour_viscosity_Pa_s"]
    assert pour["new"]["share_of_draws"] is None
    assert (pour["now"]["verdict"], pour["new"]["verdict"]) == ("broken", "kept")
    grounds = [limits["peak_pressure_MPa"][n]["ground"] for n in ("now", "new")]
    assert grounds == ["", "borrowed burn rate"]
    for limit in full["limits"]:
        sign = 1.0 if limit["sense"] == "<=" else -1.0
        for name in ("now", "new"):
            one = limit[name]
            left = sign * (limit["value"] - one["value"]) / abs(limit["value"])
            assert one["margin"] == pytest.approx(left, abs=1e-9)
            assert one["verdict"] == ("kept" if left >= 0.0 else "broken")
    assert set(full["files"]) == {f"{IMAGE}.toml", "strands.csv"}


def test_a_broken_limit_is_a_no(folder: Path) -> None:
    """Turned round, the mix that keeps its limits goes, one that breaks two comes."""
    found = record("softer", "base", "--bench", "bench.toml", code=1)
    broken = [c["column"] for c in found["limits"] if c["new"]["verdict"] == "broken"]
    assert broken == ["pour_viscosity_Pa_s"]
    assert not found["justified"]


def test_contradicted_is_a_no(folder: Path) -> None:
    found = record(SUCROSE, SORBITOL, "--claim", "higher flame_temperature_K", code=1)
    (claim,) = found["claims"]
    assert (claim["verdict"], claim["probability"]) == ("contradicted", 0.0)


# Strings of the user stay strings.


def test_tags_are_text_on_the_page(full: dict[str, Any]) -> None:
    page = Path("full.html").read_text("utf-8")
    assert len(page.encode()) < 400_000
    for word in (SCRIPT, IMAGE):
        assert word not in page
        assert word.replace("<", "&lt;").replace(">", "&gt;") in page
    inert(page, pictures=5)


def test_tags_are_text_in_json_and_words(full: dict[str, Any]) -> None:
    """JSON holds them as they are; Markdown escapes them; text has no markup."""
    assert full["recipes_as_weighed"]["new"]["name"] == SCRIPT
    assert full["reason"] == f"{SCRIPT} & {IMAGE}"
    assert full["bench"] == f"{IMAGE}.toml"
    mix = f"{SCRIPT}={SORBITOL}"
    words = [SUCROSE, mix, "--reason", f"{SCRIPT} *bold*"]
    justified(*words, "--markdown", "-o", "tags.md", "--force", code=0)
    text = Path("tags.md").read_text("utf-8")
    assert "script" in text
    # CommonMark 0.31, 2.4: a backslash before "<" makes it a literal; or an entity.
    bare = text.replace("\\<", "").replace("&lt;", "")
    assert "<script" not in bare
    assert "*bold*" not in text.replace("\\*bold\\*", "")


@pytest.mark.parametrize("word", [SCRIPT, IMAGE, f'"><svg onload={SCRIPT}'])
def test_tags_in_the_evidence_are_text(word: str) -> None:
    """Notes, sources and units of data files: in every document that shows them."""
    base, new = {"KNO3": 65, "sucrose": 35}, {"KNO3": 60, "sucrose": 40}
    change = justify(base, new, draws=100, confirm=False)
    caution = load_database().cautions_for(["evaluate"], {})[0]
    told = [
        replace(one, subject=word, unit=word, note=word, source=source)
        for one, source in zip(change.evidence, (word, "key", word), strict=False)
    ]
    asked = Asked(
        command=word,
        versions={"castsugar": word, "species_data": word},
        sources={"key": Source(key="key", kind=word, citation=word, doi_or_url=word)},
        cautions=(replace(caution, text=word),),
        assumptions=(word,),
        bench=word,
        files={word: "0123456789abcdef"},
    )
    nasty = replace(change, evidence=tuple(told))
    document = change_document(nasty, asked)
    page = to_html(document)
    assert word not in page
    assert page.count(html.escape(word)) >= 9
    inert(page, panels=0)
    bare = to_markdown(document).replace("\\<", "").replace("&lt;", "")
    assert not re.search(r"<(script|img|svg)", bare)
    assert to_text(document).count(word.split("<")[1][:6]) >= 9
    rows = json.loads(to_json(change_rows(nasty, asked)))
    assert rows["evidence"][0]["note"] == word
    assert rows["sources"] == {"key": word}


# The schema.


def test_records_are_as_the_schema_says(
    full: dict[str, Any], sweet: dict[str, Any], same: dict[str, Any]
) -> None:
    """The schema is one, and all wings, none, and the same mix twice obey it."""
    checked = schema("justify-1")
    jsonschema.Draft202012Validator.check_schema(checked)
    assert checked["$schema"].endswith("2020-12/schema")
    for document in (full, sweet, same):
        jsonschema.validate(document, checked)


def test_records_with_gaps_obey_it(folder: Path) -> None:
    """Without a number there is null: sorbitol has no kitchen model, sucrose jams."""
    cook = ["--cook", "119 C", "--minutes", "8"]
    jams = record(SUCROSE, "KNO3:60 sucrose:35 corn syrup:5", *cook, code=0)
    blind = record(SUCROSE, SORBITOL, *cook, code=0)
    # A law of a publication, and nothing measured.
    lent = BENCH.partition("recipe = ")[0] + 'borrowed = "sucrose 65/35"\n'
    (folder / "lent.toml").write_text(lent, "utf-8")
    borrowed = record("base", "softer", "--bench", "lent.toml", code=1)
    pours = [
        next(e for e in found["effects"]["new"] if e["column"] == "pour_viscosity_Pa_s")
        for found in (jams, blind)
    ]
    assert pours[1]["value"] is None
    assert None in pours[0]["interval"]
    subjects = {e["subject"]: e["standing"] for e in borrowed["evidence"]}
    laws = [subjects[s] for s in subjects if s.startswith("burn rate of")]
    assert laws == ["borrowed", "borrowed"]
    for document in (jams, blind, borrowed):
        jsonschema.validate(document, schema("justify-1"))


def _objects(node: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the path of every object of a document, one of each list."""
    if isinstance(node, dict):
        yield path
        for key, value in node.items():
            yield from _objects(value, (*path, key))
    elif isinstance(node, list) and node:
        yield from _objects(node[0], (*path, 0))


def _at(document: Any, path: tuple[Any, ...]) -> Any:
    for key in path:
        document = document[key]
    return document


CHECKER = jsonschema.Draft202012Validator(schema("justify-1"))
#: Objects with keys that are data: names, columns, elements, files.
OPEN = {"rows", "files", "sources", "versions", "recipe_mass_fraction"}
OPEN |= {"elements_mol_kg"}


def broken_documents(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield documents with one key too few, or one too many."""
    for path in _objects(document):
        if OPEN & set(path):
            continue
        for key in [*_at(document, path), "more"]:
            changed = copy.deepcopy(document)
            target = _at(changed, path)
            if key == "more":
                target["more"] = 1
            else:
                del target[key]
            yield f"{path} {key}", changed


@pytest.fixture(scope="module")
def small(full: dict[str, Any]) -> dict[str, Any]:
    """Return the full record with one of each list, which says as much as all."""
    small = copy.deepcopy(full)
    for key in ("evidence", "inputs", "cautions", "assumptions", "limits"):
        small[key] = small[key][:1]
    small["overturns"] = small["overturns"][:6]
    small["effects"] = {n: e[:6] for n, e in small["effects"].items()}
    assert CHECKER.is_valid(small)
    return small


def test_a_key_too_few_or_too_many_breaks_it(small: dict[str, Any]) -> None:
    """Every key of every object that we own the shape of, one after the other."""
    tried = list(broken_documents(small))
    assert len(tried) > 100
    assert [name for name, document in tried if CHECKER.is_valid(document)] == []


WRONG = [
    (("schema",), "castsugar.justify/2"),
    (("justified",), "yes"),
    (("claims", 0, "verdict"), "probably"),
    (("claims", 0, "direction"), "up"),
    (("claims", 0, "column"), "set_ration"),
    (("claims", 0, "probability"), 1.2),
    (("limits", 0, "sense"), "<"),
    (("limits", 0, "value"), None),
    (("limits", 0, "new", "verdict"), "ok"),
    (("limits", 0, "new", "ground"), "hearsay"),
    (("effects", "new", 0, "verdict"), "better"),
    (("effects", "new", 0, "merit"), "good"),
    (("effects", "new", 0, "interval"), [1.0]),
    (("effects", "new", 0, "difference_is"), "ratio"),
    (("effects", "new", 0, "value"), "1500"),
    (("effects", "new"), []),
    (("evidence", 0, "standing"), "certain"),
    (("evidence", 0, "source"), ""),
    (("evidence",), []),
    (("inputs", 0, "kind"), "luck"),
    (("overturns", 0, "settled_by_this_input_alone"), None),
    (("rows", "new", "status"), 1),
    (("rows", "new", FLAME), "hot"),
    (("rows", "new", "more"), [1]),
    (("files", "bench.toml"), "none"),
    (("draws",), 200.5),
    (("scale_step_g",), 0.0),
    (("cautions",), []),
]


@pytest.mark.parametrize(("path", "value"), WRONG, ids=[str(w[0]) for w in WRONG])
def test_a_wrong_value_breaks_it(
    small: dict[str, Any], path: tuple[Any, ...], value: Any
) -> None:
    changed = copy.deepcopy(small)
    _at(changed, path[:-1])[path[-1]] = value
    assert not CHECKER.is_valid(changed)


def test_schemas_have_names() -> None:
    assert [schema(name)["$id"].rpartition(":")[2] for name in NAMES] == list(NAMES)
    with pytest.raises(UnknownNameError, match="did you mean 'justify-1'"):
        schema("justify-2")


# Bad input: exit code 2, one line, nothing written.

REFUSED = [
    (["base", "sofer"], "'sofer'; did you mean 'softer'"),
    (["base", "zzz:"], "recipe 2: "),
    (["base", "softer", "--claim", "lower presure"], "did you mean 'pressure'"),
    (["base", "softer", "--claim", "better"], "'lower' or 'higher'"),
    (["base", "softer", "--draws", "10"], "--draws is 10; allowed 100 to"),
    (["base", "softer", "--seed", "-1"], "seed of 0 or more"),
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
    assert "Record of a change" in path.read_text("utf-8")


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
        assert first.stat().st_size > 1000
        assert first.read_bytes() == other.read_bytes()
