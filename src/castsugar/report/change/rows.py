"""A change as plain values: the JSON document ``castsugar.justify/1``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from castsugar.comparison.change import Change
from castsugar.comparison.claims import Overturn
from castsugar.comparison.evidence import Evidence
from castsugar.comparison.limits import JudgedLimit
from castsugar.report.change.best import firing_rows
from castsugar.report.change.evidence import source_keys
from castsugar.report.change.limits import test_for
from castsugar.report.change.words import Asked

#: Name and number of the schema; its file is :data:`castsugar.report.schemas`.
SCHEMA = "castsugar.justify/1"

_NAMES = ("now", "new")


def change_rows(change: Change, asked: Asked) -> dict[str, Any]:
    """Return a change as plain values, units in the keys.

    Parameters
    ----------
    change : Change
    asked : Asked

    Returns
    -------
    dict
        As the shipped schema ``justify-1.json`` says; NaN where there is no number.
    """
    base, new = change.mixes
    compared = change.comparison.to_dict()
    return {
        "schema": SCHEMA,
        "versions": dict(asked.versions),
        "command": asked.command,
        "bench": asked.bench,
        "reason": asked.reason,
        "justified": change.justified,
        "files": dict(asked.files),
        "recipes_as_weighed": {"now": base.to_dict(), "new": new.to_dict()},
        "claims": [
            {
                "column": one.claim.column,
                "direction": one.claim.direction,
                "verdict": one.verdict,
                "probability": one.chance,
                "why": one.why,
            }
            for one in change.claims
        ],
        "amounts_g": [
            {"item": a.item, "now": 1e3 * a.base, "new": 1e3 * a.new}
            for a in change.amounts
        ],
        "scale_step_g": compared["scale_step_g"],
        "rule": compared["rule"],
        "draws": compared["draws"],
        "seed": compared["seed"],
        "effects": {
            name: own["columns"]
            for name, own in zip(_NAMES, compared["mixes"], strict=True)
        },
        "limits": [_limit(held) for held in change.limits],
        "rows": dict(zip(_NAMES, (dict(row) for row in change.rows), strict=True)),
        "firings": firing_rows(_NAMES, asked.fired),
        "evidence": [_evidence(one) for one in change.evidence],
        "inputs": [
            {**shown, "what_would_settle_it": test_for(one)}
            for shown, one in zip(
                compared["inputs"], change.comparison.draws.inputs, strict=True
            )
        ],
        "overturns": [_overturn(one) for one in change.overturns],
        "notes": [*compared["notes"], *asked.notes],
        "assumptions": list(asked.assumptions),
        "cautions": [caution.text for caution in asked.cautions],
        "sources": {
            key: asked.sources[key].citation
            for key in source_keys(change, asked.sources)
        },
    }


def _limit(held: JudgedLimit) -> Mapping[str, Any]:
    """Return a limit with both mixes."""
    return {
        "column": held.column,
        "sense": held.sense,
        "value": held.value,
        "probability": held.probability,
        **{
            name: {
                "verdict": one.verdict,
                "value": one.value,
                "margin": one.margin,
                "share_of_draws": one.share,
                "ground": one.ground,
                "reason": one.reason,
            }
            for name, one in zip(_NAMES, held.standings, strict=True)
        },
    }


def _evidence(one: Evidence) -> Mapping[str, Any]:
    """Return one number with its source."""
    return {
        "subject": one.subject,
        "value": one.value,
        "standard_uncertainty": one.uncertainty,
        "unit": one.unit,
        "standing": one.standing,
        "source": one.source,
        "note": one.note,
    }


def _overturn(one: Overturn) -> Mapping[str, Any]:
    """Return what stands against one verdict."""
    return {
        "column": one.column,
        "verdict": one.verdict,
        "input": one.input.label if one.input else "",
        "share_of_variance": one.share,
        "standard_uncertainties_off": one.steps,
        "settled_by_this_input_alone": one.alone,
    }
