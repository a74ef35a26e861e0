"""Letter of a total impulse, as public tables give it."""

from __future__ import annotations

import math
import string
from typing import Final

from castsugar.errors import InputError

#: Highest total impulse of letter A [N s]; each letter after it doubles. NFPA 1125
#: and public tables of it: A is 1.26 to 2.50 N s, 40.00 is E, 40.01 is F.
_HIGHEST_A: Final = 2.5

#: Below A, from memory: halves of A, of which 1/8A takes everything smaller.
_BELOW_A: Final = ((0.3125, "1/8A"), (0.625, "1/4A"), (1.25, "1/2A"))

#: A sum that misses an edge by rounding alone still belongs below it.
_ROUNDING: Final = 1e-12


def impulse_class(total_impulse: float) -> str:
    """Return the letter of a total impulse [N s].

    The letter is a size, not an approval: only certified motors bear one.

    Raises
    ------
    InputError
        Not a positive number, or beyond the letter Z.

    Examples
    --------
    >>> [impulse_class(x) for x in (1.0, 2.5, 40.0, 40.01, 160.01)]
    ['1/2A', 'A', 'E', 'F', 'H']
    """
    if not (math.isfinite(total_impulse) and total_impulse > 0):
        raise InputError(
            f"total impulse is {total_impulse:g} N s; it must be a number above 0"
        )
    value = total_impulse * (1.0 - _ROUNDING)
    for highest, name in _BELOW_A:
        if value <= highest:
            return name
    highest = _HIGHEST_A
    for letter in string.ascii_uppercase:
        if value <= highest:
            return letter
        highest *= 2.0
    raise InputError(f"total impulse is {total_impulse:g} N s; letters end at Z")
