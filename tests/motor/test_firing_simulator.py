"""The simulator of firings is right by itself, and knows nothing of the project."""

from __future__ import annotations

import ast
import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from support.firings import FAULTS, GRAINS, HABITS, KINDS, draw, fired, fleet
from support.motors import (
    STEPS,
    Grain,
    Motor,
    courses,
    critical_ratio,
    exit_ratio,
    expansion_at,
    flow_share,
    mass_flow_factor,
    thrust_coefficients,
)

pytestmark = [pytest.mark.exact, pytest.mark.slow]

SUPPORT = Path(__file__).parents[1] / "support"


# ----------------------------------------------------------------------------
# It judges the project, so it takes nothing from it.


def own_imports(source: str) -> Iterator[str]:
    """Yield what a text takes from the project, however and wherever it does so."""
    for node in ast.walk(ast.parse(source)):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            # The name handed to an importer, or to another process.
            names = [node.value] if " " not in node.value else []
        yield from (name for name in names if name.split(".")[0] == "castsugar")


def test_simulator_takes_nothing_from_the_project() -> None:
    files = list(SUPPORT.glob("**/*.py"))
    assert files
    assert [n for file in files for n in own_imports(file.read_text("utf-8"))] == []
    # What it imports beside itself, numpy and scipy is of the standard library.
    words = {w for file in files for w in _roots(file.read_text("utf-8"))}
    assert {"numpy", "scipy", "support"} <= words
    assert words <= {
        *("numpy", "scipy", "support"),
        *("__future__", "collections", "dataclasses", "functools", "math"),
    }


def _roots(source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield (node.module or "").split(".")[0]


@pytest.mark.parametrize(
    "source",
    [
        "import castsugar",
        "def f():\n    from castsugar.motor.grain import Grain",
        "def f():\n    import castsugar.motor as m",
        "import importlib\nm = importlib.import_module('castsugar.motor')",
    ],
)
def test_an_import_of_the_project_is_seen(source: str) -> None:
    assert len(list(own_imports(source))) == 1


# ----------------------------------------------------------------------------
# The nozzle.


def test_flow_functions() -> None:
    """Sutton & Biblarz, ch. 3; NACA Report 1135 (k 1.4), both from memory."""
    k = np.array([1.1, 1.2, 1.3, 1.4])
    assert mass_flow_factor(k) == pytest.approx(
        [0.628360, 0.648531, 0.667262, 0.684731], abs=5e-7
    )
    assert critical_ratio(k[1:]) == pytest.approx(
        [0.564474, 0.545728, 0.528282], abs=5e-7
    )
    # A/A* and p/p0 at Mach 2 and 3.
    for gamma, ratio, pressure in (
        (1.4, 1.6875, 0.127805),
        (1.4, 4.23457, 0.027224),
        (1.2, 1.88371, 0.132810),
        (1.2, 6.73541, 0.021256),
    ):
        wide, exponent = np.array([ratio]), np.array([gamma])
        assert exit_ratio(wide, exponent) == pytest.approx(pressure, abs=5e-7)
        assert expansion_at(np.array([pressure]), exponent) == pytest.approx(
            ratio, rel=1e-4
        )
    # A choked throat lets no more through; at equal pressures nothing flows.
    share = flow_share(np.array([0.1, 0.5, 1.0]), np.full(3, 1.13))
    assert share == pytest.approx([1.0, 1.0, 0.0], abs=1e-12)


def test_thrust_coefficients_at_the_best_expansion() -> None:
    """Sutton & Biblarz, figs 3-4 and 3-6, recomputed: p0/pe 20 and 50."""
    for gamma, ratio, wanted in ((1.2, 20.0, 1.4084), (1.2, 50.0, 1.5549)):
        k, x = np.array([gamma]), np.array([1.0 / ratio])
        momentum, push = thrust_coefficients(x, x, k, np.array([0.4]))
        assert momentum + push == pytest.approx(wanted, abs=5e-5)
        assert push == pytest.approx(0.0, abs=1e-12)


def test_separation_only_where_the_exit_is_deep_below_ambient() -> None:
    k, full = np.array([1.13]), exit_ratio(np.array([5.0]), np.array([1.13]))
    for pressure in (3.0, 15.0, 30.0):
        back = np.array([1.0 / pressure])
        with_it = sum(thrust_coefficients(full, back, k, np.array([0.4])))
        without = sum(thrust_coefficients(full, back, k, np.array([0.0])))
        if full > 0.4 * back:
            assert with_it == pytest.approx(without, rel=1e-12)
        else:
            assert with_it > without


# ----------------------------------------------------------------------------
# The chamber.

FACE = Grain(burns="face", outer=50e-3, core=0.0, length=10e-3)


def plain(grain: Grain = FACE, **changes: float) -> Motor:
    """Return a motor without frills."""
    given = {
        "throat": math.sqrt(grain.area(np.zeros(1))[0] / 300.0 * 4.0 / math.pi),
        "rate": 4e-3,
        "exponent": 0.3,
        "density": 1750.0,
        "velocity": 850.0,
        "free_volume": 0.3 * grain.volume,
        "spread": 0.0,
    }
    return Motor(grain=grain, **(given | changes))


def test_areas_of_the_grains() -> None:
    """Volume of the solid shapes, from their sizes; a face as it must be."""
    tube = Grain(burns="core", outer=0.03, core=0.01, length=0.05, segments=2, ends=2)
    whole = 2 * math.pi / 4 * (0.03**2 - 0.01**2) * 0.05
    for burns, ends in (
        ("core", 2),
        ("core", 1),
        ("core", 0),
        ("both", 0),
        ("outside", 0),
    ):
        grain = replace(tube, burns=burns, ends=ends)
        assert grain.volume == pytest.approx(whole, rel=1e-12)
    assert FACE.volume == pytest.approx(math.pi / 4 * 0.05**2 * 0.01, rel=1e-12)
    # Rings of radius r: a bore of 10 mm, and both faces of it.
    first = 2 * (math.pi * 0.01 * 0.05 + 2 * math.pi / 4 * (0.03**2 - 0.01**2))
    assert tube.area(np.zeros(1)) == pytest.approx(first, rel=1e-12)


def test_mass_is_kept() -> None:
    """What was made has left or is there still: to 1e-4, faults of the grain too."""
    changes = [FAULTS[name] for name in FAULTS if _of_the_grain(name)]
    assert len(changes) >= 12
    rng = np.random.default_rng(3)
    motors = [draw(kind, rng) for kind in KINDS]
    motors += [change(draw("bates", rng)) for change in changes]
    for motor, course in zip(motors, courses(motors), strict=True):
        assert course.left == pytest.approx(course.made, rel=1e-4)
        igniter = motor.igniter_mass * motor.igniter_ratio
        assert course.made == pytest.approx(motor.mass + igniter, rel=1e-9)


def _of_the_grain(name: str) -> bool:
    sound = plain()
    return FAULTS[name](sound).reading_fault is None


def test_quasi_steady_limit() -> None:
    """p = (K rho c* a)^(1/(1-n)) with a 4 mm/s at 1 MPa, n 0.3, K 300, rho 1750 kg/m3,
    c* 850 m/s: 2.28814 MPa (Sutton & Biblarz, ch. 12; the number recomputed). The gas
    that fills the burnt volume stays behind: p / (RT rho) / (1 - n) less.
    """
    motor = plain()
    (course,) = courses([motor])
    assert motor.equilibrium(motor.grain.area(np.zeros(1)))[0] == pytest.approx(
        2.28814e6, rel=5e-6
    )
    rt = (float(mass_flow_factor(1.13)) * 850.0) ** 2
    p = 2.28814e6
    for _ in range(20):
        p = 2.28814e6 * (1.0 - p / (rt * 1750.0)) ** (1.0 / 0.7)
    assert course.pressure.max() == pytest.approx(p, rel=1e-4)


def test_emptying() -> None:
    """After burnout p falls as exp(-t / tau), tau = V / (G^2 c* A_t), while choked
    (closed form; Sutton & Biblarz, ch. 12, from memory).
    """
    motor = plain()
    (course,) = courses([motor])
    volume = motor.free_volume + motor.grain.volume
    tau = volume / (
        float(mass_flow_factor(1.13)) ** 2 * motor.velocity * motor.throat_area
    )
    last = np.flatnonzero(course.pressure > 0.99 * course.pressure.max())[-1]
    choked = course.pressure > 2.0 * motor.ambient
    falling = choked & (np.arange(STEPS + 1) > last)
    slope = np.polyfit(course.time[falling], np.log(course.pressure[falling]), 1)[0]
    assert -1.0 / slope == pytest.approx(tau, rel=1e-3)
    # And in the end it is empty, not below.
    assert course.pressure[-1] == pytest.approx(motor.ambient, rel=1e-3)
    assert course.pressure.min() >= motor.ambient


def test_steps_are_small_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half as many steps: the same peaks and integrals to 3e-4."""
    motors = [draw(kind, np.random.default_rng(5)) for kind in GRAINS]
    fine = courses(motors)
    monkeypatch.setattr("support.motors.STEPS", STEPS // 2)
    for one, other in zip(fine, courses(motors), strict=True):
        assert other.pressure.max() == pytest.approx(one.pressure.max(), rel=3e-4)
        whole = np.trapezoid(one.pressure, one.time)
        assert np.trapezoid(other.pressure, other.time) == pytest.approx(
            whole, rel=3e-4
        )


# ----------------------------------------------------------------------------
# What is recorded, and the faults.


def test_recordings_hold_the_truth() -> None:
    """Without noise the samples integrate to the true impulse; c* is the stated one."""
    for firing in fired([plain(), plain(discharge=0.97, growth=0.01, path=1.0)]):
        recording, truth, motor = firing.recording, firing.truth, firing.motor
        impulse = np.trapezoid(recording.thrust, recording.time)
        assert impulse == pytest.approx(truth.total_impulse, rel=1e-3)
        peak = recording.pressure.max() + motor.ambient
        assert peak == pytest.approx(truth.peak_pressure, rel=1e-3)
        # Nearly all of the gas leaves choked: the integral of A_t p is m c*.
        area = motor.throat_area * (1.0 + 0.5 * motor.growth) ** 2
        push = np.trapezoid(
            np.where(recording.pressure > 1e4, recording.pressure + motor.ambient, 0.0),
            recording.time,
        )
        velocity = area * push / motor.mass
        assert velocity == pytest.approx(truth.characteristic_velocity, rel=3e-3)
        assert truth.nozzle_efficiency == pytest.approx(
            motor.efficiency * motor.discharge, rel=1e-3
        )
        assert truth.specific_impulse == truth.total_impulse / (motor.mass * 9.80665)
        # C_F = F / (p A_t), and c* C_F = Isp g0 but for the gas of the tail.
        isp = truth.characteristic_velocity * truth.thrust_coefficient / 9.80665
        assert isp == pytest.approx(truth.specific_impulse, rel=5e-3)
        assert motor.stated.throat == motor.throat
        assert truth.rate_at(1e6) == pytest.approx(motor.rate)


def test_same_seed_same_fleet() -> None:
    one, other = (fleet(11, 4, ("bates", "spiky")) for _ in range(2))
    for a, b in zip(one, other, strict=True):
        assert np.array_equal(a.recording.pressure, b.recording.pressure)
    assert not np.array_equal(
        one[0].recording.thrust[:50], fleet(12, 1)[0].recording.thrust[:50]
    )


@pytest.mark.slow
def test_kinds_are_what_they_are_called() -> None:
    """Growth of Kn, pressures, rests and rates of sampling."""
    rng = np.random.default_rng(8)
    found = {kind: [draw(kind, rng) for _ in range(20)] for kind in KINDS}
    for motor in found["core x3.6"]:
        first, last = motor.grain.area(np.array([0.0, motor.grain.web]))
        assert 3.4 <= last / first <= 3.8
    for motor in found["neutral"]:
        assert motor.grain.area(np.array([motor.grain.web])) == pytest.approx(
            motor.grain.coefficients[0]
        )
    for kind, low, high in (
        ("end burner", 1e6, 2.1e6),
        ("low end burner", 2.5e5, 5e5),
    ):
        for firing in fired(found[kind]):
            assert low < firing.truth.peak_pressure < high
    for firing in fired(found["spiky"]):
        value = firing.recording.pressure
        rest = value[: int(0.3 * firing.motor.stand.sampling)]
        level, peak = float(np.median(rest)), float(value.max())
        assert value[0] - level > 0.003 * peak
        assert 0.0 < np.mean(rest - level > 0.005 * peak) < 0.25
    assert all(m.stand.sampling == 30.0 for m in found["30 a second"])
    assert all(m.stand.before == 27.0 for m in found["long quiet"])
    assert all(m.stand.second is not None for m in found["two ports"])
    assert set(HABITS) < set(found)


def test_sizes_of_the_faults() -> None:
    """Peaks and integrals move by what the fault says; the truth does not move."""
    kinds = ("core x3",)
    sound = fleet(21, 6, kinds)

    def moved(name: str) -> tuple[float, float]:
        """Return the mean change of peak and integral of the pressure."""
        struck = fleet(21, 6, kinds, FAULTS[name])
        peaks, wholes = [], []
        for a, b in zip(struck, sound, strict=True):
            assert a.truth == b.truth
            one, other = a.recording.pressure, b.recording.pressure
            peaks.append(one.max() / other.max() - 1.0)
            wholes.append(one.sum() / other.sum() - 1.0)
        return float(np.mean(peaks)), float(np.mean(wholes))

    assert moved("clip 85 %")[0] == pytest.approx(-0.15, abs=0.01)
    assert moved("soft 1.0")[0] == pytest.approx(math.tanh(1.0) - 1.0, abs=0.01)
    assert moved("gain +6 %") == pytest.approx((0.06, 0.06), abs=1e-3)
    assert moved("lag 50 ms")[1] == pytest.approx(0.0, abs=1e-3)
    assert moved("slag 0.4 s")[1] > 0.05
    assert moved("heat 5 %, 1 s")[0] == pytest.approx(0.05, abs=0.02)
    assert moved("burst 4")[0] > 0.03
    assert moved("thrust clip 85 %") == (0.0, 0.0)
    assert abs(moved("hum 3 %")[1]) < 0.003


@pytest.mark.slow
def test_a_crack_burns_the_same_propellant_in_less_time() -> None:
    sound = fleet(22, 6, ("bates",))
    for name in ("crack 30 %", "debond 35 %"):
        for a, b in zip(fleet(22, 6, ("bates",), FAULTS[name]), sound, strict=True):
            assert a.motor.mass == b.motor.mass
            assert a.truth.burn_time < b.truth.burn_time
            assert a.truth.peak_pressure > 1.1 * b.truth.peak_pressure
    late = fleet(22, 6, ("bates",), FAULTS["late 40 %"])
    for a, b in zip(late, sound, strict=True):
        assert a.truth.burn_time > b.truth.burn_time


def test_a_case_that_lets_go_reads_below_its_rest() -> None:
    for firing in fleet(23, 6, ("bates",), FAULTS["lets go"]):
        value = firing.recording.pressure
        assert value[-1] < -0.1 * firing.truth.peak_pressure


def test_a_blocked_port_reads_late() -> None:
    for firing in fleet(24, 4, ("two ports",), FAULTS["blocked port"]):
        first, second = firing.recording.pressure, firing.recording.second
        assert second is not None
        assert np.abs(second - first).max() > 0.1 * first.max()
    for firing in fleet(24, 4, ("two ports",)):
        first, second = firing.recording.pressure, firing.recording.second
        assert second is not None
        assert np.abs(second - first).max() < 0.1 * first.max()
