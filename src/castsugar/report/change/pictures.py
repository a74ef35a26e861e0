"""The pictures and the panel that a change record holds beside its tables."""

from __future__ import annotations

from dataclasses import dataclass

from castsugar.report.blocks.model import Figure, Panel


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictures:
    """Finished pictures, each where it was asked for and could be drawn.

    Attributes
    ----------
    map, traces, species, firing : Figure or None
    what_if : Panel or None
    missing : tuple of str
        Why one is not there.
    """

    map: Figure | None = None
    traces: Figure | None = None
    species: Figure | None = None
    firing: Figure | None = None
    what_if: Panel | None = None
    missing: tuple[str, ...] = ()
