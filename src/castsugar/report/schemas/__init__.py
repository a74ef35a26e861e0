"""JSON Schemas (draft 2020-12) of the documents that commands print with --json."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from castsugar.errors import unknown_name
from castsugar.report.document import VERSION, schema_of

#: Documents with a schema -> the module that declares their keys.
DECLARED = {
    f"{command}-{VERSION}": f"castsugar.report.{command}"
    for command in ("compare", "justify")
}


def schema(name: str) -> dict[str, Any]:
    """Return a schema by its name, generated from the fields of its document.

    Parameters
    ----------
    name : str
        One of :data:`DECLARED`.

    Returns
    -------
    dict
        For any validator of JSON Schema, draft 2020-12.

    Raises
    ------
    UnknownNameError

    Examples
    --------
    >>> schema("justify-2")["properties"]["schema"]
    {'const': 'castsugar.justify/2'}
    """
    if name not in DECLARED:
        raise unknown_name("schema", name, DECLARED)
    parts = import_module(DECLARED[name]).PARTS
    return schema_of(name.rpartition("-")[0], parts)
