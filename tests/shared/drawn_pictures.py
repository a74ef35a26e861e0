"""Every picture of every command, drawn from the example of ``castsugar init``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from castsugar.cli.main import main
from castsugar.plot import export
from castsugar.plot.sheet import Drawing

NEW = "KNO3:60 powdered sugar:17 corn syrup:23"
#: Nothing that is drawn waits for the second solver.
NO = "--no-confirm"
FIRED = ["firing", "shot.csv", "--propellant-mass", "368 g", "--mix", "base"]
DELAY = ["firing", "--delay", "--strands", "delay.csv", "--delay-time", "6 s"]
MAP = ["map", "KNO3", "powdered sugar", "corn syrup", "--step", "5%"]
SWEEP = ["sweep", "base", "--vary", "corn syrup", "--from", "10%", "--to", "35%"]
SWEEP += [w for name in ("pour_viscosity", "peak_pressure") for w in ("--show", name)]

SEARCH = ["search", "front.toml", NO]
CHANGE = ["justify", "base", NEW, "--claim", "lower pressure", NO]
BRINE = ["kitchen", "brine", "--mass", "60 g"]

#: A batch that was made and measured.
DAY, ID = ["--date", "2026-05-02"], "2026-05-02-1"
BATCH = (
    ["batch", "new", "base", "--batch", "200 g", *DAY],
    ["batch", "add", ID, "--measured", "kind=pan-weight lost=1.9 g", *DAY],
    ["batch", "add", ID, "--strands", "strands-new.csv", *DAY],
    ["batch", "close", ID, "--outcome", "used", *DAY],
)
#: Every picture: the command, and which of its pictures.
PICTURES = {
    "trace": (["evaluate", "base", NEW, NO], "trace"),
    "throat": (["evaluate", "base", NO], "throat"),
    "firing": ([*FIRED, "--bench", "bench.toml"], "recording"),
    "delay": (
        [*DELAY, "--chamber-pressure", "2 MPa", "--burn-time", "1.2 s"],
        "recording",
    ),
    "map": ([*MAP, "--show", "peak_pressure_p95", "--mark", "base"], "map"),
    "zoom": ([*MAP, "--show", "pours_probability", "--zoom", "search"], "map"),
    "feasible": (SEARCH, "map"),
    "around": (CHANGE, "map"),
    "differences": (["compare", "base", "red", NEW, NO], "differences"),
    "products": (CHANGE, "products"),
    "front": (SEARCH, "front"),
    "strands": (["burnrate", "strands.csv"], "laws"),
    "sweep": (SWEEP, "chart"),
    "traces": (SEARCH, "traces"),
    "checks": (["learn"], "checks"),
    "viscosity": (["kitchen", "judge", "base", NEW], "viscosity"),
    "water": (["kitchen", "judge", "base", NEW], "water"),
    "belief": (
        [*BRINE, "--loose", "52 ml", "--tapped", "46 ml", "--temperature", "20 C"],
        "belief",
    ),
}


def drawn(place: Path, *more: str) -> dict[str, Drawing]:
    """Let every command draw in a folder, with further words, if any."""
    found: dict[str, Drawing] = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(place)
        assert main(["init"]) == 0
        for words in BATCH:
            assert main(words) == 0
        bench = (place / "bench.toml").read_text("utf-8")
        asked = bench.replace("# front = ", "front = ")
        assert asked != bench
        (place / "front.toml").write_text(asked, "utf-8")
        # One command draws all that is asked of it, each of another ending.
        for words, names in _asked().items():
            endings = dict(zip(export.KINDS, names, strict=False))

            def kept(draw: Drawing, ending: str, *, endings: Any = endings) -> bytes:
                found[endings[ending]] = draw
                return b""

            patch.setattr(export, "written", kept)
            files = [w for e, n in endings.items() for w in ("--picture", _file(n, e))]
            assert main([*words, *more, *files]) in (0, 1)
    return {name: found[name] for name in PICTURES}


def _asked() -> dict[tuple[str, ...], list[str]]:
    """Return what each command draws."""
    asked: dict[tuple[str, ...], list[str]] = {}
    for name, (words, _) in PICTURES.items():
        asked.setdefault(tuple(words), []).append(name)
    return asked


def _file(name: str, ending: str) -> str:
    kind = PICTURES[name][1]
    return f"{name}{ending}" if kind == "recording" else f"{kind}={name}{ending}"
