"""Field: one quantity of a result, declared once for screens, pages, files."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from castsugar.columns import COLUMNS, Column
from castsugar.frozen import dataclass
from castsugar.report import numbers
from castsugar.report.screen import Table
from castsugar.report.shown import OF_UNIT, SI, Shown

Row = Mapping[str, Any]

#: End of the key that holds the two ends of a 95 % band.
INTERVAL = "_interval"

TEXT, CHANCE = "text", "chance"


#: Solids over packing from which a viscosity is no number any more.
CROWDED = 0.95


def crowded(row: Row) -> bool:
    """Say whether the grains of a mix are too crowded for a number."""
    solids, word = row.get("relative_solids_pour"), row.get("flow_class")
    return isinstance(solids, float) and solids > CROWDED and bool(word)


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One quantity of a row.

    Attributes
    ----------
    key : str
        In the row, in CSV and JSON; carries the unit of the value. The 95 % band, where
        there is one, stands under ``<key>_interval`` as two numbers.
    label, short : str
        In a row of its own; at the head of a column.
    kind : str
        One of :data:`castsugar.units.SHOWN`, "text", or "chance": a share of draws,
        shown as so many of 100.
    meaning : str
        In the JSON schema and the tables of README.
    factor_of : bool
        Known to a factor: one digit; the class of flow where it is :func:`crowded`.
    endless : str
        What an infinite value means.
    us_label : str
        Where the label itself holds a unit.
    digits : int
        Significant ones of a value without a band.
    """

    key: str
    label: str
    kind: str
    meaning: str
    short: str = ""
    factor_of: bool = False
    endless: str = "no limit"
    us_label: str = ""
    digits: int = 3

    def raw(self, row: Row) -> Any:
        """Return the value as it stands in the row."""
        return row.get(self.key)

    def band(self, row: Row) -> tuple[float, float]:
        """Return the ends of the 95 % band; NaN without one."""
        low, high = row.get(self.key + INTERVAL) or (math.nan, math.nan)
        return low, high

    def named(self, show: Shown) -> str:
        """Return the label without its unit."""
        return self.us_label if self.us_label and show.system != SI else self.label

    def headed(self, show: Shown) -> str:
        """Return the label with the unit shown."""
        label = self.named(show)
        return label if self.kind in (TEXT, CHANCE) else show.headed(label, self.kind)

    def cells(self, row: Row, show: Shown) -> tuple[str, str]:
        """Return value and band as text; the band is empty where there is none."""
        value = self.raw(row)
        if self.kind == TEXT:
            return str(value or numbers.DASH), ""
        if value is None:
            return numbers.DASH, ""
        if self.factor_of and crowded(row):
            return str(row["flow_class"]), ""
        low, high = self.band(row)
        if math.isnan(low) or math.isnan(value):
            return self._alone(value, show), ""
        if self.factor_of:
            ends = [self._alone(x, show) for x in (low, high)]
            return self._alone(value, show), " to ".join(ends)
        told, first, last = show.band(self.kind, value, low, high, self.endless)
        return told, f"{first} to {last}"

    def text(self, row: Row, show: Shown) -> str:
        """Return the value as text, to the place that its band allows."""
        return self.cells(row, show)[0]

    def bracketed(self, row: Row, show: Shown) -> str:
        """Return the value with its band in brackets, where it has one."""
        value, band = self.cells(row, show)
        return f"{value} ({band})" if band else value

    def _alone(self, value: float, show: Shown) -> str:
        """Write a value without a band; a count as it is."""
        if self.kind == CHANCE:
            return numbers.of_100(value)
        if isinstance(value, int):
            return str(value)
        shown = show.number(self.kind, value)
        digits = 1 if self.factor_of else self.digits
        return numbers.significant(shown, digits, self.endless)

    def schema(self) -> dict[str, Any]:
        """Return what the JSON schema says of the key."""
        kind = "string" if self.kind == TEXT else "number"
        return {"type": [kind, "null"], "description": self.meaning}


def interval_schema() -> dict[str, Any]:
    """Return what the JSON schema says of a 95 % band."""
    return {
        "type": ["array", "null"],
        "items": {"type": ["number", "null"]},
        "description": "lower and upper end of the 95 % band, in the unit of the key",
    }


# ----------------------------------------------------------------------------
# The columns of the table of mixes, as fields.

#: What an infinite value of a column means, where it is not "no limit".
_ENDLESS = {
    "pour_viscosity_Pa_s": "jams",
    "pour_viscosity_p10_Pa_s": "jams",
    "pour_viscosity_p90_Pa_s": "jams",
    "peak_pressure_p95_MPa": "no limit",
    "pressure_margin_percent": numbers.DASH,
}

#: Heads of columns, where the label is too long.
_SHORT = {
    "characteristic_velocity_m_s": "c*",
    "specific_impulse_s": "Isp",
    "flame_temperature_K": "T",
    "density_impulse_kg_s_m3": "density Isp",
    "relative_solids_20C": "solids",
    "peak_pressure_MPa": "peak",
    "peak_pressure_p95_MPa": "p95",
    "peak_pressure_p95_this_batch_MPa": "p95, this batch",
    "pressure_margin_percent": "margin",
    "pours_probability": "pours",
    "pour_viscosity_Pa_s": "viscosity",
    "density_kg_m3": "density",
}

_LABELS = {
    "characteristic_velocity_m_s": "c*, ideal",
    "specific_impulse_s": "Isp, ideal",
    "density_impulse_kg_s_m3": "density Isp, ideal",
}

_US_LABELS = {"relative_solids_20C": "relative solids at 68 °F"}


def field_of(column: Column) -> Field:
    """Return a column of the table of mixes as a field."""
    kind = TEXT if column.decimals is None else OF_UNIT[column.unit]
    kind = CHANCE if column.key == "pours_probability" else kind
    return Field(
        key=column.key,
        label=_LABELS.get(column.key, column.label),
        kind=kind,
        meaning=column.meaning,
        short=_SHORT.get(column.key, ""),
        factor_of=column.key.startswith("pour_viscosity"),
        endless=_ENDLESS.get(column.key, "no limit"),
        us_label=_US_LABELS.get(column.key, ""),
        digits=2 if column.key == "pressure_margin_percent" else 3,
    )


#: Key -> field, in the order of a row.
FIELDS: dict[str, Field] = {column.key: field_of(column) for column in COLUMNS}


def chosen(keys: Sequence[str]) -> tuple[Field, ...]:
    """Return the fields of some columns."""
    return tuple(FIELDS[key] for key in keys)


# ----------------------------------------------------------------------------
# Fields of other rows, and such rows as a table.


def fields(*lines: tuple[str, str, str, str]) -> tuple[Field, ...]:
    """Return fields from lines of key, label, kind and meaning."""
    return tuple(
        Field(key=key, label=label, kind=kind, meaning=meaning or label)
        for key, label, kind, meaning in lines
    )


class Banded(NamedTuple):
    """A value and the ends of its 95 % band."""

    value: float
    low: float
    high: float


def row_of(columns: Sequence[Field], one: Any, **computed: Any) -> dict[str, Any]:
    """Return a row: what was computed, else the attributes called as the keys.

    A :class:`Banded` value fills ``<key>_interval``, too.
    """
    row: dict[str, Any] = {}
    for key in (column.key for column in columns):
        value = computed[key] if key in computed else getattr(one, key)
        if isinstance(value, Banded):
            row |= {key: value.value, key + INTERVAL: value[1:]}
        else:
            row[key] = value
    return row


def keyed(*lines: tuple[str, str, str]) -> tuple[Field, ...]:
    """Return fields that only files show, from lines of key, kind and meaning."""
    return fields(*((key, key, kind, meaning) for key, kind, meaning in lines))


def intervals(row: Row) -> dict[str, tuple[float, float]]:
    """Return the 95 % bands of a row by the keys of their values."""
    ends = ((k.removesuffix(INTERVAL), v) for k, v in row.items() if INTERVAL in k)
    return {key: value for key, value in ends if value is not None}


def row_in_order(columns: Sequence[Field], *values: Any) -> dict[str, Any]:
    """Return values as a row, in the order of the fields.

    A pair is a value and its 95 % band, or None for none. Fields behind the last value
    are left out.
    """
    row: dict[str, Any] = {}
    for one, value in zip(columns, values, strict=False):
        row[one.key], *band = value if isinstance(value, tuple) else (value,)
        if band:
            row[one.key + INTERVAL] = band[0]
    return row


def listed(
    columns: Sequence[Field], rows: Sequence[Row], show: Shown, caption: str = ""
) -> Table:
    """Return rows as a table, each band in brackets behind its value.

    A column that no row has a value for is left out.
    """
    told = [
        f
        for f in columns
        if f is columns[0] or any(f.text(row, show) != numbers.DASH for row in rows)
    ]
    return Table(
        heads=tuple(f.headed(show).replace(", ", ",\n") for f in told),
        rows=tuple(tuple(f.bracketed(row, show) for f in told) for row in rows),
        left=frozenset(i for i, f in enumerate(told) if f.kind == TEXT),
        caption=caption,
    )


def described(
    columns: Sequence[Field], rows: Sequence[Row], show: Shown, across: int = 3
) -> tuple[Table, ...]:
    """Return rows as tables with quantities down, so many rows beside one another.

    The first column names the rows; a quantity that none has is left out.
    """
    found = []
    for first in range(0, len(rows), across):
        some = rows[first : first + across]
        table = listed(columns, some, show)
        down = list(zip(table.heads, zip(*table.rows, strict=True), strict=True))
        labels = [(head.replace(",\n", ", "), cells) for head, cells in down]
        found.append(
            Table(
                heads=("", *labels[0][1]),
                rows=tuple((label, *cells) for label, cells in labels[1:]),
                left=frozenset(range(len(some) + 1)),
            )
        )
    return tuple(found)
