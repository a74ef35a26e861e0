"""Mixes in the user's motor: peak pressure with its band, margin, and what it rests on.

Works without Cantera where c* is given.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import FloatArray
from castsugar.data.load import load_database
from castsugar.frozen import dataclass
from castsugar.mix import weighing
from castsugar.mix.blends import Blends, of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor import mass_balance
from castsugar.motor.burn_evidence import (
    FOREIGN,
    KINDS,
    PUBLISHED,
    Burned,
    coordinates,
)
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.burn_model import (
    NEXT,
    SAME,
    Asked,
    BurnModel,
    Rates,
    without_firings,
)
from castsugar.motor.case import margin
from castsugar.motor.hardware import Casting, Castings, Hardware
from castsugar.motor.law_of_mix import law_of_mix, tested
from castsugar.motor.mass_balance import Supply
from castsugar.motor.peak_pressure import peaks

# ----------------------------------------------------------------------------
# Mixes as the model of burn rates sees them.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Compositions:
    """What mixes were weighed of."""

    components: tuple[str, ...]  # catalogue names
    fractions: FloatArray  # (n, c)
    degraded: FloatArray  # degraded share of the sugar, (n,)
    processes: tuple[str, ...]  # of each; empty for the usual one

    def rates(
        self, model: BurnModel, pressure: float, of: str = NEXT, *, motor: bool = True
    ) -> Rates:
        """Return ln r of all, made as the first, at a pressure [Pa]; see `Asked`."""
        asked = Asked(of=of, motor=motor, process=self.processes[0])
        return model.rates(
            self.fractions, self.components, pressure, asked, self.degraded
        )

    def take(self, rows: Sequence[int]) -> Compositions:
        """Return some of them."""
        return replace(
            self,
            fractions=self.fractions[rows],
            degraded=self.degraded[rows],
            processes=tuple(self.processes[row] for row in rows),
        )


def components_of(blends: Blends) -> list[dict[str, float]]:
    """Return what each mix was weighed of: catalogue name to mass fraction."""
    if blends.items:
        names = [item.constituents[0].origin for item in blends.items]
        return [
            {n: float(s) for n, s in zip(names, row, strict=True) if s > 0.0}
            for row in blends.shares
        ]
    data = load_database()
    return [
        {weighing.item_name(data, item): share for item, share in mix.recipe}
        for mix in blends.mixes
    ]


def compositions(blends: Blends) -> Compositions:
    """Return mixes as the model of burn rates sees them."""
    if blends.items:
        names = tuple(item.constituents[0].origin for item in blends.items)
        shares = np.asarray(blends.shares, dtype=float)
    else:
        rows = components_of(blends)
        names = tuple(dict.fromkeys(name for row in rows for name in row))
        shares = np.array([[row.get(n, 0.0) for n in names] for row in rows])
    shares = shares.reshape(len(blends), len(names))
    return Compositions(
        components=names,
        fractions=shares / shares.sum(axis=1, keepdims=True),
        degraded=np.nan_to_num(blends.browned),
        processes=blends.processes,
    )


def differs(one: Mapping[str, float], other: Mapping[str, float]) -> float:
    """Return the share of the mass that differs between two mixes."""
    names = dict.fromkeys((*one, *other))
    return 0.5 * math.fsum(abs(one.get(n, 0.0) - other.get(n, 0.0)) for n in names)


def _apart(model: BurnModel, parts: Mapping[str, float]) -> list[float]:
    """Return the share of the mass by which a mix differs from all that was burned."""
    shares = coordinates(parts)
    return [differs(one.shares, shares) for one in model.evidence]


def own_of(
    model: BurnModel, parts: Mapping[str, float], process: str | None = None
) -> list[Burned]:
    """Return what was burned of this very mix, in the order of the bench file.

    With a process, empty for the usual one: only what was made by it.
    """
    return _own(model, _apart(model, parts), process)


def _own(
    model: BurnModel, apart: Sequence[float], process: str | None = None
) -> list[Burned]:
    """Return :func:`own_of` of a mix by how far it is from all that was burned."""
    made = model.process if process == "" else process
    both = zip(model.evidence, apart, strict=True)
    return [one for one, away in both if away < SAME and made in (None, one.process)]


def origin_of(model: BurnModel, parts: Mapping[str, float], process: str = "") -> str:
    """Say where the burn rate of a mix that is made by a process comes from.

    Examples
    --------
    >>> origin_of(BurnModel(), {"potassium nitrate": 0.6, "sucrose": 0.4})
    'assumed: nothing was burned'
    """
    return _origin(model, _apart(model, parts), process)


def _origin(model: BurnModel, apart: Sequence[float], process: str) -> str:
    """Return :func:`origin_of` a mix by how far it is from all that was burned."""
    if not model.evidence:
        return "assumed: nothing was burned"
    own = _own(model, apart)
    made = process or model.process
    like = [one for one in own if one.process == made]
    if like:
        one = min(like, key=lambda one: KINDS.index(one.kind))
        if one.kind == FOREIGN:
            return f"imported: strands of {_benches(like)}, none of yours"
        beside = f"; {_benches(like)}, imported" if _benches(like) else ""
        return f"{_WORDS[one.kind]}: {one.name}{beside}"
    share, name = _nearest(model, apart)
    away = f"{100.0 * share:.2g} % of the mass from {name}"
    if own:
        away = f"{own[0].name}, but that was {own[0].process} and this is {made}"
    if all(one.kind == PUBLISHED for one in model.evidence):
        return f"borrowed: {name}, {away}"
    count = len({o.name for o in model.evidence if o.kind not in (PUBLISHED, FOREIGN)})
    beside = _benches(model.evidence)
    if not count:
        near = "" if own else f"nearest {100.0 * share:.2g} % of the mass away"
        return f"imported: strands of {beside}, none of yours, {near or away}"
    mixes = "1 mix" if count == 1 else f"{count} mixes"
    return f"model of {mixes}{f' and {beside}' if beside else ''}: {away}"


def _benches(burned: Sequence[Burned]) -> str:
    """Say of how many other benches something is; empty for none."""
    count = len({one.bench for one in burned} - {""})
    return f"{count} other bench{'es' * (count > 1)}" if count else ""


_WORDS = {
    "strands": "measured",
    "firing": "fired",
    "stated": "stated",
    "published": "borrowed",
}


def distance_of(model: BurnModel, parts: Mapping[str, float]) -> tuple[float, str]:
    """Return how much of a mix differs from the nearest known one, and its name."""
    return _nearest(model, _apart(model, parts))


def _nearest(model: BurnModel, apart: Sequence[float]) -> tuple[float, str]:
    """Return the first of the least distances, and whose it is."""
    share = min(apart)
    return share, model.evidence[apart.index(share)].name


def batches_of(
    model: BurnModel, parts: Mapping[str, float], process: str = ""
) -> tuple[str, ...]:
    """Return the batches of a mix and process that burned, the last one last."""
    own = own_of(model, parts, process)
    return tuple(dict.fromkeys(one.batch for one in own if one.measured and one.batch))


def this_batch(model: BurnModel, parts: Mapping[str, float], process: str = "") -> str:
    """Return the batch of this mix and process that burned last; empty without."""
    return (batches_of(model, parts, process) or ("",))[-1]


def repeats(model: BurnModel) -> int:
    """Return how many batches there are of mixes that were cooked more than once.

    By another process it is another mix.
    """
    made = {
        (tuple(sorted(one.shares.items())), one.process): one for one in model.evidence
    }
    counts = [len(batches_of(model, o.shares, o.process)) for o in made.values()]
    return sum(count for count in counts if count > 1)


def burn_law_of(blends: Blends, hardware: Hardware) -> BurnLaw:
    """Return the law that the first of some mixes burns by in a motor.

    That of the next batch; its doubt holds batch and firing.

    Raises
    ------
    InputError
        For a law so steep that no pressure is stable.
    """
    found = compositions(blends)
    parts = components_of(blends)[0]
    return law_of_mix(
        hardware.burning,
        found.fractions[0],
        found.components,
        degraded=float(found.degraded[0]),
        asked=Asked(process=found.processes[0]),
        origin=origin_of(hardware.burning, parts, found.processes[0]),
    )


# ----------------------------------------------------------------------------
# Mixes in the motor.

Columns = dict[str, Any]

_BURSTS = "the expected peak exceeds what the case may hold: do not fire it"

#: Quantiles that every row has.
_LEVELS = (0.5, 0.95)

#: Sound firings from which on what they taught is taken as it is.
FIRINGS_TO_TRUST = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class MotorRows:
    """Mixes in a motor."""

    hardware: Hardware
    blends: Blends  # as cast
    #: Held against a limit: of the motor, and of it had no firing told an efficiency.
    supplies: tuple[Supply, Supply]
    status: NDArray[np.str_]  # "ok" or "not computed: reason", (n,)
    #: The median also where no pressure is told: for warnings alone, (n,). [Pa]
    estimate: FloatArray
    #: Of the next batch. Infinite where no upper limit can be given, NaN where no
    #: pressure is told, (n,). [Pa]
    p50: FloatArray
    p95: FloatArray
    further: FloatArray  # the other levels that were asked for, (levels, n) [Pa]
    amplification: FloatArray  # 1/(1 - n), (n,) [-]

    @functools.cached_property
    def parts(self) -> list[dict[str, float]]:
        """Return what each was weighed of."""
        return components_of(self.blends)

    @functools.cached_property
    def apart(self) -> list[list[float]]:
        """Return by how much of its mass each differs from all that was burned."""
        return [_apart(self.hardware.burning, one) for one in self.parts]

    @functools.cached_property
    def this_batch(self) -> FloatArray:
        """Return 95 % of the batch whose strands burned, NaN without. [Pa]"""
        found = np.full(len(self.parts), np.nan)
        made, burning = compositions(self.blends), self.hardware.burning
        burned = {tuple(sorted(one.shares)) for one in burning.evidence}
        known = [min(one, default=1.0) < SAME for one in self.apart]
        near = np.array(known, dtype=bool) & (self.status == "ok")
        for row in np.flatnonzero(near).tolist():
            if tuple(sorted(coordinates(self.parts[row]))) not in burned:
                continue
            batch = this_batch(burning, self.parts[row], made.processes[row])
            if batch:
                own = self.supplies[0].take([row]), self.supplies[1].take([row])
                asked = (made.take([row]), own, (0.95,), batch)
                found[row] = _quantiles(self.hardware, *asked)[0][0, 0]
        return found

    def columns(self) -> Columns:
        """Return the motor columns of the contract."""
        return {
            **self.of_next(),
            "peak_pressure_p95_this_batch_MPa": 1e-6 * self.this_batch,
            "burn_law_origin": self.origins(),
        }

    def of_next(self) -> Columns:
        """Return the columns with numbers of the next batch."""
        left = margin(self.hardware.allowable, self.p95)
        return {
            "kn_max": np.full(len(self.p50), self.hardware.kn_max),
            "peak_pressure_MPa": 1e-6 * self.p50,
            "peak_pressure_p95_MPa": 1e-6 * self.p95,
            "pressure_margin_percent": 100.0 * left,
        }

    def origins(self) -> list[str]:
        """Say of each mix where its burn rate comes from."""
        model, processes = self.hardware.burning, self.blends.processes
        each = zip(self.apart, processes, self.status, strict=True)
        return [
            _origin(model, apart, process) if status == "ok" else str(status)
            for apart, process, status in each
        ]

    def flags(self) -> list[list[str]]:
        """Return what is special about each row."""
        allowed, reach = self.hardware.allowable, tested(self.hardware.burning)
        return [self._flags(row, allowed, *reach) for row in range(len(self.p50))]

    def _flags(self, row: int, allowed: float, low: float, most: float) -> list[str]:
        """Return those of a row; what the case may hold, and the pressures tested."""
        middle, high = self.p50[row], self.p95[row]
        if self.status[row] != "ok":
            beyond = self.estimate[row] > allowed
            return [f"motor {self.status[row]}", *([_BURSTS] if beyond else [])]
        found = []
        if not low <= middle <= most:
            found.append(
                f"pressure outside the {low / 1e6:.3g} to {most / 1e6:.3g} MPa at "
                "which anything burned"
            )
        elif math.isfinite(high) and high > most:
            found.append("95 % pressure above those at which anything burned")
        if math.isinf(high):
            found.append("no upper limit of the pressure can be given: burn strands")
        if middle > allowed:
            found.append(_BURSTS)
        elif high > allowed:
            found.append(
                "the 95 % pressure exceeds what the case may hold: do not fire it"
            )
        return found


def motor_rows(
    blends: Blends,
    hardware: Hardware,
    *,
    characteristic_velocity: FloatArray,
    castings: Castings | None = None,
    levels: tuple[float, ...] = (),
) -> MotorRows:
    """Put mixes into a motor.

    Parameters
    ----------
    blends : Blends
        As cast.
    characteristic_velocity : ndarray, shape (n,)
        Ideal; NaN where a mix has none. [m/s]
    castings : Castings, optional
        How dense a kitchen expects the grains, where the motor does not state it.
    levels : tuple of float
        Further quantiles of the peak.

    Returns
    -------
    MotorRows
        A row that cannot be driven says why.
    """
    made = compositions(blends)
    velocity = np.asarray(characteristic_velocity, dtype=float)
    supplies = _supplies(hardware, blends, velocity, castings)
    wanted = (*_LEVELS, *levels)
    held = supplies
    if castings is not None and hardware.density_ratio is None:
        held = _supplies(hardware, blends, velocity, castings, guarded=True)
    found, exponent = _quantiles(hardware, made, supplies, wanted, held=held)
    estimate = found[0]
    why = mass_balance.withheld(exponent, estimate, hardware.ambient_pressure)
    why = np.where(np.isnan(held[0].per_rate), "an input is not a positive number", why)
    status = np.where(why == "", "ok", np.char.add("not computed: ", why))
    none = "not computed: no c*, without a nozzle, a flame or a sound cook"
    status = np.where(np.isnan(velocity), none, status)
    told = np.where(status == "ok", found, np.nan)
    return MotorRows(
        hardware=hardware,
        blends=blends,
        supplies=held,
        status=status,
        estimate=estimate,
        p50=told[0],
        p95=told[1],
        further=told[2:],
        amplification=mass_balance.amplification(exponent),
    )


def _supplies(
    hardware: Hardware,
    blends: Blends,
    velocity: FloatArray,
    castings: Castings | None = None,
    *,
    guarded: bool = False,
) -> tuple[Supply, Supply]:
    """Return that of a motor, and that of it had no firing told an efficiency."""
    asked = (blends.density, velocity, castings)
    return (
        hardware.supply(*asked, guarded=guarded),
        hardware.unfired().supply(*asked, guarded=guarded),
    )


def _quantiles(
    hardware: Hardware,
    made: Compositions,
    supplies: tuple[Supply, Supply],
    levels: Sequence[float],
    of: str = NEXT,
    held: tuple[Supply, Supply] | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Return quantiles of the peak of the next or another batch, and the exponent.

    Levels above a half are those with supplies `held` against a limit. Before three
    sound firings no firing may lower them by more than its own uncertainty allows.
    """
    model = hardware.burning
    which = _named(model, of)
    both = supplies[0].beside((held or supplies)[0])
    found, exponent = peaks_of(hardware, model, made, both, levels, which)
    bare = without_firings(model)
    fired = max(hardware.firings, len(model.evidence) - len(bare.evidence))
    lowered = bare is not model or hardware.efficiency_measured
    if not lowered or fired >= FIRINGS_TO_TRUST:
        return found, exponent
    known = bare if bare.evidence else model  # nothing else tells of the rate
    of = _named(known, of)
    high = [i for i, level in enumerate(levels) if level > 0.5]
    most, supply = [levels[i] for i in high], (held or supplies)[1]
    before, _ = peaks_of(hardware.unfired(), known, made, supply, most, of)
    u = math.hypot(hardware.efficiency_u, model.scatter.firing)
    u = math.hypot(u, model.scatter.strands_to_motor_u)
    found[high] = np.fmax(found[high], before * math.exp(-1.96 * u))
    return found, exponent


def _named(model: BurnModel, batch: str) -> str:
    """Return a batch that burned; of every other nothing is known: the next one."""
    return batch if any(one.batch == batch for one in model.evidence) else NEXT


def peaks_of(
    hardware: Hardware,
    model: BurnModel,
    made: Compositions,
    supply: Supply,
    levels: Sequence[float],
    of: str = NEXT,
) -> tuple[FloatArray, FloatArray]:
    """Return quantiles of the peak [Pa] and exponents, of the next or another batch.

    The mixes of each process are taken together; a supply may have two rows, the second
    for levels above a half.
    """
    size = len(made.fractions)
    found, exponent = np.empty((len(levels), size)), np.empty(size)
    processes = np.array(made.processes, dtype=object)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_supply = np.log(supply.per_rate)
    for process in dict.fromkeys(made.processes):
        own = np.flatnonzero(processes == process)
        some = peaks(
            model,
            made.fractions[own],
            made.components,
            log_supply=np.where(np.isfinite(log_supply), log_supply, np.nan)[..., own],
            supply_u=supply.u[..., own],
            levels=levels,
            filling=supply.filling[..., own],
            asked=Asked(of=of, process=process),
            degraded=made.degraded[own],
        )
        found[:, own], exponent[own] = some.quantiles, some.exponent
    return found, exponent


def peaks_of_batch(
    hardware: Hardware,
    mix: Mix,
    characteristic_velocity: float,
    batch: str,
    levels: Sequence[float],
) -> list[float]:
    """Return quantiles of the peak with grains of a batch whose strands burned. [Pa]

    Parameters
    ----------
    mix : Mix
        As cast.
    characteristic_velocity : float
        Ideal. [m/s]
    batch : str
        Its name in what was burned; of another it is the next batch.
    """
    blends = of_mixes([mix])
    own = _supplies(hardware, blends, np.array([characteristic_velocity]))
    found, _ = _quantiles(hardware, compositions(blends), own, levels, batch)
    return [float(value) for value in found[:, 0]]


def untold(row: Mapping[str, Any]) -> str:
    """Return why a row has no pressure and no margin; empty if it has, or no motor.

    Examples
    --------
    >>> untold({"burn_law_origin": "not computed: the burn law is too steep"})
    'the burn law is too steep'
    """
    head, _, why = str(row.get("burn_law_origin", "")).partition(": ")
    return why if head == "not computed" else ""


def casting_of(row: Mapping[str, Any]) -> Casting:
    """Return how dense the kitchen expects a grain of a row of the table; NaN's."""
    keys = ("density_ratio", "density_ratio_u")
    ratio, u = (float(row.get(key, math.nan)) for key in keys)
    return ratio, u


def loaded_mass(
    hardware: Hardware, density: ArrayLike, ratio: ArrayLike | None = None
) -> FloatArray:
    """Return the propellant that a motor takes of mixes. [kg]

    Parameters
    ----------
    density : array_like
        Of the mix, without voids. [kg/m3]
    ratio : array_like, optional
        Of the density of the grain over that; that of the motor by default.
    """
    own = hardware.known_density_ratio if ratio is None else np.asarray(ratio)
    return np.asarray(hardware.grain.volume * own * np.asarray(density))


def steepest(
    hardware: Hardware,
    blends: Blends,
    characteristic_velocity: Sequence[float],
) -> float:
    """Return the largest amplification 1/(1 - n) of mixes in a motor; NaN for none.

    Parameters
    ----------
    hardware, blends
        As for :func:`motor_rows`.
    characteristic_velocity : sequence of float
        [m/s]
    """
    driven = motor_rows(
        blends, hardware, characteristic_velocity=np.array(characteristic_velocity)
    )
    known = driven.amplification[~np.isnan(driven.estimate)]
    return float(known.max(initial=-math.inf)) if known.size else math.nan
