"""Which mixes to burn strands of next, at which pressures, and what that teaches."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.limits import Requirement
from castsugar.motor.burn_model import MIXES_FOR_MODEL, BlendLaw, scheffe_design
from castsugar.motor.hardware import Hardware
from castsugar.motor.single_pressure import SinglePressure, exponent_error, next_test
from castsugar.optimize.strand_candidates import (
    OF_THE_BURN_LAW,
    SAME,
    Candidates,
    Pool,
    feasible_mixes,
)
from castsugar.optimize.strand_design import (
    CRITERIA,
    DesignProblem,
    Known,
    StrandDoubt,
    best_design,
    grain_u,
    known_of,
)
from castsugar.optimize.task import Task

# ----------------------------------------------------------------------------
# What a proposal of strand tests has to say in words.

#: More mixes than coefficients, before a burn law may be quadratic (as in `scheffe`).
_SPARE = 3

#: Singular values below this share of the largest count as zero.
_RANK = 1e-9


def knowledge(law: BlendLaw | None) -> str:
    """Say what the burn-law model is now."""
    if law is None:
        return (
            "no motor and no burn law is stated: nothing is known of the rates, only "
            "how far a rate usually moves with the mix (assumed)"
        )
    if not law.mixes:
        name = law.borrowed.name if law.borrowed is not None else "none"
        return (
            f"no mix is measured: the borrowed law {name} serves all mixes alike and "
            "does not know how the rate changes with the mix"
        )
    names = ", ".join(m.name for m in law.mixes)
    if len(law.mixes) == 1:
        return (
            f"one measured mix ({names}): all others are taken to burn as it does, "
            "with a doubt that grows with every percent of mass that differs"
        )
    if law.rate_model is None or law.exponent_model is None:
        return (
            f"{len(law.mixes)} measured mixes ({names}), too few or too alike for a "
            "mixture model: each mix is taken to burn as the nearest of them"
        )
    words = {1: "linear", 2: "quadratic"}
    return (
        f"mixture model of {len(law.mixes)} measured mixes ({names}): ln r "
        f"{words[law.rate_model.order]}, n {words[law.exponent_model.order]} in the "
        "shares"
    )


def notes_of(
    candidates: Candidates,
    law: BlendLaw | None,
    components: Sequence[str],
    mixes: tuple[FloatArray, FloatArray, FloatArray],
    as_asked: bool,
) -> tuple[str, ...]:
    """Return what else a person has to know.

    Parameters
    ----------
    candidates : Candidates
    law : BlendLaw or None
    components : sequence of str
    mixes : tuple of ndarray
        Measured, proposed, and all that matter, in these components.
    as_asked : bool
        Whether the criterion is the one asked for.
    """
    return (
        *_about_candidates(candidates),
        *_about_pressure(candidates, law),
        *_about_model(mixes, as_asked),
        *_about_absent(components, mixes),
    )


def _about_candidates(candidates: Candidates) -> Iterator[str]:
    if not candidates.kept:
        yield (
            f"none of {candidates.looked_at} mixes of the space keeps all requirements "
            "that do not hang on the burn law; the tests are chosen from all of the "
            "space: relax a requirement before you cook"
        )
    if candidates.left_out:
        yield (
            f"not asked here: {'; '.join(candidates.left_out)}: the tests are to find "
            "that out"
        )
    if candidates.step is None:
        yield "the space holds no recipe in steps of 0.1 %: recipes are not rounded"
    elif candidates.step < 0.01:
        yield (
            f"the space holds no recipe in whole percents: recipes are in steps of "
            f"{100.0 * candidates.step:g} %"
        )


def _about_pressure(candidates: Candidates, law: BlendLaw | None) -> Iterator[str]:
    known = np.isfinite(candidates.pressure)
    if law is None:
        yield (
            "no motor is stated: strands are planned around the pressure of the "
            "search, not around that of your motor"
        )
    elif not known.any():
        yield (
            "no pressure could be expected in the motor; strands are planned around "
            "the pressure of the search"
        )
    elif law.rate_model is None:
        yield (
            "the expected chamber pressure rests on a law that was not measured on "
            "these mixes; it may miss widely"
        )


def _about_model(
    mixes: tuple[FloatArray, FloatArray, FloatArray], as_asked: bool
) -> Iterator[str]:
    measured, proposed, wanted = mixes
    if not as_asked:
        yield (
            "there is no mixture model yet: corners of the mixes come first "
            "(D-optimal), whatever criterion was asked for"
        )
    every = np.vstack([measured, proposed])
    needed, found = _rank(wanted), _rank_within(every, wanted)
    if found < needed or len(every) < MIXES_FOR_MODEL:
        more = max(needed - found, MIXES_FOR_MODEL - len(every))
        yield (
            f"a linear model of these mixes has {needed} coefficients; after the "
            f"tests {more} more {'mix' if more == 1 else 'mixes'} will be needed to "
            "fix them all"
        )
    bent = _rank(scheffe_design(np.vstack([every, wanted]), 2)) + _SPARE
    if len(every) < bent:
        yield (
            f"a model with curvature is tried from {bent} measured mixes on; after "
            f"these tests there are {len(every)}"
        )


def _about_absent(
    components: Sequence[str], mixes: tuple[FloatArray, FloatArray, FloatArray]
) -> Iterator[str]:
    measured, proposed, wanted = mixes
    burned = np.vstack([measured, proposed]).max(axis=0) > 0.0
    absent = [
        name
        for name, there, asked in zip(
            components, burned, wanted.max(axis=0) > 0.0, strict=True
        )
        if asked and not there
    ]
    if absent:
        yield (
            f"no mix burned or proposed holds {', '.join(absent)}: what a little of it "
            "does to the rate stays unknown; ask for more mixes"
        )


def _rank(rows: FloatArray) -> int:
    sizes = np.linalg.svd(rows, compute_uv=False)
    return int((sizes > _RANK * sizes[0]).sum())


def _rank_within(rows: FloatArray, wanted: FloatArray) -> int:
    """Return how many of the directions that matter the rows fix."""
    return _rank(wanted) + _rank(rows) - _rank(np.vstack([rows, wanted]))


# ----------------------------------------------------------------------------
# At which two pressures to burn strands of new mixes, and what that fixes.

#: Scatter of ln r of single strands where none was measured (assumed: that of good
#: strands; common practice, no source).
USUAL_SCATTER = 0.03

#: Strands at the lower pressure: with three at the other, a law and its scatter.
_STRANDS = 3

#: Most times that one pressure is above the other, as for a single pressure.
_MOST_RATIO = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandPlan:
    """Strands to burn of every proposed mix.

    Attributes
    ----------
    expected : float
        Middle of the chamber pressures to expect. [Pa]
    low, high : float
        Pressures to burn at. [Pa]
    at_low, at_high : int
        Strands at each.
    scatter : float
        Of ln r of single strands.
    scatter_measured : bool
        False: assumed.
    exponent_u : float
        Standard uncertainty of n of one mix to expect.
    from_motor : bool
        Whether the pressure is that of the motor; False: that of the search.
    """

    expected: float
    low: float
    high: float
    at_low: int
    at_high: int
    scatter: float
    scatter_measured: bool
    exponent_u: float
    from_motor: bool

    def doubt(self, reference: float | None) -> StrandDoubt:
        """Return how well the strands fix the law of a mix.

        Parameters
        ----------
        reference : float or None
            Where ln r is modelled; None: in the middle of the strands. [Pa]
        """
        total = self.at_low + self.at_high
        middle = (
            self.at_low * math.log(self.low) + self.at_high * math.log(self.high)
        ) / total
        away = 0.0 if reference is None else math.log(reference) - middle
        own = self.scatter / math.sqrt(total)
        return StrandDoubt(
            rate_u=math.hypot(own, away * self.exponent_u),
            exponent_u=self.exponent_u,
            scatter=self.scatter,
        )


def plan_strands(
    motor: Hardware | None,
    requirements: Sequence[Requirement],
    pressures: FloatArray,
    otherwise: float,
) -> StrandPlan:
    """Return two pressures around those to expect in the motor.

    The smallest ratio, 2 or more, that brings n to 0.05 with three strands at the lower
    pressure (:func:`castsugar.motor.single_pressure.next_test`), or the ratio of the
    pressures that most mixes reach, whichever is larger, but at most 10. No pressure
    counts above what the case may hold or the requirements allow.

    Parameters
    ----------
    motor : Hardware or None
    requirements : sequence of Requirement
    pressures : ndarray, shape (n,)
        Expected in the motor; NaN for none. [Pa]
    otherwise : float
        Pressure where nothing is expected. [Pa]
    """
    top = _top(motor, requirements)
    least = motor.ambient_pressure if motor is not None else 0.0
    known = pressures[np.isfinite(pressures)]
    from_motor = bool(len(known))
    used = np.clip(known if from_motor else np.array([otherwise]), least, top)
    below, above = np.quantile(np.log(used), [0.1, 0.9]).tolist()
    scatter, measured = _scatter(motor)
    test = next_test(_single(scatter))
    assert test is not None  # the scatter is finite
    ratio = min(max(test.ratio, math.exp(above - below)), _MOST_RATIO)
    expected = math.exp(0.5 * (below + above))
    low = max(expected / math.sqrt(ratio), least)
    at_low = _STRANDS + test.more_here
    return StrandPlan(
        expected=expected,
        low=low,
        high=low * ratio,
        at_low=at_low,
        at_high=test.strands,
        scatter=scatter,
        scatter_measured=measured,
        exponent_u=exponent_error(scatter, at_low, test.strands, ratio),
        from_motor=from_motor,
    )


def _top(motor: Hardware | None, requirements: Sequence[Requirement]) -> float:
    """Return the highest pressure that a motor would be run at. [Pa]"""
    limits = [
        1e6 * r.at_most
        for r in requirements
        if r.at_most is not None and r.column in OF_THE_BURN_LAW[:2]
    ]
    if motor is not None and math.isfinite(motor.allowable):
        limits.append(motor.allowable)
    return min(limits, default=math.inf)


def _scatter(motor: Hardware | None) -> tuple[float, bool]:
    """Return the scatter of the strands burned so far, else the usual one."""
    mixes = () if motor is None else motor.burning.law.mixes
    known = [m.law.scatter for m in mixes if m.law.scatter > 0.0]
    if not known:
        return USUAL_SCATTER, False
    return math.sqrt(math.fsum(s**2 for s in known) / len(known)), True


def _single(scatter: float) -> SinglePressure:
    """Return three strands at one pressure, of which only the scatter is known."""
    return SinglePressure(
        pressure=math.nan,
        count=_STRANDS,
        rate=math.nan,
        low=math.nan,
        high=math.nan,
        level=0.95,
        repeatability=math.nan,
        variation=math.nan,
        scatter=scatter,
    )


# ----------------------------------------------------------------------------
# Which mixes to burn strands of next, so that the burn-law model gains most.
#
# The model is that of :mod:`castsugar.motor.burn_model`: ln r at a reference pressure
# as a mixture model, linear until the data call for more, with what it leaves between
# mixes. The mixes burned so far are the information to start from. The mixes are chosen
# by ln r; the exponent has the same design rows and gains with it.

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

    def __str__(self) -> str:
        """Return the mixes, one a line, and what the first of them buys."""
        lines = [
            " ".join(f"{name}:{share:g}%" for name, share in mix.percents.items())
            for mix in self.mixes
        ]
        now, then = self.before.model_u, self.after.model_u
        return "\n".join(
            [*lines, f"uncertainty of ln r: {now:.2g} now, {then:.2g} then"]
        )


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
        Of :func:`castsugar.optimize.strand_candidates.feasible_mixes`; None finds them.
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
