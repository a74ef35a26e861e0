"""Colours that survive colour blindness, photocopiers and print."""

from __future__ import annotations

from castsugar.errors import InputError

# Viridis (S. van der Walt and N. Smith, 2015, released as CC0) at eleven equal steps;
# lightness grows evenly from end to end, also for colour-blind eyes and in grey.
SEQUENCE = (
    "#440154", "#482475", "#414487", "#355f8d", "#2a788e", "#21918c",
    "#22a884", "#44bf70", "#7ad151", "#bddf26", "#fde725",
)  # fmt: skip

# Okabe and Ito, "Color Universal Design" (2008), yellow left out: too light on white.
LINES = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#000000", "#56b4e9", "#e69f00")

#: The same family, darkened for small text: one for each ingredient of a triangle.
AXES = ("#00558a", "#9c3f00", "#00614a")

#: Dashes that tell lines apart without colour.
DASHES = (None, "9 4", "2 3", "9 3 2 3", "14 4", "5 2", "1 4")

#: Colours that a map may hold.
BINS = 64


def _channels(colour: str) -> tuple[int, int, int]:
    """Return red, green, blue of ``#rrggbb``, 0 to 255."""
    if len(colour) != 7 or not colour.startswith("#"):
        raise InputError(f"colour {colour!r} is not of the form #rrggbb")
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def sequential(share: float) -> str:
    """Return the colour at a share of the range, 0 (dark) to 1 (light); clipped.

    Examples
    --------
    >>> sequential(0.0), sequential(0.5), sequential(1.0)
    ('#440154', '#21918c', '#fde725')
    """
    place = min(max(share, 0.0), 1.0) * (len(SEQUENCE) - 1)
    index = min(int(place), len(SEQUENCE) - 2)
    low, high = _channels(SEQUENCE[index]), _channels(SEQUENCE[index + 1])
    part = place - index
    mixed = (round(a + part * (b - a)) for a, b in zip(low, high, strict=True))
    return "#" + "".join(f"{channel:02x}" for channel in mixed)


def bin_colour(index: int) -> str:
    """Return the colour of one of the :data:`BINS` classes, 0 the lowest."""
    return sequential(index / (BINS - 1))


def luminance(colour: str) -> float:
    """Return the relative luminance (0 black, 1 white; sRGB, IEC 61966-2-1)."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in (channel / 255.0 for channel in _channels(colour))
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def label_colour(background: str) -> str:
    """Return black or white, whichever stands out more on the background.

    Examples
    --------
    >>> label_colour("#440154"), label_colour("#fde725")
    ('#ffffff', '#000000')
    """
    light = luminance(background)
    return "#ffffff" if 1.05 / (light + 0.05) > (light + 0.05) / 0.05 else "#000000"
