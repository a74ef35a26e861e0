"""What to do next about a mix: the smallest change that keeps every limit.

Exact: what is offered keeps all limits, and one step less does not.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from castsugar.bench.example import write_example
from castsugar.cli.main import main

pytestmark = [pytest.mark.exact, pytest.mark.slow]

Capture = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a folder with an example bench."""
    write_example(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def evaluated(capsys: Capture, *words: str) -> tuple[bool, str]:
    """Return whether a mix keeps all limits, and the last line."""
    assert main(["evaluate", *words]) == 0
    lines = capsys.readouterr().out.splitlines()
    bad = any(line.startswith(("BROKEN", "DO NOT")) for line in lines)
    return not bad, lines[-1]


@pytest.mark.parametrize(
    ("recipe", "way"),
    [
        ("KNO3:60 powdered sugar:20 corn syrup:20", "more corn syrup"),
        ("KNO3:55 powdered sugar:15 corn syrup:30", "less corn syrup"),
    ],
)
def test_smallest_step_of_syrup(capsys: Capture, recipe: str, way: str) -> None:
    """Half a per cent less than what is offered breaks a limit."""
    kept, last = evaluated(capsys, recipe, "--full")
    assert not kept
    found = re.fullmatch(
        rf'Next: castsugar weigh "(.*)"   \((.*) % {way}: (.*) keeps all limits\)', last
    )
    assert found is not None, last
    assert evaluated(capsys, found[1])[0]
    before, after = amounts(recipe), amounts(found[1])
    step = after["corn syrup"] - before["corn syrup"]
    assert abs(step) == pytest.approx(float(found[2]))
    less = 0.5 if step > 0 else -0.5
    after["corn syrup"] -= less
    after["powdered sugar"] += less
    short = " ".join(f"{name}:{x:g}" for name, x in after.items())
    assert not evaluated(capsys, short)[0]
    assert evaluated(capsys, recipe)[1] == (
        f"Next: castsugar search   "
        f"({'more syrup, else another cook temperature' if less > 0 else 'less syrup'})"
    )


def amounts(recipe: str) -> dict[str, float]:
    """Return the amounts of a recipe."""
    return {n: float(x) for n, x in re.findall(r"([^:]+):([0-9.]+) ?", recipe)}


@pytest.mark.parametrize(
    ("throat", "said"),
    [
        ("7 mm", r"castsugar weigh .* --strands 3   \(burn 3 strands .* at .* MPa\)"),
        ("6.3 mm", r"castsugar search   \(a throat of 7\.[0-9] mm keeps all limits\)"),
    ],
)
def test_pressure_known_badly_or_too_high(
    capsys: Capture, here: Path, throat: str, said: str
) -> None:
    """Strands where only the 95 % line is above the case, else a wider throat."""
    bench = here / "bench.toml"
    text = bench.read_text("utf-8")
    bench.write_text(text.replace('throat = "8 mm"', f'throat = "{throat}"'), "utf-8")
    recipe = "KNO3:60 powdered sugar:17 corn syrup:23"
    kept, last = evaluated(capsys, recipe, "--full")
    assert not kept
    assert re.fullmatch(f"Next: {said}", last), last


def test_another_cook_where_no_sugar_can_give(capsys: Capture, here: Path) -> None:
    """By the cook that is offered the mix keeps all limits, by its own it does not."""
    bench = here / "bench.toml"
    text, old = bench.read_text("utf-8"), 'at_most = 10, probability = "85 %"'
    assert text.count(old) == 1
    new = 'at_most = 14, probability = "50 %"'
    bench.write_text(text.replace(old, new), "utf-8")
    recipe = "KNO3:72 corn syrup:28"
    kept, last = evaluated(capsys, recipe, "--full")
    assert not kept
    found = re.search(r"--cook '(.*)'   \(a cook at .* keeps all limits\)", last)
    assert found is not None, last
    assert evaluated(capsys, recipe, "--cook", found[1])[0]
