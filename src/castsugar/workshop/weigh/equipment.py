"""The scale and the pan of a bench file, with what is taken where nothing is said."""

from __future__ import annotations

from dataclasses import dataclass, replace

from castsugar import plausible
from castsugar.errors import InputError
from castsugar.workshop.bench import Bench
from castsugar.workshop.weigh.steps import portions

#: Taken where nothing is stated. Common practice, no source: a scale that shows tenths
#: of a gram; 1.5 g of syrup on the wall of its cup, 4 g of hot mix in pan and tools.
STEP = 1e-4
RESIDUE_CUP = 1.5e-3
RESIDUE_PAN = 4e-3

#: A pan is filled to this share of its volume at most. Common practice, no source.
FILL = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    """What the ingredients are weighed on and cooked in.

    Attributes
    ----------
    step : float
        Smallest step of the scale. [kg]
    accuracy : float
        Standard uncertainty of one weighing. [kg]
    capacity : float or None
        Largest load, vessel included. [kg]
    vessel : float or None
        Of that, what is weighed into; None if nobody stated it. [kg]
    residue_cup : float
        Syrup that stays in its cup. [kg]
    residue_pan : float
        Hot mix that stays in pan and tools. [kg]
    volume : float or None
        Of the pan. [m3]
    name : str
        Of the pan.
    assumed : tuple of str
        Names of the attributes that nobody stated.
    """

    step: float = STEP
    accuracy: float = 0.5 * STEP
    capacity: float | None = None
    vessel: float | None = None
    residue_cup: float = RESIDUE_CUP
    residue_pan: float = RESIDUE_PAN
    volume: float | None = None
    name: str = ""
    assumed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Check the numbers."""
        if not self.step > 0.0:
            raise InputError("the step of the scale is 0; it must be above 0")
        if self.capacity is not None and self.capacity < self.step:
            raise InputError(
                f"the scale holds {1e3 * self.capacity:g} g, less than its step of "
                f"{1e3 * self.step:g} g; give the largest load"
            )

    @property
    def most_steps(self) -> int | None:
        """Return what one weighing may hold beside a stated vessel, in steps."""
        if self.capacity is None:
            return None
        room = self.capacity - (self.vessel or 0.0)
        return max(1, int(room / self.step + 1e-6))

    def portions(self, count: int) -> tuple[int, ...]:
        """Return the weighings of some steps, where one does not hold them all."""
        most = self.most_steps
        return (count,) if most is None or count <= 0 else portions(count, most)


def equipment_of(bench: Bench | None, step: str | None = None) -> Equipment:
    """Return the equipment of a bench file.

    Parameters
    ----------
    bench : Bench or None
    step : str, optional
        The step of the scale as typed; it overrules the file.

    Raises
    ------
    InputError
    """
    scale = (bench.scale if bench else None) or {}
    pan = (bench.pan if bench else None) or {}
    stated: dict[str, float | str | None] = {
        "step": scale.get("step"),
        "accuracy": scale.get("accuracy"),
        "capacity": scale.get("capacity"),
        "vessel": scale.get("vessel"),
        "residue_cup": pan.get("residue_cup"),
        "residue_pan": pan.get("residue_pan"),
        "volume": pan.get("volume"),
        "name": pan.get("name"),
    }
    if step is not None:
        read = plausible.read(step, "step of the scale", where="--scale-step").value
        if read != stated["step"]:
            stated |= {"step": read, "accuracy": 0.5 * read}
    given = {name: value for name, value in stated.items() if value is not None}
    assumed = tuple(
        name for name in ("step", "residue_cup", "residue_pan") if name not in given
    )
    return replace(Equipment(assumed=assumed), **given)  # type: ignore[arg-type]
