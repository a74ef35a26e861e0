"""What was proved of flame temperatures, and what that does not prove."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from castsugar.constants import STANDARD_GRAVITY
from castsugar.proof import LIMIT, PROVED
from castsugar.report.field import Row
from castsugar.report.screen import Finding

if TYPE_CHECKING:
    from castsugar.proof import Proof


def proof_findings(
    names: Sequence[str], rows: Sequence[Row], proofs: Sequence[Proof | None]
) -> Iterator[Finding]:
    """Yield one line on all that were proved, and one on each that was not.

    None stands for a mix without a flame temperature.
    """
    told = {n: one for n, one in zip(names, proofs, strict=True) if one is not None}
    proved = {name: one for name, one in told.items() if one.proved}
    if proved:
        whose = ""
        if len(names) > 1:
            every = "all" if len(proved) == len(names) else ", ".join(proved)
            whose = f" of {every}"
        within = _short(next(iter(proved.values())).within)
        off = {
            n: _off(r, told[n]) for n, r in zip(names, rows, strict=True) if n in proved
        }
        known = [one for one in off.values() if one is not None]
        what = f"Flame temperature{whose} proved within {within} K"
        if known and len(known) == len(proved):
            what = f"Flame and exit temperature{whose} proved within {within} K, Isp "
            what += f"within {_decade(max(known))} s, c* not,"
        yield Finding(
            "RESULT",
            f"{what} by bounds that trust no solver; {LIMIT}.",
            {name: _values(one) for name, one in proved.items()},
        )
    for name, one in told.items():
        whose = f" of {name}" if len(names) > 1 else ""
        at, status = "Flame", one.status
        if one.proved and one.expansion is not None:
            at, status = "Exit", one.expansion.status
        if status != PROVED:
            text = f"{at} temperature{whose} not proved; {status}."
            yield Finding("CANNOT TELL", text, {name: _values(one)})


def _off(row: Row, proof: Proof) -> float | None:
    """Return how far a specific impulse may be off, if that is proved. [s]"""
    if proof.expansion is None or not proof.expansion.proved:
        return None
    shown = row["specific_impulse_s"]
    return max(abs(v / STANDARD_GRAVITY - shown) for v in proof.expansion.velocity)


def _decade(value: float) -> str:
    """Write the power of ten above a number, with room for rounding: 1e-9 at least."""
    return _short(10.0 ** max(math.ceil(math.log10(max(value, 1e-12)) + 0.1), -9))


def _values(one: Proof) -> dict[str, Any]:
    """Return what JSON says of a proof; the claim as text, which keeps its digits."""
    return one.to_dict() | {"flame_temperature_K": repr(one.temperature)}


def _short(value: float) -> str:
    """Write a small number as people do: 1e-6."""
    return f"{value:g}".replace("e-0", "e-")
