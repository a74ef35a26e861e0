"""Which mixes may be weighed: bounds, ratios, fixed parts, and why none may."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field, replace

import numpy as np

from castsugar.checks import number
from castsugar.errors import InputError, unknown_name
from castsugar.frozen import dataclass
from castsugar.mix.text import parse_ratio
from castsugar.numerics import nonnegative_least_squares
from castsugar.optimize.region import Region, Row, as_arrays, ratio_rows, region

# ----------------------------------------------------------------------------
# Why a space is empty: the rows that cannot be kept together.

#: A set of rows that must be broken by more than this conflicts. [mass fraction]
_BROKEN = 1e-9


def conflict(columns: Sequence[str], rows: Sequence[Row]) -> tuple[str, ...]:
    """Return names of rows that conflict, such that without any one they do not.

    A deletion filter: a name whose rows can go without making the rest possible goes.
    Rows of one name (a fixed part) go together. That fractions are 0 or more and sum
    to 1 is never given up.

    Source: J. W. Chinneck & E. W. Dravnieks, "Locating minimal infeasible constraint
    sets in linear programs", ORSA J. Computing 3 (1991) 157 (from memory).

    Examples
    --------
    >>> low = Row(name="a at least 70 %", coefficients={"a": -1.0}, limit=-0.7)
    >>> more = Row(name="b at least 40 %", coefficients={"b": -1.0}, limit=-0.4)
    >>> less = Row(name="b at most 90 %", coefficients={"b": 1.0}, limit=0.9)
    >>> conflict(["a", "b"], [low, less, more])
    ('a at least 70 %', 'b at least 40 %')
    """
    if _possible(columns, rows):
        return ()
    kept = list(rows)
    for name in dict.fromkeys(row.name for row in rows):
        fewer = [row for row in kept if row.name != name]
        if not _possible(columns, fewer):
            kept = fewer
    return tuple(dict.fromkeys(row.name for row in kept))


def _possible(columns: Sequence[str], rows: Sequence[Row]) -> bool:
    """Say whether a mix keeps all rows: with slacks of 0 or more their sides meet."""
    matrix, limits = as_arrays(columns, rows)
    whole = np.append(np.ones(len(columns)), np.zeros(len(rows)))
    sides = np.vstack([np.hstack([matrix, np.eye(len(rows))]), whole])
    right = np.append(limits, 1.0)
    off = sides @ nonnegative_least_squares(sides, right) - right
    return bool(np.abs(off).max() <= _BROKEN)


# ----------------------------------------------------------------------------
# Which mixes may be weighed: bounds, rows, ratios, fixed parts, choices, purchases.
#
# Fractions are mass fractions of the weighed recipe. Every alternative of a discrete
# choice has a column of its own; in each mix all but one of a slot are 0, so that
# whoever evaluates mixes needs to know nothing of choices.

#: Most ingredients that may vary in one mix: corners are counted in hundreds.
MOST_FREE = 8

#: Most combinations of discrete choices.
MOST_CHOICES = 64


#: How names of rows end that are no limit of the user's.
SCOPE = " (scope)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """The mixes that may be weighed.

    Raises
    ------
    InputError
        For bounds outside 0 to 1, contradictory or doubled ones, no mass of the batch.
    UnknownNameError
        For a row, ratio, choice or purchase of a name that has no bounds.

    Examples
    --------
    >>> space = Space(
    ...     bounds={"KNO3": (0.5, 0.7), "sugar": (0.1, 0.4), "syrup": (0.1, 0.3)},
    ...     choices={"sugar": ("sucrose", "dextrose")},
    ... )
    >>> space.columns
    ('KNO3', 'sucrose', 'dextrose', 'syrup')
    >>> len(space.regions())
    2
    """

    #: Ingredient or slot to lowest and highest mass fraction.
    bounds: Mapping[str, tuple[float, float]]
    #: Ingredient or slot to the mass fraction that it always has.
    fixed: Mapping[str, float] = field(default_factory=dict)
    #: Linear limits. A slot stands for whichever alternative occupies it.
    rows: Sequence[Row] = ()
    #: Such as "sucrose:corn syrup >= 0.5"; with "=" it is fixed.
    ratios: Sequence[str] = ()
    #: Slot (a name of `bounds` or `fixed`) to two or more alternatives.
    choices: Mapping[str, Sequence[str]] = field(default_factory=dict)
    #: Ingredient or slot to the mass at hand. [kg]
    purchases: Mapping[str, float] = field(default_factory=dict)
    #: Mass of what is weighed; purchases and the scale need it. [kg]
    batch: float | None = None
    scale_step: float | None = None  # smallest step of the user's scale [kg]
    #: Linear limits that are never moved and have no price: beyond them nothing is
    #: judged. Their names end in SCOPE.
    scope: Sequence[Row] = ()

    def __post_init__(self) -> None:
        """Check everything that needs no solver."""
        for name, (low, high) in self.bounds.items():
            _check_bounds(name, low, high)
        for name, share in self.fixed.items():
            _check_bounds(name, share, share)
            if name in self.bounds:
                raise InputError(f"{name!r} is both fixed and bounded; give one")
        if not self.slots:
            raise InputError(
                "the space has no ingredient; give bounds for at least one"
            )
        self._check_choices()
        self._check_names()
        self._check_masses()

    def _check_choices(self) -> None:
        for slot, options in self.choices.items():
            if slot not in self.slots:
                raise unknown_name("slot", slot, self.slots)
            if len(options) < 2 or isinstance(options, str):
                raise InputError(
                    f"slot {slot!r} offers {options!r}; give two or more alternatives"
                )
        if len(set(self.columns)) < len(self.columns):
            twice = [c for c in self.columns if self.columns.count(c) > 1]
            raise InputError(f"ingredient {twice[0]!r} occurs twice in the space")
        count = math.prod(len(options) for options in self.choices.values())
        if count > MOST_CHOICES:
            raise InputError(
                f"the choices make {count} combinations; at most {MOST_CHOICES}"
            )
        free = sum(low < high for low, high in self.bounds.values())
        if free > MOST_FREE:
            raise InputError(
                f"{free} ingredients vary at once; at most {MOST_FREE}: fix some parts"
            )

    def _check_names(self) -> None:
        known = [*dict.fromkeys([*self.slots, *self.columns])]
        stated = (*self._user_rows(), *self.fixed_rows())
        used = [name for row in stated for name in row.coefficients]
        for name in [*used, *self.purchases]:
            if name not in known:
                raise unknown_name("ingredient", name, known)

    def _check_masses(self) -> None:
        for name, mass in self.purchases.items():
            if not 0.0 <= number(mass, f"mass of {name!r}", "kg") < math.inf:
                raise InputError(f"mass of {name!r} at hand is {mass:g} kg; 0 or more")
        if (self.purchases or self.scale_step is not None) and self.batch is None:
            raise InputError(
                "purchases and the scale's step need the mass of the batch"
            )
        for name, value in (("batch", self.batch), ("scale step", self.scale_step)):
            if value is not None and not 0.0 < number(value, name, "kg") < math.inf:
                raise InputError(f"{name} is {value:g} kg; it must be above 0")
        if self.batch and self.scale_step and self.scale_step > 0.5 * self.batch:
            raise InputError(
                f"the scale's step {1e3 * self.scale_step:g} g is more than half the "
                f"batch of {1e3 * self.batch:g} g; weigh a larger batch"
            )

    @property
    def slots(self) -> tuple[str, ...]:
        """Return the names of bounds and fixed parts."""
        return (*self.bounds, *self.fixed)

    @property
    def columns(self) -> tuple[str, ...]:
        """Return the ingredients: what each column of fractions stands for."""
        return tuple(c for slot in self.slots for c in self.options(slot))

    def options(self, slot: str) -> tuple[str, ...]:
        """Return the alternatives of a slot; itself without a choice."""
        return tuple(self.choices.get(slot, (slot,)))

    def all_rows(self) -> tuple[Row, ...]:
        """Return every limit as a row of slots and ingredients, named for people."""
        return (*self.fixed_rows(), *self.movable_rows(), *self.scope)

    def movable_rows(self) -> tuple[Row, ...]:
        """Return the rows that may be relaxed: nothing fixed, and not the scope."""
        return (*self._bound_rows(), *self._user_rows(), *self._purchase_rows())

    def fixed_rows(self) -> tuple[Row, ...]:
        """Return two rows for each fixed part and each fixed ratio."""
        return (*self._fixed_parts(), *(r for t in self._kept() for r in ratio_rows(t)))

    def _kept(self) -> tuple[str, ...]:
        """Return the ratios that are fixed."""
        return tuple(text for text in self.ratios if parse_ratio(text)[2] == "=")

    def _fixed_parts(self) -> Iterable[Row]:
        for name, share in self.fixed.items():
            text = f"{name} fixed at {100.0 * share:.10g} %"
            yield Row(name=text, coefficients={name: 1.0}, limit=share)
            yield Row(name=text, coefficients={name: -1.0}, limit=-share)

    def _bound_rows(self) -> Iterable[Row]:
        for name, (low, high) in self.bounds.items():
            if high < 1.0:
                text = f"{name} at most {100.0 * high:.10g} %"
                yield Row(name=text, coefficients={name: 1.0}, limit=high)
            if low > 0.0:
                text = f"{name} at least {100.0 * low:.10g} %"
                yield Row(name=text, coefficients={name: -1.0}, limit=-low)

    def _user_rows(self) -> tuple[Row, ...]:
        kept = self._kept()
        loose = [row for t in self.ratios if t not in kept for row in ratio_rows(t)]
        return (*self.rows, *loose)

    def _purchase_rows(self) -> Iterable[Row]:
        if self.batch is None:
            return
        for name, mass in self.purchases.items():
            text = f"{1e3 * mass:.10g} g of {name} for {1e3 * self.batch:.10g} g"
            yield Row(name=text, coefficients={name: 1.0}, limit=mass / self.batch)

    def shares_at_hand(self) -> dict[str, float]:
        """Return what is at hand as a share of the batch: for a batch of 1 kg. [kg]"""
        batch = self.batch or 1.0
        return {name: mass / batch for name, mass in self.purchases.items()}

    def moved(self, name: str, change: float) -> Space:
        """Return the space with the limit of one row moved; above 0 relaxes it.

        Parameters
        ----------
        name : str
            Of :meth:`movable_rows`.
        change : float
            [mass fraction]
        """
        rows = [
            replace(r, limit=r.limit + change) if r.name == name else r
            for r in self.movable_rows()
        ]
        free = dict.fromkeys(self.bounds, (0.0, 1.0))
        return replace(self, bounds=free, rows=rows, ratios=self._kept(), purchases={})

    def regions(self) -> list[Region]:
        """Return one convex region for each choice that leaves a mix.

        Raises
        ------
        InputError
            If none does: the message names the rows that conflict.
        """
        found = [self._region(choice) for choice in self.combinations()]
        regions = [r for r in found if r is not None]
        if not regions:
            names = self.conflict()
            raise InputError(
                f"no mix keeps these limits together: {'; '.join(names)}; relax one "
                "of them (all parts sum to 100 %)"
            )
        return regions

    def combinations(self) -> list[dict[str, str]]:
        """Return every combination of the discrete choices."""
        options = [[(slot, o) for o in self.choices[slot]] for slot in self.choices]
        return [dict(pairs) for pairs in itertools.product(*options)]

    def conflict(self, choice: Mapping[str, str] | None = None) -> tuple[str, ...]:
        """Return names of rows that cannot be kept together, none of them needless.

        Parameters
        ----------
        choice : mapping, optional
            The first combination by default.

        Returns
        -------
        tuple of str
            Empty if a mix keeps all rows.
        """
        made = choice or self.combinations()[0]
        present = self._present(made)
        names = [c for c, there in zip(self.columns, present, strict=True) if there]
        return conflict(names, occupied(self.all_rows(), made))

    def _region(self, choice: Mapping[str, str]) -> Region | None:
        present = np.array(self._present(choice))
        return region(choice, self.columns, occupied(self.all_rows(), choice), present)

    def _present(self, choice: Mapping[str, str]) -> list[bool]:
        return [
            choice.get(slot, option) == option
            for slot in self.slots
            for option in self.options(slot)
        ]


def occupied(rows: Iterable[Row], choice: Mapping[str, str]) -> list[Row]:
    """Return rows with every slot replaced by the ingredient that occupies it."""
    found = []
    for row in rows:
        sums: dict[str, float] = {}
        for name, value in row.coefficients.items():
            occupant = choice.get(name, name)
            sums[occupant] = sums.get(occupant, 0.0) + value
        found.append(Row(name=row.name, coefficients=sums, limit=row.limit))
    return found


def _check_bounds(name: str, low: float, high: float) -> None:
    """Refuse bounds that are no mass fractions, or hold nothing."""
    if not (math.isfinite(low) and math.isfinite(high)):
        raise InputError(f"bounds of {name!r} are {low:g} to {high:g}; give numbers")
    if low > high:
        raise InputError(
            f"bounds of {name!r} contradict: at least {100 * low:g} %, at most "
            f"{100 * high:g} %"
        )
    if low < 0.0 or high > 1.0:
        raise InputError(
            f"bounds of {name!r} are {low:g} to {high:g}; mass fractions lie in 0 to 1 "
            "(10 % is 0.1)"
        )
