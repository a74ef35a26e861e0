"""A firing beside its mix and its motor: efficiency, burn law, expectation.

Works without Cantera where no mix is given.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from castsugar import plain
from castsugar.constants import DEFAULT_FLOW
from castsugar.errors import CastsugarError, InputError
from castsugar.evaluation import evaluate_columns
from castsugar.frozen import dataclass
from castsugar.mix.basis import Cited, basis, stamped
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.mix.weighing import browned_flag
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.delivered import efficiencies_in_use
from castsugar.motor.firing.alarms import ALARM, UNUSUAL, Alarm, alarms_of, texts_of
from castsugar.motor.firing.channel import FEWEST_FOR_PEAK
from castsugar.motor.firing.expectation import (
    Agreement,
    Expected,
    compare_with_law,
    expect,
    web_alarms,
    web_ratio,
)
from castsugar.motor.firing.faults import (
    HIGHEST_EFFICIENCY,
    IMPULSE_EFFICIENCIES,
    LOWEST_EFFICIENCY,
    explain_efficiency,
    found,
    impossible,
    suspects,
)
from castsugar.motor.firing.frames import Filmed
from castsugar.motor.firing.inference import InferredLaw, infer_law
from castsugar.motor.firing.law_doubts import SIZE_DOUBT, rivals_of
from castsugar.motor.firing.quantities import Measured, Stand, scaled
from castsugar.motor.firing.reduction import Reduction, result_rows
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import burn_law_of, casting_of
from castsugar.rows import records
from castsugar.thermo.species import SpeciesTable

if TYPE_CHECKING:
    import pandas as pd

#: A grain holds between these shares of the density without voids; outside, mass or
#: sizes are likely wrong (poured grains have 3-7 % voids: common practice, no source).
_DENSEST, _LIGHTEST = 1.01, 0.85

#: Least standard uncertainty of a burn rate that a firing shows (ln): throat, pressure
#: and c* are not read better. Assumed.
_RATE_DOUBT = 0.015


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """The burn rate that a firing shows, at the temperature of the strands.

    `value` [m/s] holds at `pressure` [Pa, absolute]; `u` is the standard uncertainty of
    its logarithm, `shared` the part of it that other firings have alike.
    """

    pressure: float
    value: float
    u: float
    shared: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StaticTest(Cited):
    """A firing, reduced, beside what was known before it.

    Attributes
    ----------
    reduction : Reduction
    mix : Mix or None
    row : dict
        The mix at the mean pressure of the firing, as of :func:`evaluate`; empty
        without a mix.
    hardware : Hardware or None
    characteristic_velocity_efficiency, specific_impulse_efficiency : Measured or None
        Delivered over ideal.
    density_ratio : float
        Propellant mass over that of the grain without voids; NaN where unknown. [-]
    inferred : InferredLaw or None
        The burn law that the trace shows.
    no_law : str
        Why there is none; empty if there is one.
    law : BurnLaw or None
        What was known of the burn rate before.
    agreement : Agreement or None
    expected : Expected or None
    own_alarms : tuple of Alarm
        Beside those of the recording: of the results and of the burn law.
    web_ratio : float
        Web that the law known before burns in that time, over the web; NaN unknown.
        [-]
    filmed : Filmed or None
        How it was filmed, of a firing that was not recorded.
    species : SpeciesTable or None
        The products of `row`; None: those that are shipped.
    """

    reduction: Reduction
    mix: Mix | None
    row: dict[str, Any]
    hardware: Hardware | None
    characteristic_velocity_efficiency: Measured | None
    specific_impulse_efficiency: Measured | None
    density_ratio: float
    inferred: InferredLaw | None
    no_law: str
    law: BurnLaw | None
    agreement: Agreement | None
    expected: Expected | None
    own_alarms: tuple[Alarm, ...] = ()
    web_ratio: float = math.nan
    filmed: Filmed | None = None
    species: SpeciesTable | None = None

    def __repr__(self) -> str:
        return "\n".join([repr(self.reduction), *self.cautions])

    @property
    def nozzle_efficiency(self) -> Measured | None:
        """Thrust over that of an ideal nozzle of this expansion; None if not told."""
        return self.reduction.results.get("nozzle_efficiency")

    @property
    def alarms(self) -> tuple[Alarm, ...]:
        """What the recording and its results show that looks like a fault."""
        return (*self.reduction.alarms, *self.own_alarms)

    @property
    def alarm_names(self) -> str:
        """The tests that raised an alarm, each once, as one text."""
        return ", ".join(dict.fromkeys(a.test for a in alarms_of(self.alarms)))

    @property
    def cautions(self) -> tuple[str, ...]:
        """What is to be said of the firing: alarms first, what is unusual after."""
        browned = "" if self.mix is None else browned_flag(self.mix.browned)
        told = texts_of(self.alarms, ALARM, UNUSUAL)
        return (*told, browned) if browned and self._efficient() else told

    def _efficient(self) -> bool:
        """Whether an efficiency is told."""
        return any(
            one is not None
            for one in (
                self.characteristic_velocity_efficiency,
                self.specific_impulse_efficiency,
            )
        )

    @property
    def suspects(self) -> str:
        """What the three efficiencies together point to; empty for usual ones."""
        three = (
            self.characteristic_velocity_efficiency,
            self.nozzle_efficiency,
            self.specific_impulse_efficiency,
        )
        values = (math.nan if one is None or one.bound else one.value for one in three)
        return suspects(*values)

    @property
    def basis(self) -> dict[str, Any]:
        """What it rests on, plain values; see :mod:`castsugar.mix.basis`."""
        mean = self.reduction.results.get("mean_pressure")
        return basis(
            [] if self.mix is None else [self.mix],
            pressure=None if self.mix is None or mean is None else mean.value,
            exit_pressure=self.reduction.stand.ambient_pressure,
            flow=DEFAULT_FLOW,
            species=self.species,
            data_uncertainty=self.mix is not None,
            motor=self.hardware,
        )

    @property
    def results(self) -> dict[str, Measured]:
        """Results of the recording and efficiencies, by name."""
        names = ("characteristic_velocity", "specific_impulse")
        shares = {f"{n}_efficiency": getattr(self, f"{n}_efficiency") for n in names}
        known = {name: share for name, share in shares.items() if share is not None}
        return {**self.reduction.results, **known}

    @property
    def rate(self) -> Rate | None:
        """The burn rate at the centre of the inferred law, or at the mean pressure.

        None without one.
        """
        mean = None if self.filmed is None else self.filmed.mean_rate
        found = self.inferred if mean is None else mean
        if found is None or self.hardware is None:
            return None
        return Rate(
            pressure=found.centre,
            value=found.rate / rate_factor(self.hardware),
            u=max(found.log_rate_u, _RATE_DOUBT),
            shared=0.0 if mean is None else mean.shared_u,
        )

    @property
    def doubts(self) -> tuple[str, ...]:
        """What looks like a fault of measuring: nothing is to be learnt from it."""
        said = [alarm.text for alarm in alarms_of(self.alarms)]
        if self.agreement is not None and not self.agreement.agrees:
            ratio = self.agreement.ratio
            low, high = self.agreement.ratio_low, self.agreement.ratio_high
            said.append(
                "its burning rate, or how that moves with pressure, disagrees with "
                f"what was known before ({ratio:.3g} times as fast, {low:.3g} to "
                f"{high:.3g})"
            )
        said += [
            f"its {name.replace('_', ' ')} lies outside what was predicted"
            for name in ("peak_pressure", "total_impulse")
            if self._outside(name)
        ]
        return tuple(said)

    def _outside(self, name: str) -> bool:
        """Whether a result lies outside its predicted band."""
        result = self.reduction.results.get(name)
        if self.expected is None or result is None or result.bound:
            return False
        return not self.expected.holds(name, result.value)

    def to_dict(self) -> dict[str, Any]:
        """Return results with their 95 % intervals, units in the names."""
        return {
            "mix": None if self.mix is None else self.mix.name,
            "results": self._results(),
            "density_ratio": self.density_ratio,
            "expected": None if self.expected is None else self.expected.to_dict(),
            "cautions": [*self.cautions],
        }

    def to_frame(self) -> pd.DataFrame:
        """Return one row a result: value, uncertainty, 95 % interval."""
        import pandas as pd

        return stamped(pd.DataFrame(self._results()), self.basis)

    def to_json(self) -> str:
        """Return :meth:`to_dict` as JSON."""
        return plain.to_json(self.to_dict())

    def _repr_html_(self) -> str:
        rows = [
            (str(r["result"]), r["value"], r["low_95"], r["high_95"])
            for r in self._results()
        ]
        above = "; ".join(self.cautions)
        return plain.html_table(("", "value", "low, 95 %", "high, 95 %"), rows, above)

    def _results(self) -> list[dict[str, Any]]:
        """Return results and efficiencies; a lower limit has no interval."""
        return result_rows(self.results)


def review(
    reduction: Reduction,
    *,
    mix: Mix | None = None,
    hardware: Hardware | None = None,
    size_u: float = SIZE_DOUBT,
    species: SpeciesTable | None = None,
    seed: int = 1,
) -> StaticTest:
    """Put a firing beside its mix and its motor.

    Parameters
    ----------
    reduction : Reduction
    mix : Mix, optional
        What was cast; gives the ideal performance.
    hardware : Hardware, optional
        Gives the grain, so that a burn law follows, and the law known before.
    size_u : float
        Standard uncertainty of every size of the grain. [m]
    species : SpeciesTable, optional
    seed : int
        Of the draws behind the expected band.

    Returns
    -------
    StaticTest
        Efficiencies [-], burn law and what was expected, as far as the inputs go.

    Raises
    ------
    InputError
        For a mix or a grain that cannot be used.

    See Also
    --------
    castsugar.firing.reduce_recording : makes the reduction.
    castsugar.firing.review_frames : for a firing that was filmed.

    Notes
    -----
    Valid as :func:`castsugar.firing.reduce_recording` and
    :func:`castsugar.evaluate`. Source: mass balance of a choked nozzle (Sutton &
    Biblarz, *Rocket Propulsion Elements*, ch. 3 and 11, from memory).

    Examples
    --------
    >>> import numpy as np
    >>> from castsugar.firing import Recorded, Stand, reduce_recording
    >>> time = np.arange(0.0, 3.0, 0.001)
    >>> burning = (time > 1.0) & (time < 2.0)
    >>> reduction = reduce_recording(
    ...     Recorded(time=time, pressure=2e6 * burning),
    ...     Stand(propellant_mass=0.125, throat_diameter=8e-3),
    ... )
    >>> test = review(reduction, mix=Mix.weigh("KNO3:65 sucrose:35"))
    >>> round(test.characteristic_velocity_efficiency.value, 2)
    0.92
    """
    row = _ideal(reduction, mix, species)
    inferred, no_law = _infer(reduction, hardware, size_u)
    law = agreement = expected = None
    web, alarms = math.nan, () if inferred is None else inferred.alarms
    if hardware is not None and mix is not None:
        law = burn_law_of(of_mixes([mix]), hardware)
        if inferred is not None:
            factor = rate_factor(hardware)
            agreement = compare_with_law(inferred, law, rate_factor=factor)
            web = web_ratio(inferred, law, rate_factor=factor)
            alarms = (*alarms, *web_alarms(inferred, law, web))
        if row["status"] == "ok" and reduction.stand.throat_diameter is not None:
            expected = predicted(hardware, row, law, seed, stand=reduction.stand)
    velocity = _over_ideal(reduction, "characteristic_velocity", row)
    impulse = _over_ideal(reduction, "specific_impulse", row)
    ratio = density_ratio(reduction, hardware, row)
    return StaticTest(
        reduction=reduction,
        mix=mix,
        row=row,
        hardware=hardware,
        characteristic_velocity_efficiency=velocity,
        specific_impulse_efficiency=impulse,
        density_ratio=ratio,
        inferred=inferred,
        no_law=no_law,
        law=law,
        agreement=agreement,
        expected=expected,
        own_alarms=(*_judge(reduction, velocity, impulse, ratio), *alarms),
        web_ratio=web,
        species=species,
    )


def _ideal(
    reduction: Reduction, mix: Mix | None, species: SpeciesTable | None
) -> dict[str, Any]:
    """Return the mix at the mean pressure of the firing."""
    if mix is None:
        return {}
    ambient = reduction.stand.ambient_pressure
    options: dict[str, Any] = {"exit_pressure": ambient, "species": species}
    mean = reduction.results.get("mean_pressure")
    if mean is not None:
        options["pressure"] = mean.value
    return records(evaluate_columns([mix], data_uncertainty=True, **options))[0]


def _over_ideal(
    reduction: Reduction, name: str, row: dict[str, Any]
) -> Measured | None:
    """Return a delivered value over the ideal one."""
    delivered = reduction.results.get(name)
    unit = {"characteristic_velocity": "m_s", "specific_impulse": "s"}[name]
    ideal = row.get(f"{name}_{unit}", math.nan)
    known_pressure = "mean_pressure" in reduction.results
    if delivered is None or not ideal > 0.0 or not known_pressure:
        return None
    logs = {what: u / delivered.value for what, u in delivered.parts.items()}
    doubt = row.get(f"{name}_u_{unit}", math.nan)
    if doubt > 0.0:
        logs["data of the ideal value"] = doubt / ideal
    return scaled(delivered.value / ideal, logs, bound=delivered.bound)


def _infer(
    reduction: Reduction, hardware: Hardware | None, size_u: float
) -> tuple[InferredLaw | None, str]:
    """Return the burn law of the trace, or why there is none."""
    if hardware is None:
        return (
            None,
            "the grain is not known; give --bench FILE with its sizes in [motor]",
        )
    pressure = reduction.pressure
    if pressure is not None and pressure.is_sparse:
        return None, (
            f"only {pressure.within} samples lie within the burning, at least "
            f"{FEWEST_FOR_PEAK} are needed; record faster"
        )
    if impossible(reduction.results):
        return None, "the results are not possible, so the recording is not understood"
    if reduction.no_law:
        return None, reduction.no_law
    try:
        rivals = rivals_of(hardware.grain, size_u)
        volume = hardware.free_volume
        law = infer_law(reduction, hardware.grain, rivals=rivals, free_volume=volume)
    except CastsugarError as error:
        return None, str(error)
    return law, ""


def rate_factor(hardware: Hardware) -> float:
    """Return the burn rate at the grain temperature over that of the strands."""
    motor = hardware.motor(density=1800.0, characteristic_velocity=900.0)
    return motor.propellant.rate_factor


def forecast(
    mix: Mix,
    hardware: Hardware,
    *,
    pressure: float,
    seed: int = 1,
) -> Expected:
    """Predict the next firing of a mix in a motor, that of the next batch.

    Parameters
    ----------
    pressure : float
        At which its ideal performance is taken. [Pa]

    Raises
    ------
    InputError
        For a mix or a grain that cannot be used.
    """
    row = records(evaluate_columns([mix], pressure=pressure))[0]
    if row["status"] != "ok":
        raise InputError(f"the model has no c* of {mix.name!r}: {row['status']}")
    law = burn_law_of(of_mixes([mix]), hardware)
    return predicted(hardware, row, law, seed)


def predicted(
    hardware: Hardware,
    row: dict[str, Any],
    law: BurnLaw,
    seed: int,
    *,
    stand: Stand | None = None,
) -> Expected:
    """Predict a firing, with the throat and the air pressure of its stand if known.

    With the efficiencies in use and their uncertainty, see
    :func:`castsugar.motor.delivered.efficiencies_in_use`.
    """
    throat, ambient = hardware.throat_diameter, hardware.ambient_pressure
    if stand is not None:
        throat, ambient = stand.throat_diameter or throat, stand.ambient_pressure
    exit_, after = hardware.exit_diameter, hardware.throat_after
    used = efficiencies_in_use(hardware)
    wider = throat / hardware.throat_diameter
    as_fired = replace(
        hardware,
        throat_diameter=throat,
        throat_after=None if after is None else after * wider,
        exit_diameter=None if exit_ is None else max(exit_, throat),
        ambient_pressure=ambient,
        efficiency=min(used.characteristic_velocity.value, 1.0),
        nozzle_efficiency=min(used.nozzle.value, 1.0),
    )
    motor = as_fired.filled(casting_of(row)).motor(
        density=row["density_kg_m3"],
        characteristic_velocity=row["characteristic_velocity_m_s"],
        exponent=row["isentropic_exponent"],
    )
    c_star = math.hypot(
        hardware.spread.characteristic_velocity, used.characteristic_velocity.u
    )
    return expect(
        motor,
        law,
        replace(hardware.spread, characteristic_velocity=c_star),
        thrust_u=used.nozzle.u,
        correlation=used.correlation * used.characteristic_velocity.u / c_star,
        seed=seed,
    )


def density_ratio(
    reduction: Reduction, hardware: Hardware | None, row: dict[str, Any]
) -> float:
    """Return the propellant mass over that of the grain without voids."""
    mass = reduction.stand.propellant_mass
    if hardware is None or not row or mass is None:
        return math.nan
    return mass / (hardware.grain.volume * float(row["density_kg_m3"]))


def _judge(
    reduction: Reduction,
    velocity: Measured | None,
    impulse: Measured | None,
    ratio: float,
) -> Iterator[Alarm]:
    """Say which results no sound firing of this mix and this grain has."""
    lead = velocity or impulse
    if lead is not None and not lead.lies_within(LOWEST_EFFICIENCY, HIGHEST_EFFICIENCY):
        eroded = reduction.stand.throat_after is not None or velocity is None
        if text := explain_efficiency(lead.value, eroded=eroded):
            yield found("efficiency", "motor", text, value=lead.value)
    low, high = IMPULSE_EFFICIENCIES
    if velocity and impulse and not impulse.lies_within(low, high):
        yield found(
            "efficiency",
            "motor",
            f"a specific impulse of {impulse.value:.2f} of the ideal is not likely "
            f"(small motors have {low:g} to {high:g})",
            value=impulse.value,
            limit=low if impulse.value < low else high,
        )
    yield from judge_mass(ratio)


def judge_mass(ratio: float) -> Iterator[Alarm]:
    """Say if a grain weighs what no grain of its size does."""
    if ratio > _DENSEST or ratio < _LIGHTEST:
        yield found(
            "mass",
            "motor",
            f"the propellant mass is {100 * ratio:.3g} % of what the grain would weigh "
            "without voids; mass, sizes of the grain or mix are likely not those that "
            "were fired",
            value=ratio,
            limit=_DENSEST if ratio > 1.0 else _LIGHTEST,
        )
