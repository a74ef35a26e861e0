"""What the quasi-steady model leaves out, in words, and two figures that help."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.checks import one_of
from castsugar.errors import InputError
from castsugar.motor import balance
from castsugar.motor.balance import Bands
from castsugar.motor.law import BurnLaw
from castsugar.motor.standing import BRANCHES

#: Port over throat area below which erosive burning is to be expected. Common
#: practice, no source; long grains need more.
PORT_TO_THROAT_LIMIT: Final = 2.0

#: What is not modelled, by name.
NOT_MODELLED: Final[dict[str, str]] = {
    "ignition peak": (
        "The start is not modelled: an igniter that is too strong, or a grain that "
        "lights late and all at once, can exceed the peak given here."
    ),
    "erosive burning": (
        "Erosive burning is not modelled: fast gas in a narrow core raises the burn "
        "rate and the pressure at the start. The port-to-throat area ratio tells "
        "(castsugar evaluate --motor)."
    ),
    "cracks and voids": (
        "Cracks, voids and faces that come unstuck are not modelled: each adds "
        "burning area at once (castsugar evaluate --motor says what a tenth does)."
    ),
    "filling and emptying": (
        "The chamber fills and empties in no time: rise and tail-off are sharper here "
        "than in a real firing, and the gas left at the end pushes nothing."
    ),
    "uneven burning": (
        "The grain burns evenly at right angles to its faces; an off-centre core or "
        "burnt-through inhibitor is not modelled."
    ),
    "throat wear": "The throat keeps its size; deposits or wear are not modelled.",
}


def port_caution(port_to_throat: float) -> str:
    """Return a caution if the port is narrow or unknown, else an empty string.

    Examples
    --------
    >>> port_caution(3.0)
    ''
    """
    if np.isnan(port_to_throat):
        return "port-to-throat area ratio unknown: erosive burning cannot be judged"
    if port_to_throat >= PORT_TO_THROAT_LIMIT:
        return ""
    return (
        f"port-to-throat area ratio {port_to_throat:.2f} is below "
        f"{PORT_TO_THROAT_LIMIT:g} (common practice, no source): erosive burning can "
        "raise the pressure at the start above the peak given here"
    )


def pressure_rise(
    law: BurnLaw | Bands,
    supply: ArrayLike,
    added_area: ArrayLike,
    *,
    branch: str = "highest",
) -> FloatArray:
    r"""Return the relative rise of pressure when burning area is added. [-]

    For one band :math:`(1 + x)^{1/(1-n)} - 1`; else from the roots of the law.

    Parameters
    ----------
    law : BurnLaw or Bands
    supply : array_like
        Without the added area, see :func:`castsugar.motor.balance.supply`. [Pa s/m]
    added_area : array_like
        Share of the burning area, above -1: 0.1 is 10 % more. [-]
    branch : str
        "highest" or "lowest" stable pressure; before and after alike.

    Raises
    ------
    InputError
        An exponent of 1 or more, an area below nothing.

    Examples
    --------
    >>> law = balance.power_law(8e-3, 0.5)
    >>> round(float(pressure_rise(law, 2e8, 0.1)), 6)
    0.21
    """
    one_of("branch", branch, BRANCHES)
    bands = balance.as_bands(law)
    x = np.asarray(added_area, dtype=float)
    if np.any(~(x > -1.0)):
        raise InputError(
            f"added area is {x[~(x > -1.0)].flat[0]:g} of the burning area; "
            "it must be above -1"
        )
    s = np.asarray(supply, dtype=float)
    before, after = balance.roots(bands, s), balance.roots(bands, s * (1.0 + x))
    if branch == "highest":
        return np.asarray(after.highest() / before.highest() - 1.0)
    return np.asarray(after.lowest() / before.lowest() - 1.0)
