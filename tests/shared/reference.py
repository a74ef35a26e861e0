"""Render the reference of the public names: ``reference.py FOLDER``; needs pdoc."""

from __future__ import annotations

import inspect
import sys
from pathlib import Path

import pdoc

import castsugar


def load_all() -> None:
    """Load what waits until it is used: only what is loaded is seen."""
    for name in castsugar.__all__:
        found = getattr(castsugar, name)
        setattr(castsugar, name, found)
        if inspect.ismodule(found):
            for inner in found.__all__:
                setattr(found, inner, getattr(found, inner))


def render(folder: Path) -> None:
    """Write a page a module, and what their search needs."""
    pdoc.render.configure(
        docformat="numpy",
        show_source=False,
        footer_text=f"castsugar {castsugar.__version__}",
    )
    load_all()
    pdoc.pdoc(castsugar.__name__, output_directory=folder)


if __name__ == "__main__":
    render(Path(sys.argv[1]))
