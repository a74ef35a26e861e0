"""What a proposal of strand tests has to say in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.strand_candidates import Candidates
from castsugar.motor.burn_model import MIXES_FOR_MODEL, BlendLaw, scheffe_design

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
