"""Check certificates of flames and of their expansion, trusting no solver.

``python check.py FILE...`` needs python-flint alone: copy it anywhere. It ends with 1
if a claim is not proved, with 2 without flint. Only the stated problem (elements b,
enthalpy H0, pressure, species) is trusted: arithmetic is proved, not data. JSON
numbers are doubles.
The equilibrium at T, p minimises G/RT = sum n_j (g_j + ln y_j) + sum n_k g_k, n >= 0
with elements b; gases j have g = mu0/RT + ln(p/p0), condensed phases k g = mu0/RT. Such
an n bounds it from above; b.pi from below if sum_j exp(a_j.pi - g_j) <= 1 and
a_k.pi <= g_k: sum n_j (g_j + ln y_j - a_j.pi) >= -N ln sum_j exp(a_j.pi - g_j) >= 0.
Let psi(T) = (H0 - G(T))/T. For fixed n, G/T has in x = 1/T the slope H and the second
derivative -T^2 cp: concave where every cp > 0. So is the least over n, and psi is
convex in x, with slope H0 - H(T). If psi(O) by an n exceeds psi(I) by a pi, O > I, psi
rises there and beyond: H > H0 at O and all that is hotter. Likewise for O < I: H < H0
at O and all that is colder. Between two joins of fits (a stretch), and 1 K beyond,
cp > 0 is proved. A stretch needs a pair (O, I) for what of it is hotter than T + d and
one for what is colder than T - d. So H crosses H0 between, on a melting plateau, too.
The least psi is the entropy S0 of the flame; a pi at T +- d bounds it by convexity. For
an expansion bounds of S0 are given in place of H0: -(G + T S0), convex in T with slope
S - S0, takes the part of psi, and -h that of S0.
"""

import json
import sys
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

try:
    from flint import arb, arb_mat, arb_poly, ctx, fmpq
except ImportError:
    if __name__ != "__main__":
        raise
    sys.stderr.write("python-flint is not installed: pip install python-flint\n")
    sys.exit(2)

BITS, BEYOND = 160, 1  # of the balls; of a stretch [K]


class RefusedError(ValueError):
    """A certificate does not prove what it claims; the text says why."""


def ball(value: Fraction | float | str) -> arb:
    """Return the ball of a number: doubles and fractions are meant exactly."""
    return arb(fmpq(*Fraction(value).as_integer_ratio()))


def _need(holds: Any, why: str) -> None:
    if not holds:
        raise RefusedError(why)


class Species:
    """The species of a problem: atoms, and fits between all joins, in balls."""

    def __init__(self, stated: list[dict[str, Any]], low: float, high: float):
        self.gases = sum(bool(one["gas"]) for one in stated)
        self.place = {str(one["name"]): index for index, one in enumerate(stated)}
        first = all(one["gas"] for one in stated[: self.gases])
        _need(
            first and len(self.place) == len(stated), "gases first, names that differ"
        )
        self.atoms = [[int(n) for n in one["atoms"]] for one in stated]
        inner = {t for one in stated for t in one["joins"] if low < t < high}
        self.ends = [low, *sorted(inner), high]
        self.matrix, ends = arb_mat(self.atoms), pairwise(self.ends)
        self.fits = [arb_mat([_fit(one, *two) for one in stated]) for two in ends]

    def gibbs(self, k: int, t: arb, log_p: arb) -> list[arb]:
        """Return g of every species at T by the fits of stretch k."""
        terms = [-1 / (2 * t * t), (t.log() + 1) / t, 1 - t.log(), -t / 2, -t * t / 6]
        terms += [-(t**3) / 12, -(t**4) / 20, 1 / t, arb(-1)]
        found = (self.fits[k] * arb_mat([[x] for x in terms])).entries()
        return [g + log_p for g in found[: self.gases]] + found[self.gases :]

    def distances(self, g: list[arb], pi: list[arb]) -> tuple[arb, list[arb]]:
        """Return ln sum exp(a_j.pi - g_j) of the gases, and g_k - a_k.pi."""
        held = (self.matrix * arb_mat([[x] for x in pi])).entries()
        above = [one - own for one, own in zip(held, g, strict=True)]
        gas = sum((one.exp() for one in above[: self.gases]), arb(0)).log()
        return gas, [-one for one in above[self.gases :]]


def _fit(one: dict[str, Any], start: float, end: float) -> list[arb]:
    joins, fits, name = list(one["joins"]), one["fits"], one["name"]
    fit = [arb(x) for x in fits[sum(t <= start for t in joins)]]
    sound = joins == sorted(joins) and len(fits) == len(joins) + 1 and len(fit) == 9
    _need(sound, f"{name}: fits of nine numbers, joins that rise")
    low, high = Fraction(start) - BEYOND, Fraction(end) + BEYOND
    _need(_positive(arb_poly(fit[:7]), low, high), f"{name}: cp > 0 is not proved")
    return fit


def _positive(heat: arb_poly, low: Fraction, high: Fraction, depth: int = 12) -> bool:
    middle, half = (low + high) / 2, (high - low) / 2
    first, *rest = heat(arb_poly([ball(middle), ball(half)])).coeffs()
    if first > sum((abs(x) for x in rest), arb(0)):
        return True
    halves = ((low, middle), (middle, high))
    return depth > 0 and all(_positive(heat, *half, depth - 1) for half in halves)


def sides(ends: list[float], t: Fraction, d: Fraction) -> Any:
    """Yield what needs a pair: a stretch, whether the hotter side of it, and O [K]."""
    for index, (low, high) in enumerate(pairwise(ends)):
        if high > t + d:
            yield index, True, max(Fraction(low), t + d)
        if low < t - d:
            yield index, False, min(Fraction(high), t - d)


class Problem:
    """What a certificate states, and psi/R of it: one a given number."""

    def __init__(self, told: dict[str, Any], species: Species | None = None) -> None:
        low, high = told["lowest_temperature_K"], told["highest_temperature_K"]
        self.species = species or Species(told["species"], low, high)
        self.b = [Fraction(x) for x in told["elements_mol_kg"]]
        self.unit = ball(told["gas_constant_J_mol_K"])
        self.flame = "enthalpy_J_kg" in told
        given = [told["enthalpy_J_kg"]] * 2 if self.flame else told["entropy_J_kg_K"]
        self.given = [ball(given[end]) / self.unit for end in (0, 1)]
        pressure, standard = told["pressure_Pa"], told["reference_pressure_Pa"]
        self.log_p = (ball(pressure) / ball(standard)).log()

    def _psi(self, t: arb, g: arb) -> list[arb]:
        return [one / t - g if self.flame else -t * (g + one) for one in self.given]

    def below(self, k: int, t: Fraction, amounts: dict[str, str]) -> list[arb]:
        """Bound psi by a composition that holds the elements exactly."""
        own, g = self.species, self.species.gibbs(k, ball(t), self.log_p)
        n = {own.place[name]: Fraction(text) for name, text in amounts.items()}
        for element, given in enumerate(self.b):
            held = sum(x * own.atoms[j][element] for j, x in n.items())
            _need(held == given and min(n.values()) > 0, "the elements are not kept")
        gas = ball(sum(x for j, x in n.items() if j < own.gases))
        for j in n.keys() & set(range(own.gases)):
            g[j] += (ball(n[j]) / gas).log()
        return self._psi(ball(t), sum((ball(x) * g[j] for j, x in n.items()), arb(0)))

    def above(self, k: int, t: Fraction, potentials: list[str]) -> list[arb]:
        """Bound psi by potentials that no species exceeds."""
        g, pi = self.species.gibbs(k, ball(t), self.log_p), [*map(ball, potentials)]
        gas, phases = self.species.distances(g, pi)
        _need(gas <= 0 and all(x >= 0 for x in phases), "a species exceeds pi")
        held = (ball(n) * x for n, x in zip(self.b, pi, strict=True))
        return self._psi(ball(t), sum(held, arb(0)))

    def least(self, told: dict[str, Any], t: Fraction, d: Fraction) -> arb:
        """Return a ball of S0, or of h; that psi is least within d of T is proved."""
        at = [t - d, Fraction(told["at_K"]), t + d]
        ends = pairwise(self.species.ends)
        k = [low <= at[0] < at[1] < at[2] <= high for low, high in ends].index(True)
        x = [1 / one if self.flame else one for one in at]
        ratio = ball(abs((x[1] - x[0]) / (x[2] - x[1])))
        below, pi = self.below(k, at[1], told["amounts_mol_kg"]), told["potentials"]
        above = [self.above(k, one, own) for one, own in zip(at, pi, strict=True)]
        found = below[0]
        for low, cold, middle, hot in zip(below, *above, strict=True):
            _need(cold > low and hot > low, "psi is not least between")
            lowest = low - (hot - low) * ratio - (cold - low) / ratio
            found = found.union(lowest).union(middle)
        return found * self.unit if self.flame else -found * self.unit


def check(certificate: dict[str, Any], species: Species | None = None) -> None:
    """Raise RefusedError unless proved; `species` may be made of it beforehand."""
    ctx.prec = BITS
    problem, claim = Problem(certificate["problem"], species), certificate["claim"]
    t, d = Fraction(claim["temperature_K"]), Fraction(claim["within_K"])
    joins, pairs = problem.species.ends, certificate["pairs"]
    _need(
        d > 0 and BEYOND < joins[0] < t - d and t + d < joins[-1], "T is out of range"
    )
    for (k, hotter, outer), pair in zip(sides(joins, t, d), pairs, strict=True):
        inner = Fraction(pair["inner_K"])
        near = joins[k] - BEYOND <= inner <= joins[k + 1] + BEYOND and inner != outer
        near = near and (inner < outer) == hotter and Fraction(pair["outer_K"]) == outer
        _need(near, "O or I is not where it must be")
        below = problem.below(k, outer, pair["amounts_mol_kg"])
        above = problem.above(k, inner, pair["potentials"])
        certain = all(low > high for low, high in zip(below, above, strict=True))
        _need(certain, f"a state at {float(outer):.10g} K or beyond is not excluded")
    for key in claim.keys() - {"temperature_K", "within_K"}:
        _need(key == ("entropy_J_kg_K" if problem.flame else "enthalpy_J_kg"), key)
        low, high = (ball(x) for x in claim[key])
        found = problem.least(certificate["least"], t, d)
        _need(low <= found and found <= high, f"{key} is not proved")


def main(paths: list[str]) -> int:
    """Check files; print a line each; return 0 if all prove their claims, else 1."""
    failed = 0
    for path in paths:
        try:
            check(certificate := json.loads(Path(path).read_text("utf-8")))
            print(f"{path}: proved: {certificate['claim']}")  # noqa: T201
        except (LookupError, ValueError, TypeError, ArithmeticError, OSError) as error:
            failed = 1
            print(f"{path}: NOT PROVED: {error}")  # noqa: T201
    return failed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]) if sys.argv[1:] else __doc__)
