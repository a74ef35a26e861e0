"""What a map of three ingredients holds, its checks and its words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.report.svg.canvas import number
from castsugar.report.svg.triangle import Shares

#: What a cell may be.
KINDS = ("ok", "not computed", "cold", "absent")


@dataclass(frozen=True, slots=True)
class TernaryMap:
    """What a map shows.

    Parameters
    ----------
    corners : tuple of str
        Names of the ingredients: top, lower left, lower right.
    fractions : ndarray, shape (n, 3)
        Shares of the three, sum 1, on a triangular lattice of equal step. Points that
        are missing stay empty; the picture spans the smallest triangle around all.
    values : ndarray, shape (n,)
        What is shown [`unit`]; NaN where there is none.
    kind : sequence of str, length n
        "ok", "not computed", "cold" or "absent"; "ok" without a value counts as not
        computed.
    title, quantity, unit : str
    decimals : int
        Of the values on the picture; negative rounds to tens and more.
    marks : tuple of (str, (float, float, float))
        Mixes to draw and name: shares of the three, sum 1.
    fixed : str
        What else is in the mix ("with red iron oxide 2 %").
    notes : tuple of str
        Lines below the picture.
    total : float
        Share of the whole mix that the three make up: the axes show percent of the
        whole.
    logarithmic : bool
        Whether colours and levels go by the logarithm; values are above 0 then, and
        are written with one digit.
    absent : str
        What a cell of the kind "absent" is.
    """

    corners: tuple[str, str, str]
    fractions: FloatArray
    values: FloatArray
    kind: Sequence[str]
    title: str
    quantity: str
    unit: str = ""
    decimals: int = 0
    marks: tuple[tuple[str, Shares], ...] = ()
    fixed: str = ""
    notes: tuple[str, ...] = ()
    total: float = 1.0
    logarithmic: bool = False
    absent: str = "none"


def check(spec: TernaryMap) -> None:
    """Refuse what cannot be drawn."""
    count = len(spec.fractions)
    if spec.fractions.shape != (count, 3) or count == 0:
        raise InputError(
            f"a map needs fractions of shape (n, 3), got {spec.fractions.shape}"
        )
    if spec.values.shape != (count,) or len(spec.kind) != count:
        raise InputError(
            f"{count} mixes, {spec.values.size} values and {len(spec.kind)} kinds; "
            "a map needs one value and one kind a mix"
        )
    strange = sorted(set(spec.kind) - set(KINDS))
    if strange:
        raise InputError(f"kind {strange[0]!r} of a cell; allowed: {', '.join(KINDS)}")
    if not 0.0 < spec.total <= 1.0 + 1e-9:
        raise InputError(f"total {spec.total:g} is not a share above 0 and up to 1")
    if not np.allclose(spec.fractions.sum(axis=1), 1.0, atol=1e-6):
        raise InputError("the shares of a mix on the map do not sum to 1")


def kinds_of(spec: TernaryMap) -> NDArray[np.str_]:
    """Return the kinds, "ok" without a value turned into "not computed"."""
    kind = np.array(spec.kind, dtype=np.str_).astype("U12")
    kind[(kind == "ok") & ~np.isfinite(spec.values)] = "not computed"
    return kind


def value_text(spec: TernaryMap, value: float) -> str:
    """Return a value with its unit."""
    if spec.logarithmic:
        return f"{float(f'{value:.1g}'):g} {spec.unit}".rstrip()
    digits = spec.decimals
    text = f"{round(value, digits):.{max(digits, 0)}f}"
    return f"{text} {spec.unit}".rstrip()


def description(spec: TernaryMap) -> str:
    """Say in words what the picture shows."""
    kind = kinds_of(spec)
    shown = spec.values[kind == "ok"]
    counts = ", ".join(f"{(kind == word).sum()} {word}" for word in KINDS)
    text = f"{spec.quantity} of mixes of {', '.join(spec.corners)}; cells: {counts}."
    if shown.size:
        low, high = (
            value_text(spec, float(shown.min())),
            value_text(spec, float(shown.max())),
        )
        text += f" Values from {low} to {high}."
    share = number(100.0 * spec.total)
    return f"{text} The three make up {share} % of the whole mix."
