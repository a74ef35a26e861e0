"""The page as its server calls it: plain values in, plain values out."""

from __future__ import annotations

from os import PathLike
from pathlib import Path
from typing import Any

from castsugar.bench.world import read as read_world
from castsugar.page.answer import quick, rest
from castsugar.page.desk import Desk, base_of
from castsugar.page.first_view import first_view
from castsugar.page.region import region, surveyed, triangle_of
from castsugar.page.state import State, read_state
from castsugar.report.shown import Shown


class Page(Desk):
    """One opened bench.

    Parameters
    ----------
    path : path
        Of the bench file.
    read_only : bool
        Said to the page; nothing here writes.

    Notes
    -----
    Every answer is a dict of texts, and of numbers where a curve is drawn. A state that
    cannot be read raises :class:`castsugar.page.state.BoxError` with the key of its
    box. One call at a time.
    """

    def __init__(self, path: str | PathLike[str], *, read_only: bool = False) -> None:
        super().__init__(Path(path))
        self.read_only = read_only

    @property
    def base(self) -> str:
        """Name of the mix that others are held against; empty without one."""
        return base_of(self.world)

    def state(self, typed: Any) -> State:
        """Return a state as typed, checked; errors as for :meth:`answer`."""
        return read_state(typed, self.starts)

    def reload(self, units: Any = None) -> dict[str, Any]:
        """Read the file again, show it; a broken one changes nothing."""
        self._open(read_world(self.path))
        return self.bench(units)

    def warm(self) -> None:
        """Answer once, so that what the first number needs is loaded."""
        self.answer(0, self.start)

    def bench(self, units: Any = None) -> dict[str, Any]:
        """Return corners, recipes, marks, settings and limits, in some units."""
        own = next((one for one in self.starts if one == units), self.world.units)
        return first_view(self, own, read_only=self.read_only)

    def answer(self, seq: int, state: Any) -> dict[str, Any]:
        """Return the quick answer to a state as typed."""
        return {"seq": seq} | quick(self, self.state(state))

    def rest(self, seq: int, state: Any, *, narrow: bool = False) -> dict[str, Any]:
        """Return the whole answer to a state as typed, its picture for a phone."""
        return {"seq": seq} | rest(self, self.state(state), narrow=narrow)

    def region(self, seq: int, state: Any, *, coarse: bool = False) -> dict[str, Any]:
        """Return where mixes keep the limits under the settings of a state."""
        read, triangle = self.state(state), triangle_of(self.world)
        asked = self.asked(read.settings)
        found = surveyed(triangle, asked, read.recipe, coarse=coarse)
        return {"seq": seq} | region(triangle, found, asked, Shown(read.units))
