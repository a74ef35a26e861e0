"""Check a certificate of a flame temperature, trusting no solver.

``python check.py CERTIFICATE.json...``; needs python-flint and nothing else: this file
may be copied anywhere. It prints one line a certificate and ends with 1 if one fails.

The certificate states a problem (elements b, enthalpy H0 and pressure of one kilogram;
species with atoms and fits), claims a temperature T within d, and offers points. Only
the statement of the problem is trusted: that is what "arithmetic, not data" means. All
numbers of JSON are the doubles that they denote; texts are exact decimals or fractions.

At fixed T and p the equilibrium minimises G/RT = sum n_j (g_j + ln y_j) + sum n_k g_k
over amounts n >= 0 with the elements b; gases j have g = mu0/RT + ln(p/p0), condensed
phases k g = mu0/RT and no volume.

* From above: the G of any amounts n >= 0 that hold exactly the elements b.
* From below: b.pi, for any pi with sum_j exp(a_j.pi - g_j) <= 1 and a_k.pi <= g_k,
  since sum n_j (g_j + ln y_j - a_j.pi) >= -N ln sum_j exp(a_j.pi - g_j) >= 0 (Jensen).

Let psi(T) = (H0 - G(T))/T. For fixed n, G/T is a function of x = 1/T with slope H and
second derivative -T^2 cp: concave where every cp > 0. The minimum over n stays concave,
so psi is convex in x, with slopes H0 - H(T). Let O > I be two temperatures. If psi(O),
from below, is above psi(I), from above, then psi rises from I to O and beyond O ever
more: H > H0 at O and at every hotter temperature. The same for O < I: H < H0 at O and
at every colder one. Which psi is bounded from below by a composition at O, and from
above by a pi at I: no point need be an equilibrium, a bad one only spoils the proof.

Fits have joins. Between two joins (a stretch) all species have one fit each, and cp > 0
is proved there and 1 K beyond; psi made of these fits, carried on for up to 1 K, is
convex. Each stretch needs a pair (O, I) for what of it is hotter than T + d, and one for
what is colder than T - d; so tiny steps of fits at joins do no harm. Together: H < H0 at
every temperature from the lowest to T - d, H > H0 from T + d to the highest. The flame
temperature, where H crosses H0, lies between, also on a melting plateau. Where a stretch
ends within T +- d the crossing may be the step of a join.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from flint import arb, arb_mat, arb_poly, ctx, fmpq

#: Bits of the balls, and how far beyond its ends a stretch may be carried on [K].
BITS, BEYOND = 160, 1

Side = tuple[int, bool, Fraction]  # stretch, whether hotter than the claim, O [K]


class RefusedError(Exception):
    """A certificate does not prove what it claims; the text says why."""


def ball(value: Fraction | float) -> arb:
    """Return the ball of a number: doubles and fractions are meant exactly."""
    exact = Fraction(value)
    return arb(fmpq(exact.numerator, exact.denominator))


def need(holds: bool, why: str) -> None:
    """Refuse unless something is certain."""
    if not holds:
        raise RefusedError(why)


class Species:
    """The species of a problem: atoms, and fits between all joins, in balls."""

    def __init__(self, stated: Sequence[dict[str, Any]], low: float, high: float):
        ctx.prec = BITS
        self.gases = sum(bool(one["gas"]) for one in stated)
        names = [str(one["name"]) for one in stated]
        need(all(one["gas"] for one in stated[: self.gases]), "gases must come first")
        need(self.gases > 0 and len(set(names)) == len(names), "names must differ")
        self.place = {name: index for index, name in enumerate(names)}
        self.atoms = [[int(n) for n in one["atoms"]] for one in stated]
        need(all(n >= 0 for row in self.atoms for n in row), "atoms must not be < 0")
        inner = {t for one in stated for t in one["joins"] if low < t < high}
        self.ends = [low, *sorted(inner), high]
        self.stretches = []
        for start, end in zip(self.ends, self.ends[1:], strict=False):
            fits = [_fit(one, start, end) for one in stated]
            self.stretches.append(arb_mat([[*map(arb, fit)] for fit in fits]))
        self.transposed = arb_mat(self.atoms)

    def gibbs(self, stretch: int, t: arb, log_p: arb) -> list[arb]:
        """Return g of every species at T by the fits of a stretch."""
        ctx.prec = BITS
        log = t.log()
        terms = [-1 / (2 * t * t), (log + 1) / t, 1 - log, -t / 2, -t * t / 6]
        terms += [-(t**3) / 12, -(t**4) / 20, 1 / t, arb(-1)]
        found = (self.stretches[stretch] * arb_mat([[x] for x in terms])).entries()
        return [g + log_p for g in found[: self.gases]] + found[self.gases :]

    def distances(self, g: list[arb], pi: Sequence[arb]) -> tuple[arb, list[arb]]:
        """Return ln sum exp(a_j.pi - g_j) of the gases, and g_k - a_k.pi."""
        held = (self.transposed * arb_mat([[x] for x in pi])).entries()
        total = arb(0)
        for index in range(self.gases):
            total += (held[index] - g[index]).exp()
        return total.log(), [g[k] - held[k] for k in range(self.gases, len(g))]


def _fit(one: dict[str, Any], start: float, end: float) -> list[float]:
    """Return the nine numbers of a species on a stretch, after proving cp > 0."""
    joins, fits = one["joins"], one["fits"]
    name, region = one["name"], sum(t <= start for t in joins)
    need(list(joins) == sorted(joins), f"{name}: joins must rise")
    need(len(fits) == len(joins) + 1, f"{name}: a join stands between two fits")
    fit: list[float] = fits[region]
    need(len(fit) == 9, f"{name}: a fit has nine numbers")
    heat = arb_poly([arb(x) for x in fit[:7]])  # T^2 cp/R
    low, high = Fraction(start) - BEYOND, Fraction(end) + BEYOND
    need(_positive(heat, low, high, 12), f"{name}: cp > 0 is not proved near {low} K")
    return fit


def _positive(heat: arb_poly, low: Fraction, high: Fraction, depth: int) -> bool:
    """Prove a polynomial > 0 between two numbers, by halves."""
    middle, half = (low + high) / 2, (high - low) / 2
    first, *rest = heat(arb_poly([ball(middle), ball(half)])).coeffs()
    if first - sum((abs(x) for x in rest), arb(0)) > 0:
        return True
    return depth > 0 and (
        _positive(heat, low, middle, depth - 1)
        and _positive(heat, middle, high, depth - 1)
    )


def sides(ends: Sequence[float], t: Fraction, d: Fraction) -> Iterator[Side]:
    """Yield what needs a pair: of each stretch what is hotter and what is colder."""
    for index, (low, high) in enumerate(zip(ends, ends[1:], strict=False)):
        if high > t + d:
            yield index, True, max(Fraction(low), t + d)
        if low < t - d:
            yield index, False, min(Fraction(high), t - d)


def check(certificate: dict[str, Any], species: Species | None = None) -> None:
    """Raise RefusedError unless the certificate proves its claim.

    `species`, made of the same statement, saves making them once more.
    """
    ctx.prec = BITS
    problem, claim = certificate["problem"], certificate["claim"]
    low, high = problem["lowest_temperature_K"], problem["highest_temperature_K"]
    species = species or Species(problem["species"], low, high)
    t, d = Fraction(claim["temperature_K"]), Fraction(claim["within_K"])
    need(0 < d and low < t - d and t + d < high, "T +- d is outside the range")
    b = [Fraction(x) for x in problem["elements_mol_kg"]]
    heat = ball(problem["enthalpy_J_kg"]) / ball(problem["gas_constant_J_mol_K"])
    pressure = ball(problem["pressure_Pa"]) / ball(problem["reference_pressure_Pa"])
    log_p = pressure.log()
    needed = list(sides(species.ends, t, d))
    need(len(needed) == len(certificate["pairs"]), "a pair is missing or too many")
    for (stretch, hotter, outer), pair in zip(needed, certificate["pairs"], strict=True):
        inner = Fraction(pair["inner_K"])
        near = species.ends[stretch] - BEYOND <= inner
        near = near and inner <= species.ends[stretch + 1] + BEYOND
        need(near and (inner < outer) == hotter and inner != outer, "I is misplaced")
        o, i = ball(outer), ball(inner)
        g = species.gibbs(stretch, o, log_p)
        below = heat / o - _by_amounts(species, g, b, pair["amounts_mol_kg"])
        g = species.gibbs(stretch, i, log_p)
        above = heat / i - _by_potentials(species, g, b, pair["potentials"])
        where = f"at {float(outer):.9g} K" + (" and hotter" if hotter else " and colder")
        need(bool(below > above), f"the bounds exclude no flame {where}")


def _by_amounts(
    species: Species, g: list[arb], b: list[Fraction], told: dict[str, str]
) -> arb:
    """Bound G/RT from above by a composition that holds the elements exactly."""
    amounts = {species.place[name]: Fraction(text) for name, text in told.items()}
    need(all(n > 0 for n in amounts.values()), "an amount is not above 0")
    for element, given in enumerate(b):
        held = sum(n * species.atoms[j][element] for j, n in amounts.items())
        need(held == given, f"element {element + 1} is not kept")
    total = ball(sum(n for j, n in amounts.items() if j < species.gases))
    found = arb(0)
    for j, n in amounts.items():
        one = ball(n)
        found += one * (g[j] + (one / total).log() if j < species.gases else g[j])
    return found


def _by_potentials(
    species: Species, g: list[arb], b: list[Fraction], told: list[str]
) -> arb:
    """Bound G/RT from below by potentials that no species exceeds."""
    pi = [ball(Fraction(text)) for text in told]
    gas, phases = species.distances(g, pi)
    need(bool(gas <= 0), "the gases exceed the potentials")
    need(all(one >= 0 for one in phases), "a condensed phase exceeds the potentials")
    return sum((ball(n) * x for n, x in zip(b, pi, strict=True)), arb(0))


def main(paths: list[str]) -> int:
    """Check files; print a line each; return 0 if all prove their claims, else 1."""
    failed = 0
    for path in paths:
        try:
            certificate = json.loads(Path(path).read_text("utf-8"))
            check(certificate)
            claim = certificate["claim"]
            said = "proved: {temperature_K} K within {within_K} K".format(**claim)
        except (RefusedError, ValueError, KeyError, TypeError, IndexError) as error:
            failed, said = 1, f"NOT PROVED: {error}"
        print(f"{path}: {said}")  # noqa: T201 - a program
    return failed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
