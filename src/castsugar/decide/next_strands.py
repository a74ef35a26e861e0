"""Which mixes to burn strands of next, so that the burn-law model gains most.

The model is that of :mod:`castsugar.motor.burn_model`: ln r at a reference pressure as
a mixture model, linear until the data call for more, with what it leaves between mixes.
The mixes burned so far are the information to start from. The mixes are chosen by ln r;
the exponent has the same design rows and gains with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.strand_candidates import Candidates, feasible_mixes
from castsugar.decide.strand_design import CRITERIA, DesignProblem, best_design
from castsugar.decide.strand_model import Known, StrandDoubt, grain_u, known_of
from castsugar.decide.strand_notes import knowledge, notes_of
from castsugar.decide.strand_plan import StrandPlan, plan_strands
from castsugar.decide.strand_pool import SAME, Pool
from castsugar.decide.task import Task
from castsugar.errors import InputError
from castsugar.motor.burn_model import scheffe_design

#: Most mixes at once.
MOST = 24


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Doubt:
    """How well the burn law is known over the mixes that matter.

    Attributes
    ----------
    model_u : float
        Mean standard deviation of ln r, of the model's surface at the reference
        pressure.
    exponent_u : float
        The same of the exponent.
    grain_u : float
        Mean standard deviation of ln r of a new grain, as the motor columns take it:
        with what the model leaves between mixes, the scatter, and what is added outside
        the measured mixes. NaN where nothing is measured nor borrowed.
    worst : mapping
        Recipe, ingredient to fraction, at which `model_u` is largest.
    worst_u : float
        There.
    """

    model_u: float
    exponent_u: float
    grain_u: float
    worst: Mapping[str, float]
    worst_u: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NextMix:
    """A mix to burn.

    Attributes
    ----------
    recipe : mapping
        Ingredient to mass fraction as weighed.
    fractions : ndarray, shape (k,)
        In the columns of the space.
    replicate_of : str
        Name of a mix burned before, or "mix 2" of the list; empty for a new mix.
    doubt : Doubt
        After it and those before it.
    """

    recipe: Mapping[str, float]
    fractions: FloatArray
    replicate_of: str
    doubt: Doubt

    @property
    def percents(self) -> dict[str, float]:
        """Return the recipe in percent."""
        return {name: 100.0 * share for name, share in self.recipe.items()}

    def masses(self, batch: float) -> dict[str, float]:
        """Return what to weigh for a batch. [kg]

        Raises
        ------
        InputError
            For a batch of 0 or less.
        """
        if not 0.0 < batch < float("inf"):
            raise InputError(f"mass of a batch is {batch:g} kg; it must be above 0")
        return {name: share * batch for name, share in self.recipe.items()}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proposal:
    """The next mixes to burn, the most telling first; a replicate last.

    Attributes
    ----------
    mixes : tuple of NextMix
    before : Doubt
    knowledge : str
        What the burn-law model is now, in words.
    modelled : bool
        Whether it is a mixture model; False: corners of the mixes come first.
    criterion : str
        "I" or "D": what the mixes were chosen by.
    order : int
        Of the model that they were chosen for.
    reference_pressure : float
        Where ln r is modelled. [Pa]
    between : float
        What the model leaves of ln r between mixes.
    plan : StrandPlan
    candidates : Candidates
    notes : tuple of str
    """

    mixes: tuple[NextMix, ...]
    before: Doubt
    knowledge: str
    modelled: bool
    criterion: str
    order: int
    reference_pressure: float
    between: float
    plan: StrandPlan
    candidates: Candidates
    notes: tuple[str, ...]

    @property
    def after(self) -> Doubt:
        """Return the doubt after all mixes."""
        return self.mixes[-1].doubt


def propose(
    task: Task,
    feasible: Candidates | None,
    k: int,
    *,
    criterion: str = "I",
    replicate: bool = True,
    order: int | None = None,
) -> Proposal:
    """Propose the next mixes to burn strands of.

    Parameters
    ----------
    task : Task
        Space, requirements, motor with the mixes burned so far, seed.
    feasible : Candidates or None
        Of :func:`castsugar.decide.strand_candidates.feasible_mixes`; None finds them.
    k : int
        How many, 1 to 24.
    criterion : str
        "I": least mean variance of ln r over the feasible mixes; "D": least volume of
        the doubt of the coefficients. Where there is no mixture model yet (fewer than 3
        measured mixes, or all alike), "D" is taken: it starts with the corners.
    replicate : bool
        Whether one of them (of 2 or more) is a mix again that was burned or proposed.
        The others are new and differ, as far as the space holds enough mixes.
    order : int, optional
        1 or 2: mixture model to choose for; that of the burn law by default, linear
        where there is none. 2 also looks for curvature.

    Raises
    ------
    InputError
        A number, criterion or order that is not allowed; an empty space.

    Notes
    -----
    Validity: the promised doubts hold if the model does (no curvature that it leaves
    out), with what it leaves between mixes and the scatter of strands as so far. An
    ingredient of which a little acts strongly, such as a catalyst, counts by its mass
    like any other.
    """
    _check(k, criterion, order)
    candidates = feasible or feasible_mixes(task)
    motor = task.settings.motor
    law = None if motor is None else motor.burning.law
    modelled = law is not None and law.rate_model is not None
    if law is not None and law.rate_model is not None:
        order = order or law.rate_model.order
    pool = Pool.of(task, candidates, k)
    known = known_of(law, pool.measured, pool.mixes.mean(axis=0), order or 1)
    plan = plan_strands(
        motor, task.requirements, candidates.pressure, task.settings.pressure
    )
    reference = law.reference_pressure if law is not None and law.mixes else None
    test = plan.doubt(reference)
    used = criterion if modelled else "D"
    rows = scheffe_design(pool.mixes, known.rate.order)
    problem = DesignProblem(
        rows=rows[pool.new],
        covariance=known.rate.covariance,
        noise=known.rate.between**2 + test.rate_u**2,
        moments=rows.T @ rows / len(rows),
        criterion=used,
    )
    again = scheffe_design(pool.repeatable, known.rate.order) if replicate else None
    chosen, last = best_design(
        problem, k, again=again, distinct=True, seed=task.effort.seed
    )
    mixes = pool.mixes[pool.new][chosen]
    if last is not None:
        mixes = np.vstack([mixes, np.vstack([pool.repeatable, mixes])[last]])
    doubts = [_doubt(pool, known, mixes[:n], test) for n in range(k + 1)]
    return Proposal(
        mixes=_named(pool, mixes, doubts[1:]),
        before=doubts[0],
        knowledge=knowledge(law),
        modelled=modelled,
        criterion=used,
        order=known.rate.order,
        reference_pressure=plan.expected if reference is None else reference,
        between=known.rate.between,
        plan=plan,
        candidates=candidates,
        notes=notes_of(
            candidates,
            law,
            pool.components,
            (pool.measured, mixes, pool.mixes),
            used == criterion,
        ),
    )


def _check(k: int, criterion: str, order: int | None) -> None:
    """Refuse what cannot be asked for."""
    if k != int(k) or not 1 <= k <= MOST:
        raise InputError(f"{k:g} next mixes are asked for; allowed: 1 to {MOST}")
    if criterion not in CRITERIA:
        raise InputError(f"criterion is {criterion!r}; allowed: I or D")
    if order not in (None, 1, 2):
        raise InputError(
            f"order of the mixture model is {order}; allowed: 1 (linear) or 2 "
            "(with products of pairs)"
        )


def _doubt(pool: Pool, known: Known, added: FloatArray, test: StrandDoubt) -> Doubt:
    """Return the doubt after mixes (a, q) were burned."""
    u = known.rate.after(added, test.rate_u).u(pool.mixes)
    worst = int(np.flatnonzero(u >= u.max() * (1.0 - 1e-9))[0])
    return Doubt(
        model_u=float(u.mean()),
        exponent_u=float(
            known.exponent.after(added, test.exponent_u).u(pool.mixes).mean()
        ),
        grain_u=float(grain_u(known, added, test, pool.mixes).mean()),
        worst=pool.recipe(pool.mixes[worst]),
        worst_u=float(u[worst]),
    )


def _named(pool: Pool, mixes: FloatArray, doubts: list[Doubt]) -> tuple[NextMix, ...]:
    """Return the mixes with recipes and what they repeat."""
    found = []
    earlier = [*zip(pool.names, pool.measured, strict=True)]
    for number, (mix, doubt) in enumerate(zip(mixes, doubts, strict=True), start=1):
        same = [n for n, other in earlier if np.abs(mix - other).max() < SAME]
        recipe = pool.recipe(mix)
        found.append(
            NextMix(
                recipe=recipe,
                fractions=np.array([recipe.get(c, 0.0) for c in pool.columns]),
                replicate_of=same[0] if same else "",
                doubt=doubt,
            )
        )
        earlier.append((f"mix {number}", mix))
    return tuple(found)
