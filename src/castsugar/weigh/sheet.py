"""The weigh sheet itself: from cast volume, or a batch, to whole steps of a scale.

Mass balance, before and after rounding: what is weighed is what is cast, what is left
over for casting, the water that leaves, and what stays in cup and pan.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from castsugar.bench.lots import LotRecord
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.mix.mix import Mix
from castsugar.numerics import apportion
from castsugar.weigh.charge import (
    KINDS,
    Charge,
    Equipment,
    Piece,
    steps_near,
    steps_up,
    water_of,
)

#: Below this many steps a line is coarse: one step is more than 5 % of it.
COARSE = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One ingredient on the sheet.

    Attributes
    ----------
    name, typed : str
        In the catalogue; as the user typed it.
    kind : str
        Of :data:`castsugar.weigh.charge.KINDS`.
    share : float
        Mass fraction of the mix as weighed, as is.
    water : float
        Mass fraction of water in the ingredient as is.
    dry_share : float
        Mass fraction of the mix as weighed without any water.
    cup : float
        Of `mass`, what stays in the cup. [kg]
    exact : float
        Mass to weigh before rounding, `cup` included. [kg]
    steps : int
        Mass to weigh, in steps of the scale.
    mass : float
        The same. [kg]
    portions : tuple of int
        Steps of each weighing, where the scale does not hold all at once.
    lot : LotRecord or None
    """

    name: str
    typed: str
    kind: str
    share: float
    water: float
    dry_share: float
    cup: float
    exact: float
    steps: int
    mass: float
    portions: tuple[int, ...]
    lot: LotRecord | None

    @property
    def dry(self) -> float:
        """Mass to weigh without its water. [kg]"""
        return self.mass * (1.0 - self.water)

    @property
    def in_pan(self) -> float:
        """Mass that comes into the pan. [kg]"""
        return self.mass - self.cup

    @property
    def dry_in_pan(self) -> float:
        """Mass that comes into the pan, without its water. [kg]"""
        return self.in_pan * (1.0 - self.water)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """What goes on the scale for one pan, and where it goes from there.

    Attributes
    ----------
    charge : Charge
    equipment : Equipment
    mix : Mix
        As cast: with the water that leaves.
    lines : tuple of Line
        In the order of weighing.
    pieces : tuple of Piece
        What is to be cast of all pans; empty for a batch of stated mass.
    density_ratio : float
        Density of the casting over that without voids. [-]
    steps : int
        Total on the scale, in its steps.
    needed : float
        Mass of the pieces that one pan fills; NaN for a batch of stated mass. [kg]
    pans : int
        So many pans alike, each with residues of its own.
    """

    charge: Charge
    equipment: Equipment
    mix: Mix
    lines: tuple[Line, ...]
    pieces: tuple[Piece, ...]
    density_ratio: float
    steps: int
    needed: float
    pans: int = 1

    def __repr__(self) -> str:
        return f"Sheet({self.charge.name!r}, {1e3 * self.total:.10g} g)"

    def __str__(self) -> str:
        lines = [f"{line.typed}: {1e3 * line.mass:.10g} g" for line in self.lines]
        pans = f", each of {self.pans} pans" if self.pans > 1 else ""
        return "\n".join(
            [f"{self.charge.name}: {1e3 * self.total:.10g} g{pans}", *lines]
        )

    @property
    def total(self) -> float:
        """Mass on the scale, exactly the sum of the lines. [kg]"""
        return self.steps * self.equipment.step

    @property
    def cups(self) -> float:
        """Mass that stays in cups. [kg]"""
        return math.fsum(line.cup for line in self.lines)

    @property
    def in_pan(self) -> float:
        """Mass that comes into the pan. [kg]"""
        return self.total - self.cups

    @property
    def water_lost(self) -> float:
        """Mass of water that leaves. [kg]"""
        return self.in_pan * (1.0 - self.mix.cast_yield)

    @property
    def castable(self) -> float:
        """Mass that can be cast. [kg]"""
        return self.in_pan * self.mix.cast_yield - self.equipment.residue_pan

    @property
    def spare(self) -> float:
        """Mass left over by rounding up to the scale; NaN for a stated batch. [kg]"""
        return self.castable - self.needed

    @property
    def density(self) -> float:
        """Density of the casting, voids included. [kg/m3]"""
        return self.mix.density * self.density_ratio

    @property
    def dry(self) -> float:
        """Mass on the scale without any water. [kg]"""
        return math.fsum(line.dry for line in self.lines)

    def line(self, name: str) -> Line:
        """Return the line of a catalogue name."""
        return next(line for line in self.lines if line.name == name)

    @property
    def ratio_masses(self) -> dict[str, float]:
        """Masses in the pan exactly in the ratio, by catalogue name. [kg]"""
        return {line.name: line.share * self.in_pan for line in self.lines}

    def pan_masses(self, masses: Sequence[float] | None = None) -> dict[str, float]:
        """Return what comes into the pan of masses on the scale, by catalogue name."""
        given = [line.mass for line in self.lines] if masses is None else masses
        pairs = zip(self.lines, given, strict=True)
        return {line.name: mass - line.cup for line, mass in pairs}


def plan(  # noqa: PLR0913 - keyword-only options
    charge: Charge,
    equipment: Equipment,
    *,
    mix: Mix,
    pieces: Sequence[Piece] = (),
    batch: float | None = None,
    density_ratio: float = 1.0,
    pans: int = 1,
) -> Sheet:
    """Return the weigh sheet of some castings, or of a batch of stated mass.

    Parameters
    ----------
    charge : Charge
    equipment : Equipment
    mix : Mix
        The charge as it is cast: with the water that leaves in the kitchen.
    pieces : sequence of Piece
        What is to be cast; the total is rounded up to the step of the scale.
    batch : float, optional
        Mass on the scale instead of pieces, all pans together; that of each is rounded
        to the step. [kg]
    density_ratio : float
        Of the casting, over the density without voids. [-]
    pans : int
        Parts in which it is cooked, all alike. Each is computed anew: something stays
        in every cup and every pan.

    Returns
    -------
    Sheet
        Lines within one step of the exact ratio, their sum exactly the total.

    Raises
    ------
    InputError
        Neither or both of pieces and batch; no pan; a density that is not known; a
        batch that stays in cup and pan, or of which a line is below one step of the
        scale.

    See Also
    --------
    castsugar.weigh.weighing : judges a sheet.

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> sheet = plan(charge, cs.weigh.Equipment(), mix=charge.mix(), batch=0.2)
    >>> [(line.name, round(1e3 * line.mass, 1)) for line in sheet.lines]
    [('sucrose', 70.0), ('potassium nitrate', 130.0)]
    """
    if bool(pieces) == (batch is not None):
        raise InputError("give either grains, strands and delays, or a batch")
    if pans < 1:
        raise InputError(f"{pans} pans cannot be; give 1 or more")
    cups = _cups(charge, equipment)
    held, step = math.fsum(cups.values()), equipment.step
    needed = math.nan
    if batch is None:
        needed = _cast_mass(pieces, mix, density_ratio) / pans
        steps = scale_steps(charge, equipment, needed, mix=mix)
    else:
        steps = steps_near(batch / pans, step)
    in_pan = steps * step - held
    if in_pan * mix.cast_yield <= equipment.residue_pan:
        raise InputError(
            f"of a batch of {1e3 * steps * step:g} g, {1e3 * held:g} g would stay in "
            f"the cup and {1e3 * equipment.residue_pan:g} g in the pan; nothing is "
            "left to cast; weigh more, or measure the residues for [pan]"
        )
    return Sheet(
        charge=charge,
        equipment=equipment,
        mix=mix,
        lines=_lines(charge, equipment, mix, cups, steps),
        pieces=tuple(pieces),
        density_ratio=density_ratio,
        steps=steps,
        needed=needed,
        pans=pans,
    )


def scale_steps(charge: Charge, equipment: Equipment, cast: float, *, mix: Mix) -> int:
    """Return what one pan takes on the scale for a mass to be cast [kg], in steps."""
    in_pan = (cast + equipment.residue_pan) / mix.cast_yield
    held = math.fsum(_cups(charge, equipment).values())
    return steps_up(in_pan + held, equipment.step)


def _cups(charge: Charge, equipment: Equipment) -> dict[str, float]:
    """Return what stays in the cup of every line. [kg]"""
    return {
        item: equipment.residue_cup if charge.kind(item) == "syrup" else 0.0
        for item in charge.shares
    }


def _cast_mass(pieces: Sequence[Piece], mix: Mix, density_ratio: float) -> float:
    volume = math.fsum(piece.count * piece.volume for piece in pieces)
    mass = volume * mix.density * density_ratio
    if not math.isfinite(mass):
        unknown = [
            c.ingredient.name for c in mix.cast if math.isnan(c.ingredient.density)
        ]
        raise InputError(
            f"the density of {', '.join(unknown)} is not known: a volume has no "
            "mass; give --batch '200 g'"
        )
    return mass


def _lines(
    charge: Charge,
    equipment: Equipment,
    mix: Mix,
    cups: dict[str, float],
    steps: int,
) -> tuple[Line, ...]:
    """Round the lines to the scale and put them in the order of weighing."""
    step = equipment.step
    in_pan = steps * step - math.fsum(cups.values())
    whole = math.fsum(charge.shares.values())
    items = sorted(charge.shares, key=lambda i: KINDS.index(charge.kind(i)))
    shares = {item: charge.shares[item] / whole for item in items}
    exact = {item: shares[item] * in_pan + cups[item] for item in items}
    counts = apportion([exact[item] / step for item in items], steps)
    water = {item: water_of(mix, item, shares[item]) for item in items}
    dry = math.fsum(shares[item] * (1.0 - water[item]) for item in items)
    found = []
    for item, count in zip(items, counts, strict=True):
        if count * step <= cups[item] * (1.0 + 1e-9):
            in_pot = 1e3 * (exact[item] - cups[item])
            raise InputError(
                f"{charge.typed[item]!r} would be {in_pot:.3g} g in the pot, less than "
                f"a step of the scale ({1e3 * step:g} g); use a finer scale for it, or "
                "leave it out"
            )
        found.append(
            Line(
                name=item,
                typed=charge.typed[item],
                kind=charge.kind(item),
                share=shares[item],
                water=water[item],
                dry_share=shares[item] * (1.0 - water[item]) / dry if dry else math.nan,
                cup=cups[item],
                exact=exact[item],
                steps=count,
                mass=count * step,
                portions=equipment.portions(count),
                lot=charge.records.get(item),
            )
        )
    return tuple(found)
