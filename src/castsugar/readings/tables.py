"""Read a table that a person kept in a spreadsheet: header, units, cells."""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from castsugar.errors import DataError, InputError, nearest_names
from castsugar.files.reading import opened_text
from castsugar.units import UNITS, convert, parse

# ----------------------------------------------------------------------------
# The header of a table that a person made: which column is what, in which unit.

_BRACKETS = re.compile(r"([^(\[]*)(?:\((.*)\)|\[(.*)\])")
_LAST_BRACKET = re.compile(r"(.*\S)\s*[(\[]([^()\[\]]+)[)\]]")
_BETWEEN_WORDS = re.compile(r"[\s_,:]+")

#: Longest cell that is quoted whole in a message, or read as a number.
LONGEST_CELL = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """A column that a table may have.

    Attributes
    ----------
    name : str
        As it is called in messages.
    others : tuple of str
        Other words for it; lower case, one space between words.
    quantity : str
        A key of :data:`castsugar.units.UNITS`; empty for text.
    required : bool
    instead : tuple of str
        Names of other headings that take the place of a required one, all of them.
    other_quantity : str
        A second quantity in which it may be given (a sensor's voltage); the unit tells.
    example : str
        A title with a unit, for messages.
    sensors : int
        Columns that may be of it, told apart by words before or behind the name
        ("pressure left (bar)"); 0 for one without further words.
    """

    name: str
    others: tuple[str, ...] = ()
    quantity: str = ""
    required: bool = True
    instead: tuple[str, ...] = ()
    other_quantity: str = ""
    example: str = ""
    sensors: int = 0


#: Names of columns in German, French and Spanish, without accents.
TRANSLATED = {
    "time": ("zeit", "temps", "tiempo"),
    "burn time": ("brenndauer", "brennzeit", "duree", "duracion"),
    "clock": ("uhrzeit", "heure", "hora"),
    "pressure": ("druck", "pression", "presion"),
    "chamber pressure": (
        *("kammerdruck", "brennkammerdruck", "pression de chambre"),
        *("pression chambre", "presion de camara", "presion camara"),
    ),
    "thrust": ("schub", "schubkraft", "poussee", "empuje"),
    "force": ("kraft", "force de poussee", "fuerza"),
    "length": ("lange", "laenge", "longueur", "longitud"),
    "temperature": ("temperatur", "temperatura"),
}

#: Words that make a column something else than what a sensor on the motor read.
_ELSEWHERE = re.compile(
    r"\b(?:ambient|air|atmospheric|barometric|tank|set|target|raw|filtered|smoothed|max"
    r"|min|mean|average|peak)\b"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column found in a header: what it holds, how it is titled, its unit."""

    heading: Heading
    index: int
    title: str
    unit: str
    quantity: str


def shown(cell: str) -> str:
    """Return a cell as it is quoted in a message: short, on one line."""
    short = cell if len(cell) <= LONGEST_CELL else cell[: LONGEST_CELL - 3] + "..."
    return repr(short)


def listed(headings: Sequence[Heading]) -> str:
    """Return the columns a table may have, for a message."""
    return ", ".join(h.name + ("" if h.required else " (optional)") for h in headings)


def match_header(
    where: str,
    titles: Sequence[str],
    headings: Sequence[Heading],
    *,
    extra: bool = False,
) -> dict[str, Column]:
    """Match the titles of a header with the columns that a table may have.

    A unit stands in brackets, or behind the name after a space, comma or underscore.

    Parameters
    ----------
    where : str
        File and line; starts each message.
    titles : sequence of str
    headings : sequence of Heading
    extra : bool
        Leave out columns that are not known, as a data logger records them. A column
        then needs its unit in the title; one that names, or nearly names, a heading
        found nowhere else is an error and not left out.

    Raises
    ------
    DataError
        A missing or doubled column, an unknown unit; an unknown column, unless
        `extra`, or if it looks like a missing one.

    Returns
    -------
    dict
        Name of the heading -> column; the second sensor is "pressure 2".
    """
    found: dict[str, Column] = {}
    unknown: list[str] = []
    for index, title in enumerate(titles):
        known = identify(title, headings, with_unit=extra)
        if known is None:
            unknown.append(title)
            continue
        heading, unit = known
        place = f"{where}, column {shown(title)}"
        key = heading.name
        if key in found and heading.sensors > 1:
            titles_of = (title, found[key].title)
            if any(_names_sensor(one, headings) for one in titles_of):
                key += " 2"
        if key in found:
            count, keep = ("thrice", "two") if key != heading.name else ("twice", "one")
            raise DataError(
                f"{place}: {heading.name} stands {count}, first "
                f"as {shown(found[heading.name].title)}; keep {keep}"
            )
        found[key] = Column(
            heading=heading,
            index=index,
            title=title,
            unit=unit,
            quantity=_quantity(place, unit, heading),
        )
    if "pressure" not in found and any(h.name == "pressure" for h in headings):
        for title in unknown:
            _check_kind(where, title)
    check = _check_extra if extra else _check_complete
    check(where, found, unknown, headings)
    return found


def identify(
    title: str, headings: Sequence[Heading], *, with_unit: bool = False
) -> tuple[Heading, str] | None:
    """Return the heading that a title means and the text of its unit; None for none.

    With `with_unit` only if the unit fits, and then also with the name of a sensor.
    """
    known = {word: h for h in headings for word in (h.name, *h.others)}
    for name, unit in _readings(title):
        heading = known.get(_folded(_plain(name)))
        if (
            heading is not None
            and (heading.quantity or not unit)
            and (not with_unit or _fits(unit, heading))
        ):
            return heading, unit
    for name, unit in _readings(title) if with_unit else ():
        heading = _of_sensor(name, known)
        if unit and heading is not None and _fits(unit, heading):
            return heading, unit
    heading = known.get("pressure")
    if heading is not None and _bare(title).lower() in _OF_A_KIND:
        return heading, _bare(title)
    return None


#: Titles that are a unit alone: of pressure and of its kind, or of no kind.
_OF_A_KIND = ("psia", "psig", "bara", "barg")
_OF_NO_KIND = ("psi", "bar")


def _bare(title: str) -> str:
    return title.strip().strip("()[]").strip()


def _check_kind(where: str, title: str) -> None:
    """Refuse a title that is a unit of pressure and no more.

    Raises
    ------
    DataError
    """
    unit = _bare(title).lower()
    if unit in _OF_NO_KIND:
        raise DataError(
            f"{where}, column {shown(title)}: says no name and not which {unit}; write "
            f"'pressure ({unit}g)' for gauge or 'pressure ({unit}a)' for absolute"
        )


def _plain(name: str) -> str:
    return " ".join(_BETWEEN_WORDS.split(name.replace("-", " ")))


def _folded(name: str) -> str:
    """Return a name without accents, in lower case."""
    apart = unicodedata.normalize("NFKD", name.casefold())
    return "".join(c for c in apart if not unicodedata.combining(c))


def _of_sensor(name: str, known: Mapping[str, Heading]) -> Heading | None:
    """Return the heading of "pressure left", "P1" or "left pressure"; None for none."""
    plain = _folded(_plain(name))
    words = re.findall(r"[^\W\d]+|\d+", plain)
    if _ELSEWHERE.search(plain) or re.search(r"\d\d", plain):
        return None
    for count in range(len(words) - 1, 0, -1):
        for part in (words[:count], words[-count:]):
            heading = known.get(" ".join(part))
            if heading is not None and heading.sensors:
                return heading
    return None


def _names_sensor(title: str, headings: Sequence[Heading]) -> bool:
    """Return whether words in a title, beside name and unit, tell sensors apart."""
    known = identify(title, headings)
    return known is None or not _fits(known[1], known[0])


def _readings(title: str) -> Iterator[tuple[str, str]]:
    """Yield ways to read a title as name (lower case) and unit, the likeliest first."""
    bracket = _BRACKETS.fullmatch(title.strip())
    if bracket:
        name, in_round, in_square = bracket.groups()
        yield name.strip(" _,:").lower(), (in_round or in_square or "").strip()
    behind = _LAST_BRACKET.fullmatch(title.strip())
    if behind:  # "pressure (left) [bar]"
        yield behind[1].lower(), behind[2].strip()
    words = [word for word in _BETWEEN_WORDS.split(title.strip()) if word]
    for count in range(len(words), 0, -1):
        yield " ".join(words[:count]).lower(), " ".join(words[count:])


def _quantity(where: str, unit: str, heading: Heading) -> str:
    """Return the quantity that a unit measures, once it is known to be one."""
    if not (unit and heading.quantity):
        return heading.quantity
    faults, short = [], unit
    if len(unit) > LONGEST_CELL:
        short = unit[: LONGEST_CELL - 3] + "..."
    for quantity in filter(None, (heading.quantity, heading.other_quantity)):
        try:
            convert(0.0, quantity, short)
        except InputError as error:
            faults.append(str(error))
        else:
            return quantity
    raise DataError(f"{where}: {'; or '.join(faults)}")


def _accepted(heading: Heading) -> str:
    """Return the units that a column may have, for a message."""
    named = ", ".join(UNITS[heading.quantity])
    if heading.quantity == "pressure":
        named += " (or psia, psig, kPa(a), kPa(g) and the like)"
    return ", ".join([named, *UNITS.get(heading.other_quantity, ())])


def _fits(unit: str, heading: Heading) -> bool:
    """Return whether a title that needs a unit has one that the heading takes."""
    try:
        return not heading.quantity or bool(unit and _quantity("", unit, heading))
    except DataError:
        return False


def _check_complete(
    where: str,
    found: Mapping[str, Column],
    unknown: Sequence[str],
    headings: Sequence[Heading],
) -> None:
    bare = {next(_readings(title), (title, ""))[0]: title for title in unknown}
    for heading in headings:
        replaced = heading.instead and all(name in found for name in heading.instead)
        if heading.required and heading.name not in found and not replaced:
            near = nearest_names(heading.name, bare, 1)
            hint = f"; {shown(bare[near[0]])} looks like it" if near else ""
            raise DataError(
                f"{where}: column {heading.name!r} is missing{hint}; columns are "
                f"{listed(headings)}"
            )
    for name, title in bare.items():
        free = [h.name for h in headings if h.name not in found]
        near = nearest_names(name, free, 1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise DataError(
            f"{where}, column {shown(title)}: not known{hint}; columns are "
            f"{listed(headings)}"
        )


def _check_extra(
    where: str,
    found: Mapping[str, Column],
    unknown: Sequence[str],
    headings: Sequence[Heading],
) -> None:
    """Refuse to leave out a column that may be a missing one; the rest may go."""
    missing = [h for h in headings if h.name not in found]
    translated = {word for words in TRANSLATED.values() for word in words}
    words = {word: h for h in missing for word in {h.name, *h.others} - translated}
    for title in unknown:
        place = f"{where}, column {shown(title)}"
        meant = identify(title, missing)
        if meant is not None:
            heading, unit = meant
            fault = "has no unit"
            if unit:
                fault = f"unit {shown(unit)} is no unit of {heading.name}"
                if heading.quantity == "force" and unit in UNITS["mass"]:
                    fault += " but of mass"
            raise DataError(
                f"{place}: {fault}; accepted: {_accepted(heading)}; write for example "
                f"{heading.example!r}, or give a column of other content another name"
            )
        name = _plain(next(_readings(title), (title, ""))[0])
        near = nearest_names(name, (w for w in words if len(w) > 2), 1)
        if near:
            meant_by = words[near[0]]
            raise DataError(
                f"{place}: not known; did you mean {meant_by.name!r}? if so write for "
                f"example {meant_by.example!r}, else give it another name"
            )
        _check_stray(place, title, missing)
    for heading in missing:
        if heading.required:
            raise DataError(
                f"{where}: column {heading.name!r} is missing; write for example "
                f"{heading.example!r}; columns are {listed(headings)}"
            )


def _check_stray(place: str, title: str, missing: Sequence[Heading]) -> None:
    """Refuse to leave out a column that has the unit of a missing one in brackets."""
    bracket = _BRACKETS.fullmatch(title.strip())
    unit = (bracket[2] or bracket[3] or "") if bracket else ""
    for heading in missing:
        measured = Heading(name=heading.name, quantity=heading.quantity)
        elsewhere = _ELSEWHERE.search(_folded(_plain(title)))
        if unit and _fits(unit, measured) and not elsewhere:
            raise DataError(
                f"{place}: has a unit of {heading.name}, which stands nowhere else; if "
                f"it is that, write for example {heading.example!r}, else take the "
                "unit out of the title"
            )


# ----------------------------------------------------------------------------
# Read a table that a person kept in a spreadsheet: dialect, header, units, cells.
#
# Tolerant where nothing can be misread (byte-order mark, comma, semicolon or tab
# between cells, decimal comma where the comma separates nothing, comment and blank
# lines, units in round or square brackets or after an underscore), strict where
# something can. Every complaint is one line and names file, line, column and cell.

#: Largest table that is read [bytes]: some 10,000 strands.
LARGEST = 1_000_000

_NAMES = {";": "semicolon", "\t": "tab", ",": "comma"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A table as read: columns by name, rows as text, with their lines in the file.

    Attributes
    ----------
    file : str
    separator : str
    header_line : int
    columns : dict
        Name of the heading -> column, for those present.
    lines : tuple of int
        Line in the file of each row, from 1.
    rows : tuple of tuple of str
        Cells without surrounding space, as many as the header has.
    invented : bool
        Whether its first line says so.
    """

    file: str
    separator: str
    header_line: int
    columns: Mapping[str, Column]
    lines: tuple[int, ...]
    rows: tuple[tuple[str, ...], ...]
    invented: bool = False

    def cells(self, name: str) -> Iterator[tuple[int, str]]:
        """Yield line and text of every cell of a column; nothing if it is absent."""
        column = self.columns.get(name)
        if column is not None:
            for line, row in zip(self.lines, self.rows, strict=True):
                yield line, row[column.index]

    def fail(self, line: int, name: str, cell: str, fault: str) -> DataError:
        """Build the error for a cell."""
        title = self.columns[name].title
        return DataError(
            f"{self.file} line {line}, column {title!r}: {shown(cell)} {fault}"
        )


def says_invented(line: str) -> bool:
    """Say whether the first line of a file is a comment that calls it invented.

    Examples
    --------
    >>> says_invented("# Invented, for practice"), says_invented("length_mm,time_s")
    (True, False)
    """
    return re.match(r"\ufeff?\s*#[\s#]*invented\b", line, re.IGNORECASE) is not None


def is_invented(path: Path) -> bool:
    """Say whether a file of readings calls itself invented; errors as to open it."""
    with opened_text(path) as stream:
        return says_invented(stream.readline(LONGEST_CELL))


def read_sheet(path: Path, headings: Sequence[Heading]) -> Sheet:
    """Read a table whose columns are among `headings`, in any order.

    Raises
    ------
    InputError
        A file that cannot be read, is too large or no text.
    DataError
        A file that is empty or has no rows; a missing, unknown or doubled column; an
        unknown unit; a row of another length.
    """
    file = path.name or str(path)
    with opened_text(path, LARGEST) as stream:
        text = stream.read()
    kept = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not kept:
        raise DataError(
            f"{file} line 1: the file is empty; a header line is needed: "
            f"{listed(headings)}"
        )
    header_line, header = kept[0]
    separator = next((s for s in "\t;" if s in header), ",")
    cells = _split(file, kept, separator)
    titles = list(next(cells)[1])
    while titles and not titles[-1]:
        titles.pop()
    columns = match_header(f"{file} line {header_line}", titles, headings)
    lines, rows = [], []
    for line, row in cells:
        if any(row):
            lines.append(line)
            rows.append(_fitted(f"{file} line {line}", row, len(titles), separator))
    if not rows:
        raise DataError(
            f"{file} line {header_line}: no row of data follows the header; give one "
            "row for each measurement"
        )
    return Sheet(
        invented=says_invented(text),
        file=file,
        separator=separator,
        header_line=header_line,
        columns=columns,
        lines=tuple(lines),
        rows=tuple(rows),
    )


def _split(
    file: str, kept: Sequence[tuple[int, str]], separator: str
) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Yield line number and cells of each line; a quotation must end on its line."""
    reader = csv.reader(
        (line for _, line in kept), delimiter=separator, skipinitialspace=True
    )
    done = 0
    try:
        for cells in reader:
            line = kept[done][0]
            if reader.line_num != done + 1:
                raise DataError(
                    f"{file} line {line}: a quotation mark opens and does not close on "
                    "this line; close it or leave it out"
                )
            done += 1
            yield line, tuple(cell.strip() for cell in cells)
    except csv.Error as error:
        raise DataError(f"{file} line {kept[done][0]}: {error}") from None


def _fitted(
    where: str, row: tuple[str, ...], width: int, separator: str
) -> tuple[str, ...]:
    """Return a row of `width` cells; empty cells beyond the header are dropped."""
    if len(row) > width and not any(row[width:]):
        row = row[:width]
    if len(row) != width:
        hint = ""
        if separator == "," and len(row) > width:
            hint = (
                "; a decimal comma is read only in files separated by semicolon or tab"
            )
        raise DataError(
            f"{where}: {len(row)} cells, but the header has {width} "
            f"(separated by {_NAMES[separator]}){hint}"
        )
    return row


# ----------------------------------------------------------------------------
# Cells of a column as numbers in SI: one unit a column, one decimal mark a file.

_BARE = re.compile(r"[-+0-9., /]*[0-9.,](?:[eE][+-]?[0-9]+)?")
_NUMERIC = re.compile(r"[-+]?[0-9.,]")
_GROUPED = re.compile(r"[-+]?[1-9][0-9]{0,2}(?:,[0-9]{3})+(?![0-9,.])")

_Unit = tuple[str, str]  # canonical unit; "absolute", "gauge + ..." or nothing


def decimal_comma(sheet: Sheet) -> bool:
    """Return whether a comma is the decimal mark of the file's numbers.

    It can be where cells are separated by semicolons or tabs.

    Raises
    ------
    DataError
        Points and commas in one file, or commas that may as well group thousands
        ("1,000") and nothing that decides.
    """
    if sheet.separator == ",":
        return False
    numbers = [
        (line, name, cell)
        for name, column in sheet.columns.items()
        if column.heading.quantity
        for line, cell in sheet.cells(name)
        if _NUMERIC.match(cell)
    ]
    commas = [place for place in numbers if "," in place[2]]
    point = next((place for place in numbers if "." in place[2]), None)
    if commas and point:
        raise sheet.fail(
            *commas[0],
            f"has a comma, but {point[2]!r} in line {point[0]} a point; use one "
            "decimal mark in a file and do not group thousands",
        )
    if commas and all(_GROUPED.match(cell) for _, _, cell in commas):
        raise sheet.fail(
            *commas[0],
            "may have a decimal comma or group thousands; write 1,0000 for one and "
            "1000 for a thousand",
        )
    return bool(commas)


def quantities(
    sheet: Sheet, name: str, words: Mapping[str, float] | None = None
) -> list[float | None]:
    """Return a column in SI; None for an empty cell of an optional column.

    The unit stands in the header, or in every cell, the same one.

    Parameters
    ----------
    sheet : Sheet
    name : str
        Name of the heading; an absent column gives None in every row.
    words : mapping, optional
        Words that may stand for a number, lower case, with their SI value.

    Raises
    ------
    DataError
        A cell that is empty, no number, negative, or in another unit.
    """
    if name not in sheet.columns:
        return [None] * len(sheet.rows)
    reader = _Reader(sheet, name, words or {})
    return [reader.read(line, cell) for line, cell in sheet.cells(name)]


class _Reader:
    """Reads the cells of one column, from the first to the last."""

    def __init__(self, sheet: Sheet, name: str, words: Mapping[str, float]) -> None:
        self._sheet, self._name, self._words = sheet, name, words
        self._column = sheet.columns[name]
        self._comma = decimal_comma(sheet)
        self._unit: _Unit | None = None
        if self._column.unit:
            typed = parse(f"1 {self._column.unit}", self._column.heading.quantity)
            self._unit = typed.unit, typed.note

    def read(self, line: int, cell: str) -> float | None:
        if cell.lower() in self._words:
            return self._words[cell.lower()]
        if not cell:
            if self._column.heading.required:
                raise self._fail(line, cell, "is empty; a number is needed")
            return None
        if len(cell) > LONGEST_CELL:
            raise self._fail(line, cell, "is too long for a number")
        text = cell.replace(",", ".") if self._comma else cell
        bare = _BARE.fullmatch(text) is not None
        if bare and not self._column.unit:
            raise self._fail(
                line,
                cell,
                "has no unit; write one in the header, or the same one in every cell",
            )
        return self._value(line, cell, f"{text} {self._column.unit}" if bare else text)

    def _value(self, line: int, cell: str, text: str) -> float:
        try:
            typed = parse(text, self._column.heading.quantity)
        except InputError as error:
            file, title = self._sheet.file, self._column.title
            raise DataError(f"{file} line {line}, column {title!r}: {error}") from None
        unit = typed.unit, typed.note
        if self._unit is None:
            self._unit = unit
        if unit != self._unit:
            where = "header" if self._column.unit else "first cell"
            raise self._fail(
                line,
                cell,
                f"is in {_words(unit)}, but the {where} says {_words(self._unit)}; "
                "use one unit in a column",
            )
        return typed.value

    def _fail(self, line: int, cell: str, fault: str) -> DataError:
        return self._sheet.fail(line, self._name, cell, fault)


def _words(unit: _Unit) -> str:
    name, note = unit
    return f"{name} {note.split(' ', 1)[0]}".rstrip()
