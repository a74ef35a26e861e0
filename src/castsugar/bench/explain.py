"""What a table or a key of the bench file means, in a few lines."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterator

from castsugar import units
from castsugar.bench import search_tables, tables
from castsugar.bench.bench import TABLES
from castsugar.bench.schema import INVENTED, PLAIN, Key, Table
from castsugar.columns import COLUMN
from castsugar.errors import InputError, nearest_names
from castsugar.plausible import RANGES

#: Every table of the file, those inside others included.
DECLARED: tuple[type[Table], ...] = (
    *TABLES.values(),
    tables.Stated,
    *tables.MEASUREMENTS.values(),
    tables.Cylinder,
    tables.Areas,
    tables.Case,
    *tables.LAWS,
    tables.Firing,
)


_INVENTED = """\
invented, in every table and entry: true says that nobody measured it
  write     true or false
  example   invented = true
  left out  false is taken; a CSV file says so by a first line "# invented"
  used by   every command that the entry has a part in; check lists them all
"""


def explain(wanted: str) -> str:
    """Return what is known of a table ("motor.grain") or a key ("motor.throat").

    A key may be named without its table, and by what it means ("throat_diameter"). A
    column that a limit may stand on is "limits.flame_temperature_K".

    Raises
    ------
    InputError
        If there is no such table or key; says what is near.

    Examples
    --------
    >>> print(explain("motor.case.wall").splitlines()[0])
    wall, in [motor.case]: thickness of the wall
    """
    name, known = wanted.strip().strip("[]"), list(_known())
    known += _columns() if name.startswith("limits.") else ()
    found = [text for names, text in known if name in names[:2]]
    found = found or [text for names, text in known if name in names]
    if found:
        return "\n".join(dict.fromkeys(found))
    near = nearest_names(name, [one for names, _ in known for one in names])
    hint = f"did you mean {' or '.join(map(repr, near))}? " if near else ""
    raise InputError(
        f"--explain {wanted!r} is no table or key of the bench file; {hint}tables: "
        f"{', '.join(TABLES)}"
    )


def _known() -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield the names of each table and key, full ones first, and what is said."""
    for table in DECLARED:
        parts = re.findall(r"[a-z_]+", table.HEAD.partition(" ")[0])
        stem = ".".join(parts)
        yield (stem, parts[-1]), _of_table(table)
        for name, key in table.KEYS.items():
            meaning = key.about.replace(" ", "_")
            names = (f"{stem}.{name}", f"{stem}.{meaning}", name, meaning)
            yield names, _of_key(name, key, table)
    yield (INVENTED,), _INVENTED


def _columns() -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield the names of what a limit may stand on, and what is said of each."""
    from castsugar.limits import DRAWN, searchable

    for name in searchable():
        yield (f"limits.{name}",), _of_column(name, drawn=name in DRAWN)
    yield (
        ("limits.COLUMN",),
        _block(
            "limits.COLUMN: a limit stands under the name of a column of the table",
            {"columns": ", ".join(searchable())},
            search_tables.Limit,
        ),
    )


def _of_column(name: str, *, drawn: bool) -> str:
    """Say what a limit on a column is held against, and how it is written."""
    column = COLUMN[name]
    said = {
        "means": column.meaning,
        "write": f"{name} = {{ at_most = NUMBER }}, or at_least, or both",
        "unit": column.unit or "none; a share is 0 to 1",
        "chance": "none: this column is not drawn",
    }
    if drawn:
        said["chance"] = 'probability = "80 %"; without one the best estimate decides'
    return _block(f"limits.{name}: {column.label}", said, search_tables.Limit)


def _of_table(table: type[Table]) -> str:
    keys = table.KEYS
    needed = ", ".join(name for name, key in keys.items() if key.required)
    return _block(
        f"{table.HEAD}: {table.__doc__}",
        {"keys": ", ".join(keys) or "names of your own", "needed": needed},
        table,
    )


def _of_key(name: str, key: Key, table: type[Table]) -> str:
    said = {"write": PLAIN.get(key.kind, "")}
    if key.kind in units.UNITS:
        known = ", ".join(filter(None, units.UNITS[key.kind]))
        said["write"] = f"a {key.kind.replace('_', ' ')} in quotes, in {known}"
    if key.example is not None:
        said["example"] = f"{name} = {json.dumps(key.example)}"
    if key.choices:
        said["allowed"] = " or ".join(map(json.dumps, key.choices))
    default = json.dumps(key.default) if key.default else ""
    if key.range:
        one = RANGES[key.range]
        said["allowed"] = f"{one.hard_low:g} to {one.hard_high:g} {one.unit}"
        said["usual"] = f"{one.soft_low:g} to {one.soft_high:g} {one.unit}"
        default = f"{one.shown(key.default):g} {one.unit}" if default else ""
    taken = f"{default.strip()} is taken" if default else "it may be"
    said["left out"] = "it must be given" if key.required else taken
    said |= {"not with": key.instead_of, "needs": " or ".join(key.needs)}
    return _block(f"{name}, in {table.HEAD}: {key.about}", said, table)


def _block(title: str, said: dict[str, str], table: type[Table]) -> str:
    """Lay out a title and what is said under it."""
    used = table.USED if table.USED.startswith("every") else f"castsugar {table.USED}"
    said |= {"used by": used}
    rows = [f"  {word:<10}{text}" for word, text in said.items() if text]
    lines = textwrap.wrap(title, 79, subsequent_indent="  ")
    for row in rows:
        lines += textwrap.wrap(row, 79, subsequent_indent=" " * 12)
    return "\n".join(lines) + "\n"
