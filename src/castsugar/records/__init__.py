"""Batches that were made: one file each, written line by line, and learnt from.

`record` holds the format, `batch` what a batch answers; `folder` reads and writes;
`prediction` says what is foreseen; `learning` learns from what came of it.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from castsugar.records.batch import Batch
from castsugar.records.folder import (
    Damaged,
    Summary,
    add_events,
    list_batches,
    new_batch,
    read_batch,
    read_batches,
    record_path,
)
from castsugar.records.record import Event, FrozenBench, Link, Made

if TYPE_CHECKING:
    from castsugar.records.learning.learnt import Learning, learn_all
    from castsugar.records.learning.material import material_of
    from castsugar.records.learning.saving import save
    from castsugar.records.prediction import foresee, freeze

__all__ = [
    "Batch",
    "Damaged",
    "Event",
    "FrozenBench",
    "Learning",
    "Link",
    "Made",
    "Summary",
    "add_events",
    "foresee",
    "freeze",
    "learn_all",
    "list_batches",
    "material_of",
    "new_batch",
    "read_batch",
    "read_batches",
    "record_path",
    "save",
]

#: What a folder is read without: loaded when it is first used.
_PLACES = {
    "Learning": "learning.learnt",
    "foresee": "prediction",
    "freeze": "prediction",
    "learn_all": "learning.learnt",
    "material_of": "learning.material",
    "save": "learning.saving",
}


def __getattr__(name: str) -> Any:
    """Load a name when it is first used."""
    if name in _PLACES:
        place = importlib.import_module(f"castsugar.records.{_PLACES[name]}")
        return getattr(place, name)
    raise AttributeError(f"module 'castsugar.records' has no attribute {name!r}")
