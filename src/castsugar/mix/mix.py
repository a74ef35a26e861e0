"""A recipe by mass, as weighed, and the mix that it becomes, as cast."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from castsugar import plain
from castsugar.checks import instance, named_options, one_of, shown
from castsugar.constants import ELEMENTS
from castsugar.data.load import Database, load_database
from castsugar.errors import CastsugarError, InputError
from castsugar.frozen import dataclass
from castsugar.mix import refusals, weighing
from castsugar.mix.syrups import SyrupUse
from castsugar.mix.text import Recipe, parse_recipe
from castsugar.mix.weighing import Constituent, Lot, expand, syrup_use

if TYPE_CHECKING:
    import pandas as pd

#: What a propellant can be made by; how, is part of what it is. The first is taken
#: where nothing is stated.
PROCESSES: Final = ("cooked syrup", "boiled down", "melted dry", "pressed")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mix:
    """A cast mix; make it with :meth:`Mix.weigh`.

    Attributes
    ----------
    name : str
    recipe : tuple of (str, float)
        Names and mass fractions, as weighed.
    syrups : tuple of SyrupUse
        The syrups among them.
    weighed, cast : tuple of Constituent
        Pure substances before and after water has left; fractions sum to 1.
    water_lost : float
        Fraction of the recipe's own water that left.
    elements : tuple of float
        Amounts of the elements of :data:`castsugar.constants.ELEMENTS` in the cast
        mix, inert matter left out. [mol/kg]
    enthalpy : float
        Of formation, of the cast mix at 298.15 K. [J/kg]
    browned : float
        Share of its sugar that the cook degraded; NaN after a cook that no model
        covers. Its elements and enthalpy are those of sugar that is not.
    process : str
        How it is made, one of :data:`PROCESSES`; empty: as the user's kitchen makes
        all of them.

    See Also
    --------
    castsugar.blend : thousands of mixes at once.

    Examples
    --------
    >>> mix = Mix.weigh("KNO3:65 sucrose:35")
    >>> round(mix.density), round(mix.oxidizer_fuel_ratio, 3)
    (1888, 1.857)
    """

    name: str
    recipe: tuple[tuple[str, float], ...]
    syrups: tuple[SyrupUse, ...]
    weighed: tuple[Constituent, ...]
    cast: tuple[Constituent, ...]
    water_lost: float
    elements: tuple[float, ...]
    enthalpy: float
    browned: float = 0.0
    process: str = ""

    @classmethod
    @named_options
    def weigh(  # noqa: PLR0913 - keyword-only options
        cls,
        recipe: weighing.Amounts | Recipe | str,
        *,
        name: str = "",
        basis: str = "parts",
        water_lost: float = 0.0,
        lots: Mapping[str, Lot] | None = None,
        alternatives: Mapping[str, str] | None = None,
        process: str = "",
        database: Database | None = None,
    ) -> Mix:
        """Weigh a recipe and cast it.

        Its fuel must be sugars, polyols and syrups; see :mod:`castsugar.mix.refusals`.

        Parameters
        ----------
        recipe : mapping or str
            Name, alias or :class:`Ingredient` to amount by mass; or a recipe as typed
            (``"KNO3:65 sucrose:35"``, see :func:`castsugar.parse_recipe`).
        name : str, optional
            Shown in tables; the recipe itself, or its label, by default.
        basis : str
            ``"parts"`` (any positive numbers) or ``"fraction"`` (must sum to 1); a
            recipe as typed says it itself.
        water_lost : float
            Fraction (0 to 1) of the recipe's own water that leaves before the cast.
        lots : mapping, optional
            Item to :class:`Lot`.
        alternatives : mapping, optional
            Ingredient to the name of an alternative enthalpy of formation.
        process : str, optional
            How it is made, one of :data:`PROCESSES`.
        database : Database, optional
            The shipped one by default.

        Raises
        ------
        InputError
            An amount, a lot or a loss of water that is out of range.
        UnknownNameError
            With the nearest known names.
        RefusedError
            For a composition out of scope.
        ValidityError
            For a syrup outside the range that its source covers.

        Examples
        --------
        >>> mix = Mix.weigh({"KNO3": 65, "sucrose": 35})
        >>> round(mix.oxygen_balance, 2)
        -13.55
        """
        mix = cls.put_together(
            recipe,
            name=name,
            basis=basis,
            water_lost=water_lost,
            lots=lots,
            alternatives=alternatives,
            process=process,
            database=database,
        )
        refusals.check_mix(mix.name, mix.weighed)
        return mix

    @classmethod
    def put_together(  # noqa: PLR0913 - keyword-only options
        cls,
        recipe: weighing.Amounts | Recipe | str,
        *,
        name: str = "",
        basis: str = "parts",
        water_lost: float = 0.0,
        lots: Mapping[str, Lot] | None = None,
        alternatives: Mapping[str, str] | None = None,
        process: str = "",
        database: Database | None = None,
    ) -> Mix:
        """Weigh as :meth:`weigh` does, without a look at what the fuel is.

        For what lies on the scale beside a recipe that is in scope, and for a pure
        ingredient: the error of one line may lead out of scope.
        """
        instance(database, Database, "database")
        data = database or load_database()
        weighing.check_water_lost(water_lost)
        if process:
            one_of("process", process, PROCESSES)
        if isinstance(recipe, str):
            recipe = parse_recipe(recipe)
        if isinstance(recipe, Recipe):
            name, basis = name or recipe.name or recipe.text, recipe.basis
            recipe = recipe.to_dict()
        parts = weighing.fractions(recipe, basis)
        weighing.check_named_once(data, recipe)
        known_lots = weighing.by_item(data, lots or {}, parts)
        rivals = {
            weighing.item_name(data, key): value
            for key, value in (alternatives or {}).items()
        }
        weighed: list[Constituent] = []
        syrups: list[SyrupUse] = []
        for item, fraction in parts.items():
            lot = known_lots.get(weighing.item_name(data, item))
            weighed += expand(data, item, fraction, lot, rivals)
            syrup = syrup_use(data, item, fraction, lot)
            syrups += [syrup] if syrup else []
        weighed = weighing.merged(weighed)
        weighing.check_alternatives(rivals, weighed)
        cast = weighing.dried(weighed, water_lost)
        elements, enthalpy = weighing.charge(cast)
        recipe_names = tuple((weighing.shown(i), f) for i, f in parts.items())
        return cls(
            name=name or weighing.recipe_name(recipe),
            recipe=recipe_names,
            syrups=tuple(syrups),
            weighed=tuple(weighed),
            cast=tuple(cast),
            water_lost=water_lost,
            elements=elements,
            enthalpy=enthalpy,
            process=process,
        )

    @property
    def water_as_weighed(self) -> float:
        """Mass fraction of water before any leaves."""
        return weighing.share_of(self.weighed, "water")

    @property
    def water_as_cast(self) -> float:
        """Mass fraction of water in the cast mix."""
        return weighing.share_of(self.cast, "water")

    @property
    def cast_yield(self) -> float:
        """Mass of cast mix per mass weighed. [-]"""
        return 1.0 - self.water_lost * self.water_as_weighed

    @property
    def inert_fraction(self) -> float:
        """Mass fraction of inert matter in the cast mix."""
        return weighing.share_of(self.cast, "inert")

    @property
    def oxidizer_fuel_ratio(self) -> float:
        """Mass of nitrate over mass of fuel, all water left out. [-]

        Infinite without fuel, NaN without either.

        65/35 nitrate and sugar: 65 / 35 = 1.857.
        """
        fuel = weighing.share_of(self.cast, "fuel")
        oxidizer = weighing.share_of(self.cast, "oxidizer")
        if fuel > 0.0:
            return oxidizer / fuel
        return math.inf if oxidizer > 0.0 else math.nan

    @property
    def oxygen_balance(self) -> float:
        """Oxygen left (+) or missing (-) to CO2, H2O, N2, K2CO3, by mass. [%]

        (O - 2 C - H/2 - K/2 - Na/2 - 3/2 Fe) x 15.999 g/mol. Worked by hand for
        KNO3: (3 - 1/2) x 15.999 / 101.102 = +39.56 %.
        """
        return weighing.oxygen_balance(self.elements)

    @property
    def density(self) -> float:
        """Density without voids, volumes additive; NaN if one is unknown. [kg/m3]

        1 / sum(w / rho), for 65/35 KNO3 and sucrose 1 / (0.65/2109 + 0.35/1580.5).
        """
        volume = sum(c.mass_fraction / c.ingredient.density for c in self.cast)
        return 1.0 / volume

    @property
    def flags(self) -> tuple[str, ...]:
        """What is special about the mix itself."""
        return weighing.mix_flags(
            [c.ingredient for c in self.cast],
            [c.mass_fraction for c in self.cast],
            self.browned,
        )

    def with_water_lost(self, water_lost: float) -> Mix:
        """Return the same recipe cast after another loss of water.

        Raises
        ------
        InputError
            If `water_lost` is not between 0 and 1.
        """
        weighing.check_water_lost(water_lost)
        return self._cast(list(self.weighed), self.syrups, water_lost)

    def with_syrup_solids(self, solids: Mapping[str, float]) -> Mix:
        """Return the same weighed recipe with other dry solids of its syrups.

        Parameters
        ----------
        solids : mapping
            Catalogue name of a syrup to the mass fraction of its dry solids.

        Raises
        ------
        InputError
            For a fraction outside 0.5 to 1.
        """
        weighed = weighing.with_solids(self.weighed, self.syrups, solids)
        syrups = tuple(
            replace(s, dry_solids=solids.get(s.name, s.dry_solids)) for s in self.syrups
        )
        return self._cast(weighed, syrups, self.water_lost)

    def _cast(
        self,
        weighed: list[Constituent],
        syrups: tuple[SyrupUse, ...],
        water_lost: float,
    ) -> Mix:
        """Return the same recipe, cast from other pure substances."""
        cast = weighing.dried(weighed, water_lost)
        elements, enthalpy = weighing.charge(cast)
        return replace(
            self,
            syrups=syrups,
            weighed=tuple(weighed),
            cast=tuple(cast),
            water_lost=water_lost,
            elements=elements,
            enthalpy=enthalpy,
        )

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys."""
        return {
            "name": self.name,
            "recipe_mass_fraction": dict(self.recipe),
            "water_lost": self.water_lost,
            "water_as_weighed_percent": 100.0 * self.water_as_weighed,
            "water_as_cast_percent": 100.0 * self.water_as_cast,
            "oxidizer_fuel_ratio": self.oxidizer_fuel_ratio,
            "oxygen_balance_percent": self.oxygen_balance,
            "density_kg_m3": self.density,
            "elements_mol_kg": dict(zip(ELEMENTS, self.elements, strict=True)),
            "enthalpy_J_kg": self.enthalpy,
            "constituents": [
                {
                    "name": c.ingredient.name,
                    "origin": c.origin,
                    "mass_fraction_as_cast": c.mass_fraction,
                    "enthalpy_status": c.ingredient.status,
                    "enthalpy_source": c.ingredient.source,
                }
                for c in self.cast
            ],
        }

    def to_frame(self) -> pd.DataFrame:
        """Return the pure substances of the cast mix as a table."""
        import pandas as pd

        return pd.DataFrame(self.to_dict()["constituents"])

    def to_json(self) -> str:
        """Return :meth:`to_dict` as JSON."""
        return plain.to_json(self.to_dict())

    def _repr_html_(self) -> str:
        water = 100.0 * self.water_as_cast
        return plain.html_table(
            ("ingredient", "% as weighed"),
            [(name, 100.0 * share) for name, share in self.recipe],
            f"{self.name}: {self.density:.0f} kg/m3 without voids, as cast {water:.3g} "
            f"% water",
        )


#: What means a mix: itself, a recipe as typed or read, or names to amounts.
MixLike: TypeAlias = Mix | Recipe | str | weighing.Amounts


def as_mix(given: MixLike, where: str = "mix") -> Mix:
    """Return what means a mix as one.

    Parameters
    ----------
    where : str
        Names it in a message.

    Raises
    ------
    InputError
        For anything else.
    UnknownNameError, RefusedError
        As :meth:`Mix.weigh`.

    Examples
    --------
    >>> as_mix("base=KNO3:65 sucrose:35").name, as_mix({"KNO3": 2, "sugar": 1}).name
    ('base', 'KNO3:2 sugar:1')
    """
    if isinstance(given, Mix):
        return given
    if not isinstance(given, Recipe | str | Mapping):
        raise InputError(
            f"{where} is {shown(given)}; give a Mix, a recipe such as "
            "{'KNO3': 65, 'sucrose': 35}, or its text 'KNO3:65 sucrose:35'"
        )
    try:
        return Mix.weigh(given)
    except CastsugarError as error:
        raise type(error)(f"{where}: {error}") from None


def as_mixes(given: MixLike | Iterable[MixLike]) -> list[Mix]:
    """Return one or more things that mean a mix as mixes.

    Raises
    ------
    InputError, UnknownNameError, RefusedError
        As :func:`as_mix`; of several, with the number of the faulty one.
    """
    if isinstance(given, Mix | Recipe | str | Mapping):
        return [as_mix(given)]
    if isinstance(given, bytes) or not isinstance(given, Iterable):
        return [as_mix(given)]  # which says what it should be
    return [as_mix(one, f"mix {count}") for count, one in enumerate(given, start=1)]
