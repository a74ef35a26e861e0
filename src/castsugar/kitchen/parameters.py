"""The uncertain numbers of a kitchen, and what is believed about them."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray, inside
from castsugar.checks import instance, numbers
from castsugar.constants import ICE_POINT, STANDARD_ATMOSPHERE
from castsugar.draw_set import DRAWS, SEED, normals
from castsugar.errors import InputError, unknown_name
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import HOTTEST, WARN, Cook
from castsugar.kitchen.packing import TAPPED
from castsugar.kitchen.water import check_air
from castsugar.plausible import RANGES
from castsugar.special import expit, logit, ndtri

# ----------------------------------------------------------------------------
# The uncertain numbers of a kitchen: what is believed, and how firmly.


@dataclass(frozen=True, slots=True)
class Parameter:
    """One uncertain number."""

    name: str
    label: str
    unit: str
    #: On which it is normally distributed: ``"plain"``, ``"log"`` or ``"logit"``, which
    #: is that of the share of `ceiling`.
    scale: str
    middle: float  # median before any measurement [SI]
    spread: float  # standard deviation on the scale: of ln x for ``"log"``
    #: Draws are held inside. [SI]
    low: float
    high: float
    origin: str  # where middle and spread come from
    ceiling: float = 1.0  # what a logit scale never reaches [SI]

    def inward(self, value: ArrayLike) -> FloatArray:
        """Return a value on the scale of the normal distribution."""
        x: FloatArray = np.asarray(value, dtype=float)
        if self.scale == "log":
            x = np.asarray(np.log(x), dtype=float)
        elif self.scale == "logit":
            x = np.asarray(logit(x / self.ceiling), dtype=float)
        return x

    def outward(self, value: ArrayLike) -> FloatArray:
        """Return the physical value, held inside its limits."""
        x = np.asarray(value, dtype=float)
        if self.scale != "plain":
            x = np.exp(x) if self.scale == "log" else self.ceiling * expit(x)
        return np.clip(x, self.low, self.high)


#: In the order of :class:`Values`. Middles and ranges from the processability study of
#: the project; "guess" is common practice, no source.
PARAMETERS: tuple[Parameter, ...] = (
    Parameter(
        "syrup_solids",
        "dry solids of the syrup, off the stated value",
        "standard uncertainties of the syrup",
        "plain",
        0.0,
        1.0,
        -5.0,
        5.0,
        "uncertainty of the syrup's row; 0.02 for a retail syrup",
    ),
    Parameter(
        "syrup_grade",
        "viscosity grade of the syrup, off the stated value",
        "DE",
        "plain",
        0.0,
        5.5,
        -35.0,
        35.0,
        "range 50-75 of retail syrups; +-0.2 decade of the grade factor",
    ),
    Parameter(
        "packing",
        "maximum packing of the grains",
        "",
        "plain",
        0.63,
        0.04,
        0.45,
        0.76,
        "kitchen-ground crystals, ln of the size +-0.5-0.7 (estimated): its voids are "
        "0.8 of those of one size, 0.44 (from memory)",
    ),
    Parameter(
        "nitrate_dissolved",
        "nitrate dissolved, share of what pure water takes",
        "",
        "logit",
        0.453,
        1.0,
        0.01,
        1.19,
        # Koehler, 1897: 0.89 beside saturated sucrose at 31 C (from memory).
        "guess, 0.09-0.98: sugars hold the water (from memory)",
        ceiling=1.2,
    ),
    Parameter(
        "solubility_loss",
        "how much syrup hinders sucrose from dissolving",
        "",
        "log",
        0.2,
        0.6,
        1e-3,
        2.0,
        # Cane juice, 1 to 4 g of non-sugar per g of water: 0.08; confectionery
        # practice at 25 C: 0.24 (from memory).
        "guess, 0.08-0.3, of cane juice and confectionery (from memory)",
    ),
    Parameter(
        "drying_time",
        "drying time at 119 C of a usual layer",
        "s",
        "log",
        3000.0,
        0.92,
        100.0,
        1e6,
        "common practice, no source: x/: 2.5, x/: 1.7 where the layer is known",
    ),
    Parameter(
        "liquid_factor",
        "viscosity over that of the model",
        "",
        "log",
        1.0,
        0.53,
        0.02,
        50.0,
        "factor 1.7: spread of three extrapolations at 89 % and 119 C",
    ),
    Parameter(
        "thermometer",
        "true bulk temperature less the reading",
        "K",
        "plain",
        0.0,
        2.0,
        -10.0,
        10.0,
        "common practice, no source",
    ),
    Parameter(
        "law_exponent",
        "form of the law of crowding, n in (1 - r)^-n",
        "",
        "plain",
        1.87,
        0.30,
        1.0,
        3.0,
        "spread of nine published laws of suspensions (from memory)",
    ),
    Parameter(
        "fines_gain",
        "share of the room between the nitrate's grains that powdered sugar fills",
        "",
        "plain",
        0.0,
        0.0,
        -0.5,
        1.5,
        "none is counted until the grind of the nitrate is stated",
    ),
    Parameter(
        "chloride_dissolved",
        "chloride of a dummy dissolved, share of what pure water takes",
        "",
        "log",
        1.0,
        0.25,
        0.3,
        3.0,
        "guess: Koehler 1897 found 1.19 beside saturated sucrose at 31 C (from memory)",
    ),
    Parameter(
        "dry_packing",
        "packing of the dry tapped powder over that of the wet grains",
        "",
        "plain",
        0.90,
        0.08,
        0.45,
        1.1,
        "guess: cohesion holds a dry fine powder open",
    ),
    Parameter(
        "nitrate_trend",
        "how ln of the share of nitrate dissolved goes with sugar per water",
        "",
        "plain",
        0.0,
        0.05,
        -0.5,
        0.5,
        "guess: no data above 2.3 g of sugar per g of water",
    ),
    Parameter(
        "nitrate_carried",
        "ln of the share of nitrate dissolved, water bath over pour",
        "",
        "plain",
        0.0,
        0.2,
        -1.5,
        1.5,
        "guess: 20 % from the water bath to the heat of the pour",
    ),
)
#: Those that move no pour: they stand between a measurement and what it tells of.
BESIDE = ("chloride_dissolved", "dry_packing", "nitrate_trend", "nitrate_carried")
#: All, those of :data:`BESIDE` last.
NAMES = tuple(p.name for p in PARAMETERS)
PLACE = {name: i for i, name in enumerate(NAMES)}
#: Those that move a pour.
OF_POUR = tuple(name for name in NAMES if name not in BESIDE)

#: Spread of the drying time where batch and pan say how thick the layer is (ln 1.7).
DRYING_SPREAD = 0.53

#: Those that belong to one syrup; a mix with another syrup takes them unmeasured.
OF_SYRUP = ("syrup_solids", "syrup_grade")


@dataclass(frozen=True, slots=True, kw_only=True)
class Values:
    """One physical value, or an array of draws, of every parameter; see PARAMETERS."""

    syrup_solids: FloatArray
    syrup_grade: FloatArray
    packing: FloatArray
    nitrate_dissolved: FloatArray
    solubility_loss: FloatArray
    drying_time: FloatArray
    liquid_factor: FloatArray
    thermometer: FloatArray
    law_exponent: FloatArray
    fines_gain: FloatArray
    chloride_dissolved: FloatArray
    dry_packing: FloatArray
    nitrate_trend: FloatArray
    nitrate_carried: FloatArray
    #: Normal score of the liquid before measurements, for liquids that none tells of.
    liquid_score: FloatArray = field(default_factory=lambda: np.zeros(()))

    def changed(self, **values: Any) -> Values:
        """Return the same with some values replaced."""
        return replace(self, **values)

    def take(self, part: slice) -> Values:
        """Return some of the draws."""
        own = {one.name: getattr(self, one.name) for one in fields(self)}
        return Values(**{k: v[part] if np.ndim(v) else v for k, v in own.items()})


def values_of(inner: FloatArray) -> Values:
    """Return physical values of points on the scales of the normals.

    Parameters
    ----------
    inner : ndarray, shape (n,) or (draws, n)
        In the order of :data:`NAMES`.
    """
    found = {p.name: p.outward(inner[..., i]) for i, p in enumerate(PARAMETERS)}
    return Values(**found)


def find(name: str) -> Parameter:
    """Return a parameter by name.

    Raises
    ------
    UnknownNameError
    """
    if name not in PLACE:
        raise unknown_name("kitchen parameter", name, NAMES)
    return PARAMETERS[PLACE[name]]


# ----------------------------------------------------------------------------
# What is believed about the parameters together.

#: Largest spread that can be stated.
WIDEST = 1.0e3


@functools.lru_cache(maxsize=4)
def _drawn(belief: Belief, count: int, seed: int) -> Values:
    """Return the draws of a belief, which every batch of mixes asks for."""
    scores = [normals(f"kitchen|{name}", count, seed) for name in NAMES]
    return belief.at(np.stack(scores, axis=-1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Belief:
    """What is believed about all parameters together.

    Attributes
    ----------
    mean : ndarray, shape (n,)
        On the scales of the normals, in the order of :data:`NAMES`.
        [unit of the scale: 1 for ln]
    covariance : ndarray, shape (n, n)
        [unit of the scales]
    origins : tuple of str
        Where each comes from.
    """

    mean: FloatArray
    covariance: FloatArray
    origins: tuple[str, ...]

    def __str__(self) -> str:
        lines = []
        for name in self.used:
            origin = self.origins[PLACE[name]]
            low, middle, high = self.interval(name)
            lines.append(f"{name} {middle:.3g} ({low:.3g} to {high:.3g}): {origin}")
        return "\n".join(lines)

    @property
    def measured(self) -> int:
        """Of how many of :data:`OF_POUR` measurements tell."""
        origins = self.origins[: len(OF_POUR)]
        return sum(origin.startswith("measured") for origin in origins)

    @property
    def used(self) -> tuple[str, ...]:
        """Those of :data:`OF_POUR` that count: fines only where a grind is stated."""
        off = self.origins[PLACE["fines_gain"]] == find("fines_gain").origin
        return tuple(n for n in OF_POUR if not (off and n == "fines_gain"))

    def central(self) -> Values:
        """Return the medians."""
        return values_of(self.mean)

    def spreads(self) -> FloatArray:
        """Return the standard deviations, (n,). [unit of the scales of the normals]"""
        return np.sqrt(np.diag(self.covariance))

    def root(self) -> FloatArray:
        """Return a square root of the covariance, which may be singular.

        Symmetric for :data:`OF_POUR`, so that each keeps its scores as far as it can;
        none of them needs the scores of :data:`BESIDE`. (n, n), [unit of the scales]
        """
        size = len(OF_POUR)
        own, across = self.covariance[:size, :size], self.covariance[size:, :size]
        root = np.zeros_like(self.covariance)
        root[:size, :size] = _symmetric(own)
        root[size:, :size] = across @ np.linalg.pinv(root[:size, :size])
        told = root[size:, :size] @ root[size:, :size].T
        root[size:, size:] = _symmetric(self.covariance[size:, size:] - told)
        return root

    def draw(self, count: int, seed: int) -> Values:
        """Return draws of :mod:`castsugar.draw_set`, (count,); not to be changed."""
        return _drawn(self, count, seed)

    def at(self, scores: FloatArray) -> Values:
        """Return the values at normal scores of the parameters, (..., n)."""
        values = values_of(self.mean + scores @ self.root().T)
        return values.changed(liquid_score=scores[..., PLACE["liquid_factor"]])

    def with_value(self, name: str, value: float, spread: float, origin: str) -> Belief:
        """Return the same with one parameter stated by the user, independent.

        Parameters
        ----------
        name : str
        value : float
            Physical. [SI]
        spread : float
            Standard deviation on the parameter's scale (of ln x for a log scale).
        origin : str

        Raises
        ------
        InputError, UnknownNameError
        """
        parameter = find(name)
        inside = parameter.low <= value <= parameter.high
        if not (inside and 0.0 <= spread <= WIDEST):
            raise InputError(
                f"{name} is {value:g} with spread {spread:g}; allowed "
                f"{parameter.low:g} to {parameter.high:g} {parameter.unit}".rstrip()
                + f" and a spread of 0 to {WIDEST:g}"
            )
        place = PLACE[name]
        mean, covariance = self.mean.copy(), self.covariance.copy()
        mean[place] = float(parameter.inward(value))
        covariance[place, :] = covariance[:, place] = 0.0
        covariance[place, place] = spread**2
        origins = tuple(origin if i == place else o for i, o in enumerate(self.origins))
        return Belief(mean=mean, covariance=covariance, origins=origins)

    def of_another_syrup(self) -> Belief:
        """Return the same for a syrup that was not the one measured."""
        result = self
        for name in OF_SYRUP:
            p = find(name)
            result = result.with_value(name, p.middle, p.spread, p.origin)
        return result

    def knowing_the_layer(self) -> Belief:
        """Return the same for a pan of known size and batch: it dries as its layer."""
        p = find("drying_time")
        return self.with_value(p.name, p.middle, DRYING_SPREAD, p.origin)

    def interval(self, name: str, share: float = 0.95) -> tuple[float, float, float]:
        """Return low end, median and high end of one parameter, physical.

        Between the ends lies the central `share` of what is believed.
        """
        parameter, place = find(name), PLACE[name]
        spread = self.spreads()[place] * float(ndtri(0.5 + 0.5 * share))
        low, middle, high = (
            float(parameter.outward(self.mean[place] + step))
            for step in (-spread, 0.0, spread)
        )
        return low, middle, high


def _symmetric(covariance: FloatArray) -> FloatArray:
    """Return the symmetric square root."""
    size, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(size, 0.0)) @ vectors.T)


def unmeasured(
    overrides: Mapping[str, tuple[float, float]] | None = None,
) -> Belief:
    """Return what is believed before any measurement.

    Parameters
    ----------
    overrides : mapping, optional
        Name to (value, spread) that the user states instead; see
        :meth:`Belief.with_value`. [SI]

    Returns
    -------
    Belief

    Examples
    --------
    >>> float(unmeasured().central().packing)
    0.63
    """
    middles = np.array([float(p.inward(p.middle)) for p in PARAMETERS])
    spreads = np.array([p.spread for p in PARAMETERS])
    result = Belief(
        mean=middles,
        covariance=np.diag(spreads**2),
        origins=tuple(p.origin for p in PARAMETERS),
    )
    for name, (value, spread) in (overrides or {}).items():
        result = result.with_value(name, value, spread, "stated by the user")
    return result


# ----------------------------------------------------------------------------
# A kitchen: the cook, the air, and what is believed about the parameters.

#: Pour temperatures with a verdict [K].
POUR_RANGE = (85.0 + ICE_POINT, HOTTEST)

#: Draws of the Monte-Carlo that are accepted.
_RANGE = tuple(int(count) for count in RANGES["draws"].hard)

#: Whose equations every mix with a kitchen model goes by, as keys of ``sources.csv``:
#: viscosity of sugar in water, activity of water, what dissolves, glass and storage,
#: crowding, browning.
EQUATIONS = (
    "genotelle-1995",
    "baeza-2010",
    "ross-1975",
    "mohos-2010",
    "koehler-1897",
    "roos-1993",
    "roos-karel-1991",
    "greenspan-1977",
    "suspension-laws",
    "simkovic",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kitchen:
    """How a mix is cooked, and what is known about the kitchen.

    Parameters
    ----------
    cook : Cook
        The mix is poured at its last temperature.
    belief : Belief
        Before any measurement by default; see :mod:`castsugar.kitchen.calibration`.
    air_pressure : float
        50 to 110 kPa. [Pa]
    water_lost : float, optional
        Share of the recipe's water that is known to leave; without it drying and
        boiling decide.
    syrup : str
        Catalogue name of the syrup that the parameters were measured with.
    grain : float, optional
        Median size of the nitrate's grains; without it powdered sugar fills no room
        between them. [m]
    tap : bool
        Whether the mould is tapped or vibrated while it is filled.
    tapped : float
        Packing of tapped grains over that of sheared ones. [-]
    degradation_limit : float
        Largest share of degraded sugar in a pour window.
    draws, seed : int
        Of :mod:`castsugar.draw_set`; the same draws serve every mix. Near jamming the
        tail needs all; for thousands of mixes 256 will do. Windows take 256 at most.
    invented : tuple of str
        Entries that it rests on and that say of themselves that nobody measured them.

    Raises
    ------
    InputError
        A share, a number of draws or the end of the cook that is out of range.
    ValidityError
        An air pressure or a limit of degradation that the model does not cover.

    Examples
    --------
    >>> kitchen = Kitchen(cook=Cook.hold(392.15, 480.0), air_pressure=95e3)
    >>> kitchen.changed(tap=True).tap, kitchen.too_hot
    (True, False)
    """

    cook: Cook
    belief: Belief = field(default_factory=unmeasured)
    air_pressure: float = STANDARD_ATMOSPHERE
    water_lost: float | None = None
    syrup: str = "light corn syrup"
    grain: float | None = None
    tap: bool = False
    tapped: float = TAPPED
    degradation_limit: float = WARN
    draws: int = DRAWS
    seed: int = SEED
    invented: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Check the settings."""
        instance(self.cook, Cook, "cook", optional=False)
        instance(self.belief, Belief, "belief", optional=False)
        numbers(self, {"air_pressure": "Pa", "water_lost": "", "degradation_limit": ""})
        check_air(self.air_pressure)
        inside(self.degradation_limit, 1e-6, 0.5, "limit of degraded sugar")
        inside(self.tapped, 1.0, 1.3, "packing of tapped over sheared grains")
        if self.water_lost is not None and not 0.0 <= self.water_lost <= 1.0:
            raise InputError(
                f"water_lost is {self.water_lost:g}; it must lie between 0 and 1"
            )
        whole = isinstance(self.draws, int) and isinstance(self.seed, int)
        if not (whole and _RANGE[0] <= self.draws <= _RANGE[1] and self.seed >= 0):
            raise InputError(
                f"draws is {self.draws} and seed {self.seed}; allowed are whole "
                f"numbers, {_RANGE[0]} to {_RANGE[1]:,} draws and a seed of 0 or more"
            )
        coldest = POUR_RANGE[0]
        if self.cook.pour_temperature < coldest:
            raise InputError(
                f"the cook ends at {self.cook.pour_temperature - ICE_POINT:g} C; the "
                f"pour is modelled from {coldest - ICE_POINT:g} C up"
            )

    def __str__(self) -> str:
        cook = self.cook
        return (
            f"cook {cook.pour_temperature - ICE_POINT:.4g} °C "
            f"{cook.duration / 60.0:.4g} min, air {1e-3 * self.air_pressure:.4g} kPa; "
            f"{self.belief.measured} of {len(self.belief.used)} parameters measured"
        )

    @property
    def too_hot(self) -> bool:
        """Whether no verdict is given: the cook goes above 150 C."""
        return self.cook.hottest > HOTTEST + 1e-9

    def holding(self, batch: float) -> Kitchen:
        """Return the same with another mass of mix [kg] in its pan, if it has one."""
        pan = self.cook.pan
        if pan is None:
            return self
        return self.changed(cook=replace(self.cook, pan=replace(pan, batch=batch)))

    def basis(self) -> dict[str, Any]:
        """Return plain values of the settings, and whose equations are used."""
        return {
            "cook_times_s": [float(t) for t in self.cook.times],
            "cook_temperatures_K": [float(t) for t in self.cook.temperatures],
            "air_pressure_Pa": float(self.air_pressure),
            "kitchen_parameters_measured": self.belief.measured,
            "draws": self.draws,
            "seed": self.seed,
            "invented": [*self.invented],
            "sources": [*EQUATIONS],
        }

    def changed(self, **values: object) -> Kitchen:
        """Return the same with some settings replaced."""
        return replace(self, **values)  # type: ignore[arg-type]
