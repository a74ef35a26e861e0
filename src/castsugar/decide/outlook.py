"""Mixes under conditions, and everything that is uncertain about them.

Each recipe is solved in a batch of its own, so that a mix alone and in a crowd has the
same bits; recipes that occur twice are solved once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.checks import instance
from castsugar.decide.conditions import Conditions, Doubts
from castsugar.decide.inputs import Input, Scores, unique
from castsugar.decide.perturbed import Recipe
from castsugar.decide.through import (
    KITCHEN,
    MOTOR,
    THERMO,
    Columns,
    Place,
    common,
    inputs_of,
    jacobian_of,
    less,
    on_scale,
    placed,
    solved,
    values_of,
)
from castsugar.errors import InputError
from castsugar.mix import refusals
from castsugar.mix.mix import Mix, MixLike, as_mixes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlook:
    """Mixes under conditions, with everything that is uncertain about them.

    Attributes
    ----------
    mixes : tuple of Mix
    conditions : Conditions
    doubts : Doubts
    inputs : tuple of Input
        Of all mixes, each once.
    """

    mixes: tuple[Mix, ...]
    conditions: Conditions
    doubts: Doubts
    inputs: tuple[Input, ...]
    _places: Mapping[str, Place]
    _keys: tuple[str, ...]

    @classmethod
    def of(
        cls,
        mixes: MixLike | Iterable[MixLike],
        conditions: Conditions | None = None,
        doubts: Doubts | None = None,
    ) -> Outlook:
        """Collect what is uncertain about mixes.

        Parameters
        ----------
        mixes : iterable of what :func:`castsugar.mix.mix.as_mix` takes
        conditions : Conditions, optional
        doubts : Doubts, optional

        Raises
        ------
        InputError
            Without a mix; and what weighing refuses.
        RefusedError
            For an ingredient that is none of the catalogue's, and for a dummy.
        """
        instance(conditions, Conditions, "conditions")
        instance(doubts, Doubts, "doubts")
        conditions, doubts = conditions or Conditions(), doubts or Doubts()
        listed = tuple(as_mixes(mixes))
        if not listed:
            raise InputError("no mixes given; give one or more to look at")
        for mix in listed:
            refusals.check_catalogued(mix.name, mix.weighed)
            refusals.check_burns(mix.name, mix.weighed)
        places: dict[str, Place] = {}
        keys = []
        for mix in listed:
            recipe = Recipe.of(mix, doubts)
            keys.append(recipe.identity)
            if recipe.identity not in places:
                places[recipe.identity] = placed(recipe, conditions, doubts)
        found = [i for p in places.values() for i in inputs_of(p)]
        return cls(
            mixes=listed,
            conditions=conditions,
            doubts=doubts,
            inputs=unique([*found, *common(doubts)]),
            _places=places,
            _keys=tuple(keys),
        )

    @property
    def columns(self) -> tuple[str, ...]:
        """Return the names of the columns."""
        kitchen = KITCHEN if self.conditions.kitchen is not None else ()
        motor = MOTOR if self.conditions.motor is not None else ()
        return (*THERMO, *kitchen, *motor)

    def values(self, scores: Scores, count: int) -> Columns:
        """Return every column, (rows, mixes), at scores of the inputs, (rows,) each.

        NaN where a row could not be computed; infinite where a mix jams or a motor
        has no stable pressure.
        """
        found = {
            key: values_of(place, self.conditions, self.doubts, scores, count)
            for key, place in self._places.items()
        }
        return {
            name: np.stack([found[key][name] for key in self._keys], axis=1)
            for name in self.columns
        }

    def burn_laws(self) -> tuple[str, ...]:
        """Return what burn law each mix has; empty without a motor."""
        benches = [self._places[key].bench for key in self._keys]
        return tuple(b.law for b in benches if b is not None)

    def withheld(self) -> tuple[str, ...]:
        """Return why no pressure is told of each mix; empty where one is."""
        benches = [self._places[key].bench for key in self._keys]
        return tuple(b.withheld if b is not None else "" for b in benches)

    def stepped(self, step: float) -> list[Mapping[str, Mapping[str, float]]]:
        """Return what one scale step more of one item changes.

        Parameters
        ----------
        step : float
            [kg]

        Returns
        -------
        list, one a mix
            Item to column to change, in the column's unit (of ln for
            :data:`castsugar.decide.through.DECADES`).
        """
        own = {}
        for key, place in self._places.items():
            weighed = np.vstack(
                [place.recipe.weighed({}, 1), place.recipe.one_step(step)]
            )
            found = solved(place, self.conditions, self.doubts, {}, weighed)
            moved = {n: on_scale(n, found[n]) for n in self.columns}
            own[key] = {
                item: {n: float(less(v[1 + i], v[0])) for n, v in moved.items()}
                for i, item in enumerate(place.recipe.names)
            }
        return [own[key] for key in self._keys]

    def jacobian(self) -> FloatArray:
        """Return analytic changes per standard deviation, (mixes, 5, inputs).

        Of flame temperature, c*, specific impulse, density and density impulse. The
        solver's derivatives by elements and enthalpy meet the changes of the cast,
        which need no solver; that by pressure is a difference. Water that a kitchen
        takes is part of the cast.

        Raises
        ------
        InputError
            For frozen flow.
        """
        if self.conditions.flow == "frozen":
            raise InputError(
                "derivatives of flow 'frozen' are not known in closed form; use "
                "'equilibrium' or 'no-solidification'"
            )
        found = {
            key: jacobian_of(place, self.inputs, self.conditions, self.doubts)
            for key, place in self._places.items()
        }
        return np.stack([found[key] for key in self._keys])
