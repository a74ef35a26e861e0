"""Where the doubt of a peak pressure comes from, in words and in documents."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

import castsugar as cs
from castsugar.cli.main import main
from castsugar.motor.pressure_doubt import (
    BatchScatter,
    Cause,
    OnePressure,
    PressureDoubt,
    StepToMotor,
)
from castsugar.report.document import schema_of
from castsugar.report.mixes import PARTS
from castsugar.report.pressure_words import (
    batch_words,
    doubt_line,
    one_pressure_words,
    step_words,
)
from castsugar.report.shown import Shown

# Exact: words against the numbers they are made of.
pytestmark = pytest.mark.exact


def batches(
    middle: float, low: float, high: float, count: int = 0, stated: bool = False
) -> BatchScatter:
    return BatchScatter(middle=middle, low=low, high=high, batches=count, stated=stated)


def cause(name: str, percent: float, whole: float, *, assumed: bool = True) -> Cause:
    share = (percent / whole) ** 2
    return Cause(name=name, percent=percent, share=share, assumed=assumed)


def test_one_line_names_the_largest_and_how_much_is_assumed() -> None:
    """8, 4 and 4, with 2 and 1 behind: 10.05 together, sqrt 5 = 2 the rest.

    The throat, 2 % of 10.05, is known: 4 of 101 of the variance.
    """
    whole = 101.0**0.5
    found = PressureDoubt(
        percent=whole,
        causes=(
            cause("next batch", 8.0, whole),
            cause("mix", 4.0, whole),
            cause("strands to motor", 4.0, whole),
            cause("throat", 2.0, whole, assumed=False),
            cause("exponent", 1.0, whole),
        ),
        batch=batches(0.06, 0.02, 0.15),
        to_motor=StepToMotor(value=0.04, u=0.05, firings=0),
    )
    assert doubt_line(found) == (
        "Pressure ± 10 %: next batch 8, mix 4, strands to motor 4, rest 2; 96 % assumed"
    )


def test_batches_assumed_stated_and_learnt() -> None:
    assert batch_words(batches(0.06, 0.0215, 0.15)) == (
        "Scatter between batches taken as 6 % (assumed, 2 to 15 %); you cooked no mix "
        "twice."
    )
    assert batch_words(batches(0.04, 0.014, 0.11, stated=True)) == (
        "Scatter between batches stated as 4 %; you cooked no mix twice."
    )
    assert batch_words(batches(0.031, 0.018, 0.055, count=4)) == (
        "Scatter between batches, learnt from 4 batches: 3.1 % (1.8 to 5.5)."
    )


def test_strands_against_motors_and_at_one_pressure() -> None:
    held = StepToMotor(value=0.04, u=0.05, firings=0)
    assert step_words(held) == (
        "Strands are taken to read 4 ± 5 % low against motors (assumed)."
    )
    fired = StepToMotor(value=0.014, u=0.041, firings=1)
    assert step_words(fired) == (
        "Strands read 1 ± 4 % low against motors (what is assumed, and 1 firing)."
    )
    one = OnePressure(strands=1, pressure=2e6, exponent=0.4, exponent_u=0.1155)
    assert one_pressure_words(one, Shown()) == (
        "1 strand at 2.00 MPa: used; n taken as 0.40 ± 0.12."
    )


@pytest.mark.slow
def test_evaluate_says_it_in_every_form(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """One line on the screen; every cause, and what was not stated, in full and JSON.

    The line is told in the numbers of the document: its largest cause comes first.
    """
    monkeypatch.chdir(tmp_path)
    cs.bench.write_example(tmp_path)
    main(["evaluate", "base", "--no-confirm"])
    (line,) = [
        x for x in capsys.readouterr().out.splitlines() if x.startswith("Pressure ±")
    ]
    main(["evaluate", "base", "--no-confirm", "--json"])
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, schema_of("evaluate", PARTS))
    rows = found["pressure_doubts"]
    assert sum(row["variance_percent"] for row in rows) == pytest.approx(100.0)
    first = rows[0]
    assert f": {first['cause']} {first['pressure_percent']:.0f}, " in line
    assert found["batch_scatter"]["percent"] == pytest.approx(6.0)
    said = "scatter of burn rates, assumed: batch 6 %, strands to motor 4 ± 5 %"
    assert any(text.startswith(said) for text in found["assumptions"])
    main(["evaluate", "base", "--no-confirm", "--full"])
    full = capsys.readouterr().out
    assert "Where the doubt of the peak pressure comes from" in full
    assert "you cooked no mix\ntwice" in full
    assert all(row["cause"] in full for row in rows)
    assert "\nmix, by what was burned of it " in full
    main(["evaluate", "KNO3:61 powdered sugar:19 corn syrup:20", "--full"])
    assert "\nmix, not measured " in capsys.readouterr().out
