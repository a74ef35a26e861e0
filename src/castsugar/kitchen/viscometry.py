"""Viscosity with a ball, a tube and a watch: measurements of syrup and of hot mix."""

from __future__ import annotations

import math

import numpy as np

from castsugar.arrays import FloatArray, celsius
from castsugar.constants import STANDARD_ATMOSPHERE, STANDARD_GRAVITY
from castsugar.errors import InputError
from castsugar.kitchen import liquid, suspension
from castsugar.kitchen.heat import Cook
from castsugar.kitchen.measurements import (
    Measurement,
    known_pot,
    positive,
    salt_density,
)
from castsugar.kitchen.parameters import Kitchen, Values
from castsugar.kitchen.pot import SYRUP_GRADE, SYRUP_SOLIDS, pot_of, poured
from castsugar.mix.mix import Mix, MixLike, as_mix

#: Density of a steel ball (bearing steel, from memory). [kg/m3]
STEEL = 7800.0

#: Largest Reynolds number of a falling ball for Stokes' law within a few percent.
CREEPING = 0.5

#: Standard uncertainties of ln viscosity. Ball: temperature, timing, grade equation.
#: Flow-out: entry, wall, yield stress. Common practice, no source.
BALL, FLOW_OUT = 0.10, 0.25


def ball_fall(  # noqa: PLR0913 - keyword-only options
    syrup: str = "corn syrup",
    *,
    ball: float,
    cup: float,
    fall: float,
    time: float,
    temperature: float,
    ball_density: float = STEEL,
    label: str = "",
) -> Measurement:
    """Time a ball that falls through the plain, cold syrup.

    eta = 2 (rho_b - rho) g a^2 / (9 v) x (1 - 2.104 q + 2.09 q^3), q the ball's over
    the cup's diameter: Stokes with the wall correction of Faxen (from memory). It tells
    solids and grade of the syrup together.

    Parameters
    ----------
    syrup : str
        Name of the catalogue.
    ball, cup : float
        Diameters. [m]
    fall, time : float
        Distance at steady speed [m], and its time [s].
    temperature : float
        Of the syrup, 0 to 50 C. [K]
    ball_density : float
        [kg/m3]
    label : str

    Returns
    -------
    Measurement
        For :func:`castsugar.kitchen.calibrate`.

    Raises
    ------
    InputError
        What is no syrup, a size that is not above 0, a ball no denser than the syrup,
        too wide for the cup or too fast for Stokes' law.
    ValidityError
        A temperature outside 0 to 50 C.
    UnknownNameError
        For a syrup that is not in the catalogue.

    Notes
    -----
    Valid from 0 to 50 C, for a ball slow and narrow enough for Stokes' law with its
    wall correction. Source: Stokes; Faxen, from memory.

    Examples
    --------
    >>> found = ball_fall(
    ...     ball=4e-3, cup=60e-3, fall=0.10, time=12.0, temperature=293.15
    ... )
    >>> found.kind
    'ball fall'
    """
    mix = Mix.weigh({syrup: 1.0})
    if not mix.syrups:
        raise InputError(f"{syrup!r} is no syrup; see castsugar ingredients")
    pot = pot_of(mix)
    for value, what in (
        (ball, "diameter of the ball"),
        (cup, "diameter of the cup"),
        (fall, "distance of the fall"),
    ):
        positive(value, what, "m")
    positive(time, "time of the fall", "s")
    celsius(temperature, 0.0, 50.0, "temperature of the syrup")
    nominal = float(pot.syrup_solids[0])
    density = float(suspension.syrup_density(nominal, temperature))
    viscosity = ball_viscosity(
        ball=ball, cup=cup, speed=fall / time, excess=ball_density - density
    )
    reynolds = density * ball * fall / time / viscosity
    if reynolds > CREEPING:
        raise InputError(
            f"the ball falls too fast (Reynolds number {reynolds:.2g}, allowed "
            f"{CREEPING:g}); use a smaller ball or colder syrup"
        )

    def predict(values: Values) -> FloatArray:
        solids = nominal + values.syrup_solids * pot.syrup_solids_u[0]
        grade = pot.syrup_viscosity_grade[0] + values.syrup_grade
        return liquid.log_viscosity(
            np.clip(solids, *SYRUP_SOLIDS),
            np.asarray(temperature),
            1.0,
            np.clip(grade, *SYRUP_GRADE),
        )

    return Measurement(
        kind="ball fall",
        quantity="viscosity of the syrup",
        unit="Pa s",
        observed=math.log(viscosity),
        spread=BALL,
        inverse=math.exp,
        predict=predict,
        label=label,
    )


def ball_viscosity(*, ball: float, cup: float, speed: float, excess: float) -> float:
    """Return the viscosity from a falling ball; see :func:`ball_fall`. [Pa s]

    Parameters
    ----------
    ball, cup : float
        Diameters; the ball at most a third of the cup. [m]
    speed : float
        [m/s]
    excess : float
        Density of the ball less that of the liquid. [kg/m3]

    Raises
    ------
    InputError

    Examples
    --------
    >>> round(ball_viscosity(ball=6.35e-3, cup=0.04, speed=0.03 / 1.7, excess=6050), 1)
    5.1
    """
    if excess <= 0.0:
        raise InputError("the ball is not denser than the syrup; use a steel ball")
    ratio = ball / cup
    if not ratio <= 1.0 / 3.0:
        raise InputError(
            f"the ball has {ratio:.2f} of the cup's diameter; allowed up to 0.33"
        )
    wall = 1.0 - 2.104 * ratio + 2.09 * ratio**3
    stokes = excess * STANDARD_GRAVITY * ball**2 / (18.0 * speed)
    return stokes * wall


def flow_out(  # noqa: PLR0913 - keyword-only options
    mix: MixLike,
    cook: Cook,
    *,
    tube_diameter: float,
    tube_length: float,
    head: float,
    volume: float,
    time: float,
    salt: str = "potassium nitrate",
    air_pressure: float = STANDARD_ATMOSPHERE,
    label: str = "",
) -> Measurement:
    """Time a volume of hot mix that runs out of a cup through a tube.

    eta = pi rho g h R^4 t / (8 L V), Hagen-Poiseuille under a mean head h. Do it
    first without oxidizer: weigh the same volume of ground potassium chloride (0.943 of
    the mass) in place of the nitrate, and say so by `salt`, or name it in the mix.

    Parameters
    ----------
    mix : Mix, recipe or recipe text
        With nitrate, also if chloride stood in for it.
    cook : Cook
        It runs out at the last temperature.
    tube_diameter, tube_length, head : float
        The head is the mean height of the mix above the outlet. [m]
    volume, time : float
        What ran out [m3], and how long it took [s].
    salt : str
        A key of :data:`castsugar.kitchen.measurements.SALTS`.
    air_pressure : float
        [Pa]
    label : str

    Returns
    -------
    Measurement
        For :func:`castsugar.kitchen.calibrate`.

    Raises
    ------
    InputError
        A size or a time that is not above 0, a mix without a model, an unknown salt.

    Notes
    -----
    Valid for slow flow through a tube from a head that hardly falls. Source:
    Hagen-Poiseuille; entry, wall and yield stress by common practice.

    Examples
    --------
    >>> from castsugar.kitchen import Cook
    >>> found = flow_out(
    ...     "KNO3:55 sucrose:20 corn syrup:25",
    ...     Cook.hold(392.15, 480.0),
    ...     tube_diameter=8e-3,
    ...     tube_length=30e-3,
    ...     head=40e-3,
    ...     volume=20e-6,
    ...     time=10.0,
    ... )
    >>> found.kind
    'flow-out'
    """
    known = as_mix(mix)
    pot = known_pot(known, Kitchen(cook=cook, air_pressure=air_pressure))
    if not pot.plain:
        raise InputError(
            f"{known.name!r} holds another sugar than sucrose and syrup, whose "
            "liquid this measures; nothing can be learnt from it"
        )
    pot = pot.as_dummy() if salt_density(salt) == suspension.CHLORIDE else pot
    radius = 0.5 * tube_diameter
    for value, what in (
        (radius, "radius of the tube"),
        (tube_length, "length of the tube"),
        (head, "head"),
    ):
        positive(value, what, "m")
    positive(volume, "volume that ran out", "m3")
    positive(time, "time", "s")
    viscosity = flow_out_viscosity(
        radius=radius,
        length=tube_length,
        head=head,
        rate=volume / time,
        density=known.density,
    )

    def predict(values: Values) -> FloatArray:
        eta, _ = poured(pot, values, cook, air_pressure)
        return np.log(eta[0])

    return Measurement(
        kind="flow-out",
        quantity="viscosity of the mix",
        unit="Pa s",
        observed=math.log(viscosity),
        spread=FLOW_OUT,
        inverse=math.exp,
        predict=predict,
        label=label,
    )


def flow_out_viscosity(
    *, radius: float, length: float, head: float, rate: float, density: float
) -> float:
    """Return the viscosity from a flow-out cup; see :func:`flow_out`. [Pa s]

    Examples
    --------
    >>> eta = flow_out_viscosity(
    ...     radius=4e-3, length=0.03, head=0.06, rate=50e-6 / 72.0, density=1750.0
    ... )
    >>> round(eta, 1)
    5.0
    """
    pressure = density * STANDARD_GRAVITY * head
    return math.pi * pressure * radius**4 / (8.0 * length * rate)
