"""Pictures on matplotlib: functions that take Axes and return them.

Each draws one thing on Axes of yours, or on new ones, and leaves the settings of
matplotlib alone; go on drawing on what comes back. matplotlib is loaded when the first
of them is used.
"""

from __future__ import annotations

import importlib
from typing import Any

#: Drawing -> its module; none bears the name of what it draws, which it would hide.
_PLACES = {
    "checks": "intervals",
    "cook": "pot",
    "delay": "delays",
    "differences": "intervals",
    "firing": "firings",
    "front": "trade_off",
    "growth": "firings",
    "responses": "curves",
    "species": "products",
    "strands": "burning",
    "sweep": "curves",
    "ternary": "triangle",
    "trace": "firings",
    "viscosity": "pot",
}

__all__ = sorted(_PLACES)


def __getattr__(name: str) -> Any:
    """Load a drawing when it is first used."""
    if name in _PLACES:
        module = importlib.import_module(f"castsugar.plot.{_PLACES[name]}")
        return getattr(module, name)
    raise AttributeError(f"module 'castsugar.plot' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
