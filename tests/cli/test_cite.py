"""Whatever is computed of the species data says which: --cite of the commands."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import pytest
from commands import PARSERS

from castsugar.cli.main import main
from castsugar.kitchen.parameters import EQUATIONS

# Exact: keys are those of sources.csv and of the equations of the kitchen.
pytestmark = pytest.mark.exact

#: They compute nothing of the data, or print the source beside each value.
UNCITED = {
    "audit",
    "batch add",
    "batch close",
    "batch export",
    "batch import",
    "batch list",
    "cautions",
    "completion",
    "examples",
    "ingredients",
    "init",
    "open",
}


def test_every_other_command_offers_it() -> None:
    """What is absent from --help is absent on purpose."""
    groups = {words.rpartition(" ")[0] for words in PARSERS}
    runs = {words for words in PARSERS if words not in groups}
    offered = {
        w for w, one in PARSERS.items() if "--cite" in one._option_string_actions
    }
    assert offered - runs == set()
    assert runs - offered == UNCITED


BRINE = '--mass "60 g" --loose "52 ml" --tapped "46 ml" --temperature "20 C"'


@pytest.mark.slow
@pytest.mark.parametrize(
    ("typed", "burnt", "cooked"),
    [
        ("check", True, True),
        ("batch new base --batch '200 g'", True, True),
        ("plan water base --left '1 %'", False, True),
        ("plan heat base", False, True),
        (f"kitchen brine {BRINE}", False, True),
        ("evaluate 'KNO3:65 sucrose:35' --no-bench", True, False),
    ],
)
def test_references_of_commands(
    typed: str,
    burnt: bool,
    cooked: bool,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Products where something burns, equations where something is cooked."""
    monkeypatch.chdir(tmp_path)
    main(["init", "."])
    capsys.readouterr()
    assert main([*shlex.split(typed), "--json", "--cite"]) in (0, 1)
    told = json.loads(capsys.readouterr().out)
    keys = {one["key"] for one in told["references"]}
    assert "crc-handbook" in keys
    assert ("nasa-tm-4513" in keys) == burnt
    assert (set(EQUATIONS) <= keys) == cooked


@pytest.mark.slow
def test_bands_rest_on_both_product_sets(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With a bench there are bands, and in them what the other set would say."""
    monkeypatch.chdir(tmp_path)
    main(["init", "."])
    for more, both in (([], True), (["--no-bench"], False)):
        capsys.readouterr()
        main(["evaluate", "KNO3:65 sucrose:35", *more, "--json", "--cite"])
        told = json.loads(capsys.readouterr().out)["references"]
        assert ("nasa-tp-2002-211556" in {one["key"] for one in told}) == both
