"""The weigh sheet asked the other way round: what a batch gives, and in how many pans.

Every answer is held against the sheet itself (:mod:`castsugar.weigh.sheet`): nothing is
weighed here a second time.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from castsugar import plausible
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.mix.mix import Mix
from castsugar.motor.grain import Grain
from castsugar.weigh.charge import (
    STRANDS,
    Charge,
    Equipment,
    Piece,
    Sizes,
    pan_holds,
    pieces_of,
)
from castsugar.weigh.correction import Correction
from castsugar.weigh.sheet import Sheet, plan, scale_steps

#: Kinds of castings by the names of their counts, in the order in which they get the
#: rest of a batch.
KINDS: Final = {"grains": "grain", "strands": "strand", "delays": "delay column"}

#: A mass this close to what is there is there [steps of the scale].
_EDGE = 5e-7

# ----------------------------------------------------------------------------
# What a batch of stated mass gives.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Castings:
    """What a batch of stated mass gives, from one pan.

    Attributes
    ----------
    sheet : Sheet
        Of the batch.
    pieces : tuple of Piece
        What is cast of it; kinds of which there is none are left out.
    filled : str
        Kind that got the rest; empty if every number was stated.
    left : float
        Mass of mix that is left over to cast; below 0: so much is missing. [kg]
    each, alone, more : dict
        Kind to the mass of one [kg], to how many there would be of it alone, and to how
        many more what is left over would give.
    needed : float
        What the pieces alone take on the scale. [kg]
    """

    sheet: Sheet
    pieces: tuple[Piece, ...]
    filled: str
    left: float
    each: dict[str, float]
    alone: dict[str, int]
    more: dict[str, int]
    needed: float

    def __str__(self) -> str:
        told = ", ".join(f"{one.count} {one.kind}" for one in self.pieces) or "nothing"
        return f"{told}; {1e3 * self.left:.4g} g left over"

    @property
    def enough(self) -> bool:
        """Whether the batch gives the pieces that were stated."""
        return self.needed <= self.sheet.total + _EDGE * self.sheet.equipment.step

    @property
    def forward(self) -> float:
        """What the sheet says of the pieces and what is left over, on the scale. [kg]

        That of the batch, to the step of the scale.
        """
        return _on_scale(self.sheet, self.sheet.castable)

    def count(self, kind: str) -> int:
        """Return how many of a kind are cast."""
        return sum(one.count for one in self.pieces if one.kind == kind)


def castings(  # noqa: PLR0913 - keyword-only options
    charge: Charge,
    equipment: Equipment,
    *,
    mix: Mix,
    batch: float,
    sizes: Sizes,
    grain: Grain | None = None,
    counts: Mapping[str, int | None] | None = None,
    density_ratio: float = 1.0,
) -> Castings:
    """Return how many grains, strands and delay columns a batch in one pan gives.

    Numbers that are stated are kept. The first of grains, strands and delay columns
    that is not stated takes the rest; beside grains that take it are three strands,
    as many as on a weigh sheet.

    Parameters
    ----------
    charge, equipment, mix, density_ratio
        As for :func:`castsugar.weigh.sheet.plan`.
    batch : float
        Mass on the scale. [kg]
    sizes : Sizes
    grain : Grain, optional
        Of the motor; without it there are no grains.
    counts : mapping, optional
        "grains", "strands", "delays" to a number; None or left out: not stated.

    Returns
    -------
    Castings
        What is cast, and what is left over. [kg]

    Raises
    ------
    InputError
        A count below 0, grains without a motor, and as for the sheet.

    See Also
    --------
    castsugar.weigh.plan : the other way round.

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> found = castings(
    ...     charge,
    ...     cs.weigh.Equipment(),
    ...     mix=charge.mix(),
    ...     batch=0.2,
    ...     sizes=cs.weigh.Sizes(),
    ...     counts={"strands": 6},
    ... )
    >>> found.enough, found.count("strand")
    (True, 6)
    """
    sheet = plan(charge, equipment, mix=mix, batch=batch, density_ratio=density_ratio)
    one = {name: 1 for name in KINDS if name != "grains" or grain is not None}
    singles = {piece.kind: piece for piece in pieces_of(grain, sizes, **one)}
    stated, filled = _stated(counts or {}, has_grain=grain is not None)
    kept = [replace(singles[kind], count=n) for kind, n in stated.items() if n]
    if filled:
        count = _most(sheet, singles[filled], kept)
        kept += [replace(singles[filled], count=count)] if count else []
    kept.sort(key=lambda piece: [*KINDS.values()].index(piece.kind))
    cast = _cast(sheet, kept)
    return Castings(
        sheet=sheet,
        pieces=tuple(kept),
        filled=filled,
        left=sheet.castable - cast,
        each={kind: piece.volume * sheet.density for kind, piece in singles.items()},
        alone={kind: _most(sheet, p, ()) for kind, p in singles.items()},
        more={kind: _most(sheet, p, kept) for kind, p in singles.items()},
        needed=_on_scale(sheet, cast) if kept else 0.0,
    )


def _stated(
    counts: Mapping[str, int | None], *, has_grain: bool
) -> tuple[dict[str, int], str]:
    """Return the numbers of each kind to keep, and the kind that gets the rest."""
    known = {KINDS[n]: c for n, c in counts.items() if c is not None}
    for name, count in counts.items():
        if count is not None:
            plausible.checked("pieces", count, plausible.said_at(f"--{name}"))
    if counts.get("grains") and not has_grain:
        raise InputError(
            "--grains needs the size of a grain; add --bench FILE with a [motor] table "
            "and its [motor.grain], or leave it out"
        )
    if not has_grain:
        known["grain"] = 0
    if len(known) == len(KINDS) and not any(known.values()):
        raise InputError(
            "nothing is to be cast; leave --grains, --strands or --delays out, and it "
            "takes the rest of the batch"
        )
    filled = next((kind for kind in KINDS.values() if kind not in known), "")
    usual = {"grain": 0, "delay column": 0, "strand": STRANDS}
    rest = {kind: usual[kind] for kind in usual if kind not in known and kind != filled}
    return known | rest, filled


def _most(sheet: Sheet, piece: Piece, beside: Sequence[Piece]) -> int:
    """Return the most of one kind that the rest beside other pieces gives."""
    rest = sheet.castable - _cast(sheet, beside) + _EDGE * sheet.equipment.step
    return max(math.floor(rest / (piece.volume * sheet.density)), 0)


def _cast(sheet: Sheet, pieces: Sequence[Piece]) -> float:
    """Return the mass of some castings. [kg]"""
    return math.fsum(one.count * one.volume for one in pieces) * sheet.density


def _on_scale(sheet: Sheet, cast: float) -> float:
    """Return what one pan takes on the scale for a mass to be cast. [kg]"""
    steps = scale_steps(sheet.charge, sheet.equipment, cast, mix=sheet.mix)
    return steps * sheet.equipment.step


# ----------------------------------------------------------------------------
# Too much of something in the pan, and the sheet of what it is corrected to.


def weighed_with(sheet: Sheet, extra: Mapping[str, float]) -> dict[str, float]:
    """Return what is on the scale if some lines got too much, all others their mass.

    Parameters
    ----------
    sheet : Sheet
    extra : mapping of str to float
        Catalogue name of a line to the mass that is too much. [kg]

    Returns
    -------
    dict
        For :func:`castsugar.weigh.correction.corrected`: every line, as weighed. [kg]

    Raises
    ------
    InputError
        A line that the sheet does not hold, or a mass that is not above 0.

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> equipment = cs.weigh.Equipment()
    >>> sheet = cs.weigh.plan(charge, equipment, mix=charge.mix(), batch=0.2)
    >>> round(weighed_with(sheet, {"sucrose": 0.001})["sucrose"], 4)
    0.071
    """
    masses = {line.name: line.mass for line in sheet.lines}
    for name, more in extra.items():
        if name not in masses:
            raise InputError(
                f"{name!r} is not on the sheet; it has {', '.join(masses)}"
            )
        if not 0.0 < more < math.inf:
            raise InputError(
                f"{1e3 * more:g} g of {name!r} are not too much; give a mass above 0"
            )
        masses[name] += more
    return masses


def sheet_again(sheet: Sheet, correction: Correction) -> tuple[Sheet, float]:
    """Return the sheet of a corrected batch, and how far a line is from it at most.

    Parameters
    ----------
    sheet : Sheet
    correction : Correction
        Of this sheet.

    Returns
    -------
    sheet : Sheet
    distance : float
        Of a corrected line from its line on that sheet, largest. [kg]

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> equipment = cs.weigh.Equipment()
    >>> sheet = cs.weigh.plan(charge, equipment, mix=charge.mix(), batch=0.2)
    >>> correction = cs.weigh.corrected(sheet, {"potassium nitrate": 0.1365})
    >>> again, distance = sheet_again(sheet, correction)
    >>> round(1e3 * again.total, 1), distance < 2e-4
    (210.0, True)
    """
    again = plan(
        sheet.charge,
        sheet.equipment,
        mix=sheet.mix,
        batch=correction.total,
        density_ratio=sheet.density_ratio,
    )
    pairs = zip(again.lines, correction.totals(), strict=True)
    return again, max(abs(line.mass - mass) for line, mass in pairs)


# ----------------------------------------------------------------------------
# A batch in several pans.

#: From so much in one pan on several are advised; beyond the other none is cooked [kg]:
#: the limits of the cautions on the mass of a batch. Common practice, no source.
MUCH, TOO_MUCH = 0.25, 0.5

#: More pans than this are not looked at.
MOST_PANS = int(plausible.RANGES["pans"].hard_high)


def in_pans(sheet: Sheet, pans: int) -> Sheet:
    """Return the same castings, or the same batch, from so many pans alike.

    Parameters
    ----------
    sheet : Sheet
    pans : int

    Returns
    -------
    Sheet
        Of one pan.

    Raises
    ------
    InputError
        As for :func:`castsugar.weigh.sheet.plan`.

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> equipment = cs.weigh.Equipment()
    >>> sheet = cs.weigh.plan(charge, equipment, mix=charge.mix(), batch=0.6)
    >>> round(1e3 * in_pans(sheet, 3).total, 1)
    200.0
    """
    pieces = sheet.pieces
    return plan(
        sheet.charge,
        sheet.equipment,
        mix=sheet.mix,
        pieces=pieces,
        batch=None if pieces else sheet.total * sheet.pans,
        density_ratio=sheet.density_ratio,
        pans=pans,
    )


def fewest_pans(sheet: Sheet, most: float = MUCH) -> int:
    """Return the fewest pans of which none has more on the scale than `most`.

    Nor more in it than it should get, where its volume is known.

    Parameters
    ----------
    sheet : Sheet
    most : float
        On the scale for one pan. [kg]

    Returns
    -------
    int
        0 if no number of pans does: what stays in cup and pan is too much, or the
        scale too coarse.

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> equipment = cs.weigh.Equipment()
    >>> sheet = cs.weigh.plan(charge, equipment, mix=charge.mix(), batch=0.6)
    >>> fewest_pans(sheet, 0.25)
    3
    """
    holds = pan_holds(sheet.mix, sheet.equipment)
    for pans in range(1, MOST_PANS + 1):
        try:
            part = in_pans(sheet, pans)
        except InputError:
            return 0
        if part.total <= most + _EDGE * part.equipment.step and not part.in_pan > holds:
            return pans
    return 0
