"""Records of the open database: what one row of each data file means."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import field
from typing import Final

from castsugar.checks import number, shown
from castsugar.constants import ATOMIC_MASSES
from castsugar.errors import InputError, RefusedError
from castsugar.frozen import dataclass

#: What an ingredient does in a mix. A dummy stands in for the oxidizer in the kitchen.
ROLES = ("oxidizer", "fuel", "water", "catalyst", "inert", "dummy")

#: Roles of what needs no formula: it is never burnt.
UNBURNT = ("inert", "dummy")

#: What kind of fuel a fuel is; all but the last are those of a nitrate-sugar mix.
FUEL_KINDS = ("sugar", "polyol", "syrup solids", "other")

#: A density that was left out: this very NaN, no other is a density.
UNKNOWN: Final = float("nan")

#: Of what was published: whether those who compiled the data have read it there.
READ, NOT_READ = "published, read", "published, not read"

#: How a value came to be known.
STATUSES = ("measured", "fitted", "estimated", "assumed", "from memory")

_TOKEN = re.compile(r"([A-Z][a-z]?)(\d*\.?\d*)")

Composition = tuple[tuple[str, float], ...]


def plain(name: str) -> str:
    """Reduce a name to what is compared: lower case, no spaces, no hyphens."""
    kept = name.lower().replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    return "".join(c for c in kept if c not in " -_\t")


def parse_formula(formula: str) -> Composition:
    """Element counts of a chemical formula without brackets, such as ``C12H22O11``.

    Parameters
    ----------
    formula : str
        Element symbols, each followed by its count (1 if left out).

    Returns
    -------
    tuple of (str, float)
        Element and count, in the order of first appearance.

    Raises
    ------
    InputError
        If the text is not such a formula.

    Examples
    --------
    >>> parse_formula("KNO3")
    (('K', 1.0), ('N', 1.0), ('O', 3.0))
    """
    counts: dict[str, float] = {}
    position = 0
    for match in _TOKEN.finditer(formula):
        if match.start() != position:
            break
        element, count = match.groups()
        number = float(count) if count else 1.0
        if number <= 0.0:
            raise InputError(
                f"formula {formula!r} has {count} atoms of {element}; counts must be "
                "above 0"
            )
        counts[element] = counts.get(element, 0.0) + number
        position = match.end()
    if position != len(formula) or not counts:
        raise InputError(
            f"formula {formula!r} is not readable; write element symbols and counts "
            "without brackets, for example C6H14O6 or NH4NO3 as H4N2O3"
        )
    return tuple(counts.items())


@dataclass(frozen=True, slots=True)
class Source:
    """One row of ``sources.csv``."""

    key: str
    kind: str
    citation: str
    doi_or_url: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """A rival enthalpy of formation of an ingredient, chosen by its name."""

    name: str
    enthalpy_of_formation: float
    enthalpy_uncertainty: float
    status: str
    source: str
    note: str = ""


#: Size of enthalpies of formation, per mole of atoms [J/mol]: sugars and salts have 45
#: to 100 thousand, the least of the usual fuels (toluene, ethylbenzene) 700 and 800,
#: single atoms up to 717 thousand (carbon). A slip by kJ leaves a sugar 50.
_LEAST, _MOST = 200.0, 1.0e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Ingredient:
    """A pure substance that can be weighed into a mix.

    Parameters
    ----------
    name : str
        Name under which it is weighed and reported.
    formula : str or mapping
        ``"C6H14O6"`` or ``{"C": 6, "H": 14, "O": 6}``; atoms in one formula
        unit [-]; empty for inert matter.
    enthalpy_of_formation : float
        At 298.15 K and 1 bar, in the state as weighed. [J/mol], sucrose about -2.2e6
    density : float, optional
        True density; leave it out if unknown: it is NaN then, and so is that of a mix
        with it. [kg/m3]
    role : str
        One of :data:`ROLES`.
    fuel_kind : str, optional
        Of a fuel of the catalogue, one of :data:`FUEL_KINDS`.
    enthalpy_uncertainty : float, optional
        Standard uncertainty of the enthalpy, covering rival values, 0 or more. [J/mol]
        Left out (NaN) every ``..._u_...`` column of a mix with it is NaN.
    status, source, note : str, optional
        How the enthalpy is known, the key of its source, a remark.
    catalogued : bool, optional
        True for rows of the shipped database. An ingredient that is not catalogued
        serves checks only, by evaluate, performance and equilibrium; its rows carry the
        flag "reference only".
    density_status, density_source : str, optional
        The same of the density.
    aliases : tuple of str
        Other names, as in the catalogue.
    alternatives : tuple of Alternative
        Rival enthalpies of formation.

    Raises
    ------
    InputError
        No name, an unknown role, a formula that cannot be read, a value that is not
        finite, a density of 0 or less, an uncertainty below 0; an enthalpy that no
        compound has, which is in another unit.

    Examples
    --------
    >>> own = Ingredient(
    ...     name="house polyol, invented",
    ...     formula="C5H12O5",
    ...     enthalpy_of_formation=-1.1e6,
    ...     density=1500.0,
    ... )
    >>> round(own.molar_mass, 5), own.formula_text
    (0.15215, 'C5H12O5')
    """

    name: str
    formula: str | Mapping[str, float] | Composition
    enthalpy_of_formation: float
    density: float = UNKNOWN
    role: str = "fuel"
    fuel_kind: str = ""
    enthalpy_uncertainty: float = math.nan
    status: str = "assumed"
    source: str = "user"
    density_status: str = "assumed"
    density_source: str = "user"
    aliases: tuple[str, ...] = ()
    alternatives: tuple[Alternative, ...] = field(default=(), compare=False)
    note: str = field(default="", compare=False)
    catalogued: bool = False

    def __post_init__(self) -> None:
        """Turn the formula into element counts and check role and enthalpy."""
        if not (isinstance(self.name, str) and self.name.strip()):
            raise InputError(
                f"an ingredient has no name but {shown(self.name)}; give it one"
            )
        if self.role not in ROLES:
            raise InputError(
                f"role {self.role!r} of {self.name!r} is not known; "
                f"allowed: {', '.join(ROLES)}"
            )
        enthalpy = f"enthalpy_of_formation of {self.name!r}"
        if not math.isfinite(number(self.enthalpy_of_formation, enthalpy, "J/mol")):
            raise InputError(
                f"{enthalpy} is {self.enthalpy_of_formation}; give a finite value in "
                "J/mol"
            )
        what = f"uncertainty of the {enthalpy}"
        if number(self.enthalpy_uncertainty, what, "J/mol") < 0.0:
            raise InputError(
                f"{what} is {self.enthalpy_uncertainty:g} J/mol; give 0 or more"
            )
        self._check_density()
        counts = _composition(self.formula, self.name)
        if not counts and self.role not in UNBURNT:
            raise InputError(
                f"the formula of {self.name!r} is empty; write for example C6H14O6; "
                "only inert matter has none"
            )
        object.__setattr__(self, "formula", counts)
        self._check_size(enthalpy)

    def _check_size(self, what: str) -> None:
        """Refuse an enthalpy that is in another unit, by what a mole of atoms has."""
        atoms = self.composition
        each = abs(self.enthalpy_of_formation) / (math.fsum(atoms.values()) or 1.0)
        # Elements have 0, and a gas of nitrogen and oxygen may have as little as air.
        compound = len(atoms) > 1 and not set(atoms) <= {"N", "O"}
        if (compound and 0.0 < each < _LEAST) or each > _MOST:
            slip = "kJ/mol" if each < _LEAST else "J/kmol"
            raise InputError(
                f"{what} is {self.enthalpy_of_formation:g} J/mol, {each:.3g} J a mole "
                f"of atoms; possible are {_LEAST:g} to {_MOST:g}. Is it in {slip}? "
                "Give it in J/mol, as -2.2e6 of sucrose"
            )

    def _check_density(self) -> None:
        """Refuse a density that is none; one that was left out is not known."""
        what = f"density of {self.name!r}"
        known = self.density is not UNKNOWN
        if known and not 0.0 < number(self.density, what, "kg/m3") < math.inf:
            raise InputError(
                f"{what} is {self.density} kg/m3; it must be above 0 and finite, or "
                "left out if unknown"
            )

    @property
    def composition(self) -> dict[str, float]:
        """Element counts of one formula unit."""
        return dict(self.formula)  # type: ignore[arg-type]

    @property
    def molar_mass(self) -> float:
        """Mass of one mole of formula units; NaN for inert matter. [kg/mol]

        Raises
        ------
        RefusedError
            For an element outside the family.
        """
        counts = self.composition
        if not counts:
            return math.nan
        foreign = [e for e in counts if e not in ATOMIC_MASSES]
        if foreign:
            raise RefusedError(
                f"{self.name!r} contains {', '.join(foreign)}; allowed elements are "
                f"{' '.join(ATOMIC_MASSES)}"
            )
        return sum(ATOMIC_MASSES[e] * n for e, n in counts.items())

    @property
    def specific_enthalpy(self) -> float:
        """Enthalpy of formation per mass; 0 for inert matter. [J/kg]"""
        mass = self.molar_mass
        return 0.0 if math.isnan(mass) else self.enthalpy_of_formation / mass

    @property
    def formula_text(self) -> str:
        """The formula as text, ``C12H22O11``."""
        return "".join(
            e + (f"{n:g}" if n != 1 else "") for e, n in self.composition.items()
        )


def _composition(
    formula: str | Mapping[str, float] | Composition, name: str
) -> Composition:
    """Normalise the three accepted forms of a formula to a tuple of pairs."""
    if isinstance(formula, str):
        return parse_formula(formula) if formula else ()
    try:
        pairs = dict(formula).items()
    except (TypeError, ValueError):
        raise InputError(
            f"formula of {name!r} is {shown(formula)}; write it as 'C6H14O6' or as "
            "{'C': 6, 'H': 14, 'O': 6}"
        ) from None
    for element, count in pairs:
        atoms = number(count, f"number of atoms of {element} of {name!r}")
        if not (math.isfinite(atoms) and atoms > 0):
            raise InputError(
                f"formula of {name!r} has {count} atoms of {element}; "
                "counts must be finite and above 0"
            )
    return tuple((str(e), float(n)) for e, n in pairs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Syrup:
    """A grade of glucose (corn) syrup: one row of ``syrups.csv``.

    Saccharide fractions and ash are mass fractions of the dry solids.
    """

    name: str
    aliases: tuple[str, ...]
    dextrose_equivalent: float
    dry_solids_fraction: float
    dry_solids_uncertainty: float
    fructose_fraction: float
    dp1_fraction: float
    dp2_fraction: float
    dp3_fraction: float
    dp4plus_fraction: float
    dp4plus_chain_length: float
    ash_fraction: float
    solids_specific_volume: float
    viscosity_dextrose_equivalent: float
    acid_series: bool
    status: str
    source: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Premix:
    """A product of the shop that is a fixed blend of ingredients."""

    name: str
    aliases: tuple[str, ...]
    components: tuple[tuple[str, float], ...]
    status: str
    source: str
    note: str = ""


#: Quantity of a caution -> its value, or every value that is known of it.
Facts = Mapping[str, float | Sequence[float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One rule of ``cautions.csv``: a text and when it applies."""

    key: str
    topics: tuple[str, ...]
    quantity: str
    operator: str
    limit: float
    unit: str
    level: str
    #: The text in one line of a screen; ``{value}`` stands for the number that raises
    #: it, ``{limit}`` for that of the rule, each with its unit.
    short: str
    text: str
    source: str
    status: str

    def applies(self, topics: Sequence[str], facts: Facts) -> bool:
        """Whether the caution applies to one of some topics under the given facts.

        `facts` maps a quantity to its value in the unit of the rule; a rule about a
        quantity that is not among them does not apply.
        """
        if not {*topics, "all"} & set(self.topics):
            return False
        return not self.quantity or self.raised_by(facts) is not None

    def raised_by(self, facts: Facts) -> float | None:
        """Return the value that raises the rule, the worst of several; None if none."""
        if not self.quantity:
            return None
        known = facts.get(self.quantity, ())
        values = known if isinstance(known, Sequence) else (known,)
        raising = [value for value in values if self._beyond(value)]
        if not raising:
            return None
        return min(raising) if self.operator == "<" else max(raising)

    def _beyond(self, value: float) -> bool:
        if self.operator == "=":
            return value == self.limit
        if self.operator.startswith(">"):
            return value > self.limit or (self.operator == ">=" and value == self.limit)
        return value < self.limit
