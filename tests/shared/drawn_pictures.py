"""Every picture of every command, drawn from the example of ``castsugar init``."""

from __future__ import annotations

from pathlib import Path

import pytest

from castsugar.cli.main import main
from castsugar.plot import export
from castsugar.plot.sheet import Drawing

NEW = "KNO3:60 powdered sugar:17 corn syrup:23"
FIRED = ["firing", "shot.csv", "--propellant-mass", "368 g", "--mix", "base"]
DELAY = ["firing", "--delay", "--strands", "delay.csv", "--delay-time", "6 s"]
MAP = ["map", "KNO3", "powdered sugar", "corn syrup", "--step", "5%"]
SWEEP = ["sweep", "base", "--vary", "corn syrup", "--from", "10%", "--to", "35%"]
SWEEP += [w for name in ("pour_viscosity", "peak_pressure") for w in ("--show", name)]

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
    "trace": (["evaluate", "base", NEW], "trace"),
    "throat": (["evaluate", "base"], "throat"),
    "firing": ([*FIRED, "--bench", "bench.toml"], "recording"),
    "delay": (
        [*DELAY, "--chamber-pressure", "2 MPa", "--burn-time", "1.2 s"],
        "recording",
    ),
    "map": ([*MAP, "--show", "peak_pressure_p95", "--mark", "base"], "map"),
    "zoom": ([*MAP, "--show", "pours_probability", "--zoom", "search"], "map"),
    "feasible": (["search"], "map"),
    "around": (["justify", "base", NEW, "--claim", "lower pressure"], "map"),
    "differences": (["compare", "base", "red", NEW], "differences"),
    "products": (["justify", "base", NEW], "products"),
    "front": (["search", "front.toml"], "front"),
    "strands": (["burnrate", "strands.csv"], "laws"),
    "sweep": (SWEEP, "chart"),
    "traces": (["search"], "traces"),
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
        for name, (words, kind) in PICTURES.items():

            def kept(draw: Drawing, _: str, *, name: str = name) -> bytes:
                found[name] = draw
                return b""

            patch.setattr(export, "written", kept)
            file = f"{name}.svg" if kind == "recording" else f"{kind}={name}.svg"
            assert main([*words, *more, "--picture", file]) in (0, 1)
    return found
