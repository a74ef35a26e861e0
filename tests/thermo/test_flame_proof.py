"""Bounds that trust no solver: by hand, on a textbook problem, and against cheats."""

from __future__ import annotations

import copy
import functools
import json
import math
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from test_core import AMOUNTS, ATOMS, BROUGHT, CONSTANTS, LEAST, SPECIES

pytest.importorskip(
    "flint",
    reason="PROOFS ARE NOT TESTED: python-flint (extra 'proof') is not installed",
)
from flint import arb, ctx

import castsugar as cs
from castsugar.proof import prove
from castsugar.thermo.proof import check

pytestmark = pytest.mark.exact

# ----------------------------------------------------------------------------
# Exact: A2 = 2 A, two species of constant heat capacity, solved by hand.
#
# One mole of A2 at pressure p, dissociated by x: 2x of A, 1 - x of A2. With
# K = exp(g_A2 - 2 g_A) at p, 4 x^2 / (1 - x^2) = K, so x = sqrt(K / (4 + K)). The flame
# temperature is chosen, H0 is the enthalpy there. The largest pi with
# exp(2 pi - g_A2) + exp(pi - g_A) = 1 is the root of a quadratic in exp(pi).

CP, H, S = {"A2": 3.5, "A": 2.5}, {"A2": -1200.0, "A": 25000.0}, {"A2": 1.0, "A": 4.0}
FLAME, PRESSURE = 2750.0, 30.0


def gibbs(name: str, t: arb) -> arb:
    """Return g of a species: cp (1 - ln T) + h/T - s + ln(p/p0)."""
    log = arb(PRESSURE).log()
    return CP[name] * (1 - t.log()) + H[name] / t - S[name] + log


def dissociated(t: Fraction) -> float:
    """Return x at a temperature."""
    own = float(t)
    g = {name: float(gibbs(name, arb(own)).mid()) for name in CP}
    k = math.exp(g["A2"] - 2.0 * g["A"])
    return math.sqrt(k / (4.0 + k))


def potential(t: Fraction) -> str:
    """Return pi at a temperature, a little below the root."""
    ball = check.ball(t)
    a, b = (-gibbs("A2", ball)).exp(), (-gibbs("A", ball)).exp()
    root = ((b * b + 4 * a).sqrt() - b) / (2 * a)
    return (root.log().mid() - arb(1e-35)).str(45, radius=False)


def amounts(t: Fraction) -> dict[str, str]:
    """Return a composition that holds two moles of atoms exactly."""
    atoms = Fraction(repr(2.0 * dissociated(t)))
    return {"A2": str((2 - atoms) / 2), "A": str(atoms)}


def by_hand(temperature: str, within: str) -> dict[str, Any]:
    """Return a certificate without a solver."""
    ctx.prec = check.BITS
    x = dissociated(Fraction(FLAME))
    heat = {name: CP[name] * FLAME + H[name] for name in CP}
    t, d = Fraction(temperature), Fraction(within)
    stated = [
        {
            "name": name,
            "gas": True,
            "atoms": [count],
            "joins": [],
            "fits": [[0, 0, CP[name], 0, 0, 0, 0, H[name], S[name]]],
        }
        for name, count in (("A2", 2), ("A", 1))
    ]
    return {
        "problem": {
            "elements_mol_kg": [2.0],
            "enthalpy_J_kg": (1.0 - x) * heat["A2"] + 2.0 * x * heat["A"],
            "gas_constant_J_mol_K": 1.0,
            "pressure_Pa": PRESSURE,
            "reference_pressure_Pa": 1.0,
            "lowest_temperature_K": 300.0,
            "highest_temperature_K": 5000.0,
            "species": stated,
        },
        "claim": {"temperature_K": temperature, "within_K": within},
        "pairs": [
            {
                "outer_K": str(outer),
                "amounts_mol_kg": amounts(outer),
                "inner_K": temperature,
                "potentials": [potential(t)],
            }
            for outer in (t + d, t - d)
        ],
    }


@pytest.mark.parametrize("within", ["1", "1e-6", "1e-9"])
def test_dissociation_by_hand_is_proved(within: str) -> None:
    """Bounds close enough for a billionth of a kelvin need no solver."""
    check.check(by_hand("2750", within))


@pytest.mark.parametrize(
    ("temperature", "within", "where"),
    [
        ("2750.01", "0.0099", "2750.0001 K or beyond"),
        ("2749.99", "0.0099", "2749.9999 K or beyond"),
        ("2750.01", "1e-6", "2750.009999 K or beyond"),
        ("1200", "1e-6", "1200.000001 K or beyond"),
    ],
)
def test_a_wrong_temperature_is_refused(
    temperature: str, within: str, where: str
) -> None:
    """The points are as good as can be; the claim is wrong."""
    with pytest.raises(check.RefusedError, match=where):
        check.check(by_hand(temperature, within))


def test_a_heat_capacity_below_zero_is_refused() -> None:
    """Where cp < 0 somewhere, psi is not convex and nothing follows."""
    told = by_hand("2750", "1e-6")
    fit = told["problem"]["species"][0]["fits"][0]
    # cp/R = 3.5 - T / 1400 is below zero above 4900 K, far from the flame.
    fit[3] = -1.0 / 1400.0
    with pytest.raises(check.RefusedError, match="A2: cp > 0 is not proved"):
        check.check(told)


# ----------------------------------------------------------------------------
# Published: a problem with printed inputs and answer (see test_core for the source).


@pytest.mark.published
def test_bounds_enclose_the_printed_minimum() -> None:
    """Both bounds come within the rounding of the print, from either side of it."""
    ctx.prec = check.BITS
    # The constants are g at 2 K: g = cp (1 - ln 2) - s with cp = 1. Without enthalpy
    # psi is -g.
    stated = [
        {
            "name": name,
            "gas": True,
            "atoms": own,
            "joins": [],
            "fits": [[0, 0, 1, 0, 0, 0, 0, 0, 1.0 - math.log(2.0) - c]],
        }
        for name, own, c in zip(
            SPECIES, ATOMS.astype(int).tolist(), CONSTANTS.tolist(), strict=True
        )
    ]
    problem = check.Problem(
        {
            "elements_mol_kg": BROUGHT.tolist(),
            "enthalpy_J_kg": 0.0,
            "gas_constant_J_mol_K": 1.0,
            "pressure_Pa": 1.0,
            "reference_pressure_Pa": 1.0,
            "lowest_temperature_K": 2.0,
            "highest_temperature_K": 3.0,
            "species": stated,
        }
    )
    b = [Fraction(x) for x in BROUGHT.tolist()]
    # The printed amounts hold the elements to 1e-6; three species take up the rest.
    mended = [SPECIES.index(name) for name in ("H2", "N2", "H2O")]
    kept = [j for j in range(len(SPECIES)) if j not in mended]
    exact = [Fraction(repr(x)) for x in AMOUNTS.tolist()]
    lack = [
        b[e] - sum(exact[j] * int(ATOMS[j, e]) for j in kept) for e in range(len(b))
    ]
    exact[mended[2]] = lack[2]
    exact[mended[0]] = (lack[0] - 2 * lack[2]) / 2
    exact[mended[1]] = lack[1] / 2
    told = {name: str(n) for name, n in zip(SPECIES, exact, strict=True)}
    below = problem.below(0, Fraction(2), told)[0]
    # Potentials of the printed amounts of H2, N2 and H2O, lowered until none exceeds.
    y = AMOUNTS / AMOUNTS.sum()
    mu = CONSTANTS + np.log(y)
    hydrogen, nitrogen = mu[mended[0]] / 2.0, mu[mended[1]] / 2.0
    pi = np.array([hydrogen, nitrogen, mu[mended[2]] - 2.0 * hydrogen])
    pi -= np.log(np.exp(ATOMS @ pi - CONSTANTS).sum()) + 1e-12
    above = problem.above(0, Fraction(2), [repr(x) for x in pi.tolist()])[0]
    assert below < above
    assert abs(float(below.mid()) + LEAST) < 1e-5
    assert abs(float(above.mid()) + LEAST) < 1e-4


# ----------------------------------------------------------------------------
# Mixes: proved on and off the plateau; what is wrong or was changed is refused.

PLATEAU = "KNO3:80 sucrose:15 water:5"


@functools.cache
def certificate() -> dict[str, Any]:
    """Return a certificate of the usual mix."""
    found = prove("KNO3:65 sucrose:35", exit_pressure=101325.0)
    assert found.status == "proved"
    return found.certificate


@functools.cache
def species_of_it() -> check.Species:
    """Return its species, made once: most changes leave them."""
    return check.Species(certificate()["problem"]["species"], 300.0, 5000.0)


def test_a_plateau_is_proved_in_the_middle_of_both_forms() -> None:
    """Both forms melt at the claim: solid alone is too cold, liquid alone too hot."""
    found = prove(PLATEAU, within=1e-9)
    assert found.status == "proved"
    colder, hotter = "K2CO3(s)", "K2CO3(L)"
    near = [
        set(pair["amounts_mol_kg"]) & {colder, hotter}
        for pair in found.certificate["pairs"]
        if abs(float(Fraction(pair["outer_K"])) - found.temperature) < 1e-6
    ]
    assert near == [{hotter}, {colder}]


@pytest.mark.parametrize(
    ("mix", "off"),
    [
        ("KNO3:65 sucrose:35", 0.01),
        (PLATEAU, -0.01),
        pytest.param("KNO3:65 sucrose:35", -0.01, marks=pytest.mark.slow),
        pytest.param(PLATEAU, 0.01, marks=pytest.mark.slow),
    ],
)
def test_a_temperature_of_a_mix_that_is_wrong_stays_open(mix: str, off: float) -> None:
    """A hundredth of a kelvin, with a band just too narrow to hold the flame."""
    right = prove(mix).temperature
    assert prove(mix, temperature=right + off, within=0.0101).proved
    found = prove(mix, temperature=right + off, within=0.0099)
    assert found.status.startswith("open: a state at")


def _more_oxygen(told: dict[str, Any]) -> None:
    told["problem"]["elements_mol_kg"][2] *= 1.0 + 1e-15


def _more_enthalpy(told: dict[str, Any]) -> None:
    told["problem"]["enthalpy_J_kg"] += 0.1


def _pressure(told: dict[str, Any]) -> None:
    told["problem"]["pressure_Pa"] *= 1.001


def _fit(told: dict[str, Any]) -> None:
    one = next(x for x in told["problem"]["species"] if x["name"] == "CO")
    one["fits"][1][7] -= 1e-3


def _less_gas(told: dict[str, Any]) -> None:
    told["pairs"][-1]["amounts_mol_kg"].pop("CO2")


def _negative(told: dict[str, Any]) -> None:
    held = told["pairs"][0]["amounts_mol_kg"]
    held["CO"] = str(-Fraction(held["CO"]))


def _higher(told: dict[str, Any]) -> None:
    held = told["pairs"][-2]["potentials"]
    held[0] = str(Fraction(held[0]) + Fraction(1, 10**20))


def _lower(told: dict[str, Any]) -> None:
    for pair in told["pairs"]:
        held = pair["potentials"]
        pair["potentials"] = [str(Fraction(x) - Fraction(1, 10**12)) for x in held]


def _no_pair(told: dict[str, Any]) -> None:
    told["pairs"].pop()


def _swapped(told: dict[str, Any]) -> None:
    told["pairs"].reverse()


def _narrower(told: dict[str, Any]) -> None:
    told["claim"]["within_K"] = "1e-13"


def _inner_moved(told: dict[str, Any]) -> None:
    told["pairs"][0]["inner_K"] = "400"


def _claim(told: dict[str, Any]) -> None:
    told["claim"]["temperature_K"] = "1716.79"


def _entropy(told: dict[str, Any]) -> None:
    low = told["claim"]["entropy_J_kg_K"][0]
    told["claim"]["entropy_J_kg_K"] = [low, str(Fraction(low) + Fraction(1, 10**17))]


def _enthalpy(told: dict[str, Any]) -> None:
    told["claim"]["enthalpy_J_kg"] = told["claim"].pop("entropy_J_kg_K")


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (_more_oxygen, "the elements are not kept"),
        (_more_enthalpy, "is not excluded"),
        (_pressure, "exceeds pi|is not excluded"),
        (_fit, "exceeds pi|is not excluded"),
        (_less_gas, "the elements are not kept"),
        (_negative, "the elements are not kept"),
        (_higher, "exceeds pi"),
        (_lower, "is not excluded"),
        (_no_pair, "zip"),
        (_swapped, "O or I is not where it must be"),
        (_narrower, "O or I is not where it must be"),
        (_inner_moved, "O or I is not where it must be"),
        (_claim, "O or I is not where it must be"),
        (_entropy, "entropy_J_kg_K is not proved"),
        (_enthalpy, "enthalpy_J_kg"),
    ],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_a_changed_certificate_is_refused(change: Any, why: str) -> None:
    """Whatever is changed of statement, claim or points is found out.

    Unchanged it is proved: `certificate` and the program's own test see to that.
    """
    told = copy.deepcopy(certificate())
    change(told)
    own = None if change is _fit else species_of_it()
    with pytest.raises(ValueError, match=why):
        check.check(told, own)


def test_a_flame_where_all_gas_fits_join_is_proved_as_far_as_it_exists() -> None:
    """At 1000 K the fits step by up to 0.1 mK of flame: within that all is open.

    The enthalpy is that of equilibrium just above the join.
    """
    from castsugar.proof import _prover
    from castsugar.rows import shipped_species
    from castsugar.thermo.proof.points import Claim
    from castsugar.thermo.solver import charge_of

    mix = cs.Mix.weigh({"KNO3": 42, "sucrose": 58})
    table, charge = charge_of(mix, shipped_species())
    at, pressure = 1000.0000001, 3e6
    heat = cs.equilibrium(mix, pressure=pressure, temperature=at).enthalpy
    prover = _prover(table)
    claim = Claim(charge.elements, pressure, heat, Fraction(repr(at)), Fraction("1e-3"))
    told = prover.certificate(claim)
    # Both stretches that meet at 1000 K have pairs on the far side of the claim alone.
    outer = [float(Fraction(pair["outer_K"])) for pair in told["pairs"]]
    assert 1000.0 not in outer
    check.check(told, prover.species)


@pytest.mark.parametrize(
    ("mix", "flow"),
    [
        ("KNO3:65 sucrose:35", "no-solidification"),
        (PLATEAU, "no-solidification"),
        pytest.param(PLATEAU, "equilibrium", marks=pytest.mark.slow),
    ],
)
def test_an_expansion_is_proved_where_the_entropy_of_the_flame_is(
    mix: str, flow: str
) -> None:
    """Exit temperature within 1e-6 K, velocity between bounds that hold the solver's.

    On a plateau the held blend of both forms is one phase; the entropy of the flame is
    known there to 1e-7 J/(kg K), the velocity to 1e-6 m/s, else both to the last digit.
    """
    found = prove(mix, exit_pressure=101325.0, flow=flow).expansion
    assert found is not None
    assert found.status == "proved"
    solved = cs.performance(mix, flow=flow)
    assert abs(solved.exit.temperature - found.temperature) < 1e-8
    low, high = found.velocity
    assert low - 1e-9 < solved.exit_velocity < high + 1e-9
    assert high - low < 1e-6


@pytest.mark.slow
def test_a_wrong_entropy_spoils_the_proof_of_an_expansion() -> None:
    """The exit of another isentrope, and an entropy that is known too roughly."""
    found = prove("KNO3:65 sucrose:35", exit_pressure=101325.0).expansion
    assert found is not None
    told = copy.deepcopy(found.certificate)
    low, high = (Fraction(x) for x in told["problem"]["entropy_J_kg_K"])
    for aside in ((1, 1), (-1, 1), (-1, -1)):
        ends = (
            low + aside[0] * Fraction(1, 10**4),
            high + aside[1] * Fraction(1, 10**4),
        )
        told["problem"]["entropy_J_kg_K"] = [str(x) for x in ends]
        with pytest.raises(check.RefusedError, match="a state at 1092"):
            check.check(told)
    told["problem"]["entropy_J_kg_K"] = []
    with pytest.raises(IndexError):
        check.check(told)


@pytest.mark.slow
def test_the_checker_runs_where_castsugar_is_not(tmp_path: Path) -> None:
    """A copy of the program in another folder proves, and refuses, on its own."""
    program = tmp_path / "check.py"
    program.write_text(Path(check.__file__).read_text("utf-8"), "utf-8")
    (tmp_path / "castsugar.py").write_text("raise ImportError('not here')", "utf-8")
    (tmp_path / "sound.json").write_text(json.dumps(certificate()), "utf-8")
    told = copy.deepcopy(certificate())
    _more_enthalpy(told)
    (tmp_path / "changed.json").write_text(json.dumps(told), "utf-8")
    files = ["sound.json", "changed.json", "missing.json"]
    ran = subprocess.run(
        [sys.executable, program.name, *files],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    first, second, third = ran.stdout.splitlines()
    assert first.startswith("sound.json: proved: {'temperature_K': '1716.78")
    assert second.startswith("changed.json: NOT PROVED: ")
    assert third.startswith("missing.json: NOT PROVED: ")
    assert ran.returncode == 1
    assert ran.stderr == ""


def test_the_checker_says_what_it_lacks(tmp_path: Path) -> None:
    """One line and exit code 2 where python-flint is not there."""
    program = tmp_path / "check_certificate.py"
    program.write_text(Path(check.__file__).read_text("utf-8"), "utf-8")
    (tmp_path / "flint.py").write_text("raise ImportError('not here')", "utf-8")
    ran = subprocess.run(
        [sys.executable, program.name, "some.json"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr == "python-flint is not installed: pip install python-flint\n"


@pytest.mark.slow
def test_no_wrong_temperature_of_random_mixes_is_proved() -> None:
    """Mixes and pressures drawn with a fixed seed; 0.01 K off, a band of 0.0099 K."""
    draw = np.random.default_rng(7)
    tried = 0
    while tried < 10:
        nitrate, water = draw.uniform(45.0, 80.0), draw.uniform(0.0, 8.0)
        recipe = {"KNO3": nitrate, "water": water, "sucrose": 100.0 - nitrate - water}
        pressure = float(10.0 ** draw.uniform(5.0, 7.0))
        right = prove(recipe, pressure=pressure)
        if math.isnan(right.temperature):  # does not burn
            continue
        assert right.status == "proved"
        off = 0.01 if draw.random() < 0.5 else -0.01
        wrong = right.temperature + off
        found = prove(recipe, pressure=pressure, temperature=wrong, within=0.0099)
        assert not found.proved
        tried += 1
