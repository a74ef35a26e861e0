"""What was burned, as the rows of one table: strands, firings, published laws."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor import scatter
from castsugar.motor.burn_law import BORROWED_DOUBT, BurnLaw, burn_rate
from castsugar.motor.scatter import PROCESSES
from castsugar.motor.strand_fit import replicates
from castsugar.numerics import nonnegative_least_squares

STRANDS, FIRING, FOREIGN, PUBLISHED, STATED = KINDS = (
    "strands",
    "firing",
    "foreign",
    "published",
    "stated",
)

#: What is one sugar for the model of burn rates: ground or not, it dissolves (assumed;
#: the 3 % of starch in powdered sugar are left out).
_ALIKE = {"powdered sugar": "sucrose"}

#: Mass fractions sum to 1 within this.
_SUM = 1e-4

#: Rows of a stated law lie so far, in ln p, from its own pressure: nearer, and the
#: model takes a steep law for a bend.
_ASIDE = 1.0


def alike(name: str) -> str:
    """Return what an ingredient counts as in the model."""
    return _ALIKE.get(name, name)


def coordinates(fractions: Mapping[str, float]) -> dict[str, float]:
    """Return a composition in the coordinates of the model.

    Parameters
    ----------
    fractions : mapping
        Catalogue name to mass fraction as weighed.

    Examples
    --------
    >>> coordinates({"potassium nitrate": 0.6, "powdered sugar": 0.4})
    {'potassium nitrate': 0.6, 'sucrose': 0.4}
    """
    found: dict[str, float] = {}
    for name, share in fractions.items():
        known = alike(name)
        found[known] = found.get(known, 0.0) + float(share)
    return found


#: Share of the mass by which a mix may lie outside of others and still be between them.
_HAIR = 2e-3


def between(
    fractions: Mapping[str, float], others: Sequence[Mapping[str, float]]
) -> bool:
    """Say whether a composition is a mixture of others, to 0.2 % of the mass (ours).

    Examples
    --------
    >>> ends = [{"sucrose": 0.2, "water": 0.8}, {"sucrose": 0.6, "water": 0.4}]
    >>> between({"sucrose": 0.3, "water": 0.7}, ends)
    True
    >>> between({"sucrose": 0.61, "water": 0.39}, ends)
    False
    """
    wanted, known = coordinates(fractions), [coordinates(one) for one in others]
    names = dict.fromkeys(name for one in (wanted, *known) for name in one)
    corners = np.array([[one.get(name, 0.0) for one in known] for name in names])
    target = np.array([wanted.get(name, 0.0) for name in names])
    shares = nonnegative_least_squares(
        np.vstack([corners, np.full(len(known), 1e3)]), np.append(target, 1e3)
    )
    return bool(0.5 * np.abs(corners @ shares - target).sum() < _HAIR)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Burned:
    """Strands of one batch, one firing, or what was not measured here.

    Not measured here are strands of another bench, published and stated laws.

    Attributes
    ----------
    name : str
        What the mix is called.
    fractions : dict of str to float
        Catalogue name to mass fraction, as weighed; sum 1.
    pressure, rate : ndarray, shape (n,)
        Absolute [Pa]; [m/s].
    kind : str
        "strands", "firing", "published", "stated", or "foreign": of another bench.
    batch : str
        Which pot it came from: two entries of one mix and one batch share it.
    bench : str
        Whose bench it was burned on, where that is not the user's.
    log_rate_u, exponent_u : float
        Standard uncertainties that the entry brings: of the reading of a firing, of a
        published or stated law. [-]
    shared_u : float
        The part of the first that all entries share which have one: the efficiency
        that filmed firings take, the eye that judges their ends.
    process : str
        "cooked syrup", "boiled down", "melted dry" or "pressed".
    degraded : float
        Degraded share of its sugar. [-]
    source : str
        File, or where a law comes from.
    cautions : tuple of str
        What is to be looked at again in it.
    invented : tuple of str
        What of it nobody measured.

    See Also
    --------
    castsugar.motor.BurnModel : takes it.
    castsugar.motor.burn_rate : rates of a law in pressure bands, to be stated here.

    Raises
    ------
    InputError
        For what cannot be a rate, a composition or an uncertainty.

    Examples
    --------
    >>> import numpy as np
    >>> burned = Burned(
    ...     name="invented",
    ...     fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
    ...     pressure=np.array([1e6, 2e6, 4e6]),
    ...     rate=np.array([8.0e-3, 9.5e-3, 11.0e-3]),
    ... )
    >>> burned.measured
    True
    """

    name: str
    fractions: Mapping[str, float]
    pressure: FloatArray
    rate: FloatArray
    kind: str = STRANDS
    batch: str = ""
    bench: str = ""
    log_rate_u: float = 0.0
    exponent_u: float = 0.0
    shared_u: float = 0.0
    process: str = PROCESSES[0]
    degraded: float = 0.0
    source: str = ""
    cautions: tuple[str, ...] = ()
    invented: tuple[str, ...] = ()
    shares: dict[str, float] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Check it, and keep the composition in the coordinates of the model."""
        p = np.atleast_1d(np.asarray(self.pressure, dtype=float))
        r = np.atleast_1d(np.asarray(self.rate, dtype=float))
        object.__setattr__(self, "pressure", p)
        object.__setattr__(self, "rate", r)
        object.__setattr__(self, "shares", coordinates(self.fractions))
        good = p.shape == r.shape and p.size and np.all(np.isfinite(p) & np.isfinite(r))
        if not (good and np.all(p > 0.0) and np.all(r > 0.0)):
            raise InputError(
                f"burn rates of {self.name!r}: give as many pressures as rates, one or "
                "more, finite and above 0"
            )
        total = math.fsum(self.shares.values())
        least = min(self.shares.values(), default=-1.0)
        if not (least >= 0.0 and abs(total - 1.0) <= _SUM):
            raise InputError(
                f"{self.name!r}: mass fractions must be 0 or more and sum to 1; they "
                f"sum to {total:g}"
            )
        if self.kind not in KINDS or self.process not in PROCESSES:
            raise InputError(
                f"{self.name!r} is of kind {self.kind!r} and process {self.process!r}; "
                f"allowed: {', '.join(KINDS)}; {', '.join(PROCESSES)}"
            )
        if (self.kind == FOREIGN) != bool(self.bench):
            raise InputError(
                f"{self.name!r}: strands of another bench, and they alone, name it"
            )
        if not (self.log_rate_u >= 0.0 <= self.exponent_u):
            raise InputError(f"{self.name!r}: an uncertainty must be 0 or more")
        if not 0.0 <= self.shared_u <= self.log_rate_u:
            raise InputError(
                f"{self.name!r}: of an uncertainty of {100.0 * self.log_rate_u:g} % "
                f"{100.0 * self.shared_u:g} % are shared; give 0 or more, at most all "
                "of it"
            )
        if not 0.0 <= self.degraded <= 1.0:
            raise InputError(
                f"{self.name!r}: degraded share is {self.degraded:g}; allowed: 0 to 1"
            )

    @property
    def measured(self) -> bool:
        """Whether it was burned by the user: strands or a firing."""
        return self.kind in (STRANDS, FIRING)


def published(law: BurnLaw, fractions: Mapping[str, float]) -> Burned:
    """Return a published law as evidence: never more than two rows.

    At the ends of its tested pressures, within those of a motor; one row in the middle
    where they are not known.
    """
    low, high = law.tested
    known = low > 0.0 and math.isfinite(high)
    at = np.array([low, high]) if known else np.array([scatter.CENTRE])
    return Burned(
        name=law.name,
        fractions=fractions,
        kind=PUBLISHED,
        pressure=at,
        rate=burn_rate(law, at),
        log_rate_u=max(BORROWED_DOUBT, law.log_rate_u),
        exponent_u=scatter.PUBLISHED_EXPONENT,
        source=law.source,
        invented=law.invented,
    )


def stated(law: BurnLaw, fractions: Mapping[str, float]) -> Burned:
    """Return a law that the user states, with its own uncertainty, as evidence."""
    at = law.centre * np.exp([-_ASIDE, _ASIDE])
    slope = 0.0 if law.covariance is None else math.sqrt(law.covariance[1][1])
    return Burned(
        name=law.name,
        fractions=fractions,
        kind=STATED,
        batch=f"stated, {law.name}",
        pressure=at,
        rate=burn_rate(law, at),
        log_rate_u=law.log_rate_u,
        exponent_u=slope,
        source=law.source,
        invented=law.invented,
    )


# ----------------------------------------------------------------------------
# Rows: strands of one batch at one pressure are one, with their number.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Places:
    """Where a rate is known or asked for: n of them."""

    fractions: FloatArray  # in the model's coordinates, (n, k)
    x: FloatArray  # ln of the pressure over motor.scatter.CENTRE, (n,)
    batch: NDArray[np.intp]  # -1 where the batch scatter has no part in it, (n,)
    motor: BoolArray  # rates in a motor, not of strands, (n,)
    process: NDArray[np.intp]  # -1 for that of most rows, which is no effect, (n,)
    degraded: FloatArray  # (n,)

    def __len__(self) -> int:
        return len(self.x)


def places_of(
    fractions: FloatArray,
    x: ArrayLike,
    *,
    batch: ArrayLike = -1,
    motor: ArrayLike = False,
    process: ArrayLike = -1,
    degraded: ArrayLike = 0.0,
) -> Places:
    """Return places; what is one value is that of all. See :class:`Places`."""
    n = len(fractions)
    return Places(
        fractions=fractions,
        x=np.broadcast_to(np.asarray(x, dtype=float), n),
        batch=np.broadcast_to(np.asarray(batch, dtype=int), n),
        motor=np.broadcast_to(np.asarray(motor, dtype=bool), n),
        process=np.broadcast_to(np.asarray(process, dtype=int), n),
        degraded=np.broadcast_to(np.asarray(degraded, dtype=float), n),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rows:
    """All that was burned, as rows."""

    components: tuple[str, ...]
    places: Places  # of m rows
    log_rate: FloatArray  # ln r, in m/s, (m,)
    strands: FloatArray  # how many were merged; 0 in rows that are no strands, (m,)
    fixed: FloatArray  # covariance that the entries bring themselves, (m, m)
    #: Sum of squares within rows, and its degrees of freedom.
    squares: float
    freedom: float
    batches: tuple[str, ...]  # names, by number
    usual: int  # the process of most rows, in PROCESSES; the user's own before others
    #: What the squared scatter between benches counts: once between rows that are not
    #: of the user's bench, for that lies apart from all of them; twice within another
    #: one, (m, m). None: all rows are of the user's bench.
    elsewhere: FloatArray | None = None

    def aligned(
        self, fractions: ArrayLike, components: Sequence[str]
    ) -> tuple[FloatArray, FloatArray]:
        """Return compositions in the model's order, and what is foreign to it.

        Returns
        -------
        known : ndarray, shape (n, k)
        foreign : ndarray, shape (n,)
            Sum of the squares of mass fractions of other ingredients.
        """
        w = np.atleast_2d(np.asarray(fractions, dtype=float))
        known = np.zeros((len(w), len(self.components)))
        other: dict[str, FloatArray] = {}
        for name, column in zip(components, w.T, strict=True):
            own = alike(name)
            if own in self.components:
                known[:, self.components.index(own)] += column
            else:
                other[own] = other.get(own, 0.0) + column
        foreign = np.zeros(len(w))
        for column in other.values():
            foreign = foreign + column**2
        return known, foreign

    def over(
        self, mixes: Sequence[Mapping[str, float]]
    ) -> tuple[tuple[str, ...], FloatArray]:
        """Return mixes over the components of the rows, then over foreign ones.

        Parameters
        ----------
        mixes : sequence of mapping
            In the model's coordinates.
        """
        names = tuple(dict.fromkeys((*self.components, *(n for m in mixes for n in m))))
        return names, _table(mixes, names)

    def widened(self, components: Sequence[str]) -> Places:
        """Return the places with more components, their own first."""
        more = len(components) - len(self.components)
        w = np.pad(self.places.fractions, ((0, 0), (0, more)))
        return replace(self.places, fractions=w)


@dataclass(slots=True)
class _Row:
    of: Burned
    x: float
    y: float
    count: int
    sessions: int = 1


def rows_of(evidence: Sequence[Burned]) -> Rows:
    """Put evidence into rows; the order in which it comes does not matter."""
    components = tuple(
        sorted({*scatter.CENTRE_MIX, *(n for one in evidence for n in one.shares)})
    )
    entries = sorted(evidence, key=_order)
    rows, squares, freedom = [], 0.0, 0
    for one in _by_batch(entries):
        found, more, left = _merged(one)
        rows += found
        squares, freedom = squares + more, freedom + left
    own = [row for row in rows if not row.of.bench]
    usual = _usual([row.of.process for row in own or rows])
    batches = tuple(sorted({row.of.batch for row in own if row.of.batch}))
    kinds = [PROCESSES.index(row.of.process) for row in rows]
    places = places_of(
        _table([row.of.shares for row in rows], components),
        [row.x for row in rows],
        batch=[
            batches.index(r.of.batch) if r.of.batch and not r.of.bench else -1
            for r in rows
        ],
        motor=[row.of.kind == FIRING for row in rows],
        process=[-1 if p == usual else p for p in kinds],
        degraded=[row.of.degraded for row in rows],
    )
    return Rows(
        components=components,
        places=places,
        log_rate=np.array([row.y for row in rows]),
        strands=np.array([r.count * (r.of.kind == STRANDS) for r in rows], dtype=float),
        fixed=_fixed(rows),
        squares=squares,
        freedom=float(freedom),
        batches=batches,
        usual=usual,
        elsewhere=_elsewhere(rows),
    )


def _table(mixes: Sequence[Mapping[str, float]], names: Sequence[str]) -> FloatArray:
    """Return mass fractions over these names, a row a mix."""
    rows = [[mix.get(name, 0.0) for name in names] for mix in mixes]
    return np.array(rows, dtype=float).reshape(-1, len(names))


def _order(one: Burned) -> tuple[object, ...]:
    shares = tuple(sorted(one.shares.items()))
    return one.kind, one.batch, shares, tuple(one.pressure), tuple(one.rate)


def _usual(processes: Sequence[str]) -> int:
    """Return the process of most rows; the first one in the list if it is a tie."""
    counts = [processes.count(p) for p in PROCESSES]
    return counts.index(max(counts))


def _by_batch(entries: Sequence[Burned]) -> list[list[Burned]]:
    """Put strands of one batch and mix together; all else stands alone."""
    found: dict[object, list[Burned]] = {}
    for index, one in enumerate(entries):
        shares = tuple(sorted(one.shares.items()))
        together = one.kind == STRANDS and one.batch
        key = (one.batch, shares, one.process) if together else index
        found.setdefault(key, []).append(one)
    return list(found.values())


def _merged(entries: Sequence[Burned]) -> tuple[list[_Row], float, int]:
    """Return the rows of one batch, the squares within them, their freedom."""
    first = entries[0]
    p = np.concatenate([one.pressure for one in entries])
    y = np.log(np.concatenate([one.rate for one in entries]))
    x = np.log(p / scatter.CENTRE)
    if first.kind not in (STRANDS, FOREIGN):
        pairs = zip(x.tolist(), y.tolist(), strict=True)
        return [_Row(first, a, b, 0) for a, b in pairs], 0.0, 0
    order = np.lexsort((y, x))
    x, y, p = x[order], y[order], p[order]
    group = replicates(p)
    if first.bench:
        return _halves(first, x, y, group), 0.0, 0
    rows, squares = [], 0.0
    for number in range(int(group.max()) + 1):
        own = group == number
        mean, count = float(y[own].mean()), int(own.sum())
        squares += float(((y[own] - mean) ** 2).sum())
        rows.append(_Row(first, float(x[own].mean()), mean, count))
    return rows, squares, len(y) - len(rows)


def _halves(
    of: Burned, x: FloatArray, y: FloatArray, sessions: NDArray[np.intp]
) -> list[_Row]:
    """Return the rows of a batch of another bench: two at most.

    The means of its lower and of its upper pressures. Level and slope are all that
    its bench leaves to be told; a row a pressure would make every answer wait.
    """
    upper = x - x[0] > max(0.5 * (x[-1] - x[0]), 1e-9)
    return [
        _Row(
            of,
            float(x[own].mean()),
            float(y[own].mean()),
            int(own.sum()),
            len(set(sessions[own].tolist())),
        )
        for own in (~upper, upper)
        if own.any()
    ]


def _elsewhere(rows: Sequence[_Row]) -> FloatArray | None:
    """Return how often the squared scatter between benches counts; see `Rows`."""
    benches = np.array([row.of.bench for row in rows], dtype=object)
    foreign = benches != ""
    if not foreign.any():
        return None
    same = benches[:, None] == benches
    return np.asarray(np.outer(foreign, foreign) * (1.0 + same))


def _fixed(rows: Sequence[_Row]) -> FloatArray:
    """Return the covariance that entries bring themselves, (m, m)."""
    found = np.zeros((len(rows), len(rows)))
    for (i, one), (j, other) in itertools.product(enumerate(rows), repeat=2):
        entry = one.of
        if entry is not other.of:
            found[i, j] = entry.shared_u * other.of.shared_u
            continue
        if entry.kind == STRANDS:
            continue
        if entry.kind == FOREIGN:
            found[i, j] = scatter.BATCH_ELSEWHERE**2
            found[i, j] += one.x * other.x * scatter.EXPONENT_BATCH**2
            if i == j:
                found[i, i] += scatter.SESSION_ELSEWHERE**2 / one.sessions
                found[i, i] += scatter.STRAND_ELSEWHERE**2 / one.count
            continue
        middle = float(np.log(entry.pressure / scatter.CENTRE).mean())
        centre = 0.0 if entry.kind == PUBLISHED else middle
        lever = (one.x - centre) * (other.x - centre)
        found[i, j] = entry.log_rate_u**2 + lever * entry.exponent_u**2
        if i == j and entry.kind == PUBLISHED:
            found[i, j] += scatter.PUBLISHED_ROW**2
    return found
