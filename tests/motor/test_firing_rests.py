"""Rests as they are: spikes of a supply, much quiet or little, no burning at all."""

from __future__ import annotations

from dataclasses import replace

import pytest
from firings import recorded, stand

from castsugar.constants import COVERAGE
from castsugar.errors import InputError
from castsugar.motor.firing.quantities import Measured
from castsugar.motor.firing.reduction import reduce_recording
from support.firings import FAULTED, FAULTS, Firing, fired, fleet
from support.motors import Motor

# Exact: the truth is that of simulated motors.
pytestmark = pytest.mark.exact


def burn_time(firing: Firing) -> Measured:
    return reduce_recording(recorded(firing), stand(firing)).results["burn_time"]


@pytest.mark.slow
def test_spikes_at_rest_change_nothing() -> None:
    """8 % of the resting samples, up to 3 to 11 % of the peak, the first and the last
    among them: no refusal, and the burn time is that of the same firing without.
    """

    def calm(motor: Motor) -> Motor:
        return replace(motor, stand=replace(motor.stand, spikes=0.0))

    struck = fleet(31, 12, ("spiky",))
    for one, other in zip(struck, fired([calm(f.motor) for f in struck]), strict=True):
        found, wanted = burn_time(one), burn_time(other)
        assert found.value == pytest.approx(wanted.value, rel=0.01)
        assert found.u < 2.0 * wanted.u
        assert found.value == pytest.approx(
            one.truth.burn_time, abs=2.0 * COVERAGE * found.u
        )


@pytest.mark.parametrize("kind", ["bates", "spiky"])
@pytest.mark.simulation
def test_the_band_of_the_burn_time_hangs_on_no_rest(kind: str) -> None:
    """0.6 to 27 s of quiet before, 1 to 20 burn times after."""
    motors = [f.motor for f in fleet(32, 6, (kind,))]
    rests = ((0.6, 1.0), (3.0, 2.0), (27.0, 2.0), (27.0, 20.0))
    found = [
        [
            burn_time(firing)
            for firing in fired(
                [
                    replace(m, stand=replace(m.stand, before=before, after=after))
                    for m in motors
                ]
            )
        ]
        for before, after in rests
    ]
    for bands in zip(*found, strict=True):
        widths = [band.u for band in bands]
        assert max(widths) < 1.25 * min(widths)
        values = [band.value for band in bands]
        assert max(values) - min(values) < 0.5 * max(widths)


@pytest.mark.slow
def test_what_is_no_burning_is_called_so() -> None:
    """Each time with the right reason; a burst is recorded at 320 a second or more."""
    for firing in fleet(33, 4, FAULTED, FAULTS["lets go"]):
        with pytest.raises(InputError, match="case or nozzle let go"):
            burn_time(firing)

    def bursts(motor: Motor) -> Motor:
        often = replace(motor.stand, sampling=max(motor.stand.sampling, 320.0))
        return FAULTS["bursts at once"](replace(motor, stand=often))

    for firing in fleet(33, 3, ("long quiet",), bursts):
        with pytest.raises(InputError, match=r"a burst: .* after 27(\.\d)? s of quiet"):
            burn_time(firing)
