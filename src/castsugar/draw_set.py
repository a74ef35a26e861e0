"""The one set of points that everything uncertain is drawn from.

Sobol's points, scrambled, one dimension a named doubt. Whoever draws a doubt asks for
it by name and gets the same numbers, so that one quantity has one value whichever
command shows it, and what two mixes share cancels in their difference.
"""

from __future__ import annotations

import functools
import hashlib

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import FloatArray
from castsugar.special import ndtri

#: Points of the set, and its seed. A smaller number takes the first ones.
DRAWS, SEED = 2048, 1

#: A table of more mixes than `MANY` takes this many points, a block of the set.
FEW_DRAWS, MANY = 256, 200

#: Doubts with a dimension of their own, in the order of the dimensions: what matters
#: most comes first, a new one goes to the end, so that no other moves. A doubt of a
#: family, ``"burn law|rate|base"``, goes with the longest head of its name that stands
#: here, in an order of its own.
NAMED = (
    "kitchen|syrup_solids",
    "kitchen|syrup_grade",
    "kitchen|packing",
    "kitchen|nitrate_dissolved",
    "kitchen|solubility_loss",
    "kitchen|drying_time",
    "kitchen|liquid_factor",
    "kitchen|thermometer",
    "burn law|rate",
    "burn law|exponent",
    "burn law|freedom",  # free but for the width of the batch scatter
    "motor|density",
    "motor|throat_diameter",
    "motor|area",
    "motor|characteristic_velocity",
    "motor|temperature",
    "mix|characteristic_velocity",
    "product data",
    "chamber pressure",
    "moisture|potassium nitrate",
    "moisture|sucrose",
    "enthalpy|potassium nitrate",
    "enthalpy|sucrose",
    "enthalpy|syrup solids",
    "dextrose equivalent|light corn syrup",
    "delay|chamber pressure",
    "delay|burn time",
    "delay|ambient pressure",
    "delay|length",
    "kitchen reading",
    "motor|nozzle",
    "burn law|batch",
    "burn law|process",
    "burn law|firing",
    "motor|throat growth",
    "motor|temperature sensitivity",
    "kitchen|law_exponent",
    "kitchen|chloride_dissolved",
    "kitchen|dry_packing",
    "kitchen|nitrate_trend",
    "kitchen|fines_gain",
    "kitchen|nitrate_carried",
)

#: Whose dimension the width of the batch scatter takes, for its heavy tail.
WIDTH = "burn law|freedom"


def draws_of(mixes: int, draws: int = DRAWS) -> int:
    """Return how many points a table of so many mixes takes.

    Examples
    --------
    >>> draws_of(200), draws_of(201), draws_of(5000, 100)
    (2048, 256, 100)
    """
    return draws if mixes <= MANY else min(draws, FEW_DRAWS)


# ----------------------------------------------------------------------------
# Sobol's points.
#
# I. M. Sobol', USSR Comput. Math. Math. Phys. 7 (1967) 86 (from memory); direction
# numbers of S. Joe & F. Y. Kuo, SIAM J. Sci. Comput. 30 (2008) 2635, table
# "new-joe-kuo-6.21201", as scipy ships it.

_BITS = 32

#: Primitive polynomial with all its coefficients as bits, and first direction numbers,
#: of every dimension after the first.
_DIRECTIONS = (
    (3, (1,)),
    (7, (1, 3)),
    (11, (1, 3, 1)),
    (13, (1, 1, 1)),
    (19, (1, 1, 3, 3)),
    (25, (1, 3, 5, 13)),
    (37, (1, 1, 5, 5, 17)),
    (41, (1, 1, 5, 5, 5)),
    (47, (1, 1, 7, 11, 19)),
    (55, (1, 1, 5, 1, 1)),
    (59, (1, 1, 1, 3, 11)),
    (61, (1, 3, 5, 5, 31)),
    (67, (1, 3, 3, 9, 7, 49)),
    (91, (1, 1, 1, 15, 21, 21)),
    (97, (1, 3, 1, 13, 27, 49)),
    (103, (1, 1, 1, 15, 7, 5)),
    (109, (1, 3, 1, 15, 13, 25)),
    (115, (1, 1, 5, 5, 19, 61)),
    (131, (1, 3, 7, 11, 23, 15, 103)),
    (137, (1, 3, 7, 13, 13, 15, 69)),
    (143, (1, 1, 3, 13, 7, 35, 63)),
    (145, (1, 3, 5, 9, 1, 25, 53)),
    (157, (1, 3, 1, 13, 9, 35, 107)),
    (167, (1, 3, 1, 5, 27, 61, 31)),
    (171, (1, 1, 5, 11, 19, 41, 61)),
    (185, (1, 3, 5, 3, 3, 13, 69)),
    (191, (1, 1, 7, 13, 1, 19, 1)),
    (193, (1, 3, 7, 5, 13, 19, 59)),
    (203, (1, 1, 3, 9, 25, 29, 41)),
    (211, (1, 3, 5, 13, 23, 1, 55)),
    (213, (1, 3, 7, 3, 13, 59, 17)),
    (229, (1, 3, 1, 3, 5, 53, 69)),
    (239, (1, 1, 5, 5, 23, 33, 13)),
    (241, (1, 1, 7, 7, 1, 61, 123)),
    (247, (1, 1, 7, 9, 13, 61, 49)),
    (253, (1, 3, 3, 5, 3, 55, 33)),
    (285, (1, 3, 1, 15, 31, 13, 49, 245)),
    (299, (1, 3, 5, 15, 31, 59, 63, 97)),
    (301, (1, 3, 1, 11, 11, 11, 77, 249)),
    (333, (1, 3, 1, 11, 27, 43, 71, 9)),
    (351, (1, 1, 7, 15, 21, 11, 81, 45)),
    (355, (1, 3, 7, 3, 25, 31, 65, 79)),
)
DIMENSIONS = 1 + len(_DIRECTIONS)

_Words = NDArray[np.uint32]


def directions(dimension: int) -> _Words:
    """Return the direction numbers of a dimension, as fractions of 2^32, (32,)."""
    if dimension == 0:
        found = [1] * _BITS
    else:
        polynomial, first = _DIRECTIONS[dimension - 1]
        degree, found = len(first), list(first)
        for k in range(degree, _BITS):
            new = found[k - degree] ^ (found[k - degree] << degree)
            for i in range(1, degree):
                new ^= (polynomial >> (degree - i) & 1) * (found[k - i] << i)
            found.append(new)
    words = [m << (_BITS - 1 - k) for k, m in enumerate(found)]
    return np.array(words, dtype=np.uint32)


def points(words: _Words, count: int) -> _Words:
    """Return the first points of a dimension as fractions of 2^32, in Gray order."""
    index = np.arange(count, dtype=np.uint32)
    gray = index ^ (index >> 1)
    found = np.zeros(count, dtype=np.uint32)
    for k in range(int(count).bit_length()):
        found ^= np.where(gray >> k & 1, words[k], np.uint32(0))
    return found


# ----------------------------------------------------------------------------
# Their scramble, and what a name gets.
#
# Random linear scramble and digital shift: J. Matousek, J. Complexity 14 (1998) 527.
# Members of a family share a dimension, each in an order of its own, as in Latin
# supercube sampling: A. B. Owen, ACM Trans. Model. Comput. Simul. 8 (1998) 71 (both
# from memory); shuffled within blocks of 256, so that the first block is spread as
# evenly as the whole.


def chances(name: str, count: int, seed: int = SEED) -> FloatArray:
    """Return the chances of a doubt, spread evenly over 0 to 1, (count,).

    Parameters
    ----------
    name : str
        Of :data:`NAMED`, of a family there, or any other.
    count : int
        The first so many points of the set.
    seed : int
        Of the scramble.

    Returns
    -------
    ndarray, shape (count,)
        Never 0 or 1.

    Examples
    --------
    >>> few, more = chances("chamber pressure", 4), chances("chamber pressure", 2048)
    >>> bool((few == more[:4]).all())
    True
    """
    return _chances(name, max(int(count), DRAWS), int(seed))[:count]


def normals(name: str, count: int, seed: int = SEED) -> FloatArray:
    """Return standard normal scores of a doubt, as :func:`chances`, (count,)."""
    return _normals(name, max(int(count), DRAWS), int(seed))[:count]


def block(dimensions: int, start: int, count: int, seed: int) -> FloatArray:
    """Return some of the plain points of a sequence that goes on, (count, dimensions).

    Of a set of its own, for what is no named doubt; never 0 or 1.
    """
    found = np.empty((count, dimensions))
    for dimension in range(dimensions):
        words, shift = _scrambled(dimension, seed)
        drawn = points(words, start + count)[start:] ^ shift
        found[:, dimension] = (drawn + 0.5) / 2.0**_BITS
    return found


@functools.lru_cache(maxsize=256)
def _normals(name: str, count: int, seed: int) -> FloatArray:
    return _kept(ndtri(_chances(name, count, seed)))


@functools.lru_cache(maxsize=64)
def _chances(name: str, count: int, seed: int) -> FloatArray:
    head = _head(name)
    words, shift = _scrambled(NAMED.index(head) + 1 if head else 0, seed)
    blocks = -(-count // FEW_DRAWS)
    found = ((points(words, blocks * FEW_DRAWS) ^ shift) + 0.5) / 2.0**_BITS
    if name != head:
        mixed = _stream(name, seed).random((blocks, FEW_DRAWS)).argsort(axis=1)
        found = np.take_along_axis(found.reshape(mixed.shape), mixed, axis=1).ravel()
    return _kept(found[:count])


def _head(name: str) -> str:
    """Return the longest head of a name that has a dimension; empty for none."""
    parts = name.split("|")
    heads = ["|".join(parts[:length]) for length in range(len(parts), 0, -1)]
    return next((head for head in heads if head in NAMED), "")


def _scrambled(dimension: int, seed: int) -> tuple[_Words, np.uint32]:
    """Return the scrambled direction numbers of a dimension, and the shift."""
    rng = np.random.default_rng([seed, dimension])
    drawn = rng.integers(0, 2**_BITS, _BITS + 1, dtype=np.uint32)
    bits = np.uint32(1) << np.arange(_BITS, dtype=np.uint32)[::-1]
    columns = bits | (drawn[1:] & (bits - np.uint32(1)))
    chosen = np.where(directions(dimension)[:, None] & bits, columns, np.uint32(0))
    return np.bitwise_xor.reduce(chosen, axis=1), drawn[0]


def _stream(name: str, seed: int) -> np.random.Generator:
    digest = hashlib.blake2b(name.encode(), digest_size=8).digest()
    return np.random.default_rng([seed, int.from_bytes(digest, "little")])


def _kept(values: ArrayLike) -> FloatArray:
    """Return values that nobody can change: they are shared."""
    found = np.asarray(values, dtype=float)
    found.flags.writeable = False
    return found
