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
    "strands": (["burnrate", "strands.csv"], "laws"),
    "sweep": (SWEEP, "chart"),
    "traces": (["search"], "traces"),
    "viscosity": (["kitchen", "judge", "base", NEW], "viscosity"),
    "water": (["kitchen", "judge", "base", NEW], "water"),
}


def drawn(place: Path) -> dict[str, Drawing]:
    """Let every command draw in a folder, and return what it draws with."""
    found: dict[str, Drawing] = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(place)
        assert main(["init"]) == 0
        for name, (words, kind) in PICTURES.items():

            def kept(draw: Drawing, _: str, *, name: str = name) -> bytes:
                found[name] = draw
                return b""

            patch.setattr(export, "written", kept)
            file = f"{name}.svg" if kind == "recording" else f"{kind}={name}.svg"
            assert main([*words, "--picture", file]) in (0, 1)
    return found
