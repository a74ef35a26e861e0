"""Flames and their expansion proved by bounds that trust no solver."""

from __future__ import annotations

import functools
import math
from dataclasses import field
from fractions import Fraction
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar import plain
from castsugar.checks import instance, named_options, number
from castsugar.constants import DEFAULT_FLOW, DEFAULT_PRESSURE
from castsugar.errors import ConvergenceError, InputError
from castsugar.evaluation import check_options
from castsugar.frozen import dataclass
from castsugar.mix.basis import Cited, basis
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix, MixLike, as_mix
from castsugar.rows import shipped_species
from castsugar.thermo.flow import without_solidification
from castsugar.thermo.gibbs import solution
from castsugar.thermo.solver import Charge, charge_of, model_of
from castsugar.thermo.species import SpeciesTable

if TYPE_CHECKING:
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.thermo.gibbs.model import Iterate
    from castsugar.thermo.gibbs.solution import Flow
    from castsugar.thermo.proof.points import Claim, Prover

#: What a proof is of, said wherever one is shown.
LIMIT = "it proves arithmetic, not data"

#: How close a proof may be asked to be. Below, doubles do not tell a temperature;
#: above, it is no claim. [K]
WITHIN = (1e-9, 10.0)

#: Temperatures that may be claimed. [K]
RANGE = (320.0, 4980.0)

PROVED = "proved"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expansion:
    """What was proved of the state to which a flame expands."""

    #: What is claimed, and where.
    temperature: float  # [K]
    pressure: float  # [Pa]
    flow: str  # which condensed forms may be there; see evaluate
    status: str  # as in Proof
    #: Between these is the ideal exit velocity; NaN where it is open. [m/s]
    velocity: tuple[float, float]
    #: As in Proof; the entropy in it is that of the flame's certificate.
    certificate: dict[str, Any] = field(repr=False)

    @property
    def proved(self) -> bool:
        """Whether it is proved."""
        return self.status == PROVED


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proof(Cited):
    """What was proved of the flame temperature of one mix.

    Attributes
    ----------
    temperature, pressure : float
        What is claimed, and where. [K], [Pa]
    within : float
        The flame temperature lies less than this from `temperature`. [K]
    status : str
        ``"proved"``, or ``"open: "`` and why: then nothing is claimed.
    certificate : dict
        The statement of the problem and the points of the proof, for
        ``thermo/proof/check.py``, which needs no castsugar; empty where none was made.
    expansion : Expansion or None
        Where an exit pressure was given and the flame is proved.
    basis : dict
        What it rests on, as :func:`castsugar.mix.basis.basis`.

    Examples
    --------
    >>> found = prove("KNO3:65 sucrose:35", within=1e-3)
    >>> found.proved, round(found.temperature)
    (True, 1717)
    """

    temperature: float
    pressure: float
    within: float
    status: str
    certificate: dict[str, Any] = field(repr=False)
    expansion: Expansion | None = None
    basis: dict[str, Any] = field(default_factory=dict, repr=False)

    @property
    def proved(self) -> bool:
        """Whether it is proved."""
        return self.status == PROVED

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys; the certificate is not among them."""
        told = {
            "flame_temperature_K": self.temperature,
            "within_K": self.within,
            "pressure_Pa": self.pressure,
            "proof": self.status,
            "proves": LIMIT,
        }
        if self.expansion is not None:
            told |= {
                "exit_temperature_K": self.expansion.temperature,
                "exit_pressure_Pa": self.expansion.pressure,
                "exit_velocity_m_s": list(self.expansion.velocity),
                "exit_proof": self.expansion.status,
            }
        return told

    def to_json(self) -> str:
        """Return :meth:`to_dict` as JSON."""
        return plain.to_json(self.to_dict())

    def _repr_html_(self) -> str:
        rows = [(key, str(value)) for key, value in self.to_dict().items()]
        return plain.html_table(("", ""), rows, "flame temperature")


@named_options
def prove(  # noqa: PLR0913 - keyword-only options
    mix: MixLike,
    *,
    pressure: float = DEFAULT_PRESSURE,
    exit_pressure: float | None = None,
    flow: str = DEFAULT_FLOW,
    within: float = 1e-6,
    temperature: float | None = None,
    kitchen: Kitchen | None = None,
    species: SpeciesTable | None = None,
) -> Proof:
    """Prove the flame temperature of a mix by bounds that trust no solver.

    The entropy that a composition has bounds from one side, potentials that no species
    exceeds from the other, in intervals that hold every rounding: the derivation is in
    :mod:`castsugar.thermo.proof.check`. It proves arithmetic, not data: that of the
    given species, ideal gas and condensed phases without volume, this is the flame
    temperature, and the only one from 300 to 5000 K.

    Parameters
    ----------
    mix : Mix, recipe or recipe text
    pressure : float
        Absolute. [Pa]
    exit_pressure : float or None
        With one the exit temperature and bounds of the exit velocity are proved, too.
        [Pa]
    flow : str
        Of the expansion: ``"no-solidification"`` or ``"equilibrium"``.
    within : float
        How close, from 1e-9 to 10. [K]
    temperature : float, optional
        What is to be proved; by default what the solver finds. [K]
    kitchen : Kitchen, optional
        How it is cooked, which decides its water, as in :func:`castsugar.evaluate`.
    species : SpeciesTable, optional
        The shipped products by default.

    Returns
    -------
    Proof
        Proved or open; a wrong temperature stays open.

    Raises
    ------
    InputError
        Without python-flint, and for values outside the accepted ranges.
    RefusedError
        For an inert dummy: it does not burn.

    Examples
    --------
    >>> prove("KNO3:65 sucrose:35").status
    'proved'
    """
    known = _as_burnt(as_mix(mix), kitchen)
    check_options(pressure, exit_pressure, flow)
    instance(species, SpeciesTable, "species")
    within = _checked(within, "within", *WITHIN)
    if temperature is not None:
        temperature = _checked(temperature, "temperature", *RANGE)
    need_flint()
    table, charge = charge_of(known, species or shipped_species())
    found = solution.solve(
        model_of(table),
        charge.elements[None, :],
        np.array([charge.enthalpy]),
        np.array([pressure], dtype=float),
        exit_pressure,
        flow,
    )
    work = _Work(known.name, table, charge, Fraction(repr(within)), found)
    expands = exit_pressure is not None
    claimed, status, certificate = work.flame(float(pressure), temperature, expands)
    expansion = None
    if exit_pressure is not None and status == PROVED:
        expansion = work.expansion(certificate, float(exit_pressure), flow)
    return Proof(
        temperature=claimed,
        pressure=float(pressure),
        within=within,
        status=status,
        certificate=certificate,
        expansion=expansion,
        basis=basis([known], pressure=pressure, species=species),
    )


def _as_burnt(mix: Mix, kitchen: Kitchen | None) -> Mix:
    """Return a mix with the water that its cook leaves."""
    if kitchen is None:
        return mix
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.kitchen.pour_table import cook

    instance(kitchen, Kitchen, "kitchen")
    return cook(of_mixes([mix]), kitchen, window=False, boils=False).blends.mix(0)


def need_flint() -> None:
    """Refuse to prove without python-flint.

    Raises
    ------
    InputError
    """
    if find_spec("flint") is None:
        raise InputError(
            "a proof needs python-flint, which is not installed; pip install "
            "'castsugar[proof]'"
        )


def _checked(value: float, what: str, low: float, high: float) -> float:
    """Return a temperature or a difference of temperatures that is in a range."""
    value = number(value, what, "K")
    if not low <= value <= high:
        raise InputError(f"{what} is {value:g} K; a proof takes {low:g} to {high:g} K")
    return value


@dataclass(frozen=True, slots=True, eq=False)
class _Work:
    """One mix, and what the solver finds of it."""

    name: str
    table: SpeciesTable
    charge: Charge
    within: Fraction
    found: Flow

    def flame(
        self, pressure: float, claimed: float | None, bounded: bool
    ) -> tuple[float, str, dict[str, Any]]:
        """Return what is claimed, the status, and the certificate if one was made."""
        from castsugar.thermo.proof.points import Claim

        solved = self.found.solved
        if claimed is None:
            if solved is None:
                cold = bool(self.found.cold[0])
                why = "it does not burn by this model" if cold else "no chamber found"
                return math.nan, f"open: {why}", {}
            claimed = float(self.found.chamber.temperature[0])
        claim = Claim(
            elements=self.charge.elements,
            pressure=pressure,
            given=self.charge.enthalpy,
            temperature=Fraction(repr(claimed)),
            within=self.within,
            near=None if solved is None else solved.chamber,
            bounded=bounded,
        )
        return claimed, *self._proved(self.table, claim)

    def expansion(self, flame: dict[str, Any], pressure: float, flow: str) -> Expansion:
        """Return what is proved of the expansion of a proved flame."""
        from castsugar.thermo.proof.points import Claim

        solved, claimed = self.found.solved, float(self.found.leaving.temperature[0])
        entropy = flame["claim"].get("entropy_J_kg_K")
        certificate: dict[str, Any] = {}
        velocity = math.nan, math.nan
        if solved is None or self.found.lost[0] or not RANGE[0] <= claimed <= RANGE[1]:
            status = f"open: the exit is not between {RANGE[0]:g} and {RANGE[1]:g} K"
        elif flow == "frozen" or entropy is None:
            status = "open: a frozen flow, or a flame at a join of fits, is not covered"
        else:
            own, near = self.table, solved.leaving
            if flow == "no-solidification":
                own, near = _without_solids(own, solved.chamber, near)
            claim = Claim(
                elements=self.charge.elements,
                pressure=pressure,
                given=(entropy[0], entropy[1]),
                temperature=Fraction(repr(claimed)),
                within=self.within,
                near=near,
            )
            status, certificate = self._proved(own, claim)
            if status == PROVED and "enthalpy_J_kg" in certificate["claim"]:
                velocity = _velocity(self.charge.enthalpy, certificate)
        return Expansion(
            temperature=claimed,
            pressure=pressure,
            flow=flow,
            status=status,
            velocity=velocity,
            certificate=certificate,
        )

    def _proved(self, table: SpeciesTable, claim: Claim) -> tuple[str, dict[str, Any]]:
        """Return the status of a claim, and its certificate if one was made."""
        from castsugar.thermo.proof.check import RefusedError, check

        certificate: dict[str, Any] = {}
        try:
            prover = _prover(table)
            certificate = {"name": self.name, **prover.certificate(claim)}
            check(certificate, prover.species)
        except (ConvergenceError, RefusedError) as error:
            return f"open: {error}", certificate
        return PROVED, certificate


@functools.lru_cache(maxsize=16)
def _prover(table: SpeciesTable) -> Prover:
    """Return the prover of a table, made once: it proves that every cp > 0."""
    from castsugar.thermo.proof.points import Prover

    return Prover(table)


def _without_solids(
    table: SpeciesTable, chamber: Iterate, leaving: Iterate
) -> tuple[SpeciesTable, Iterate]:
    """Return the species of a flow without solidification, and its exit in them."""
    own, expand = without_solidification(table, chamber.amounts[0])
    keep = [int(np.flatnonzero(row)[0]) for row in expand]
    near = leaving.take(np.array([0]))
    near.amounts, near.active = near.amounts[:, keep], near.active[:, keep]
    return own, near


def _velocity(enthalpy: float, certificate: dict[str, Any]) -> tuple[float, float]:
    """Return bounds of the exit velocity: of doubles those next outside. [m/s]"""
    low, high = (Fraction(x) for x in certificate["claim"]["enthalpy_J_kg"])
    ends = [math.sqrt(2 * (Fraction(enthalpy) - h)) for h in (high, low)]
    for _ in range(2):  # of the quotient, and of the root
        ends = [math.nextafter(ends[0], 0.0), math.nextafter(ends[1], math.inf)]
    return ends[0], ends[1]
