"""What the what-if panel says; its script says the same of other positions."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from castsugar import units
from castsugar.arrays import IntArray
from castsugar.columns import COLUMN
from castsugar.comparison.neighbours import (
    ENDLESS,
    REMAINS,
    RULED_OUT,
    SET_RATIO,
    UNKNOWN,
    MovingLimit,
    MovingLimits,
    Neighbourhood,
    best,
    standing,
)
from castsugar.report.search_picture import limit_words, stem
from castsugar.report.search_words import Asked, label_of

#: Of the three limits that can be moved: unit, where values end, what that is called,
#: and what the loosest position allows.
UNITS = ("MPa", "Pa s", "m/s")
ENDS = (*ENDLESS, None)
ENDED = ("no stable pressure", "jams", "")
ANY = ("any stable pressure", "any that does not jam", "any")
NAMES = ("peak pressure", "pour viscosity", "c*")

#: What one pressure of 1 MPa is in psi.
PSI = units.convert(1e6, "pressure", "psi")

CAVEAT = (
    "Neighbours share burn law and kitchen model; a dot that remains is a mix to test, "
    "not a safe one."
)

#: Where no single limit brings a mix back.
STUCK = "relax more than one limit, no single one brings a mix back"
HOPELESS = "no limit that can be moved here brings a mix back"


def value_words(place: int, value: float) -> str:
    """Return a value of one of the three with its unit.

    Examples
    --------
    >>> value_words(0, 6.894757), value_words(1, 1e12)
    ('6.895 MPa (1000 psi)', 'jams')
    """
    end = ENDS[place]
    if math.isnan(value):
        return "not computed"
    if end is not None and value >= end:
        return ENDED[place]
    text = f"{plain(value)} {UNITS[place]}"
    return f"{text} ({value * PSI:.0f} psi)" if place == 0 else text


def plain(value: float) -> str:
    """Write a number with at most four digits, no zeros at its end.

    Examples
    --------
    >>> plain(12340.0), plain(6.894757), plain(900.0)
    ('12340', '6.895', '900')
    """
    return f"{float(f'{value:.4g}'):.12g}"


def stop_words(place: int, stop: float | None) -> str:
    """Return what a position allows."""
    return ANY[place] if stop is None else value_words(place, stop)


def title_of(place: int, dial: MovingLimit) -> str:
    """Return what a slider is called."""
    if place == 2:
        return "Lowest c*"
    return f"Highest {label_of(dial.column) if dial.column else NAMES[place]}"


def why_off(around: Neighbourhood, place: int, dial: MovingLimit) -> str:
    """Return why a slider does not work, or not for all mixes; empty if it does."""
    wing = ("motor", "kitchen", "")[place]
    gap = around.gaps.get(wing, "")
    if not dial.column:
        return f"Not computed: {gap}."
    dark = np.isnan(dial.values)
    if not dial.works:
        if dark.all():
            return f"Not computed for any mix{f': {gap}' if gap else ''}."
        beyond = f"every mix that is computed {'jams' if place else 'runs away'}"
        more = f" Not computed for all: {gap}." if dark.any() and gap else ""
        return f"Nothing to choose: {beyond}.{more}"
    if dark.any() and gap:
        return f"Not computed for all: {gap}."
    return ""


def count_words(states: IntArray) -> str:
    """Return how many mixes remain."""
    dark = int((states == UNKNOWN).sum())
    more = f"; {dark} are not computed" if dark else ""
    return f"{int((states == REMAINS).sum())} of {len(states)} mixes remain{more}."


def recipe_words(around: Neighbourhood, place: int, asked: Asked) -> str:
    """Return a mix in percent."""
    percents = percents_of(around)[place]
    return ", ".join(
        f"{share:.1f} % {asked.name(name)}"
        for share, name in zip(percents, around.names, strict=True)
        if share > 0.0
    )


def percents_of(around: Neighbourhood) -> list[list[float]]:
    """Return all mixes in percent, as shown."""
    return np.round(100.0 * around.all_fractions, 1).tolist()


def sets_of(around: Neighbourhood) -> list[float]:
    """Return the set ratio of all mixes, as shown."""
    return np.round(around.column(SET_RATIO), 2).tolist()


def best_words(
    around: Neighbourhood, dials: MovingLimits, states: IntArray, asked: Asked
) -> str:
    """Name the mix that remains with the highest c*, or say what to relax."""
    place = best(states, dials.velocity.values)
    if place is None:
        return nothing_words(dials)
    order = [k for k in (2, 0, 1) if dials.each[k].column]
    told = [
        f"{NAMES[k]} {value_words(k, float(dials.each[k].values[place]))}"
        for k in order
    ]
    if SET_RATIO in around.columns:
        ratio = sets_of(around)[place]
        told.append(
            f"{COLUMN[SET_RATIO].label} "
            + ("not computed" if math.isnan(ratio) else f"{ratio:.2f}")
        )
    member = place - len(around.fractions)
    whose = f"{member_names(around)[member]}, " if member >= 0 else ""
    recipe = recipe_words(around, place, asked)
    return f"Highest c* that remains: {whose}{recipe}. {'; '.join(told)}."


def nothing_words(dials: MovingLimits, places: Sequence[int] | None = None) -> str:
    """Say what to relax where nothing remains."""
    at = [d.start for d in dials.each] if places is None else list(places)
    ways = []
    for k, dial in enumerate(dials.each):
        if dial.stops[at[k]] is None:
            continue
        loose = [
            dial.stops.index(None) if j == k else place for j, place in enumerate(at)
        ]
        back = int((dials.states(loose) == REMAINS).sum())
        if back:
            ways.append(f"{NAMES[k]} (brings back {back})")
    if ways:
        return f"Nothing remains: relax {' or '.join(ways)}."
    loosest = [dial.stops.index(None) for dial in dials.each]
    some = (dials.states(loosest) == REMAINS).any()
    return f"Nothing remains: {STUCK if some else HOPELESS}."


def member_names(around: Neighbourhood) -> tuple[str, str]:
    """Return what base and new are called."""
    return f"{around.base.name} (base)", f"{around.new.name} (new)"


def member_words(around: Neighbourhood, dials: MovingLimits, which: int) -> str:
    """Say whether base (0) or new (1) remains where the limits start."""
    place = len(around.fractions) + which
    name = member_names(around)[which]
    codes = parts(dials, place)
    told = (*NAMES, "the limits that stay")

    def named(code: int) -> str:
        return ", ".join(n for n, c in zip(told, codes, strict=True) if c == code)

    if RULED_OUT in codes:
        return f"{name} is ruled out by {named(RULED_OUT)}."
    if UNKNOWN in codes:
        return f"{name} cannot be judged; not computed: {named(UNKNOWN)}."
    return f"{name} remains."


def parts(dials: MovingLimits, place: int) -> list[int]:
    """Return how a mix stands under each limit alone, and under those that stay."""
    found = []
    for k, dial in enumerate(dials.each):
        one, two, three = (
            dial.values[place : place + 1] if j == k else np.ones(1) for j in range(3)
        )
        first, second, third = (
            dial.stops[dial.start] if j == k else None for j in range(3)
        )
        state = standing(one, two, three, (first, second, third))
        found.append(int(state[0]))
    return [*found, int(dials.others[place])]


def stay_words(around: Neighbourhood, dials: MovingLimits) -> list[str]:
    """Return what is fixed behind the panel: limits that stay, or are left out."""
    found = []
    if dials.fixed:
        kept = "; ".join(limit_words(limit) for limit in dials.fixed)
        found.append(f"Limits that stay: {kept}.")
    for column, why in around.left_out.items():
        found.append(f"The limit on {stem(column)} is not applied: {why}.")
    if "flow" in around.gaps:
        found.append(f"Computed without solidification here: {around.gaps['flow']}.")
    return found
