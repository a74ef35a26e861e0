"""What is cast: grains, strands to burn, delay columns."""

from __future__ import annotations

import math
from dataclasses import dataclass

from castsugar import plausible
from castsugar.errors import InputError
from castsugar.motor.grain import Grain, HollowCylinder
from castsugar.workshop.bench import Bench

#: Sizes where none are stated. Common practice, no source: square strands of
#: 10 x 10 x 60 mm, delay columns of 12 mm by 25 mm as cast.
STRAND_SIDE, STRAND_LENGTH = 10e-3, 60e-3
DELAY_DIAMETER, DELAY_LENGTH = 12e-3, 25e-3

#: Strands that are cast beside grains where their number is not stated: two that agree
#: and one that fails. Common practice, no source.
STRANDS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """Sizes of strands and delay columns, as cast.

    Attributes
    ----------
    strand_section : float
        Cross-section of a strand. [m2]
    strand_length, delay_diameter, delay_length : float
        [m]
    strand_text, delay_text : str
        The sizes in words.
    assumed : tuple of str
        "strand" and "delay" as far as nobody stated a size.
    """

    strand_section: float = STRAND_SIDE**2
    strand_length: float = STRAND_LENGTH
    delay_diameter: float = DELAY_DIAMETER
    delay_length: float = DELAY_LENGTH
    strand_text: str = "10 x 10 x 60 mm"
    delay_text: str = "12 mm wide, 25 mm long"
    assumed: tuple[str, ...] = ("strand", "delay")

    @property
    def strand_volume(self) -> float:
        """Volume of one strand. [m3]"""
        return self.strand_section * self.strand_length

    @property
    def delay_volume(self) -> float:
        """Volume of one delay column. [m3]"""
        return 0.25 * math.pi * self.delay_diameter**2 * self.delay_length


def sizes_of(bench: Bench | None) -> Sizes:
    """Return the sizes that a bench file states in [casting], else the usual ones."""
    table = (bench.casting if bench else None) or {}

    def stated(key: str, usual: float) -> float:
        value = table.get(key)
        return usual if value is None else float(value)

    length = stated("strand_length", STRAND_LENGTH)
    wide = stated("delay_diameter", DELAY_DIAMETER)
    high = stated("delay_length", DELAY_LENGTH)
    side, section = stated("strand_side", STRAND_SIDE), 0.0
    text = f"{1e3 * side:g} x {1e3 * side:g} x {1e3 * length:g} mm"
    section = side**2
    if table.get("strand_diameter") is not None:
        side = table["strand_diameter"]
        section = 0.25 * math.pi * side**2
        text = f"{1e3 * side:g} mm wide, {1e3 * length:g} mm long"
    told = {key.split("_")[0] for key, value in table.items() if value is not None}
    return Sizes(
        strand_section=section,
        strand_length=length,
        delay_diameter=wide,
        delay_length=high,
        strand_text=text,
        delay_text=f"{1e3 * wide:g} mm wide, {1e3 * high:g} mm long",
        assumed=tuple(kind for kind in ("strand", "delay") if kind not in told),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A number of equal castings.

    Attributes
    ----------
    kind : str
        "grain", "strand" or "delay column".
    count : int
    volume : float
        Of one. [m3]
    size : str
        In words.
    """

    kind: str
    count: int
    volume: float
    size: str


def one_grain(grain: Grain) -> tuple[float, str]:
    """Return the volume of one grain [m3] and its size in words.

    A hollow cylinder: one segment. A table of areas: all that it describes, the
    integral of area over web.
    """
    if isinstance(grain, HollowCylinder):
        size = (
            f"{1e3 * grain.outer_diameter:g} mm outer, {1e3 * grain.core_diameter:g} "
            f"mm core, {1e3 * grain.segment_length:g} mm long"
        )
        return grain.volume / grain.segments, size
    return grain.volume, f"{1e6 * grain.volume:.4g} cm3 by the table of areas"


def pieces_of(
    grain: Grain | None,
    sizes: Sizes,
    *,
    grains: int = 0,
    strands: int = 0,
    delays: int = 0,
) -> tuple[Piece, ...]:
    """Return what is to be cast; kinds of which there are none are left out.

    Raises
    ------
    InputError
        For grains without a motor, a count below 0, or nothing at all.
    """
    counts = {"grains": grains, "strands": strands, "delays": delays}
    for name, count in counts.items():
        plausible.checked("pieces", count, plausible.said_at(f"--{name}"))
    if not any(counts.values()):
        raise InputError(
            "nothing is to be cast; give --grains, --strands or --delays above 0, or "
            "--batch '200 g'"
        )
    if grains and grain is None:
        raise InputError(
            "--grains needs the size of a grain; add --bench FILE with a [motor] table "
            "and its [motor.grain], or give --batch '200 g'"
        )
    found = []
    if grains and grain is not None:
        volume, size = one_grain(grain)
        found.append(Piece(kind="grain", count=grains, volume=volume, size=size))
    if strands:
        found.append(
            Piece(
                kind="strand",
                count=strands,
                volume=sizes.strand_volume,
                size=sizes.strand_text,
            )
        )
    if delays:
        found.append(
            Piece(
                kind="delay column",
                count=delays,
                volume=sizes.delay_volume,
                size=sizes.delay_text,
            )
        )
    return tuple(found)
