"""What is uncertain about a list of mixes: independent inputs, drawn once."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.checks import instance, number
from castsugar.confirmation import UnconfirmedError
from castsugar.constants import DEFAULT_FLOW, DEFAULT_PRESSURE, STANDARD_ATMOSPHERE
from castsugar.data.load import load_database
from castsugar.data.records import Ingredient
from castsugar.draw_set import normals
from castsugar.errors import InputError, ValidityError
from castsugar.evaluation import check_options, evaluate_columns
from castsugar.frozen import dataclass
from castsugar.kitchen.parameters import Kitchen
from castsugar.mix.basis import basis
from castsugar.mix.blends import Blends, of_mixes
from castsugar.mix.mix import Mix
from castsugar.mix.syrups import SOLIDS_UNCERTAINTY, SyrupUse
from castsugar.mix.weighing import Constituent, Item, Lot, weigh_items
from castsugar.motor.hardware import Hardware
from castsugar.rows import records
from castsugar.thermo.species import SpeciesTable

# ----------------------------------------------------------------------------
# Under what mixes are compared, and the doubts that no data file states.


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """Standard uncertainties that no data file states; 0 switches one off.

    Attributes
    ----------
    weighing : float
        Of every weighed part. [kg]
    batch : float
        Mass of what is weighed for one batch. [kg]
    moisture : float
        Mass fraction of water that a powder may bring beyond what the recipe counts:
        scale of a half-normal. Common practice, no source.
    dextrose_equivalent : float
        Of the composition of a syrup; its viscosity has a grade of its own in the
        kitchen. Common practice, no source. [DE]
    pressure : float
        Relative, of the chamber pressure. Common practice, no source.
    enthalpies, product_data : bool
        Whether the enthalpies of formation and the product data count.
    batch_scatter, process_scatter, firing_scatter : bool
        Whether draws hold what the next batch, another process and the next firing do
        to the burn rate. The table's pressures always hold all of it.

    Raises
    ------
    InputError
        For one that is negative, not finite or no number.

    Examples
    --------
    >>> Doubts.none().pressure, Doubts(pressure=0.02).weighing
    (0.0, 5e-05)
    """

    weighing: float = 5e-5
    batch: float = 0.2
    moisture: float = 0.002
    dextrose_equivalent: float = 3.0
    pressure: float = 0.05
    enthalpies: bool = True
    product_data: bool = True
    batch_scatter: bool = True
    process_scatter: bool = True
    firing_scatter: bool = True

    def __post_init__(self) -> None:
        """Check the numbers."""
        if not 0.0 < number(self.batch, "batch", "kg") < math.inf:
            raise InputError(f"batch is {self.batch:g} kg; give a mass above 0")
        highest = {
            "weighing": 0.2 * self.batch,
            "moisture": 0.2,
            "dextrose_equivalent": 20.0,
            "pressure": 0.5,
        }
        for name, limit in highest.items():
            what = f"standard uncertainty of {name.replace('_', ' ')}"
            value = number(getattr(self, name), what)
            if not 0.0 <= value <= limit:
                raise InputError(f"{what} is {value:g}; allowed: 0 to {limit:g}")

    @classmethod
    def none(cls, batch: float = 0.2) -> Doubts:
        """Return doubts that are all 0."""
        off: dict[str, Any] = {f.name: 0.0 for f in fields(cls) if f.type == "float"}
        off |= {f.name: False for f in fields(cls) if f.type == "bool"}
        return cls(**off | {"batch": batch})

    def counts(self, kind: str) -> bool:
        """Return whether a kind of input counts; one without a switch does."""
        return bool(getattr(self, f"{kind}_scatter", True))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Conditions:
    """Under what mixes are compared.

    Attributes
    ----------
    pressure, exit_pressure : float
        [Pa]
    flow : str
        One of :data:`castsugar.thermo.flow.FLOWS`; by default, as in a search, the one
        without the false peak of c* that freezing at the throat makes.
    kitchen : Kitchen or None
    motor : Hardware or None
    species : SpeciesTable or None
        Set 1 of the product data; the shipped default.

    Examples
    --------
    >>> from castsugar import Mix
    >>> row, = Conditions(pressure=3e6).rows(
    ...     [Mix.weigh("KNO3:65 sucrose:35")], confirm=False
    ... )
    >>> round(row["flame_temperature_K"])
    1688
    """

    pressure: float = DEFAULT_PRESSURE
    exit_pressure: float = STANDARD_ATMOSPHERE
    flow: str = DEFAULT_FLOW
    kitchen: Kitchen | None = None
    motor: Hardware | None = None
    species: SpeciesTable | None = None

    def __post_init__(self) -> None:
        """Check that they make a flow."""
        number(self.exit_pressure, "exit pressure", "Pa")
        check_options(self.pressure, self.exit_pressure, self.flow)
        instance(self.kitchen, Kitchen, "kitchen")
        instance(self.motor, Hardware, "motor")
        instance(self.species, SpeciesTable, "species")

    def basis(
        self, mixes: Sequence[Mix], *, data_uncertainty: bool = False
    ) -> dict[str, Any]:
        """Return what an answer on mixes under them rests on; see mix.basis."""
        given = {f.name: getattr(self, f.name) for f in fields(self)}
        return basis(mixes, data_uncertainty=data_uncertainty, **given)

    def rows(
        self,
        mixes: Sequence[Mix],
        *,
        confirm: bool,
        chances: Sequence[tuple[str, float]] = (),
    ) -> list[dict[str, Any]]:
        """Return the row of the table of each mix.

        Parameters
        ----------
        mixes : sequence of Mix
        confirm : bool
            Whether the second solver solves them again. Ctrl-C stops only that: the
            column `confirmation` then says so.
        chances : sequence of (column, level)
            Quantiles that limits ask for.
        """
        try:
            columns = evaluate_columns(
                list(mixes),
                pressure=self.pressure,
                exit_pressure=self.exit_pressure,
                flow=self.flow,
                confirm=confirm,
                chances=chances,
                kitchen=self.kitchen,
                motor=self.motor,
                species=self.species,
            )
        except UnconfirmedError as stopped:
            columns = stopped.columns
        return records(columns)


# ----------------------------------------------------------------------------
# What is really uncertain about a list of mixes: independent inputs, drawn once.
#
# An input that mixes share (an ingredient's enthalpy, a bag of powder, a syrup, the
# product data, the pressure, the kitchen, the motor) is one input for all of them, so
# that it cancels in their difference as far as it acts alike. Weighing errors belong to
# a recipe: two mixes of the same recipe are the same batch, others are not. The numbers
# of an input depend on its name and the seed alone, so that a mix alone and in a crowd
# is drawn alike.

#: Scores of the inputs, by key, (rows,); an input that is left out stays at 0.
Scores = Mapping[str, FloatArray]

#: Saccharides of a syrup, whose enthalpies share one doubt.
SYRUP_SOLIDS = "syrup solids"

#: Standard deviation of the half-normal |z|: root of 1 - 2/pi.
HALF_NORMAL = math.sqrt(1.0 - 2.0 / math.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One independent input."""

    key: str  # names its draws
    #: weighing, moisture, syrup, enthalpy, product data, pressure, kitchen, motor,
    #: batch, process, firing.
    kind: str
    label: str  # for people
    #: Standard uncertainty in `unit`; scale of the half-normal of a moisture.
    uncertainty: float
    unit: str
    half: bool = False  # whether it is half-normal
    origin: str = ""  # source or reason of the uncertainty
    conflict: str = ""  # what other sources say; empty where none does


def identity(mix: Mix, *, data: bool = True) -> str:
    """Return what makes two mixes one recipe, as a short text.

    Every pure substance with its share and item, the water that leaves, and how it is
    made; the name of the mix does not count. With `data` the enthalpies count too:
    without, a recipe looked at with other data is the same batch.
    """
    parts = [
        f"{c.origin}|{c.ingredient.name}|{c.mass_fraction:.10g}"
        + (f"|{c.ingredient.enthalpy_of_formation:.9g}" if data else "")
        for c in mix.weighed
    ]
    parts += [f"{s.name}|{s.dry_solids:.10g}|{s.grade:.6g}" for s in mix.syrups]
    text = "\n".join([*sorted(parts), f"{mix.water_lost:.10g}", mix.process])
    return hashlib.blake2b(text.encode(), digest_size=6).hexdigest()


def doubt_key(ingredient: Ingredient) -> str:
    """Return the key of the doubt of an enthalpy of formation."""
    solids = ingredient.name.startswith(SYRUP_SOLIDS)
    return f"enthalpy|{SYRUP_SOLIDS if solids else ingredient.name}"


def enthalpy_u(ingredient: Ingredient) -> float:
    """Return the standard uncertainty of an enthalpy of formation. [J/mol]

    An alternative whose source states none takes that of the catalogue's own row; an
    ingredient without any counts as exact.
    """
    value = ingredient.enthalpy_uncertainty
    if math.isnan(value):
        known = load_database().ingredients.get(ingredient.name)
        value = known.enthalpy_uncertainty if known is not None else 0.0
    return 0.0 if math.isnan(value) else value


def enthalpy_input(ingredient: Ingredient) -> Input:
    """Return the doubt of an enthalpy of formation as an input."""
    key = doubt_key(ingredient)
    if key == f"enthalpy|{SYRUP_SOLIDS}":
        return Input(
            key=key,
            kind="enthalpy",
            label="enthalpy of formation of syrup solids",
            uncertainty=1e-3 * SOLIDS_UNCERTAINTY,
            unit="kJ/kg",
            origin=f"{ingredient.status}, {ingredient.source}",
        )
    known = load_database().ingredients.get(ingredient.name, ingredient)
    rivals = {known.source: known.enthalpy_of_formation}
    rivals |= {
        f"{a.name} ({a.source})": a.enthalpy_of_formation for a in known.alternatives
    }
    others = [
        f"{name} {1e-3 * value:.6g} kJ/mol"
        for name, value in rivals.items()
        if value != ingredient.enthalpy_of_formation
    ]
    return Input(
        key=key,
        kind="enthalpy",
        label=f"enthalpy of formation of {ingredient.name}",
        uncertainty=1e-3 * enthalpy_u(ingredient),
        unit="kJ/mol",
        origin=f"{ingredient.status}, {ingredient.source}",
        conflict="; ".join(others),
    )


def unique(inputs: Iterable[Input]) -> tuple[Input, ...]:
    """Return every input once, those without an uncertainty left out."""
    found = {i.key: i for i in inputs if i.uncertainty > 0.0}
    return tuple(found.values())


def drawn(inputs: Sequence[Input], draws: int, seed: int) -> dict[str, FloatArray]:
    """Draw standard normal scores of every input, (draws,) each.

    Returns
    -------
    dict
        Key to scores, those of :mod:`castsugar.draw_set` under that name.
    """
    return {i.key: normals(i.key, draws, seed) for i in inputs}


def shifted(inputs: Sequence[Input]) -> dict[str, FloatArray]:
    """Return scores that move one input at a time, (1 + 2 n,) each.

    Row 0 is the middle; then one up, one down for every input. A half-normal input is
    left in the middle instead of moved down.
    """
    count = 1 + 2 * len(inputs)
    found = {}
    for place, one in enumerate(inputs):
        row = np.zeros(count)
        row[1 + 2 * place] = 1.0
        row[2 + 2 * place] = 0.0 if one.half else -1.0
        found[one.key] = row
    return found


def of_shifts(values: FloatArray, inputs: Sequence[Input]) -> FloatArray:
    """Return changes per standard deviation of every input, (..., n).

    Parameters
    ----------
    values : ndarray, shape (1 + 2 n, ...)
        Of the rows of :func:`shifted`.

    Returns
    -------
    ndarray
        NaN or infinite where a step jams.
    """
    scale = np.array([HALF_NORMAL if i.half else 0.5 for i in inputs])
    with np.errstate(invalid="ignore"):
        change = values[1::2] - values[2::2]
    return np.moveaxis(change, 0, -1) * scale


# ----------------------------------------------------------------------------
# Items of a recipe as weighed, and syrups of the neighbour grades.

#: Half the step of dextrose equivalent between two grades. [DE]
GRADE = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SyrupDoubt:
    """A syrup among the items: its doubts, and the places of its neighbour grades."""

    use: SyrupUse
    place: int
    grades: tuple[int, int] | None


def solids_key(syrup: str) -> str:
    """Return the key of the dry solids of a syrup that no kitchen measured."""
    return f"syrup solids|{syrup}"


def grade_key(syrup: str) -> str:
    """Return the key of the dextrose equivalent of a syrup's composition."""
    return f"dextrose equivalent|{syrup}"


def item_of(
    constituents: Sequence[Constituent], share: float, use: SyrupUse | None
) -> Item:
    """Return pure substances as one item, per mass of it."""
    scaled = tuple(
        replace(c, mass_fraction=c.mass_fraction / share) for c in constituents
    )
    return Item(constituents=scaled, syrup=use)


def neighbours(use: SyrupUse) -> tuple[Item, ...]:
    """Return a syrup one step below and above its grade; none outside the grades."""
    data = load_database()
    try:
        return tuple(
            weigh_items(
                data,
                [use.name],
                {use.name: Lot(dry_solids=use.dry_solids, dextrose_equivalent=grade)},
                {},
            )[0]
            for grade in (use.grade - GRADE, use.grade + GRADE)
        )
    except ValidityError:
        return ()


# ----------------------------------------------------------------------------
# Batches of one recipe as they may turn out: weighed, damp, of another syrup.
#
# Everything is a sum over items by mass, so that a syrup with other solids is the same
# syrup and some water (more or less), and one of another dextrose equivalent a step
# from one grade to the next.

#: Liquids among the ingredients that are neither syrup nor water: never damp powders.
_LIQUIDS = ("glycerol",)

#: Dry solids stay between these.
_SOLIDS = (0.5, 0.995)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recipe:
    """A mix, ready to be weighed many times."""

    mix: Mix
    #: Of the mix with its data, and of what is weighed alone.
    identity: str
    batch: str
    names: tuple[str, ...]  # items that are weighed, by catalogue name
    shares: FloatArray  # their mass fractions, (k,)
    items: tuple[Item, ...]  # those, then water, then neighbour grades of syrups
    damp: tuple[bool, ...]  # which of them are powders, (k,)
    syrups: tuple[SyrupDoubt, ...]
    doubts: Doubts

    @classmethod
    def of(cls, mix: Mix, doubts: Doubts) -> Recipe:
        """Take a mix apart."""
        names = tuple(dict.fromkeys(c.origin for c in mix.weighed))
        uses = {s.name: s for s in mix.syrups}
        parts = [[c for c in mix.weighed if c.origin == name] for name in names]
        shares = np.array([sum(c.mass_fraction for c in own) for own in parts])
        items = [
            item_of(own, share, uses.get(name))
            for name, own, share in zip(names, parts, shares.tolist(), strict=True)
        ]
        items += weigh_items(load_database(), ["water"], {}, {})
        syrups = []
        for place, name in enumerate(names):
            if name not in uses:
                continue
            nearby = neighbours(uses[name]) if doubts.dextrose_equivalent else ()
            grades = (len(items), len(items) + 1) if nearby else None
            items += nearby
            syrups.append(SyrupDoubt(use=uses[name], place=place, grades=grades))
        damp = tuple(
            name not in uses and _is_powder(name, own)
            for name, own in zip(names, parts, strict=True)
        )
        return cls(
            mix=mix,
            identity=identity(mix),
            batch=identity(mix, data=False),
            names=names,
            shares=shares / shares.sum(),
            items=tuple(items),
            damp=damp,
            syrups=tuple(syrups),
            doubts=doubts,
        )

    def inputs(self) -> list[Input]:
        """Return what is uncertain about it, kitchen and motor left out."""
        d, label = self.doubts, self.mix.name
        found = [
            Input(
                key=self._weighing(name),
                kind="weighing",
                label=f"weighed mass of {name} in {label}",
                uncertainty=1e3 * d.weighing,
                unit="g",
                origin="stated, or common practice",
            )
            for name in self.names
        ]
        found += [
            Input(
                key=f"moisture|{name}",
                kind="moisture",
                label=f"moisture of {name}",
                uncertainty=100.0 * d.moisture,
                unit="%",
                half=True,
                origin="stated, or common practice",
            )
            for name, damp in zip(self.names, self.damp, strict=True)
            if damp
        ]
        found += [
            Input(
                key=grade_key(s.use.name),
                kind="syrup",
                label=f"dextrose equivalent of {s.use.name}",
                uncertainty=d.dextrose_equivalent,
                unit="DE",
                origin="stated, or common practice",
            )
            for s in self.syrups
            if s.grades is not None
        ]
        if d.enthalpies:
            # Water is among the items: what damp powders bring is drawn too.
            used = [c.ingredient for item in self.items for c in item.constituents]
            found += [enthalpy_input(i) for i in used if i.composition]
        return found

    def solids(self) -> list[Input]:
        """Return the doubts of dry solids that no kitchen measured."""
        return [
            Input(
                key=solids_key(s.use.name),
                kind="syrup",
                label=f"dry solids of {s.use.name}",
                uncertainty=100.0 * s.use.dry_solids_uncertainty,
                unit="%",
                origin="the syrup's row, or a stated value",
            )
            for s in self.syrups
            if s.use.dry_solids < 1.0
        ]

    def weighed(self, scores: Scores, rows: int) -> FloatArray:
        """Return mass fractions of the items and of water, (rows, k + 1)."""
        d = self.doubts
        parts = np.repeat(self.shares[None], rows, axis=0)
        water = np.zeros(rows)
        for place, name in enumerate(self.names):
            wrong = scores.get(self._weighing(name))
            if wrong is not None:
                parts[:, place] += wrong * d.weighing / d.batch
        parts = np.maximum(parts, 0.0)
        for place, name in enumerate(self.names):
            wet = scores.get(f"moisture|{name}")
            if self.damp[place] and wet is not None:
                brought = np.minimum(d.moisture * np.abs(wet), 1.0) * parts[:, place]
                parts[:, place] -= brought
                water += brought
        whole = np.column_stack([parts, water])
        return whole / whole.sum(axis=1, keepdims=True)

    def one_step(self, step: float) -> FloatArray:
        """Return the recipe with one scale step more of one item, (k, k + 1)."""
        parts = self.shares + np.eye(len(self.names)) * step / self.doubts.batch
        whole = np.column_stack([parts, np.zeros(len(parts))])
        return whole / whole.sum(axis=1, keepdims=True)

    def pot(self, weighed: FloatArray) -> Blends:
        """Return the batches with their syrups as stated, for the kitchen."""
        count = len(self.names) + 1
        return self._blends(self.items[:count], weighed, self._lost(len(weighed)))

    def cast(
        self,
        weighed: FloatArray,
        scores: Scores,
        *,
        solids: FloatArray | None = None,
        water_lost: FloatArray | None = None,
        browned: float | None = None,
    ) -> Blends:
        """Return the batches as cast.

        Parameters
        ----------
        weighed : ndarray, shape (rows, k + 1)
        solids : ndarray, shape (rows,), optional
            Dry solids of every syrup off the stated ones, in standard uncertainties;
            each syrup's own score by default.
        water_lost : ndarray, shape (rows,), optional
        browned : float, optional
            Degraded share of the sugar; that of the mix by default.
        """
        rows = len(weighed)
        shares = np.zeros((rows, len(self.items)))
        count = len(self.names)
        shares[:, : count + 1] = weighed
        zero = np.zeros(rows)
        for s in self.syrups:
            share, stated = weighed[:, s.place], s.use.dry_solids
            own = scores.get(solids_key(s.use.name), zero) if solids is None else solids
            # A syrup that its lot states to hold no water at all stays dry.
            u = s.use.dry_solids_uncertainty if stated < 1.0 else 0.0
            wanted = np.clip(stated + u * own, *_SOLIDS) if u else stated
            factor = wanted / stated
            shares[:, s.place] = share * factor
            shares[:, count] += share * (1.0 - factor)
            if s.grades is not None:
                grade = scores.get(grade_key(s.use.name), zero)
                move = self.doubts.dextrose_equivalent * grade / (2.0 * GRADE)
                shares[:, s.grades[0]] = -move * share * factor
                shares[:, s.grades[1]] = move * share * factor
        lost = self._lost(rows) if water_lost is None else water_lost
        found = self._blends(self.items, shares, lost, browned)
        return replace(found, enthalpy=found.enthalpy + _enthalpy(found, scores, rows))

    def _lost(self, rows: int) -> FloatArray:
        return np.full(rows, self.mix.water_lost)

    def _weighing(self, name: str) -> str:
        return f"weighing|{self.batch}|{name}"

    def _blends(
        self,
        items: tuple[Item, ...],
        shares: FloatArray,
        water_lost: FloatArray,
        browned: float | None = None,
    ) -> Blends:
        start = replace(
            of_mixes([self.mix]),
            names=(self.mix.name,) * len(shares),
            items=items,
            shares=shares,
            mixes=(),
            process=self.mix.process,
        )
        brown = self.mix.browned if browned is None else browned
        return start.cast_again(water_lost, browned=np.full(len(shares), brown))


def _is_powder(name: str, own: Sequence[Constituent]) -> bool:
    """Return whether an item may be damp: of the catalogue, and not a liquid."""
    wet = all(c.ingredient.role == "water" for c in own)
    known = all(c.ingredient.catalogued for c in own)
    return known and not wet and name not in _LIQUIDS


def _enthalpy(blends: Blends, scores: Scores, rows: int) -> FloatArray:
    """Return the enthalpy that wrong enthalpies of formation add. [J/kg]"""
    added = np.zeros(rows)
    for column, ingredient in enumerate(blends.ingredients):
        score = scores.get(doubt_key(ingredient))
        if score is not None:
            added += blends.moles[:, column] * enthalpy_u(ingredient) * score
    return added
