"""A kitchen: the cook, the air, and what is believed about the eight parameters."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.errors import InputError
from castsugar.kitchen.belief import Belief, unmeasured
from castsugar.kitchen.cook import Cook
from castsugar.kitchen.heat import HOTTEST, WARN
from castsugar.kitchen.validity import ICE_POINT, inside
from castsugar.kitchen.water import check_air
from castsugar.plausible import RANGES

#: Pour temperatures with a verdict [K].
POUR_RANGE = (85.0 + ICE_POINT, HOTTEST)

#: Draws of the Monte-Carlo that are accepted; most that a pour window takes.
DRAWS = tuple(int(count) for count in RANGES["draws"].hard)
WINDOW_DRAWS = 200


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
    degradation_limit : float
        Largest share of degraded sugar in a pour window.
    draws, seed : int
        Of the Monte-Carlo; the same draws serve every mix. Near jamming the tail needs
        2,000; for thousands of mixes 200 will do. Windows take 200 at most.

    Raises
    ------
    InputError, ValidityError
    """

    cook: Cook
    belief: Belief = field(default_factory=unmeasured)
    air_pressure: float = STANDARD_ATMOSPHERE
    water_lost: float | None = None
    syrup: str = "light corn syrup"
    degradation_limit: float = WARN
    draws: int = 2000
    seed: int = 1

    def __post_init__(self) -> None:
        """Check the settings."""
        check_air(self.air_pressure)
        inside(self.degradation_limit, 1e-6, 0.5, "limit of degraded sugar")
        if self.water_lost is not None and not 0.0 <= self.water_lost <= 1.0:
            raise InputError(
                f"water_lost is {self.water_lost:g}; it must lie between 0 and 1"
            )
        whole = isinstance(self.draws, int) and isinstance(self.seed, int)
        if not (whole and DRAWS[0] <= self.draws <= DRAWS[1] and self.seed >= 0):
            raise InputError(
                f"draws is {self.draws} and seed {self.seed}; allowed are whole "
                f"numbers, {DRAWS[0]} to {DRAWS[1]:,} draws and a seed of 0 or more"
            )
        coldest = POUR_RANGE[0]
        if self.cook.pour_temperature < coldest:
            raise InputError(
                f"the cook ends at {self.cook.pour_temperature - ICE_POINT:g} C; the "
                f"pour is modelled from {coldest - ICE_POINT:g} C up"
            )

    @property
    def too_hot(self) -> bool:
        """Whether no verdict is given: the cook goes above 150 C."""
        return self.cook.hottest > HOTTEST + 1e-9

    def changed(self, **values: object) -> Kitchen:
        """Return the same with some settings replaced."""
        return replace(self, **values)  # type: ignore[arg-type]
