"""What a case may hold: material, stress in the wall, rating and margin."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import FloatArray
from castsugar.checks import one_of, positive
from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.errors import InputError, ValidityError
from castsugar.frozen import dataclass

# ----------------------------------------------------------------------------
# Strength of a case material. None is shipped: its user states it, with a source.


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Strength of a case material, cold, as its user states it.

    Attributes
    ----------
    name, source : str
    yield_strength, ultimate_strength, shear_yield : float or None
        At least one of the first two. [Pa]
    temperatures, factors : tuple of float
        Strength over cold strength at rising temperatures [K], [-]; straight between
        them, not continued beyond the last.
    plastic : bool

    Raises
    ------
    InputError
        No strength, a value that is not positive, a table that does not rise in
        temperature, a factor above 1.

    Examples
    --------
    >>> hot = Material(
    ...     name="invented",
    ...     yield_strength=250e6,
    ...     temperatures=(293.15, 493.15),
    ...     factors=(1.0, 0.8),
    ... )
    >>> round(hot.derating(393.15), 3)
    0.9
    """

    name: str
    yield_strength: float | None = None
    ultimate_strength: float | None = None
    shear_yield: float | None = None
    temperatures: tuple[float, ...] = ()
    factors: tuple[float, ...] = ()
    plastic: bool = False
    source: str = "stated by the user"

    def __post_init__(self) -> None:
        if self.yield_strength is None and self.ultimate_strength is None:
            raise InputError(
                f"material {self.name!r} has no strength; "
                "give its yield or its ultimate strength"
            )
        for label in ("yield_strength", "ultimate_strength", "shear_yield"):
            value = getattr(self, label)
            if value is not None:
                positive(f"{label.replace('_', ' ')} of {self.name!r}", value, "Pa")
        t, f = np.asarray(self.temperatures, float), np.asarray(self.factors, float)
        if len(t) != len(f) or np.any(np.diff(t) <= 0):
            raise InputError(
                f"derating table of {self.name!r} has {len(t)} temperatures and "
                f"{len(f)} factors; give rising temperatures, one factor for each"
            )
        if np.any(~((f > 0.0) & (f <= 1.0))):
            raise InputError(
                f"derating table of {self.name!r}: factors must be above 0, up to 1"
            )

    def derating(self, temperature: float) -> float:
        """Return strength at a temperature [K] over cold strength.

        Raises
        ------
        InputError
            No table.
        ValidityError
            Hotter than the table.
        """
        if not self.temperatures:
            raise InputError(
                f"material {self.name!r} has no derating table; "
                "give one, or state a derating factor for the case"
            )
        if temperature > self.temperatures[-1]:
            raise ValidityError(
                f"wall temperature {temperature:g} K is above the derating table of "
                f"{self.name!r}, which ends at {self.temperatures[-1]:g} K"
            )
        return float(np.interp(temperature, self.temperatures, self.factors))


# ----------------------------------------------------------------------------
# Stress in the wall of a closed cylinder under inner pressure p.
#
# With inner diameter d, outer diameter D and wall t = (D - d) / 2, the hoop stress is
#
# * "inner diameter" (thin wall): :math:`p d / (2 t)` (Gere & Goodno, *Mechanics of
# Materials*, ch. 8, with the inner radius); * "mean diameter" (thin wall): :math:`p (d
# + t) / (2 t)` (Shigley, *Mechanical   Engineering Design*, ch. 3; the pipe formula of
# ASTM D1785 is the same one turned   round); * "thick wall", at the bore: :math:`p (D^2
# + d^2) / (D^2 - d^2)` (Lamé; Shigley, ch. 3).
#
# The chapters are from memory. Pressures here are those above the outside.

#: Accepted conventions of the hoop stress.
CONVENTIONS: Final = ("mean diameter", "inner diameter", "thick wall")

#: Wall over inner diameter above which only the thick wall counts: a radius of 10
#: walls (Gere & Goodno, ch. 8, from memory). There the inner-diameter formula is 5 %
#: low, the mean-diameter one 0.2 %.
THIN_WALL_LIMIT: Final = 0.05


def is_thick(inner_diameter: ArrayLike, thickness: ArrayLike) -> NDArray[np.bool_]:
    """Return where a wall is too thick for the thin-wall formulas."""
    ratio = np.asarray(thickness, float) / np.asarray(inner_diameter, float)
    return np.asarray(ratio > THIN_WALL_LIMIT)


def hoop_stress(
    pressure: ArrayLike,
    inner_diameter: ArrayLike,
    thickness: ArrayLike,
    *,
    convention: str = "mean diameter",
) -> FloatArray:
    """Return the largest hoop stress. [Pa]

    Parameters
    ----------
    pressure : array_like
        Above the outside. [Pa]
    inner_diameter, thickness : array_like
        [m]
    convention : str
        One of :data:`CONVENTIONS`, taken as it is: see :func:`is_thick`.

    Raises
    ------
    InputError
        An unknown convention.

    Examples
    --------
    >>> float(hoop_stress(1600.0, 7.0, 0.320, convention="inner diameter"))
    17500.0
    """
    one_of("stress convention", convention, CONVENTIONS)
    p, d = np.asarray(pressure, float), np.asarray(inner_diameter, float)
    t = np.asarray(thickness, float)
    if convention == "thick wall":
        outer = d + 2.0 * t
        return np.asarray(p * (outer**2 + d**2) / (outer**2 - d**2))
    width = d + t if convention == "mean diameter" else d
    return np.asarray(p * width / (2.0 * t))


# ----------------------------------------------------------------------------
# What a case may hold, and how much of that a motor leaves unused.
#
# A margin is an estimate about an unproved case. It is no approval, and it says nothing
# about closures, threads, pins, welds, dents or a case that has been hot before.


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A motor case: a stated pressure, a wall, or both.

    All pressures are absolute. Of several limits the lowest counts.

    Attributes
    ----------
    rated_pressure : float or None
        That the user allows in a firing; taken as it is. [Pa]
    proof_pressure : float or None
        Held cold, with liquid; divided by `safety_factor`, above ambient, and
        multiplied by the derating. [Pa]
    inner_diameter, thickness : float or None
        Both or none. [m]
    material : Material or None
        Required with a wall.
    safety_factor : float
        Of strength over stress and of proof over working pressure, 1 or more. The
        default 2 is common practice, no source. [-]
    derating : float
        Hot over cold strength, above 0, up to 1; on top of `wall_temperature`.
        [-]
    wall_temperature : float or None
        Looked up in the table of the material. [K]
    convention : str
        One of :data:`castsugar.motor.case.CONVENTIONS`; a wall that is not thin gets
        the thick-wall formula under any of them.
    plastic : bool
        A plastic case is never what a pipe rating says: see the cautions.
    ambient_pressure : float
        [Pa]

    Raises
    ------
    InputError
        No limit at all, a wall without material, values out of range.

    See Also
    --------
    castsugar.motor.allowable_pressure : the limit that counts.

    Examples
    --------
    >>> steel = Material(name="invented", yield_strength=250e6)
    >>> case = Case(inner_diameter=0.038, thickness=1.5e-3, material=steel)
    >>> case.is_plastic, case.total_derating
    (False, 1.0)
    """

    rated_pressure: float | None = None
    proof_pressure: float | None = None
    inner_diameter: float | None = None
    thickness: float | None = None
    material: Material | None = None
    safety_factor: float = 2.0
    derating: float = 1.0
    wall_temperature: float | None = None
    convention: str = "mean diameter"
    plastic: bool = False
    ambient_pressure: float = STANDARD_ATMOSPHERE

    def __post_init__(self) -> None:
        for label in (
            "rated_pressure",
            "proof_pressure",
            "inner_diameter",
            "thickness",
        ):
            value = getattr(self, label)
            if value is not None:
                positive(f"{label.replace('_', ' ')} of the case", value)
        for label in ("rated_pressure", "proof_pressure"):
            value = getattr(self, label)
            if value is not None and value <= self.ambient_pressure:
                raise InputError(
                    f"{label.replace('_', ' ')} of the case is {value:g} Pa absolute; "
                    f"it must be above the ambient {self.ambient_pressure:g} Pa"
                )
        self._check_wall()
        one_of("stress convention", self.convention, CONVENTIONS)
        if not 1.0 <= self.safety_factor < math.inf:
            raise InputError(
                f"safety factor is {self.safety_factor:g}; it must be 1 or more"
            )
        if not 0.0 < self.derating <= 1.0:
            raise InputError(
                f"derating factor is {self.derating:g}; allowed: above 0, up to 1"
            )

    def _check_wall(self) -> None:
        walled = self.inner_diameter is not None and self.thickness is not None
        if (self.inner_diameter is None) != (self.thickness is None):
            raise InputError("a case wall needs both inner diameter and thickness")
        if walled and self.material is None:
            raise InputError("a case wall needs a material with its strength")
        if self.wall_temperature is not None and self.material is None:
            raise InputError(
                f"wall temperature {self.wall_temperature:g} K says nothing without a "
                "material and its derating table"
            )
        if not walled and self.rated_pressure is None and self.proof_pressure is None:
            raise InputError(
                "the case has no limit; give a rated pressure, a proof pressure, or "
                "inner diameter, thickness and material"
            )

    @property
    def is_plastic(self) -> bool:
        """Return whether the cautions for plastic cases apply."""
        return self.plastic or (self.material is not None and self.material.plastic)

    @property
    def total_derating(self) -> float:
        """Return the factor on cold strength. [-]"""
        factor = self.derating
        if self.wall_temperature is not None and self.material is not None:
            factor *= self.material.derating(self.wall_temperature)
        return factor


_RATED, _PROOF = "rated pressure as stated", "proof pressure over safety factor"

#: What people call the limit of a rule; any other is that of the wall.
_WHOSE = {_RATED: "your rating", _PROOF: "the limit of your proof test"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowable:
    """The pressure that a case may hold.

    Attributes
    ----------
    pressure : float
        Absolute. [Pa]
    rule : str
        Which limit it is and how it was found.
    limits : dict of str to float
        Every limit by its rule, absolute. [Pa]
    """

    pressure: float
    rule: str
    limits: dict[str, float]

    @property
    def whose(self) -> str:
        """Return what people call it: after the rule that sets it."""
        return _WHOSE.get(self.rule, "the limit of the wall")


def allowable_pressure(case: Case) -> Allowable:
    """Return the lowest limit of a case, absolute.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Allowable
        Pressure, absolute [Pa], and the rule that sets it.

    Notes
    -----
    Valid for the cylinder of a case in one piece, not for its closures; an estimate
    about a case that was not proved. Source: hoop stress (Gere & Goodno, *Mechanics
    of Materials*, ch. 8, from memory); strengths as stated.

    Examples
    --------
    >>> case = Case(proof_pressure=8.101325e6, safety_factor=2.0)
    >>> found = allowable_pressure(case)
    >>> found.rule, round(found.pressure)
    ('proof pressure over safety factor', 4101325)
    """
    limits: dict[str, float] = {}
    ambient, factor = case.ambient_pressure, case.total_derating
    if case.rated_pressure is not None:
        limits[_RATED] = case.rated_pressure
    if case.proof_pressure is not None:
        held = (case.proof_pressure - ambient) * factor / case.safety_factor
        limits[_PROOF] = ambient + held
    for rule, strength, stress in _wall_limits(case):
        allowed = strength * factor / case.safety_factor
        limits[rule] = ambient + allowed / stress
    rule = min(limits, key=lambda name: limits[name])
    return Allowable(pressure=limits[rule], rule=rule, limits=limits)


def _wall_limits(case: Case) -> list[tuple[str, float, float]]:
    """Return rule, cold strength, and stress per pressure."""
    if case.inner_diameter is None or case.thickness is None or case.material is None:
        return []
    size = case.inner_diameter, case.thickness
    thick = bool(is_thick(*size)) or case.convention == "thick wall"
    how = "thick wall" if thick else f"thin wall, {case.convention}"
    convention = "thick wall" if thick else case.convention
    hoop = float(hoop_stress(1.0, *size, convention=convention))
    material = case.material
    found = [
        (f"yield strength, {how}", material.yield_strength, hoop),
        (f"ultimate strength, {how}", material.ultimate_strength, hoop),
        (f"shear yield, {how}", material.shear_yield, _shear(hoop, thick)),
    ]
    return [(rule, s, stress) for rule, s, stress in found if s is not None]


def _shear(hoop: float, thick: bool) -> float:
    """Return the largest shear per pressure.

    Half the hoop stress in a thin wall; at the bore of a thick one half the
    difference to the radial stress, which is minus the pressure (Lamé).
    """
    return 0.5 * (hoop + 1.0) if thick else 0.5 * hoop


def margin(allowable: ArrayLike, pressure: ArrayLike) -> FloatArray:
    """Return (allowable - pressure) / allowable, absolute; negative if none is left.

    An infinite pressure (no stable root) gives minus infinity, NaN gives NaN.
    """
    limit, p = (np.asarray(a, dtype=float) for a in (allowable, pressure))
    return np.asarray((limit - p) / limit)
