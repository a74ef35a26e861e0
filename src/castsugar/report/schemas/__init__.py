"""JSON Schemas (draft 2020-12) of the documents that commands print with --json."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from castsugar.errors import unknown_name
from castsugar.report.document import VERSION, schema_of

#: Document -> where its keys are declared, as module and name.
DECLARED = {
    "evaluate": ("mixes", "PARTS"),
    "ballistics": ("ballistics", "PARTS"),
    "compare": ("compare", "PARTS"),
    "search": ("search_rows", "PARTS"),
    "justify": ("justify", "PARTS"),
    "next": ("next_measurement", "PARTS"),
    "next_plan": ("next_burns", "PARTS"),
    "sweep": ("sweep", "PARTS"),
    "map": ("sweep", "PARTS"),
    "weigh": ("weigh_data", "PARTS"),
    "plan_pieces": ("plan", "PIECES_PARTS"),
    "plan_correct": ("plan", "CORRECT_PARTS"),
    "plan_pans": ("plan", "PANS_PARTS"),
    "plan_water": ("plan_kitchen", "WATER_PARTS"),
    "plan_heat": ("plan_kitchen", "HEAT_PARTS"),
    "batch_shown": ("batch", "PARTS"),
    "batch_added": ("batch", "ADDED_PARTS"),
    "batches": ("batch_list", "PARTS"),
    "batch_card": ("batch_card", "PARTS"),
    "kitchen": ("kitchen", "JUDGED_PARTS"),
    "kitchen_parameters": ("kitchen_belief", "PARAMETER_PARTS"),
    "kitchen_measurement": ("kitchen_belief", "MEASURED_PARTS"),
    "kitchen_protocol": ("kitchen_how", "PROTOCOL_PARTS"),
    "burnrate": ("strand_rows", "PARTS"),
    "firing": ("firing_rows", "PARTS"),
    "delay": ("delay", "PARTS"),
    "learn": ("learn_data", "PARTS"),
    "audit": ("audit", "PARTS"),
    "check": ("check", "PARTS"),
    "cautions": ("caution_list", "RULE_PARTS"),
    "ingredients": ("ingredients", "PARTS"),
}

#: Names of the schemas: the document and its version.
NAMES = tuple(f"{name}-{VERSION}" for name in DECLARED)


def schema(name: str) -> dict[str, Any]:
    """Return a schema by its name, generated from the fields of its document.

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
    >>> schema("justify-2")["properties"]["schema"]
    {'const': 'castsugar.justify/2'}
    """
    if name not in NAMES:
        raise unknown_name("schema", name, NAMES)
    what = name.rpartition("-")[0]
    module, parts = DECLARED[what]
    return schema_of(what, getattr(import_module(f"castsugar.report.{module}"), parts))
