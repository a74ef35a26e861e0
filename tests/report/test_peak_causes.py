"""What can raise the peak: its table, what forbids a firing, documents, bad input."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import castsugar as cs
from castsugar.cli.main import main
from castsugar.motor.peak_causes import ASSUMED, CRACK, DEBOND, HOT_DAY, STATED, Cause
from castsugar.report.document import schema_of
from castsugar.report.mixes import PARTS
from castsugar.report.peak_causes import TITLE, cause_annex, cause_finding
from castsugar.report.screen import Paragraph
from castsugar.report.shown import Shown

# Exact: words against the numbers they are made of.
pytestmark = pytest.mark.exact

SI, US = Shown("si"), Shown("us")


def cause(
    name: str = CRACK,
    origin: str = STATED,
    factors: tuple[float, float] = (1.2, 1.5),
    allowable: float = 5e6,
    size: float = 0.3,
) -> Cause:
    """Return a cause of a motor with peaks of 4 and 4.5 MPa."""
    middle, high = factors
    sizes = {"share": size}
    if name == HOT_DAY:
        sizes = {"warmer": size, "temperature": 293.15 + size}
    return Cause(
        name=name,
        origin=origin,
        sizes=sizes,
        low=1.0,
        middle=middle,
        high=high,
        best=4e6,
        p95=4.5e6,
        allowable=allowable,
    )


def test_the_worst_cause_is_one_finding() -> None:
    """By hand: 4 MPa x 1.5 = 6 MPa, 20 % above 5 MPa; 40 %, 7 MPa, is worse."""
    (one,) = cause_finding(["base"], [(cause(),)], SI)
    assert one.status == "DO NOT"
    assert one.text == (
        "fire it: crack (30 % of area) takes the peak to 6.00 MPa, 20 % above your "
        "rating 5 MPa."
    )
    assert one.values == {"pressure_MPa": pytest.approx(6.0), "allowable_MPa": 5.0}
    hot = cause(HOT_DAY, factors=(1.3, 1.75), size=20.0)
    (one,) = cause_finding(["A x", "B y"], [(cause(),), (cause(), hot)], US)
    assert one.text == (
        "fire B y: hot day (at 104 °F) takes the peak to 1020 psi, 40 % above your "
        "rating 725 psi. So do causes of A x."
    )
    steep = cause(factors=(1.2, math.inf))
    (one,) = cause_finding(["base"], [(steep,)], SI)
    assert "leaves it no stable pressure; your rating 5 MPa." in one.text
    assert not [*cause_finding(["base"], [(cause(allowable=6.1e6),)], SI)]
    assert not [*cause_finding(["base"], [()], SI)]


def test_an_assumed_size_cries_no_wolf() -> None:
    """Above by the high end alone: a CAUTION of the full answer; by the middle (5.2 MPa
    of 5): DO NOT.
    """
    high_only = cause(DEBOND, ASSUMED, size=0.1)
    assert not [*cause_finding(["base"], [(high_only,)], SI)]
    both = cause(DEBOND, ASSUMED, factors=(1.3, 1.5), size=0.1)
    (one,) = cause_finding(["base"], [(both,)], SI)
    assert "debond (10 % of face, assumed) takes the peak to 5.20 MPa" in one.text


# --- evaluate ------------------------------------------------------------------------


@pytest.fixture
def ask(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> Any:
    """Return what a command line prints in the folder of the example."""
    monkeypatch.chdir(tmp_path)
    cs.bench.write_example(tmp_path)

    def asked(*words: str) -> str:
        main(["evaluate", *words, "--no-confirm"])
        return str(capsys.readouterr().out)

    return asked


def changed(**keys: str) -> None:
    """State keys of the motor in the bench of the folder."""
    path = Path("bench.toml")
    told = "".join(f'{key} = "{value}"\n' for key, value in keys.items())
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[motor]\n", f"[motor]\n{told}"), encoding="utf-8")


@pytest.mark.slow
@pytest.mark.parametrize("units", ["si", "us"])
def test_the_table(ask: Any, units: str) -> None:
    """Every cause of the example in a row of at most 80, below the case, no finding."""
    text = ask("base", "--full", "--units", units)
    lines = text.partition(TITLE)[2].splitlines()
    end = next(i for i, line in enumerate(lines) if line.startswith("Igniter"))
    rows = {line[:17].strip(): line for line in lines[:end]}
    for name in ("crack", "debond", "hot day", "throat deposit"):
        assert "assumed" in rows[name]
        assert "  yes  " in rows[name]
    for name in ("none of these", "erosive burning"):
        assert "  yes  " in rows[name]
    assert "igniter not stated" in rows["start and igniter"]
    assert all(len(line) <= 80 for line in lines[:-1])  # Next may be longer
    assert "DO NOT" not in text
    assert "CAUTION" not in text.partition(TITLE)[2]
    unit = "kg/(m² s)" if units == "si" else "lb/(in² s)"
    assert unit in rows["erosive burning"]


@pytest.mark.slow
def test_a_stated_size_forbids_on_the_default_screen(ask: Any) -> None:
    """Half of the outer face loose: DO NOT comes first; 24 lines; all mixes named."""
    for words in (["base"], ["base", "red"]):
        text = ask(*words, "--debond", "50 %")
        finding = next(x for x in text.splitlines() if x.startswith("DO NOT"))
        assert "debond (50 % of face) takes the peak to" in " ".join(text.split())
        assert finding.startswith("DO NOT  fire it" if len(words) == 1 else "DO NOT  ")
        assert len(text.splitlines()) <= 24
        assert max(map(len, text.splitlines())) <= 80
    assert "fire A base:" in text or "fire B red:" in text


@pytest.mark.slow
def test_assumed_sizes_are_a_caution_in_full(ask: Any) -> None:
    """A rating between middle and high end of the hot day of the example."""
    rows = json.loads(ask("base", "--json"))["peak_causes"]
    hot = next(row for row in rows if row["cause"] == HOT_DAY)
    rating = 0.5 * (hot["pressure_MPa"] + hot["pressure_high_MPa"])
    path = Path("bench.toml")
    text = path.read_text(encoding="utf-8")
    stated = f'rated_pressure = "{rating:.6f} MPa"'
    path.write_text(text.replace('rated_pressure = "1000 psi"', stated), "utf-8")
    no_area = ("--crack", "0", "--debond", "0")
    said = " ".join(ask("base", "--full", *no_area).split())
    assert "CAUTION: hot day (at 40 °C, assumed) takes the peak above the case" in said
    assert "(at 40 °C, assumed) takes the peak to" not in said
    changed(hottest_grain="40 C")
    said = " ".join(ask("base", "--full", *no_area).split())
    assert "fire it: hot day (at 40 °C) takes the peak to" in said
    assert "CAUTION: hot day" not in said


@pytest.mark.slow
def test_json_of_the_causes(ask: Any) -> None:
    """Valid; pressures are factors times the peaks of the row, in keys with units."""
    changed(igniter_mass="4 g", throat_after="7.8 mm", hottest_grain="35 C")
    found = json.loads(ask("base", "--json", "--crack", "20 %"))
    jsonschema.validate(found, schema_of("evaluate", PARTS))
    (mix,) = found["mixes"]
    assert mix["port_to_throat"] == pytest.approx((14 / 8) ** 2)
    rows = {row["cause"]: row for row in found["peak_causes"]}
    for row in rows.values():
        assert 1.0 <= row["factor_low"] <= row["factor"] <= row["factor_high"]
        for key, peak in (
            ("pressure_MPa", "peak_pressure_MPa"),
            ("pressure_p95_MPa", "peak_pressure_p95_MPa"),
        ):
            assert row[key] == pytest.approx(row["factor"] * mix[peak])
    assert rows["crack"]["share_percent"] == pytest.approx(20.0)
    assert rows["crack"]["origin"] == "stated"
    assert rows["debond"]["origin"] == "assumed"
    assert rows["hot day"]["warmer_K"] == pytest.approx(15.0)
    assert rows["throat deposit"]["throat_diameter_mm"] == pytest.approx(7.8)
    assert rows["start and igniter"]["igniter_mass_g"] == pytest.approx(4.0)
    assert rows["erosive burning"]["core_mass_flux_kg_m2_s"] > 0.0


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("base", "--crack", "-5 %"), "--crack: fraction '-5 %' is below zero"),
        (("base", "--debond", "120 %"), "--debond: fraction '120 %' is above 1"),
        (("base", "--crack", "much"), "--crack"),
        (
            ("KNO3:65 sucrose:35", "--no-bench", "--debond", "10 %"),
            "--debond is for a motor; add --bench FILE with a [motor]",
        ),
    ],
)
def test_bad_sizes(
    words: tuple[str, ...],
    message: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    cs.bench.write_example(tmp_path)
    try:
        code = main(["evaluate", *words])
    except SystemExit as ended:
        code = ended.code
    assert code == 2
    assert message in capsys.readouterr().err


def test_one_paragraph_says_how_causes_meet() -> None:
    """Once below all tables, whatever the number of mixes."""
    from castsugar.motor.peak_causes import UNTOLD

    start = Cause(
        name="start and igniter",
        origin=UNTOLD,
        sizes={"time": 0.03, "doubling": 0.006},
        best=4e6,
        p95=4.5e6,
        allowable=5e6,
        why="igniter not stated",
    )
    flow = Cause(
        name="erosive burning",
        origin=UNTOLD,
        best=4e6,
        p95=4.5e6,
        allowable=5e6,
        why="port not stated",
    )
    own = (start, flow, cause())
    (annex,) = cause_annex(["a", "b"], [own, own], SI)
    texts = [one.text for one in annex.blocks if isinstance(one, Paragraph)]
    assert sum("factors multiply" in text for text in texts) == 1
    assert sum("from 6.0 g of charge in 30 ms on" in text for text in texts) == 2
    assert not [*cause_annex(["a"], [()], SI)]
