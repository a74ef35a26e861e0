"""Flame temperatures proved by bounds that trust no solver."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, field
from fractions import Fraction
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar import plain
from castsugar.checks import instance, named_options, number
from castsugar.constants import DEFAULT_FLOW, DEFAULT_PRESSURE
from castsugar.errors import ConvergenceError, InputError
from castsugar.evaluation import check_options
from castsugar.mix.basis import Cited, basis
from castsugar.mix.mix import MixLike, as_mix
from castsugar.rows import shipped_species
from castsugar.thermo.gibbs import solution
from castsugar.thermo.solver import Charge, charge_of, model_of
from castsugar.thermo.species import SpeciesTable

if TYPE_CHECKING:
    from castsugar.thermo.gibbs.solution import Flow
    from castsugar.thermo.proof.points import Prover

#: What a proof is of, said wherever one is shown.
LIMIT = "it proves arithmetic, not data"

#: How close a proof may be asked to be. Below, doubles do not tell a temperature;
#: above, it is no claim. [K]
WITHIN = (1e-9, 10.0)

#: Temperatures that may be claimed. [K]
RANGE = (320.0, 4980.0)

PROVED = "proved"


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
    basis : dict
        What it rests on, as :func:`castsugar.mix.basis.basis`.
    """

    temperature: float
    pressure: float
    within: float
    status: str
    certificate: dict[str, Any] = field(repr=False)
    basis: dict[str, Any] = field(default_factory=dict, repr=False)

    @property
    def proved(self) -> bool:
        """Whether it is proved."""
        return self.status == PROVED

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys; the certificate is not among them."""
        return {
            "flame_temperature_K": self.temperature,
            "within_K": self.within,
            "pressure_Pa": self.pressure,
            "proof": self.status,
            "proves": LIMIT,
        }

    def to_json(self) -> str:
        """Return :meth:`to_dict` as JSON."""
        return plain.to_json(self.to_dict())

    def _repr_html_(self) -> str:
        rows = [(key, str(value)) for key, value in self.to_dict().items()]
        return plain.html_table(("", ""), rows, "flame temperature")


@named_options
def prove(
    mix: MixLike,
    *,
    pressure: float = DEFAULT_PRESSURE,
    within: float = 1e-6,
    temperature: float | None = None,
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
    within : float
        How close, from 1e-9 to 10. [K]
    temperature : float, optional
        What is to be proved; by default what the solver finds. [K]
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
    known = as_mix(mix)
    check_options(pressure, None, DEFAULT_FLOW)
    instance(species, SpeciesTable, "species")
    claim = _checked(within, "within", *WITHIN)
    at = None if temperature is None else _checked(temperature, "temperature", *RANGE)
    need_flint()
    table, charge = charge_of(known, species or shipped_species())
    claimed, status, certificate = _proved(table, charge, float(pressure), claim, at)
    return Proof(
        temperature=claimed,
        pressure=float(pressure),
        within=claim,
        status=status,
        certificate={"name": known.name, **certificate} if certificate else {},
        basis=basis([known], pressure=pressure, species=species),
    )


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


def _proved(
    table: SpeciesTable,
    charge: Charge,
    pressure: float,
    within: float,
    claimed: float | None,
) -> tuple[float, str, dict[str, Any]]:
    """Return what is claimed, the status, and the certificate if one was made."""
    from castsugar.thermo.proof.check import RefusedError, check
    from castsugar.thermo.proof.points import Flame

    found = _solved(table, charge, pressure)
    if claimed is None:
        if found.solved is None:
            cold = bool(found.cold[0])
            why = "it does not burn by this model" if cold else "no chamber was found"
            return math.nan, f"open: {why}", {}
        claimed = float(found.chamber.temperature[0])
    certificate: dict[str, Any] = {}
    try:
        prover = _prover(table)
        flame = Flame(
            elements=charge.elements,
            enthalpy=charge.enthalpy,
            pressure=pressure,
            temperature=Fraction(repr(claimed)),
            within=Fraction(repr(within)),
            near=None if found.solved is None else found.solved.chamber,
        )
        certificate = prover.certificate(flame)
        check(certificate, prover.species)
    except (ConvergenceError, RefusedError) as error:
        return claimed, f"open: {error}", certificate
    return claimed, PROVED, certificate


@functools.lru_cache(maxsize=16)
def _prover(table: SpeciesTable) -> Prover:
    """Return the prover of a table, made once: it proves that every cp > 0."""
    from castsugar.thermo.proof.points import Prover

    return Prover(table)


def _solved(table: SpeciesTable, charge: Charge, pressure: float) -> Flow:
    """Return the chamber of one mix as the solver finds it."""
    return solution.solve(
        model_of(table),
        charge.elements[None, :],
        np.array([charge.enthalpy]),
        np.array([pressure]),
        None,
        DEFAULT_FLOW,
    )
