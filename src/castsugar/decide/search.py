"""The best mix of a space: the lattice first, then local searches, then why.

Every batch is large, every trial is kept, and the same seed gives the same answer.
"""

from __future__ import annotations

from castsugar.decide import hunt
from castsugar.decide.answer import Knowledge, answer
from castsugar.decide.found import INTERRUPTED, Found
from castsugar.decide.hunt import Effort
from castsugar.decide.judge import Judge
from castsugar.decide.ledger import Ledger, SpentError
from castsugar.decide.prices import Trier, multipliers
from castsugar.decide.problem import Goal, Problem
from castsugar.decide.relaxing import relaxations
from castsugar.decide.space import Space
from castsugar.decide.together import together

#: Gain found while prices were tried, of the objective's size, that makes a new start.
_OVERLOOKED = 1e-6

#: Part of the objective's slope that no limit explains, above which a mix lies at an
#: edge where some column jumps.
_EDGE = 0.3

#: Most new starts.
_ROUNDS = 3


def optimise(
    problem: Problem, goal: Goal, space: Space, *, effort: Effort | None = None
) -> Found:
    """Return the best mix of a space, what limits it, and what would buy more.

    A lattice of every region is evaluated; the best distinct trials are searched on
    with quadratic models, all in the same batches; a pattern search looks around the
    best once more; each binding limit is moved and searched again.

    Parameters
    ----------
    problem : Problem
        Returns columns of mixes, whole batches at once.
    goal : Goal
        Objective and limits, by column.
    space : Space
    effort : Effort, optional
        Seed, budget, lattice, starts.

    Returns
    -------
    Found
        An optimum; or the mix that violates least, and which single limit to relax; or
        the best so far, where Ctrl-C or the budget stopped the search.

    Raises
    ------
    UnknownNameError
        For a column that the problem does not have.
    InputError
        For contradictory limits, an empty space, a problem that returns another shape.
    ConvergenceError
        If not one mix could be computed.

    Notes
    -----
    The global part is the lattice: an optimum in a basin that no lattice point belongs
    to is not found. A feasible mix is found if the search for the least violation from
    the best lattice points leads to one. A binding limit keeps a slack of some
    1e-9 of its size.

    Examples
    --------
    >>> from castsugar.decide.problem import FunctionProblem
    >>> problem = FunctionProblem(
    ...     columns=("product",), function=lambda x: x[:, :1] * x[:, 1:]
    ... )
    >>> space = Space(bounds={"a": (0.0, 1.0), "b": (0.0, 1.0)})
    >>> found = optimise(problem, Goal(objective="product"), space)
    >>> found.status, found.fractions.round(6).tolist()
    ('optimal', [0.5, 0.5])
    """
    work = effort or Effort()
    goal.check(problem.columns)
    regions = space.regions()
    ledger = Ledger(problem=problem, regions=regions, budget=work.budget)
    known = Knowledge(goal=goal, space=space, ledger=ledger, effort=work)
    try:
        _run(known)
    except KeyboardInterrupt:
        if not len(ledger.trials()):
            raise
        known.reason = INTERRUPTED
    except SpentError:
        known.reason = f"the budget of {work.budget} evaluations is used up"
    return answer(known)


def _run(known: Knowledge) -> None:
    """Go through the stages; what is found is written into `known` as it comes."""
    ledger, effort = known.ledger, known.effort
    hunt.sow(ledger, effort)
    judge = hunt.judge_of(ledger, known.goal)
    known.judge = judge
    known.ends += hunt.climb(ledger, judge, effort)
    for _ in range(_ROUNDS):
        known.ends += hunt.secure(ledger, judge, effort)
        violation, objective = hunt.stand(ledger, judge)
        if violation > 0.0:
            ledger.stage = "relaxing"
            known.relaxations = relaxations(ledger, judge, effort)
            return
        ledger.stage = "prices"
        _price(known, judge)
        if hunt.stand(ledger, judge)[1] > objective - _OVERLOOKED:
            return


def _price(known: Knowledge, judge: Judge) -> None:
    """Find multipliers and prices of what binds at the best mix."""
    ledger = known.ledger
    best = hunt.best_start(ledger, judge)
    region = ledger.regions[best.region]
    if region.dimension == 0:
        return
    search = multipliers(region, best.region, judge, best.fractions)
    found = together(ledger, [search])[0]
    known.multipliers = found
    trier = Trier(
        ledger=ledger,
        judge=judge,
        space=known.space,
        region=region,
        number=best.region,
        fractions=best.fractions,
        objective=hunt.stand(ledger, judge)[1],
        # At an edge where a column jumps there is no slope, and no price to confirm.
        again=known.effort.prices and not found.residual > _EDGE,
    )
    known.limit_prices, known.row_prices = trier.prices(found)
