"""A picture that is laid out from above: heading, panels, keys, notes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from castsugar.plot.style import (
    HEAD,
    INK,
    PAPER,
    SIZE,
    SMALL,
    SOFT,
    width_of,
    wrapped,
)

#: Widths of a picture: of a page or a file, and of a phone. [px]
WIDE, NARROW = 640, 340

_MARGIN, _TALL = 12.0, 4000.0


class Sheet:
    """A picture as it grows downwards; lengths in px, 72 to the inch.

    Attributes
    ----------
    title, words : str
        What it is and what it says, for those who cannot see it.
    name : str
        Letters and hyphens; begins every id inside.
    width : int
        [px]
    """

    def __init__(
        self,
        name: str,
        title: str,
        *,
        width: int,
        words: str = "",
        below: Sequence[str] = (),
    ) -> None:
        self.name, self.title, self.words, self.width = name, title, words, width
        self.figure = Figure((width / 72.0, _TALL / 72.0), dpi=72.0, facecolor=PAPER)
        self._canvas = FigureCanvasAgg(self.figure)
        self._texts: list[tuple[Text, float]] = []
        self._panels: list[tuple[Axes, float, float, float, float]] = []
        self._noted: tuple[int, float] | None = None
        self._y = _MARGIN
        self._write(title, HEAD, bold=True)
        for line in below:
            self._write(line, SIZE, colour=SOFT)

    @property
    def inner(self) -> float:
        """Return the width between the margins. [px]"""
        return self.width - 2.0 * _MARGIN

    @property
    def is_narrow(self) -> bool:
        """Say whether this is the picture of a phone."""
        return self.width < 500

    def _write(
        self, words: str, size: float, *, bold: bool = False, colour: str = INK
    ) -> None:
        """Write wrapped words below what is there."""
        for line in wrapped(words, self.inner, size, bold=bold):
            self._y += 1.3 * size
            text = self.figure.text(
                _MARGIN / self.width,
                0.0,
                line,
                fontsize=size,
                color=colour,
                fontweight="bold" if bold else "normal",
            )
            self._texts.append((text, self._y))

    def panel(
        self,
        height: float,
        *,
        left: float = 46.0,
        right: float = 10.0,
        above: float = 28.0,
        below: float = 22.0,
        **options: Any,
    ) -> Axes:
        """Return Axes of a height below what is there; around them room for words.

        `options` go to ``Figure.add_axes``, ``projection="ternary"`` say.
        """
        top = self._y + above
        x, wide = left + _MARGIN, self.inner - left - right
        place = (x / self.width, 1.0 - (top + height) / _TALL)
        made: Axes = self.figure.add_axes(
            (*place, wide / self.width, height / _TALL), **options
        )
        self._panels.append((made, x, top, wide, height))
        self._y = top + height + below
        return made

    def keys(self, *axes: Axes, columns: int = 0) -> None:
        """Write what the labelled artists of Axes mean, each name once."""
        found: dict[str, Any] = {}
        for one in axes:
            handles, labels = one.get_legend_handles_labels()
            for handle, label in zip(handles, labels, strict=True):
                found.setdefault(label, handle)
        if not found:
            return
        widest = max(width_of(label, SMALL) for label in found)
        columns = columns or max(1, int(self.inner // (widest + 50.0)))
        columns = min(columns, len(found))
        room = self.inner / columns - 44.0
        legend = self.figure.legend(
            found.values(),
            ["\n".join(wrapped(label, room, SMALL)) for label in found],
            loc="upper left",
            bbox_to_anchor=(_MARGIN / self.width, 1.0 - (self._y + 4.0) / _TALL),
            ncols=columns,
            frameon=False,
            fontsize=SMALL,
            labelcolor=INK,
            borderpad=0.0,
            borderaxespad=0.0,
            handlelength=2.6,
            labelspacing=0.35,
        )
        box = legend.get_window_extent(self._canvas.get_renderer())  # type: ignore[no-untyped-call]
        self._panels.append((legend, 0.0, self._y + 4.0, 0.0, 0.0))  # type: ignore[arg-type]
        self._y += box.height + 6.0

    def notes(self, lines: Sequence[str]) -> None:
        """Write sentences, small, each on a line of its own: last of all."""
        self._noted = len(self._texts), self._y
        self._y += 2.0
        for line in lines:
            self._write(line, SMALL, colour=SOFT)
            self._y += 2.0

    def finish(self, *, brief: bool = False) -> Figure:
        """Cut the figure to its height, brief ones above their notes, and return it."""
        if brief and self._noted is not None:
            count, self._y = self._noted
            for text, _ in self._texts[count:]:
                text.remove()
            del self._texts[count:]
        height = self._y + _MARGIN
        self.figure.set_size_inches(self.width / 72.0, height / 72.0)
        for text, y in self._texts:
            text.set_y(1.0 - y / height)
        for one, x, top, wide, high in self._panels:
            if isinstance(one, Axes):
                place = (x / self.width, 1.0 - (top + high) / height)
                one.set_position((*place, wide / self.width, high / height))
            else:
                one.set_bbox_to_anchor((_MARGIN / self.width, 1.0 - top / height))
        return self.figure


#: Draws one picture at a width [px].
Drawing = Callable[[int], Sheet]
