"""Pictures as SVG text: small pieces that know nothing of mixes.

No plotting library, no files; the same input gives the same bytes.
"""

from __future__ import annotations

from castsugar.report.svg.bars import Bar, BarChart, bar_chart
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.series import (
    Event,
    LineChart,
    Panel,
    Points,
    Series,
    Span,
    thinned,
)
from castsugar.report.svg.ternary import ternary_map
from castsugar.report.svg.triangle import TernaryMap

__all__ = [
    "Bar",
    "BarChart",
    "Event",
    "LineChart",
    "Panel",
    "Points",
    "Series",
    "Span",
    "TernaryMap",
    "bar_chart",
    "line_chart",
    "ternary_map",
    "thinned",
]
