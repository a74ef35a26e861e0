"""JSON Schemas (draft 2020-12) of the documents that commands print with --json."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

from castsugar.errors import unknown_name

#: Documents with a schema: the file is the name with ``.json`` at its end.
NAMES = ("justify-1", "compare-1")


def schema(name: str) -> dict[str, Any]:
    """Return a schema by its name.

    Parameters
    ----------
    name : str
        One of :data:`NAMES`.

    Returns
    -------
    dict
        For any validator of JSON Schema, draft 2020-12.

    Raises
    ------
    UnknownNameError

    Examples
    --------
    >>> schema("justify-1")["properties"]["schema"]
    {'const': 'castsugar.justify/1'}
    """
    if name not in NAMES:
        raise unknown_name("schema", name, NAMES)
    file = resources.files("castsugar.report.schemas").joinpath(f"{name}.json")
    return json.loads(file.read_text(encoding="utf-8"))
