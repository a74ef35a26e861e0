"""What goes into a bench file: what was learnt, and the file while it is written."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from castsugar.workshop.bench import Bench
from castsugar.workshop.learning.burned import BurnedLearnt
from castsugar.workshop.learning.cooked import CookedLearnt
from castsugar.workshop.learning.earlier import Earlier
from castsugar.workshop.learning.fired import FiredLearnt


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lesson:
    """What goes into a bench file.

    Attributes
    ----------
    bench : Bench
        As it was read.
    earlier : Earlier
    kitchen : CookedLearnt
    burning : BurnedLearnt
    firing : FiredLearnt
    no_efficiency : str
        Why the combined efficiency cannot be used; empty if it can.
    """

    bench: Bench
    earlier: Earlier
    kitchen: CookedLearnt
    burning: BurnedLearnt
    firing: FiredLearnt
    no_efficiency: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """What goes into the bench file.

    Attributes
    ----------
    path : pathlib.Path
    before, text : str
        The whole file as it was read, and as it is to be.
    written : tuple of str
        What is new, in words.
    removed : tuple of str
        What learn wrote earlier and the records do not say any more.
    refused : tuple of str
        What was not written, and why.
    fault : str
        Why nothing at all can be written; empty if it can.
    """

    path: Path
    before: str
    text: str
    written: tuple[str, ...]
    removed: tuple[str, ...]
    refused: tuple[str, ...]
    fault: str = ""


@dataclass(slots=True)
class Draft:
    """A bench file while it is written; see :class:`Saved`."""

    text: str
    written: list[str]
    removed: list[str]
    refused: list[str]
