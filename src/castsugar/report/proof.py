"""What was proved of flame temperatures, and what that does not prove."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from castsugar.proof import LIMIT
from castsugar.report.screen import Finding

if TYPE_CHECKING:
    from castsugar.proof import Proof


def proof_findings(
    names: Sequence[str], proofs: Sequence[Proof | None]
) -> Iterator[Finding]:
    """Yield one line on all that were proved, and one on each that was not.

    None stands for a mix without a flame temperature.
    """
    told = [pair for pair in zip(names, proofs, strict=True) if pair[1] is not None]
    proved = {name: one for name, one in told if one is not None and one.proved}
    if proved:
        within = next(iter(proved.values())).within
        whose = "Flame temperature"
        if len(names) > 1:
            every = "all" if len(proved) == len(names) else ", ".join(proved)
            whose = f"Flame temperatures of {every}"
        yield Finding(
            "RESULT",
            f"{whose} proved within {_short(within)} K by bounds that trust no solver; "
            f"{LIMIT}.",
            {name: _values(one) for name, one in proved.items()},
        )
    for name, one in told:
        if one is not None and not one.proved:
            whose = f" of {name}" if len(names) > 1 else ""
            yield Finding(
                "CANNOT TELL",
                f"Flame temperature{whose} not proved; {one.status}.",
                {name: _values(one)},
            )


def _values(one: Proof) -> dict[str, Any]:
    """Return what JSON says of a proof; the claim as text, which keeps its digits."""
    return one.to_dict() | {"flame_temperature_K": repr(one.temperature)}


def _short(value: float) -> str:
    """Write a small number as people do: 1e-6."""
    return f"{value:g}".replace("e-0", "e-")
