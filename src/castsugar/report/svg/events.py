"""Named places on the x axis of a panel: dashed lines, names above the panel."""

from __future__ import annotations

from collections.abc import Sequence

from castsugar.report.svg.axes import Scale
from castsugar.report.svg.canvas import INK, Stroke, Svg, TextStyle
from castsugar.report.svg.place import spread
from castsugar.report.svg.series import Event
from castsugar.report.svg.strokes import Area
from castsugar.report.svg.words import text_width

_SIZE = 15.0
#: Height of the names, and of what leads from a name to its line [px].
_NAMES, _LEAD = 15.0, 9.0
_STROKE = Stroke(INK, 1.1, "5 3")


def _shown(events: Sequence[Event], x: Scale) -> list[Event]:
    """Return the events that the axis holds, from left to right."""
    return sorted((e for e in events if x.low <= e.at <= x.high), key=lambda e: e.at)


def room_for_events(events: Sequence[Event], x: Scale) -> float:
    """Return the height above the panel that names need [px]."""
    return _NAMES + _LEAD if _shown(events, x) else 0.0


def draw_events(svg: Svg, events: Sequence[Event], area: Area) -> None:
    """Draw a line for each event; names that would collide move apart."""
    shown = _shown(events, area.x)
    if not shown:
        return
    top, bottom = area.y.end, area.y.start
    widest = max(text_width(event.name, _SIZE) for event in shown)
    ends = area.x.start + 0.5 * widest, area.x.end - 0.5 * widest
    wanted = [area.x(event.at) for event in shown]
    places = spread(wanted, widest + 8.0, *ends)
    for event, x, place in zip(shown, wanted, places, strict=True):
        svg.line((x, top), (x, bottom), _STROKE)
        svg.line((place, top - _LEAD), (x, top), Stroke(INK, 1.1))
        at = (place, top - _LEAD - 3.0)
        svg.text(at, event.name, TextStyle(_SIZE, "middle", bold=True))
