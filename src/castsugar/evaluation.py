"""Mixes in, one row each out: the one place where the wings meet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from castsugar import confirmation, rows
from castsugar.checks import instance, named_options, number, shown
from castsugar.confirmation import Reference
from castsugar.constants import DEFAULT_FLOW, DEFAULT_PRESSURE, STANDARD_ATMOSPHERE
from castsugar.errors import InputError
from castsugar.limits import PEAK, chance_column, levels_of
from castsugar.mix import refusals
from castsugar.mix.basis import basis, stamped
from castsugar.mix.blends import Blends, of_mixes
from castsugar.mix.mix import MixLike, as_mix, as_mixes
from castsugar.plausible import RANGES
from castsugar.rows import other_set, shipped_species
from castsugar.thermo import solver
from castsugar.thermo.flow import FLOWS, FlowSolution
from castsugar.thermo.solver import Job, charge_of
from castsugar.thermo.species import SpeciesTable
from castsugar.thermo.states import State

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import pandas as pd

    from castsugar.kitchen.parameters import Kitchen
    from castsugar.kitchen.pour_table import Cooked
    from castsugar.motor.hardware import Castings, Hardware
    from castsugar.sensitivity import Sensitivities

#: Chamber pressures that are accepted [Pa].
PRESSURE_RANGE = RANGES["chamber pressure"].hard


@named_options
def equilibrium(
    mix: MixLike,
    *,
    pressure: float = DEFAULT_PRESSURE,
    temperature: float | None = None,
    species: SpeciesTable | None = None,
) -> State:
    """Return the equilibrium state of a burnt mix.

    Parameters
    ----------
    mix : Mix, recipe or recipe text
    pressure : float
        Absolute. [Pa]
    temperature : float, optional
        [K]; without it the state is adiabatic (constant enthalpy).
    species : SpeciesTable, optional
        The shipped products by default.

    Returns
    -------
    State
        Composition, properties and certificate.

    Raises
    ------
    InputError
        For a pressure or temperature outside the accepted range.
    ConvergenceError
        If no state is found that passes its certificate, or the mix does not burn by
        this model.

    Notes
    -----
    Valid for nitrate-sugar mixes, an ideal gas and condensed products without a
    volume (a true one moves 65/35 nitrate and sucrose by 1 K). Source: product data
    of NASA TM-4513 as Cantera carries them; enthalpies of the ingredients as
    :func:`castsugar.cite` names them.

    Examples
    --------
    >>> state = equilibrium({"KNO3": 65, "sucrose": 35})
    >>> round(state.temperature)
    1717
    """
    known = as_mix(mix)
    _check_pressure(pressure, "pressure")
    if temperature is not None:
        temperature = number(temperature, "temperature", "K")
        if not 300.0 <= temperature <= 5000.0:
            raise InputError(
                f"temperature is {temperature:g} K; the species data cover 300 to "
                "5000 K"
            )
    instance(species, SpeciesTable, "species")
    table, charge = charge_of(known, species or shipped_species())
    state = solver.equilibrium(table, charge, pressure, temperature)
    return replace(state, basis=basis([known], pressure=pressure, species=species))


@named_options
def performance(
    mix: MixLike,
    *,
    pressure: float = DEFAULT_PRESSURE,
    exit_pressure: float | None = STANDARD_ATMOSPHERE,
    flow: str = DEFAULT_FLOW,
    species: SpeciesTable | None = None,
) -> FlowSolution:
    """Return chamber, throat and exit of one mix, with all states.

    Parameters
    ----------
    mix : Mix, recipe or recipe text
    pressure : float
        Chamber pressure, absolute. [Pa]
    exit_pressure : float or None
        [Pa]; None leaves the exit out.
    flow : str
        ``"no-solidification"``, ``"equilibrium"`` or ``"frozen"``.
    species : SpeciesTable, optional
        The shipped products by default.

    Returns
    -------
    FlowSolution
        States with their certificates, c* [m/s], thrust coefficient [-] and specific
        impulse, ideal: without losses.

    Raises
    ------
    InputError
        For options without meaning, a pressure outside the accepted range.
    RefusedError
        For an inert dummy: it does not burn.
    ConvergenceError
        If a state is not found; :func:`evaluate` writes a status instead.

    See Also
    --------
    evaluate : a table of many mixes.

    Notes
    -----
    Valid for nitrate-sugar mixes, an ideal gas, condensed products without a volume
    that keep up with it, no losses. Source: product data of NASA TM-4513 as Cantera
    carries them; enthalpies of the ingredients as :func:`castsugar.cite` names
    them.

    Examples
    --------
    >>> found = performance("KNO3:65 sucrose:35", pressure=3e6)
    >>> round(found.chamber.temperature), round(found.characteristic_velocity)
    (1688, 918)
    """
    check_options(pressure, exit_pressure, flow)
    instance(species, SpeciesTable, "species")
    table, charge = charge_of(as_mix(mix), species or shipped_species())
    return solver.solve_one(table, charge, pressure, exit_pressure, flow)


@named_options
def evaluate(  # noqa: PLR0913 - keyword-only options
    mixes: MixLike | Iterable[MixLike] | Blends,
    *,
    pressure: float | Sequence[float] = DEFAULT_PRESSURE,
    exit_pressure: float | None = STANDARD_ATMOSPHERE,
    flow: str = DEFAULT_FLOW,
    confirm: bool = False,
    data_uncertainty: bool = False,
    kitchen: Kitchen | None = None,
    motor: Hardware | None = None,
    windows: bool = True,
    executor: Executor | None = None,
    species: SpeciesTable | None = None,
) -> pd.DataFrame:
    """Return the performance table: one row a mix, columns of :data:`COLUMNS`.

    Parameters
    ----------
    mixes : Mix, recipe or recipe text, an iterable of these, or Blends
        As ``Mix``, ``{"KNO3": 65, "sucrose": 35}`` or ``"KNO3:65 sucrose:35"``;
        :func:`castsugar.mix.blends.blend` makes thousands of mixes at once.
    pressure : float or sequence of float
        Chamber pressure, absolute; one value or one a mix. [Pa]
    exit_pressure : float or None
        [Pa]; None leaves the nozzle columns empty (NaN).
    flow : str
        ``"no-solidification"``, ``"equilibrium"`` or ``"frozen"``.
    confirm : bool
        Whether Cantera solves every mix again, on its own route; a row on which the
        two do not agree is ``disputed``. Slow: about 0.2 s a mix. The mass flux of
        every throat is then held against those beside it, too.
    data_uncertainty : bool
        Whether the columns ``..._u_...`` are filled: the difference between the two
        product sets and the uncertainties of the enthalpies of formation, as the root
        of the sum of squares; NaN where an ingredient states no uncertainty. Not for
        ``flow="frozen"``.
    kitchen : Kitchen, optional
        How the mixes are cooked: fills the kitchen columns, and the water that leaves
        in it is not burnt. A mix that already lost water keeps its loss.
    motor : Hardware, optional
        The user's grain, nozzle, case and burn laws: fills the motor columns.
    windows : bool
        Whether the kitchen looks for the temperatures between which a mix pours; the
        slowest of its columns, NaN without.
    executor : concurrent.futures.Executor, optional
        Solves chunks of 2,048 mixes; results do not depend on it.
    species : SpeciesTable, optional
        The shipped products by default; see :func:`species_set`.

    Returns
    -------
    pandas.DataFrame
        A row that could not be computed keeps its place, with NaN and the reason in
        `status`. A row never depends on its neighbours. Its ``attrs`` are plain values:
        conditions (SI, units in the names), cook, draws, seed, versions, sources.

    Raises
    ------
    InputError
        For options that no row could use.
    RefusedError
        For an inert dummy: it does not burn.
    WorkerError
        If a worker of the executor died.
    UnconfirmedError
        A KeyboardInterrupt that holds what is known, for :func:`table_of`: if Ctrl-C
        came while the second solver worked.

    Notes
    -----
    Valid for nitrate-sugar mixes, an ideal gas, condensed products without a volume
    that keep up with it, no losses; a row outside says so in `status` and `flags`.
    Source: product data of NASA TM-4513 as Cantera carries them; enthalpies of the
    ingredients as :func:`castsugar.cite` names them.

    Examples
    --------
    >>> table = evaluate(["KNO3:65 sucrose:35", "KNO3:65 sorbitol:35"], pressure=3e6)
    >>> [round(t) for t in table["flame_temperature_K"]]
    [1688, 1586]
    >>> list(table["status"])
    ['ok', 'ok']
    """
    table_of({})  # loads pandas: done late, Ctrl-C meanwhile would cost the answer
    taken = _taken(mixes)
    table = table_of(
        evaluate_columns(
            taken,
            pressure=pressure,
            exit_pressure=exit_pressure,
            flow=flow,
            confirm=confirm,
            data_uncertainty=data_uncertainty,
            kitchen=kitchen,
            motor=motor,
            windows=windows,
            executor=executor,
            species=species,
        )
    )
    known = basis(
        taken,
        pressure=pressure,
        exit_pressure=exit_pressure,
        flow=flow,
        species=species,
        data_uncertainty=data_uncertainty,
        kitchen=kitchen,
        motor=motor,
    )
    return stamped(table, known)


def evaluate_columns(  # noqa: PLR0913 - keyword-only options
    mixes: MixLike | Iterable[MixLike] | Blends,
    *,
    pressure: float | Sequence[float] = DEFAULT_PRESSURE,
    exit_pressure: float | None = STANDARD_ATMOSPHERE,
    flow: str = DEFAULT_FLOW,
    confirm: bool = False,
    data_uncertainty: bool = False,
    kitchen: Kitchen | None = None,
    motor: Hardware | None = None,
    windows: bool = True,
    castable_windows: bool = False,
    chances: Sequence[tuple[str, float]] = (),
    executor: Executor | None = None,
    species: SpeciesTable | None = None,
) -> rows.Columns:
    """Return the columns of :func:`evaluate`, key to one value a mix: no pandas.

    `castable_windows` seeks pour windows only of mixes that burn and that anybody
    casts. `chances` asks for quantiles of drawn columns, (column, level), of the draws
    that fill the row; they stand under :func:`castsugar.limits.chance_column`.
    """
    _check_wings(kitchen, motor, species)
    blends = _taken(mixes)
    count = len(blends)
    columns = rows.not_asked("kitchen", count) | rows.not_asked("motor", count)
    cooked = None
    if kitchen is not None:
        cooked = _cook(blends, kitchen, windows and not castable_windows, chances)
        blends = cooked.blends
        columns |= cooked.columns()
        columns |= {chance_column(*c): v for c, v in cooked.chances().items()}
    pressures = _pressures(pressure, len(blends))
    for value in {*pressures}:
        check_options(value, exit_pressure, flow)
    job = Job(
        table=species or shipped_species(),
        elements=blends.elements,
        enthalpy=blends.enthalpy,
        pressure=np.array(pressures),
        exit_pressure=exit_pressure,
        flow=flow,
        differentiate=data_uncertainty,
        test_throats=confirm,
    )
    found = solver.solve(job, executor)
    own_flags = cooked.flags() if cooked else ["; ".join(f) for f in blends.flags]
    columns |= rows.mix_columns(blends) | rows.flow_columns(found, blends, own_flags)
    columns |= rows.not_confirmed(len(blends))
    if cooked and kitchen is not None and castable_windows:
        burns = np.array([status == "ok" for status in columns["status"]], dtype=bool)
        columns |= cooked.castable_windows(kitchen, burns)
    if data_uncertainty:
        from castsugar import uncertainty

        other = other_set(job.table)
        columns |= uncertainty.columns(job, blends, found, other, executor)
    if motor is not None:
        _drive(columns, motor, blends, levels_of(chances, PEAK))
    if confirm:
        second = Reference(job.table, exit_pressure, flow)
        alone = [blends.mix(row) for row in range(count)]
        confirmation.confirm(columns, alone, pressures, second)
    return columns


def table_of(columns: rows.Columns) -> pd.DataFrame:
    """Return columns as the table, in its order."""
    import pandas as pd

    return pd.DataFrame(columns, columns=rows.in_order(columns))


def _cook(
    blends: Blends,
    kitchen: Kitchen,
    windows: bool,
    chances: Sequence[tuple[str, float]],
) -> Cooked:
    """Cook the mixes; the wing is loaded only where somebody cooks."""
    from castsugar.kitchen import pour_table

    return pour_table.cook(blends, kitchen, window=windows, chances=chances)


def _drive(
    columns: rows.Columns,
    motor: Hardware,
    blends: Blends,
    levels: tuple[float, ...],
) -> None:
    """Fill the motor columns, and add what is special to the flags."""
    from castsugar.motor import pressure_table

    bare = np.asarray(columns["oxidizer_fuel_ratio"]) == 0.0  # makes no flame
    driven = pressure_table.motor_rows(
        blends,
        motor,
        characteristic_velocity=np.where(
            bare, np.nan, columns["characteristic_velocity_m_s"]
        ),
        castings=castings_of(columns, motor, len(blends)),
        levels=levels,
    )
    columns |= driven.columns()
    for level, values in zip(levels, driven.further, strict=True):
        columns[chance_column(PEAK, level)] = 1e-6 * values
    columns["flags"] = [
        "; ".join([*([own] if own else []), *more])
        for own, more in zip(columns["flags"], driven.flags(), strict=True)
    ]


def castings_of(columns: rows.Columns, motor: Hardware, count: int) -> Castings:
    """Return how dense the castings are: as the motor states it, else as they flow.

    What is stated is written into the columns of the kitchen.
    """
    if motor.density_ratio is not None:
        ratio, u = motor.density_ratio, motor.density_ratio * motor.spread.density
        columns["density_ratio"] = np.full(count, ratio)
        columns["density_ratio_u"] = np.full(count, u)
    for key in ("density_ratio", "density_ratio_u"):
        columns.setdefault(key, np.full(count, np.nan))
    return columns["density_ratio"], columns["density_ratio_u"]


@named_options
def sensitivities(
    mix: MixLike,
    *,
    pressure: float = DEFAULT_PRESSURE,
    exit_pressure: float = STANDARD_ATMOSPHERE,
    flow: str = DEFAULT_FLOW,
    species: SpeciesTable | None = None,
) -> Sensitivities:
    """Return how flame temperature, c* and specific impulse of a mix would move.

    Analytic derivatives with respect to the mass fraction of every constituent (added
    to the cast mix, which it dilutes) and to its enthalpy of formation.

    Parameters
    ----------
    mix : Mix, recipe or recipe text
    pressure, exit_pressure : float
        [Pa]
    flow : str
        ``"no-solidification"`` or ``"equilibrium"``.
    species : SpeciesTable, optional
        The shipped products by default.

    Returns
    -------
    Sensitivities
        c* and specific impulse are NaN where a flow without solidification starts on
        a melting plateau. On a phase boundary the derivatives are those of the side
        that the solver found.

    Raises
    ------
    InputError
        For options without meaning.
    RefusedError
        For an ingredient that is none of the catalogue's.
    ConvergenceError
        If the mix is cold or a station is not found.

    Notes
    -----
    Valid for small changes of this mix: derivatives. Source: product data of NASA
    TM-4513 as Cantera carries them; enthalpies of the ingredients as
    :func:`castsugar.cite` names them.

    Examples
    --------
    >>> found = sensitivities("KNO3:65 sucrose:35")
    >>> [round(float(change)) for change in found.by_mass[0]]  # of nitrate, of sugar
    [1585, -2943]
    """
    from castsugar.sensitivity import sensitivities as derivatives

    known = as_mix(mix)
    refusals.check_catalogued(known.name, known.weighed)
    check_options(pressure, exit_pressure, flow)
    instance(species, SpeciesTable, "species")
    table = species or shipped_species()
    return replace(
        derivatives(known, table, pressure, exit_pressure, flow),
        basis=basis(
            [known],
            pressure=pressure,
            exit_pressure=exit_pressure,
            flow=flow,
            species=species,
        ),
    )


def _taken(mixes: MixLike | Iterable[MixLike] | Blends) -> Blends:
    """Return mixes as columns; no dummy."""
    if isinstance(mixes, Blends):
        for item in mixes.items:
            refusals.check_burns("blend", item.constituents)
        return mixes
    listed = as_mixes(mixes)
    for mix in listed:
        refusals.check_burns(mix.name, mix.cast)
    return of_mixes(listed)


def _pressures(pressure: float | Sequence[float], count: int) -> list[float]:
    """Return one pressure a mix."""
    if isinstance(pressure, str) or not np.ndim(pressure):
        return [number(pressure, "pressure", "Pa")] * count
    values = [number(p, "pressure", "Pa") for p in pressure]  # type: ignore[union-attr]
    if len(values) != count:
        raise InputError(
            f"{len(values)} pressures for {count} mixes; give one value or one a mix"
        )
    return values


def check_options(pressure: float, exit_pressure: float | None, flow: str) -> None:
    """Refuse options that make no flow.

    Parameters
    ----------
    pressure, exit_pressure : float
        [Pa]; no exit: None

    Raises
    ------
    InputError
    """
    _check_pressure(pressure, "chamber pressure")
    if flow not in FLOWS:
        raise InputError(f"flow is {shown(flow)}; allowed: {', '.join(FLOWS)}")
    if exit_pressure is None:
        return
    if not 0.0 < number(exit_pressure, "exit pressure", "Pa") < pressure:
        raise InputError(
            f"exit pressure {exit_pressure / 1e6:g} MPa is not below the chamber "
            f"pressure {pressure / 1e6:g} MPa; give a lower exit pressure, above 0"
        )


def _check_pressure(pressure: float, name: str) -> None:
    low, high = PRESSURE_RANGE
    if not low <= number(pressure, name, "Pa") <= high:
        raise InputError(
            f"{name} is {pressure:g} Pa ({pressure / 1e6:g} MPa); allowed "
            f"{low / 1e6:g} to {high / 1e6:g} MPa absolute"
        )


def _check_wings(
    kitchen: Kitchen | None, motor: Hardware | None, species: SpeciesTable | None
) -> None:
    if kitchen is not None:
        from castsugar.kitchen.parameters import Kitchen

        instance(kitchen, Kitchen, "kitchen")
    if motor is not None:
        from castsugar.motor.hardware import Hardware

        instance(motor, Hardware, "motor")
    instance(species, SpeciesTable, "species")
