"""Write certificates: points found in doubles, mended in exact numbers.

What the bounds of :mod:`castsugar.thermo.proof.check` need: compositions that hold the
elements exactly, and potentials that no species exceeds. What the solver errs by enters
the bounds squared; the mending costs less than 1e-24 of them.
"""

from __future__ import annotations

import contextlib
import math
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np
from flint import arb, ctx, fmpq, fmpq_mat

from castsugar.arrays import FloatArray
from castsugar.constants import GAS_CONSTANT
from castsugar.errors import ConvergenceError
from castsugar.frozen import dataclass
from castsugar.thermo.gibbs import chamber, expansion, newton, starts
from castsugar.thermo.gibbs.model import Iterate, TableModel
from castsugar.thermo.gibbs.newton import Target
from castsugar.thermo.proof import check
from castsugar.thermo.species import SpeciesTable

#: Temperatures between which a flame is proved to be the only one. [K]
RANGE = (300.0, 5000.0)

#: How far an inner point stands from its outer one, at most. [K]
_INWARD = 1

#: Amounts below this are left out. [mol/kg]
_LEAST = 1e-28

#: Potentials keep this far from what they must not exceed, and how often they are
#: corrected at most; digits of them.
_MARGIN, _CORRECTIONS, _DIGITS = 1e-32, 8, 45

#: Decimals of an entropy [J/(kg K)] or enthalpy [J/kg] that is bounded.
_PLACES = 18

#: The rule by which species are allowed, said in every certificate.
RULE = (
    "all species of these elements at every temperature, as the solver takes them; a "
    "condensed form beyond its published range by its continued fit"
)


@dataclass(frozen=True, slots=True, eq=False)
class Claim:
    """What is said of a kilogram: that it has a temperature at a pressure."""

    elements: FloatArray  # all above zero, (elements,) [mol/kg]
    pressure: float  # [Pa]
    #: Enthalpy of a flame [J/kg], or two bounds of the entropy of its expansion. [J/(kg
    #: K)]
    given: float | tuple[str, str]
    temperature: Fraction  # [K]
    within: Fraction  # [K]
    near: Iterate | None = None  # where the solver finds the state, one row
    #: Whether the entropy of a flame or the enthalpy of an expansion is bounded, too.
    bounded: bool = True

    @property
    def flame(self) -> bool:
        """Whether it is a flame, not what becomes of it."""
        return isinstance(self.given, float)

    @property
    def middle(self) -> Fraction:
        """Temperature of the solver if the claim holds it, else the claimed one. [K]"""
        if self.near is not None:
            solved = Fraction(repr(float(self.near.temperature[0])))
            if abs(solved - self.temperature) < self.within:
                return solved
        return self.temperature


class Prover:
    """Writes certificates over one table of species.

    Parameters
    ----------
    table : SpeciesTable
        Species of elements that are all present.
    """

    def __init__(self, table: SpeciesTable) -> None:
        self.table = table
        self.stated = stated_species(table)
        self.species = check.Species(self.stated, *RANGE)
        middles = [0.5 * (low + high) for low, high in pairwise(self.species.ends)]
        self.models = [TableModel(one_stretch(table, t)) for t in middles]

    def certificate(self, claim: Claim) -> dict[str, Any]:
        """Return a certificate that may hold; :func:`check.check` says if it does.

        Raises
        ------
        ConvergenceError
            If the solver finds no state where one is needed.
        """
        points, stated = _Points(self, claim), self._statement(claim)
        t, d = claim.temperature, claim.within
        told: dict[str, Any] = {
            "problem": stated,
            "claim": {"temperature_K": decimal(t), "within_K": decimal(d)},
            "pairs": [
                points.pair(*side) for side in check.sides(self.species.ends, t, d)
            ],
        }
        if claim.bounded and (least := points.least()):
            key = "entropy_J_kg_K" if claim.flame else "enthalpy_J_kg"
            with contextlib.suppress(check.RefusedError):  # the claim is wrong, too
                found = check.Problem(stated, self.species).least(least, t, d)
                told["claim"][key], told["least"] = _around(found), least
        return told

    def _statement(self, claim: Claim) -> dict[str, Any]:
        """Return the problem, which a reader of the certificate has to believe."""
        given = "enthalpy_J_kg" if claim.flame else "entropy_J_kg_K"
        return {
            "elements": list(self.table.elements),
            "elements_mol_kg": claim.elements.tolist(),
            given: claim.given,
            "pressure_Pa": claim.pressure,
            "reference_pressure_Pa": self.table.reference_pressure,
            "gas_constant_J_mol_K": GAS_CONSTANT,
            "lowest_temperature_K": RANGE[0],
            "highest_temperature_K": RANGE[1],
            "data_set": self.table.data_set,
            "rule": RULE,
            "species": self.stated,
        }


class _Points:
    """The points of one certificate."""

    def __init__(self, prover: Prover, claim: Claim) -> None:
        ctx.prec = check.BITS
        self.prover, self.claim = prover, claim
        reference = prover.table.reference_pressure
        self.log_p = np.log([claim.pressure / reference])
        self.ball_log_p = (check.ball(claim.pressure) / check.ball(reference)).log()
        self.batch = starts.whole_batch(prover.models[0], claim.elements[None, :])

    def least(self) -> dict[str, Any] | None:
        """Return what bounds the least psi; None where a join is too near."""
        middle, d = self.claim.middle, self.claim.within
        ends = [self.claim.temperature - d, middle, self.claim.temperature + d]
        for stretch, (low, high) in enumerate(pairwise(self.prover.species.ends)):
            if low <= ends[0] and ends[2] <= high:
                states = [self._state(stretch, t, self.claim.near) for t in ends]
                return {
                    "at_K": decimal(middle),
                    "amounts_mol_kg": self._amounts(stretch, states[1]),
                    "potentials": [
                        self._potentials(stretch, t, state)
                        for t, state in zip(ends, states, strict=True)
                    ],
                }
        return None

    def pair(self, stretch: int, hotter: bool, outer: Fraction) -> dict[str, Any]:
        """Return composition and potentials for one side of a stretch."""
        t = self.claim.middle
        inner = max(t, outer - _INWARD) if hotter else min(t, outer + _INWARD)
        near = self.claim.near if inner == t else None
        inside = self._state(stretch, inner, near)
        outside = self._state(stretch, outer, inside)
        return {
            "outer_K": decimal(outer),
            "amounts_mol_kg": self._amounts(stretch, outside),
            "inner_K": decimal(inner),
            "potentials": self._potentials(stretch, inner, inside),
        }

    def _state(self, stretch: int, t: Fraction, start: Iterate | None) -> Iterate:
        """Solve at a temperature by the fits of a stretch, from a state if given."""
        model, target = self.prover.models[stretch], Target("temperature", np.zeros(1))
        if start is not None:
            found = start.take(np.array([0]))
            found.temperature[:] = float(t)
            _one_form(model, found)
            if newton.run(model, self.batch, found, target).solved[0]:
                return found
        tried = chamber.at_temperature(
            model, self.batch, np.array([float(t)]), self.log_p
        )
        if not tried.solved[0]:
            raise ConvergenceError(f"no equilibrium found at {float(t):g} K")
        return tried.iterate

    def _amounts(self, stretch: int, state: Iterate) -> dict[str, str]:
        """Write amounts, some mended so that they hold the elements exactly."""
        species, model = self.prover.species, self.prover.models[stretch]
        amounts = expansion.amounts(model, self.batch, state)[0]
        atoms = np.array(species.atoms)
        mended = _independent(atoms, amounts)
        kept = [j for j in np.flatnonzero(amounts > _LEAST) if j not in mended]
        told = {int(j): Fraction(repr(float(amounts[j]))) for j in kept}
        lack = [
            Fraction(b) - sum(n * species.atoms[j][e] for j, n in told.items())
            for e, b in enumerate(self.claim.elements.tolist())
        ]
        right = fmpq_mat([[fmpq(x.numerator, x.denominator)] for x in lack])
        solved = fmpq_mat(atoms[mended].T.tolist()).solve(right).entries()
        told |= {j: Fraction(str(x)) for j, x in zip(mended, solved, strict=True)}
        names = self.prover.table.names
        return {names[j]: decimal(n) for j, n in sorted(told.items())}

    def _potentials(self, stretch: int, t: Fraction, state: Iterate) -> list[str]:
        """Write potentials, corrected until no species exceeds them."""
        species, model = self.prover.species, self.prover.models[stretch]
        g = species.gibbs(stretch, check.ball(t), self.ball_log_p)
        count = species.gases
        y = expansion.amounts(model, self.batch, state)[0, :count]
        mean = y @ model.gas_atoms / y.sum()
        active = state.active[0].copy()
        pi = [arb(x) for x in state.potentials[0].tolist()]
        for _ in range(_CORRECTIONS):
            gas, phases = species.distances(g, pi)
            far = np.array([float(one.mid()) for one in phases])
            active |= far < 0.0
            rows, lack = [mean], [-float(gas.mid()) - _MARGIN]
            for group in _same(model.phase_atoms, active):
                tight = group[int(np.argmin(far[group]))]
                rows.append(model.phase_atoms[tight])
                lack.append(far[tight] - _MARGIN)
            if max(np.abs(lack)) < 0.5 * _MARGIN:
                break
            change = np.linalg.lstsq(np.array(rows), np.array(lack), rcond=None)[0]
            pi = [(x + arb(float(d))).mid() for x, d in zip(pi, change, strict=True)]
        return [x.str(_DIGITS, radius=False) for x in pi]


# ----------------------------------------------------------------------------
# What a table states; its fits on one stretch.


def stated_species(table: SpeciesTable) -> list[dict[str, Any]]:
    """Return species with atoms, joins [K] and fits, as a certificate states them."""
    gas, phase = table.gas, table.phase
    told = [
        {
            "name": name,
            "gas": True,
            "atoms": gas.atoms[j].astype(int).tolist(),
            "joins": [gas.join],
            "fits": gas.fit[:, :, j].tolist(),
        }
        for j, name in enumerate(gas.names)
    ]
    for k, name in enumerate(phase.names):
        joins = phase.joins[np.isfinite(phase.joins[:, k]), k].tolist()
        told.append(
            {
                "name": name,
                "gas": False,
                "atoms": phase.atoms[k].astype(int).tolist(),
                "joins": joins,
                "fits": phase.fit[: len(joins) + 1, :, k].tolist(),
            }
        )
    return told


def one_stretch(table: SpeciesTable, temperature: float) -> SpeciesTable:
    """Return a table with the fits of one temperature [K] at every temperature."""
    gas, phase = table.gas, table.phase
    fit = gas.fit[int(temperature >= gas.join)]
    region = (phase.joins <= temperature).sum(axis=0)
    own = phase.fit[region, :, np.arange(len(region))].T
    return replace(
        table,
        gas=replace(gas, fit=np.stack([fit, fit])),
        phase=replace(phase, fit=own[None], joins=np.zeros((0, len(region)))),
    )


def _around(found: arb) -> list[str]:
    """Write two decimals that hold a ball between them."""
    scale = 10**_PLACES
    middle = Fraction(found.mid().str(_DIGITS, radius=False)) * scale
    aside = 2 * Fraction(found.rad().str(3, radius=False)) * scale
    ends = math.floor(middle - aside) - 1, math.ceil(middle + aside) + 1
    return [f"{end}e-{_PLACES}" for end in ends]


def decimal(value: Fraction) -> str:
    """Write a fraction exactly: as a decimal if it has few digits, else as p/q."""
    found = repr(float(value))
    return found if Fraction(found) == value else str(value)


# ----------------------------------------------------------------------------
# Forms, and species whose atoms are independent.


def _one_form(model: TableModel, state: Iterate) -> None:
    """Leave one form of each substance that is present: the one of the temperature."""
    for cold, hot, limit in model.transitions:
        keep, drop = (cold, hot) if state.temperature[0] < limit else (hot, cold)
        if state.active[0, drop]:
            state.amounts[0, keep] += state.amounts[0, drop]
            state.amounts[0, drop] = 0.0
            state.active[0, [keep, drop]] = True, False


def _same(atoms: FloatArray, active: FloatArray) -> list[list[int]]:
    """Group the active phases by their atoms: forms of one substance together."""
    groups: dict[bytes, list[int]] = {}
    for k in np.flatnonzero(active):
        groups.setdefault(atoms[k].tobytes(), []).append(int(k))
    return list(groups.values())


def _independent(atoms: FloatArray, amounts: FloatArray) -> list[int]:
    """Return abundant species whose atoms make up any elements, one an element."""
    left = atoms.astype(float)
    chosen: list[int] = []
    for _ in range(atoms.shape[1]):
        size = np.sqrt((left**2).sum(axis=1))
        best = int(np.argmax(np.where(size > 1e-9, size * amounts, -1.0)))
        chosen.append(best)
        along = left[best] / size[best]
        left = left - np.outer(left @ along, along)
    return chosen
