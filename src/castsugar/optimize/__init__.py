"""Which mix: the space of mixes, the search in it, and why the answer is that one.

What :func:`castsugar.search` takes and gives back.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from castsugar.costs import Prices
    from castsugar.optimize.multistart import Effort
    from castsugar.optimize.outcome import Outcome
    from castsugar.optimize.region import Row
    from castsugar.optimize.task import Sloppiness

_PLACES = {
    "Effort": "optimize.multistart",
    "Outcome": "optimize.outcome",
    "Prices": "costs",
    "Row": "optimize.region",
    "Sloppiness": "optimize.task",
}

__all__ = ["Effort", "Outcome", "Prices", "Row", "Sloppiness"]


def __getattr__(name: str) -> Any:
    """Load a name when it is first used."""
    if name in _PLACES:
        return getattr(importlib.import_module(f"castsugar.{_PLACES[name]}"), name)
    raise AttributeError(f"module 'castsugar.optimize' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
