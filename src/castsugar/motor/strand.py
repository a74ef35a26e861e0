"""One strand burned."""

from __future__ import annotations

from dataclasses import dataclass

from castsugar.checks import positive


@dataclass(frozen=True, slots=True, kw_only=True)
class Strand:
    """One strand burned.

    Attributes
    ----------
    length, time : float
        Length burned and the time it took. [m], [s]
    pressure : float
        Absolute. [Pa]
    temperature : float or None
        Before ignition. [K]
    mix, note : str
    line : int
        Line of the file it came from; 0 if none.
    file : str
        That file, as it was asked for; empty if none.

    Raises
    ------
    InputError
        Length, time, pressure or temperature not positive.
    """

    length: float
    time: float
    pressure: float
    temperature: float | None = None
    mix: str = ""
    note: str = ""
    line: int = 0
    file: str = ""

    def __post_init__(self) -> None:
        positive("strand length", self.length, "m")
        positive("burn time", self.time, "s")
        positive("pressure", self.pressure, "Pa")
        if self.temperature is not None:
            positive("temperature", self.temperature, "K")

    @property
    def rate(self) -> float:
        """Return the burning rate. [m/s]"""
        return self.length / self.time
