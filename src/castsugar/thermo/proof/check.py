"""Check a certificate of a flame, or of its expansion, trusting no solver.

``python check.py FILE...`` needs python-flint and nothing else: copy it anywhere. It
prints a line a certificate and ends with 1 if one does not prove its claim.

A certificate states a problem (elements b, enthalpy H0 and pressure of a kilogram;
species with atoms and fits), claims a temperature T within d, and offers points. Only
the statement is trusted: arithmetic is proved, not data. Numbers are doubles as they
stand in JSON, texts are exact.

At fixed T and p the equilibrium minimises G/RT = sum n_j (g_j + ln y_j) + sum n_k g_k
over amounts n >= 0 with the elements b; gases j have g = mu0/RT + ln(p/p0), condensed
phases k g = mu0/RT. The G of any such n bounds it from above; b.pi from below, for any
pi with sum_j exp(a_j.pi - g_j) <= 1 and a_k.pi <= g_k, since (Jensen)
sum n_j (g_j + ln y_j - a_j.pi) >= -N ln sum_j exp(a_j.pi - g_j) >= 0.

Let psi(T) = (H0 - G(T))/T. For fixed n, G/T has in x = 1/T the slope H and the second
derivative -T^2 cp: it is concave where every cp > 0. So is the least over n, and psi is
convex in x, with slope H0 - H(T). Let O > I be two temperatures. If psi(O) by an n
exceeds psi(I) by a pi, then psi rises from I to O, and beyond O ever more: H > H0 at O
and at all that is hotter. Likewise for O < I: H < H0 at O and at all that is colder.

Fits have joins. Between two of them (a stretch) a species has one fit. There and 1 K
beyond cp > 0 is proved. A stretch needs a pair (O, I) for what of it is hotter than
T + d and one for what is colder than T - d; tiny steps at joins then do no harm. So the
flame temperature, where H crosses H0, lies between, also on a melting plateau (a kink).

The least psi is the entropy S0 of the flame. With a pi at T +- d as well, convexity
bounds it. For an expansion an interval of S0 is stated in place of H0: -(G + T S0),
convex in T with slope S - S0, takes the part of psi, and -h that of S0.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

from flint import arb, arb_mat, arb_poly, ctx, fmpq

#: Bits of the balls, and how far beyond its ends a stretch may be carried on [K].
BITS, BEYOND = 160, 1


class RefusedError(Exception):
    """A certificate does not prove what it claims; the text says why."""


def ball(value: Fraction | float) -> arb:
    """Return the ball of a number: doubles and fractions are meant exactly."""
    return arb(fmpq(*Fraction(value).as_integer_ratio()))


def need(holds: bool, why: str) -> None:
    """Refuse unless something is certain."""
    if not holds:
        raise RefusedError(why)


class Species:
    """The species of a problem: atoms, and fits between all joins, in balls."""

    def __init__(self, stated: Sequence[dict[str, Any]], low: float, high: float):
        ctx.prec = BITS
        self.gases = sum(bool(one["gas"]) for one in stated)
        need(all(one["gas"] for one in stated[: self.gases]), "gases must come first")
        self.place = {str(one["name"]): index for index, one in enumerate(stated)}
        need(len(self.place) == len(stated), "names must differ")
        self.atoms = [[int(n) for n in one["atoms"]] for one in stated]
        inner = {t for one in stated for t in one["joins"] if low < t < high}
        self.ends = [low, *sorted(inner), high]
        ends = pairwise(self.ends)
        self.fits = [arb_mat([_fit(one, *two) for one in stated]) for two in ends]
        self.matrix = arb_mat(self.atoms)

    def gibbs(self, stretch: int, t: arb, log_p: arb) -> list[arb]:
        """Return g of every species at T by the fits of a stretch."""
        ctx.prec = BITS
        log = t.log()
        terms = [-1 / (2 * t * t), (log + 1) / t, 1 - log, -t / 2, -t * t / 6]
        terms += [-(t**3) / 12, -(t**4) / 20, 1 / t, arb(-1)]
        found = (self.fits[stretch] * arb_mat([[x] for x in terms])).entries()
        return [g + log_p for g in found[: self.gases]] + found[self.gases :]

    def distances(self, g: list[arb], pi: Sequence[arb]) -> tuple[arb, list[arb]]:
        """Return ln sum exp(a_j.pi - g_j) of the gases, and g_k - a_k.pi."""
        held = (self.matrix * arb_mat([[x] for x in pi])).entries()
        above = [one - own for one, own in zip(held, g, strict=True)]
        gas = sum((one.exp() for one in above[: self.gases]), arb(0)).log()
        return gas, [-one for one in above[self.gases :]]


def _fit(one: dict[str, Any], start: float, end: float) -> list[arb]:
    """Return the nine numbers of a species on a stretch, after proving cp > 0."""
    joins, fits, name = list(one["joins"]), one["fits"], one["name"]
    sound = joins == sorted(joins) and len(fits) == len(joins) + 1
    need(sound, f"{name}: joins must rise, each between two fits")
    fit = [arb(x) for x in fits[sum(t <= start for t in joins)]]
    need(len(fit) == 9, f"{name}: a fit has nine numbers")
    low, high = Fraction(start) - BEYOND, Fraction(end) + BEYOND
    sound = _positive(arb_poly(fit[:7]), low, high, 12)  # T^2 cp/R
    need(sound, f"{name}: cp > 0 is not proved from {start} to {end} K")
    return fit


def _positive(heat: arb_poly, low: Fraction, high: Fraction, depth: int) -> bool:
    """Prove a polynomial > 0 between two numbers, by halves."""
    middle, half = (low + high) / 2, (high - low) / 2
    first, *rest = heat(arb_poly([ball(middle), ball(half)])).coeffs()
    if first - sum((abs(x) for x in rest), arb(0)) > 0:
        return True
    halves = ((low, middle), (middle, high))
    return depth > 0 and all(_positive(heat, *half, depth - 1) for half in halves)


def sides(ends: Sequence[float], t: Fraction, d: Fraction) -> Iterator[Any]:
    """Yield what needs a pair: a stretch, whether the hotter side of it, and O [K]."""
    for index, (low, high) in enumerate(pairwise(ends)):
        if high > t + d:
            yield index, True, max(Fraction(low), t + d)
        if low < t - d:
            yield index, False, min(Fraction(high), t - d)


class Problem:
    """What a certificate states, and psi/R of it."""

    def __init__(self, stated: dict[str, Any], species: Species | None = None) -> None:
        low, high = stated["lowest_temperature_K"], stated["highest_temperature_K"]
        self.species = species or Species(stated["species"], low, high)
        self.b = [Fraction(x) for x in stated["elements_mol_kg"]]
        self.unit = ball(stated["gas_constant_J_mol_K"])
        self.flame = "enthalpy_J_kg" in stated
        given = [stated["enthalpy_J_kg"]] if self.flame else stated["entropy_J_kg_K"]
        self.given = [ball(one) / self.unit for one in given]
        self.log_p = ball(stated["pressure_Pa"]).log()
        self.log_p -= ball(stated["reference_pressure_Pa"]).log()

    def psi(self, k: int, t: Fraction, n: Any = None, pi: Any = None) -> list[arb]:
        """Bound psi from below by amounts n or from above by pi; of each given S0."""
        own, at = self.species, ball(t)
        g = own.gibbs(k, at, self.log_p)
        bound = (
            _by_amounts(own, g, self.b, n) if n else _by_potentials(own, g, self.b, pi)
        )
        if self.flame:
            return [one / at - bound for one in self.given]
        return [-at * (bound + one) for one in self.given]

    def least(self, told: dict[str, Any], t: Fraction, d: Fraction) -> arb:
        """Return a ball of S0, or of h; that psi is least within d of T is proved."""
        at = [t - d, Fraction(told["at_K"]), t + d]
        need(at[0] < at[1] < at[2], "the least psi is sought elsewhere")
        ends = pairwise(self.species.ends)
        k = [low <= at[0] and at[2] <= high for low, high in ends].index(True)
        x = [1 / one if self.flame else one for one in at]
        ratio = ball(abs((x[1] - x[0]) / (x[2] - x[1])))
        below = self.psi(k, at[1], n=told["amounts_mol_kg"])
        above = [self.psi(k, *one) for one in zip(at, [None] * 3, told["potentials"])]
        found = below[0]
        for low, cold, middle, hot in zip(below, *above, strict=True):
            need(bool(cold > low) and bool(hot > low), "psi is not least between")
            all_of_it = (low - (hot - low) * ratio - (cold - low) / ratio).union(middle)
            found = found.union(all_of_it)
        return found * self.unit if self.flame else -found * self.unit


def check(certificate: dict[str, Any], species: Species | None = None) -> None:
    """Raise RefusedError unless proved; `species` may be made of it beforehand."""
    ctx.prec = BITS
    problem, claim = Problem(certificate["problem"], species), certificate["claim"]
    t, d = Fraction(claim["temperature_K"]), Fraction(claim["within_K"])
    joins, pairs = problem.species.ends, certificate["pairs"]
    inside = BEYOND < joins[0] < t - d and t + d < joins[-1]
    need(d > 0 and inside, "T is outside the range")
    needed = list(sides(joins, t, d))
    need(len(needed) == len(pairs), "a pair is missing or too many")
    for (stretch, hotter, outer), pair in zip(needed, pairs, strict=True):
        inner = Fraction(pair["inner_K"])
        need(outer == Fraction(pair["outer_K"]), "O is not where it must be")
        near = joins[stretch] - BEYOND <= inner <= joins[stretch + 1] + BEYOND
        need(near, "I is too far from its stretch")
        need(inner < outer if hotter else inner > outer, "I is on the wrong side of O")
        below = problem.psi(stretch, outer, n=pair["amounts_mol_kg"])
        above = problem.psi(stretch, inner, pi=pair["potentials"])
        why = f"a state at {float(outer):.10g} K or {('colder', 'hotter')[hotter]}"
        certain = all(low > high for low, high in zip(below, above, strict=True))
        need(certain, f"{why} is not excluded")
    for key in {"entropy_J_kg_K", "enthalpy_J_kg"} & set(claim):
        need(problem.flame == key.startswith("entropy"), f"{key} is no claim here")
        low, high = (ball(Fraction(x)) for x in claim[key])
        found = problem.least(certificate["least"], t, d)
        need(bool(low <= found) and bool(found <= high), f"{key} is not proved")


def _by_amounts(species: Species, g: list[arb], b: list[Fraction], told: Any) -> arb:
    """Bound G/RT from above by a composition that holds the elements exactly."""
    amounts = {species.place[name]: Fraction(text) for name, text in told.items()}
    need(min(amounts.values()) > 0, "an amount is not above 0")
    for element, given in enumerate(b):
        held = sum(n * species.atoms[j][element] for j, n in amounts.items())
        need(held == given, f"element {element + 1} is not kept")
    total = ball(sum(n for j, n in amounts.items() if j < species.gases))
    mixing = {
        j: (ball(n) / total).log() for j, n in amounts.items() if j < species.gases
    }
    return sum(
        (ball(n) * (g[j] + mixing.get(j, 0)) for j, n in amounts.items()), arb(0)
    )


def _by_potentials(species: Species, g: list[arb], b: list[Fraction], told: Any) -> arb:
    """Bound G/RT from below by potentials that no species exceeds."""
    pi = [ball(Fraction(text)) for text in told]
    gas, phases = species.distances(g, pi)
    need(bool(gas <= 0), "the gases exceed the potentials")
    need(all(one >= 0 for one in phases), "a condensed phase exceeds the potentials")
    return sum((ball(n) * x for n, x in zip(b, pi, strict=True)), arb(0))


def main(paths: list[str]) -> int:
    """Check files; print a line each; return 0 if all prove their claims, else 1."""
    failed = 0
    wrong = (RefusedError, LookupError, ValueError, TypeError, ArithmeticError, OSError)
    for path in paths:
        try:
            certificate = json.loads(Path(path).read_text("utf-8"))
            check(certificate)
            told = certificate["claim"]
            said = f"proved: {told['temperature_K']} K within {told['within_K']} K"
        except wrong as error:
            failed, said = 1, f"NOT PROVED: {error}"
        print(f"{path}: {said}")  # noqa: T201 - a program
    return failed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
