"""What is to be cast, and the charge that it takes: pieces, pan, contents, scale."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from castsugar import plausible, units
from castsugar.bench.bench import Bench
from castsugar.bench.lots import LotRecord, lots_of
from castsugar.bench.search_tables import SCALE_STEP
from castsugar.data.load import Database
from castsugar.data.records import Syrup
from castsugar.errors import CastsugarError, InputError, nearest_names
from castsugar.frozen import dataclass
from castsugar.mix import refusals
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe
from castsugar.mix.weighing import Lot, catalogue_shares, item_name
from castsugar.motor.grain import Grain, HollowCylinder

# ----------------------------------------------------------------------------
# Masses in whole steps of a scale: rounding that keeps the total and the ratio.

#: A mass this close to a whole number of steps is that number [steps].
_EDGE = 1e-6

#: Most steps in one mass: beyond, a float cannot hold them.
MOST = 10**9


def steps_up(mass: float, step: float) -> int:
    """Return the least whole number of steps that is not below a mass."""
    return math.ceil(_ratio(mass, step) - _EDGE)


def steps_near(mass: float, step: float) -> int:
    """Return the nearest whole number of steps, half upwards."""
    return math.floor(_ratio(mass, step) + 0.5)


def _ratio(mass: float, step: float) -> float:
    ratio = mass / step
    if not abs(ratio) <= MOST:
        raise InputError(
            f"{1e3 * mass:g} g is {ratio:.3g} steps of {1e3 * step:g} g; allowed are "
            f"{MOST:g}; give the step of the scale"
        )
    return ratio


def portions(count: int, most: int) -> tuple[int, ...]:
    """Part whole steps into the fewest, nearly equal weighings of at most `most`.

    Examples
    --------
    >>> portions(10, 4)
    (4, 3, 3)
    """
    pieces = -(-count // most)
    if pieces <= 1:
        return (count,)
    each, more = divmod(count, pieces)
    return tuple(each + (index < more) for index in range(pieces))


# ----------------------------------------------------------------------------
# The scale and the pan of a bench file, with what is taken where nothing is said.

#: Taken where nothing is stated. Common practice, no source: 1.5 g of syrup on the wall
#: of its cup, 4 g of hot mix in pan and tools.
RESIDUE_CUP = 1.5e-3
RESIDUE_PAN = 4e-3

#: A pan is filled to this share of its volume at most. Common practice, no source.
FILL = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    """What the ingredients are weighed on and cooked in.

    Attributes
    ----------
    step : float
        Smallest step of the scale. [kg]
    unit : str
        What the scale shows: a mass of :data:`castsugar.units.UNITS`.
    accuracy : float
        Standard uncertainty of one weighing. [kg]
    capacity : float or None
        Largest load, vessel included. [kg]
    vessel : float or None
        Of that, what is weighed into; None if nobody stated it. [kg]
    residue_cup : float
        Syrup that stays in its cup. [kg]
    residue_pan : float
        Hot mix that stays in pan and tools. [kg]
    volume : float or None
        Of the pan. [m3]
    name : str
        Of the pan.
    assumed : tuple of str
        Names of the attributes that nobody stated.

    Raises
    ------
    InputError
        A step that is not above 0, a scale that holds less than its step.

    See Also
    --------
    equipment_of : that of a bench file.

    Examples
    --------
    >>> scale = Equipment(step=1e-4, capacity=0.5, vessel=0.1)
    >>> scale.most_steps
    4000
    """

    step: float = SCALE_STEP
    accuracy: float = 0.5 * SCALE_STEP
    capacity: float | None = None
    vessel: float | None = None
    residue_cup: float = RESIDUE_CUP
    residue_pan: float = RESIDUE_PAN
    volume: float | None = None
    name: str = ""
    assumed: tuple[str, ...] = ()
    unit: str = "g"

    def __post_init__(self) -> None:
        """Check the numbers."""
        if not self.step > 0.0:
            raise InputError("the step of the scale is 0; it must be above 0")
        if self.capacity is not None and self.capacity < self.step:
            raise InputError(
                f"the scale holds {1e3 * self.capacity:g} g, less than its step of "
                f"{1e3 * self.step:g} g; give the largest load"
            )

    def reading(self, steps: int) -> float:
        """Return what the scale shows for so many steps. [unit of the scale]

        Examples
        --------
        >>> Equipment(step=0.05 * 0.028349523125, unit="oz").reading(79)
        3.95
        """
        return round(steps * units.convert(self.step, "mass", self.unit), 9)

    @property
    def most_steps(self) -> int | None:
        """Return what one weighing may hold beside a stated vessel, in steps."""
        if self.capacity is None:
            return None
        room = self.capacity - (self.vessel or 0.0)
        return max(1, int(room / self.step + 1e-6))

    def portions(self, count: int) -> tuple[int, ...]:
        """Return the weighings of some steps, where one does not hold them all."""
        most = self.most_steps
        return (count,) if most is None or count <= 0 else portions(count, most)


def equipment_of(
    bench: Bench | None, step: float | None = None, unit: str = "g"
) -> Equipment:
    """Return the equipment of a bench file.

    Parameters
    ----------
    bench : Bench or None
    step : float, optional
        The step of the scale; it overrules the file. [kg]
    unit : str
        In which such a scale shows.

    Returns
    -------
    Equipment
        What the file does not state is as usual, and named in `assumed`.

    Raises
    ------
    InputError
        For a step that is not above 0, or a scale that holds less than its step.

    Examples
    --------
    >>> equipment_of(None, step=5e-4).step
    0.0005
    """
    scale = (bench.scale if bench else None) or {}
    pan = (bench.pan if bench else None) or {}
    stated: dict[str, float | str | None] = {
        "step": scale.get("step"),
        "unit": scale.get("step_unit"),
        "accuracy": scale.get("accuracy"),
        "capacity": scale.get("capacity"),
        "vessel": scale.get("vessel"),
        "residue_cup": pan.get("residue_cup"),
        "residue_pan": pan.get("residue_pan"),
        "volume": pan.get("volume"),
        "name": pan.get("name"),
    }
    if step is not None and step != stated["step"]:
        stated |= {"step": step, "unit": unit, "accuracy": 0.5 * step}
    given = {name: value for name, value in stated.items() if value is not None}
    assumed = tuple(
        name for name in ("step", "residue_cup", "residue_pan") if name not in given
    )
    return replace(Equipment(assumed=assumed), **given)  # type: ignore[arg-type]


# ----------------------------------------------------------------------------
# What a mix holds before anything leaves: water of a line, room in the pan.


def water_of(mix: Mix, item: str, share: float) -> float:
    """Return the mass fraction of water in an item as weighed, given its share."""
    water = math.fsum(
        c.mass_fraction
        for c in mix.weighed
        if c.origin == item and c.ingredient.role == "water"
    )
    return min(water / share, 1.0)


def density_as_weighed(mix: Mix) -> float:
    """Return the density before water leaves, volumes additive. [kg/m3]"""
    volume = math.fsum(c.mass_fraction / c.ingredient.density for c in mix.weighed)
    return 1.0 / volume


def pan_holds(mix: Mix, equipment: Equipment) -> float:
    """Return the mass that fills the pan as far as it should be; NaN unknown. [kg]"""
    if equipment.volume is None:
        return math.nan
    return FILL * equipment.volume * density_as_weighed(mix)


# ----------------------------------------------------------------------------
# What is cast: grains, strands to burn, delay columns.

#: Sizes where none are stated. Common practice, no source: square strands of
#: 10 x 10 x 60 mm, delay columns of 12 mm by 25 mm as cast.
STRAND_SIDE, STRAND_LENGTH = 10e-3, 60e-3
DELAY_DIAMETER, DELAY_LENGTH = 12e-3, 25e-3

#: Strands that are cast beside grains where their number is not stated: two that agree
#: and one that fails. Common practice, no source.
STRANDS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """Sizes of strands and delay columns, as cast.

    Attributes
    ----------
    strand_section : float
        Cross-section of a strand. [m2]
    strand_length, delay_diameter, delay_length : float
        [m]
    strand_text, delay_text : str
        The sizes in words.
    assumed : tuple of str
        "strand" and "delay" as far as nobody stated a size.

    Examples
    --------
    >>> round(Sizes().strand_volume * 1e6, 3), Sizes().assumed
    (6.0, ('strand', 'delay'))
    """

    strand_section: float = STRAND_SIDE**2
    strand_length: float = STRAND_LENGTH
    delay_diameter: float = DELAY_DIAMETER
    delay_length: float = DELAY_LENGTH
    strand_text: str = "10 x 10 x 60 mm"
    delay_text: str = "12 mm wide, 25 mm long"
    assumed: tuple[str, ...] = ("strand", "delay")

    @property
    def strand_volume(self) -> float:
        """Volume of one strand. [m3]"""
        return self.strand_section * self.strand_length

    @property
    def delay_volume(self) -> float:
        """Volume of one delay column. [m3]"""
        return 0.25 * math.pi * self.delay_diameter**2 * self.delay_length


def sizes_of(bench: Bench | None) -> Sizes:
    """Return the sizes that a bench file states in [casting], else the usual ones.

    Parameters
    ----------
    bench : Bench or None

    Returns
    -------
    Sizes

    Examples
    --------
    >>> sizes_of(None) == Sizes()
    True
    """
    table = (bench.casting if bench else None) or {}

    def stated(key: str, usual: float) -> float:
        value = table.get(key)
        return usual if value is None else float(value)

    length = stated("strand_length", STRAND_LENGTH)
    wide = stated("delay_diameter", DELAY_DIAMETER)
    high = stated("delay_length", DELAY_LENGTH)
    side, section = stated("strand_side", STRAND_SIDE), 0.0
    text = f"{1e3 * side:g} x {1e3 * side:g} x {1e3 * length:g} mm"
    section = side**2
    if table.get("strand_diameter") is not None:
        side = table["strand_diameter"]
        section = 0.25 * math.pi * side**2
        text = f"{1e3 * side:g} mm wide, {1e3 * length:g} mm long"
    told = {key.split("_")[0] for key, value in table.items() if value is not None}
    return Sizes(
        strand_section=section,
        strand_length=length,
        delay_diameter=wide,
        delay_length=high,
        strand_text=text,
        delay_text=f"{1e3 * wide:g} mm wide, {1e3 * high:g} mm long",
        assumed=tuple(kind for kind in ("strand", "delay") if kind not in told),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A number of equal castings.

    Attributes
    ----------
    kind : str
        "grain", "strand" or "delay column".
    count : int
    volume : float
        Of one. [m3]
    size : str
        In words.

    Examples
    --------
    >>> Piece(kind="grain", count=4, volume=3.1e-5, size="30 mm wide").kind
    'grain'
    """

    kind: str
    count: int
    volume: float
    size: str


def one_grain(grain: Grain) -> tuple[float, str]:
    """Return the volume of one grain [m3] and its size in words.

    A hollow cylinder: one segment. A table of areas: all that it describes, the
    integral of area over web.
    """
    if isinstance(grain, HollowCylinder):
        size = (
            f"{1e3 * grain.outer_diameter:g} mm outer, {1e3 * grain.core_diameter:g} "
            f"mm core, {1e3 * grain.segment_length:g} mm long"
        )
        return grain.volume / grain.segments, size
    return grain.volume, f"{1e6 * grain.volume:.4g} cm3 by the table of areas"


def pieces_of(
    grain: Grain | None,
    sizes: Sizes,
    *,
    grains: int = 0,
    strands: int = 0,
    delays: int = 0,
) -> tuple[Piece, ...]:
    """Return what is to be cast; kinds of which there are none are left out.

    Parameters
    ----------
    grain : HollowCylinder, AreaTable or None
        Of the motor.
    sizes : Sizes
    grains, strands, delays : int
        How many of each.

    Returns
    -------
    tuple of Piece

    Raises
    ------
    InputError
        For grains without a motor, a count below 0, or nothing at all.

    Examples
    --------
    >>> strands, = pieces_of(None, Sizes(), strands=6)
    >>> strands.kind, strands.count
    ('strand', 6)
    """
    counts = {"grains": grains, "strands": strands, "delays": delays}
    for name, count in counts.items():
        plausible.checked("pieces", count, plausible.said_at(f"--{name}"))
    if not any(counts.values()):
        raise InputError(
            "nothing is to be cast; give --grains, --strands or --delays above 0, or "
            "--batch '200 g'"
        )
    if grains and grain is None:
        raise InputError(
            "--grains needs the size of a grain; add --bench FILE with a [motor] table "
            "and its [motor.grain], or give --batch '200 g'"
        )
    found = []
    if grains and grain is not None:
        volume, size = one_grain(grain)
        found.append(Piece(kind="grain", count=grains, volume=volume, size=size))
    if strands:
        found.append(
            Piece(
                kind="strand",
                count=strands,
                volume=sizes.strand_volume,
                size=sizes.strand_text,
            )
        )
    if delays:
        found.append(
            Piece(
                kind="delay column",
                count=delays,
                volume=sizes.delay_volume,
                size=sizes.delay_text,
            )
        )
    return tuple(found)


# ----------------------------------------------------------------------------
# A recipe in catalogue names with the lots it is weighed from.

#: Liquids of the catalogue that are no syrup.
LIQUIDS = frozenset({"water", "glycerol"})

#: Kinds of lines in the order of weighing; see :mod:`castsugar.weigh.sheet`.
KINDS = ("syrup", "liquid", "minor", "powder", "oxidizer")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Charge:
    """What is weighed, as shares of the mix as weighed.

    Attributes
    ----------
    name : str
        Of the recipe: its name in the bench file, its label, or itself.
    shares : dict of str to float
        Catalogue name to mass fraction, as is: each with the water of its lot.
    typed : dict of str to str
        Catalogue name to the name that the user typed.
    lots : dict of str to Lot
    records : dict of str to LotRecord
    database : Database
    process : str
        As of :class:`castsugar.mix.mix.Mix`.
    """

    name: str
    shares: dict[str, float]
    typed: dict[str, str]
    lots: dict[str, Lot]
    records: dict[str, LotRecord]
    database: Database
    process: str = ""

    def __repr__(self) -> str:
        shares = (f"{self.typed[i]} {100.0 * x:.4g} %" for i, x in self.shares.items())
        return f"Charge({self.name!r}: {', '.join(shares)})"

    @property
    def dummy(self) -> bool:
        """Whether a salt stands in for the oxidizer."""
        return refusals.is_dummy(self.mix().weighed)

    def mix(
        self,
        masses: Mapping[str, float] | None = None,
        *,
        name: str = "",
        water_lost: float = 0.0,
    ) -> Mix:
        """Return the mix of some masses in the pan; of the shares by default."""
        parts = self.shares if masses is None else masses
        held = {item for item, mass in parts.items() if mass > 0.0}
        return Mix.put_together(
            parts,
            name=name or self.name,
            water_lost=water_lost,
            lots={item: lot for item, lot in self.lots.items() if item in held},
            process=self.process,
            database=self.database,
        )

    def kind(self, item: str) -> str:
        """Return which of :data:`KINDS` an item is."""
        found = self.database.find(item)
        if isinstance(found, Syrup):
            return "syrup"
        if found.name in LIQUIDS:
            return "liquid"
        role = getattr(found, "role", "fuel")
        if role == "oxidizer":
            return "oxidizer"
        return "minor" if role in ("catalyst", "inert") else "powder"

    def find(self, typed: str, where: str) -> str:
        """Return the catalogue name of something that the recipe holds.

        Raises
        ------
        InputError
        """
        name = item_name(self.database, typed)
        if name in self.shares:
            return name
        near = nearest_names(typed, self.database.offered(typed, self.typed.values()))
        hint = f"did you mean {near[0]!r}?" if near else "it holds "
        hint += "" if near else ", ".join(self.typed.values())
        raise InputError(f"{where}: {typed!r} is not in the recipe; {hint}")


def read_charge(
    text: str,
    bench: Bench | None,
    database: Database,
    *,
    wanted: Iterable[str] = (),
) -> Charge:
    """Read a recipe as typed, or by its name in [recipes], with its lots.

    Parameters
    ----------
    text : str
    bench : Bench or None
    database : Database
    wanted : iterable of str
        Names of lots to weigh from, whatever the file says is in use.

    Returns
    -------
    Charge

    Raises
    ------
    InputError
        A recipe as text or a lot that cannot be used, or that the file does not have.
    UnknownNameError
        For an ingredient that is not known.
    RefusedError
        For a recipe out of scope.
    ValidityError
        For a syrup outside the range that its source covers.

    Examples
    --------
    >>> from castsugar import load_database
    >>> charge = read_charge("mine=KNO3:65 sucrose:35", None, load_database())
    >>> charge.name, charge.shares["sucrose"]
    ('mine', 0.35)
    """
    listed = list(wanted)
    name, shares, typed = _read(text, bench, database)
    if bench is None:
        if listed:
            raise InputError(f"--lot {listed[0]!r} needs --bench FILE with its [lots]")
        return Charge(
            name=name,
            shares=shares,
            typed=typed,
            lots={},
            records={},
            database=database,
        )
    found = lots_of(bench, database, wanted=listed, only=shares)
    for lot in listed:
        if lot not in [record.name for _, record in found.values()]:
            raise InputError(
                f"--lot {lot!r} is {bench.lots[lot]['ingredient']!r}, which the recipe "
                f"does not hold ({', '.join(typed.values())})"
            )
    return Charge(
        name=name,
        shares=shares,
        typed=typed,
        lots={item: lot for item, (lot, _) in found.items()},
        records={item: record for item, (_, record) in found.items()},
        database=database,
        process=bench.processes.get(text, ""),
    )


def _read(
    text: str, bench: Bench | None, database: Database
) -> tuple[str, dict[str, float], dict[str, str]]:
    """Return name, shares and typed names of a recipe."""
    recipes = bench.recipes if bench else {}
    if text in recipes and bench is not None:
        with bench.place("recipes").named(text):
            _, shares, typed = _shares(recipes[text], database, "")
        return text, shares, typed
    if ":" not in text and recipes and bench is not None:
        near = nearest_names(text, list(recipes))
        hint = f"did you mean {near[0]!r}?" if near else "it has " + ", ".join(recipes)
        raise InputError(f"{bench.path} has no recipe {text!r} in [recipes]; {hint}")
    return _shares(bench.recipe_text(text) if bench else text, database, "recipe")


def _shares(
    text: str, database: Database, where: str
) -> tuple[str, dict[str, float], dict[str, str]]:
    recipe = parse_recipe(text, where=where)
    try:
        Mix.weigh(recipe, database=database)  # refuses
        names = {item_name(database, item): item for item, _ in recipe.parts}
        shares = catalogue_shares(database, recipe.parts)
    except CastsugarError as error:
        raise type(error)(f"{where}: {error}" if where else str(error)) from None
    typed = {name: item for name, item in names.items() if name in shares}
    return recipe.name or recipe.text, shares, typed
