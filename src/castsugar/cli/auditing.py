"""Whether a record that somebody made is what this version makes of it."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping
from importlib import metadata
from pathlib import Path
from typing import Any

from castsugar.checks import shown
from castsugar.errors import InputError
from castsugar.files.reading import read_bytes, sha256_of
from castsugar.plain import DIGITS
from castsugar.report.audit import Differing, Told
from castsugar.report.document import VERSION

#: Largest record [bytes]: a map of 5,000 mixes has 12 million.
LARGEST = 50_000_000

#: Keys of a document that say how it was made, not what came out.
_ABOUT = ("schema", "versions", "command", "files_read", "remarks", "references")

#: Keys of what is said in sentences, which say again what numbers and words say.
_SENTENCES = (
    "text",
    "least_sure",
    "assumptions",
    "cautions",
    "notes",
    "note",
    "rule",
    "next",
)

_SCHEMA = re.compile(r"castsugar\.([a-z_]+)/(\d+)")
_RELEASE = re.compile(r"\d+(?:\.\d+)*")


def read_record(path: Path) -> dict[str, Any]:
    """Return a JSON document of castsugar that can be recomputed.

    Parameters
    ----------
    path : pathlib.Path

    Raises
    ------
    InputError
        For what is no JSON, too large, another tool's, of another version of documents,
        made by a newer castsugar, or without the command that made it.
    """
    data = read_bytes(path, LARGEST)
    try:
        record = json.loads(data)
    except (ValueError, RecursionError) as error:
        why = str(error) if isinstance(error, json.JSONDecodeError) else "not text"
        raise InputError(
            f"{path} is not JSON ({why}); give what --json printed"
        ) from None
    known = record.get("schema") if isinstance(record, dict) else None
    found = _SCHEMA.fullmatch(known) if isinstance(known, str) else None
    if found is None:
        raise InputError(
            f"{path} is no record of castsugar: its schema is {shown(known)}; allowed: "
            f"castsugar.NAME/{VERSION}, as --json prints it"
        )
    if int(found[2]) != VERSION:
        raise InputError(
            f"{path} is {known}; this castsugar audits castsugar.{found[1]}/{VERSION}: "
            "make it again"
        )
    _check_version(path, record.get("versions"))
    command, files = record.get("command"), record.get("files_read", {})
    if not (isinstance(command, str) and isinstance(files, dict)):
        raise InputError(
            f"{path} does not say the command that made it; make it again with this "
            "version"
        )
    return record


def _check_version(path: Path, versions: Any) -> None:
    """Refuse what a newer castsugar made, or nobody knows which."""
    made = versions.get("castsugar") if isinstance(versions, dict) else None
    numbers = _RELEASE.match(made) if isinstance(made, str) else None
    if numbers is None:
        raise InputError(f"{path} does not say which castsugar made it; make it again")
    ours = metadata.version("castsugar")
    if _ordered(numbers[0]) > _ordered(ours):
        raise InputError(
            f"{path} was made by castsugar {made}, this is {ours}; update castsugar to "
            "audit it"
        )


def _ordered(version: str) -> list[int]:
    """Return the numbers of a version, for comparison."""
    found = _RELEASE.match(version)
    return [int(part[:9]) for part in found[0].split(".")] if found else []


def changed_files(record: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the files of a record that hold something else now.

    Raises
    ------
    InputError
        For one that is not there.
    """
    changed = []
    for name, digest in record["files_read"].items():
        path = Path(name)
        if "\0" in name or not path.is_file():
            raise InputError(
                f"{name!r}, which the record was made of, is missing here; go to the "
                "folder in which it was made"
            )
        if not (digest and sha256_of(path).startswith(str(digest))):
            changed.append(name)
    return tuple(changed)


def other_versions(record: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """Say which versions a record was made by that are not those of here.

    Examples
    --------
    >>> ours = {"versions": {"castsugar": "0.2.0", "cantera": "3.2.0"}}
    >>> other_versions({"versions": {"castsugar": "0.2.0", "cantera": "3.1.0"}}, ours)
    ['cantera 3.1.0, here 3.2.0']
    """
    made, here = record["versions"], now["versions"]
    return [
        f"{name.replace('_', ' ')} {made.get(name)}, here {version}"
        for name, version in here.items()
        if made.get(name) != version
    ]


def told_in(record: Mapping[str, Any]) -> dict[str, Told]:
    """Return numbers and words of a document by their place, None where there is none.

    Sentences are left out, and what says how the document was made.

    Examples
    --------
    >>> told_in({"schema": "x", "mixes": [{"name": "a", "c_m_s": 920.8, "ok": True}]})
    {'mixes[0].name': 'a', 'mixes[0].c_m_s': 920.8, 'mixes[0].ok': 'true'}
    """
    kept = {key: value for key, value in record.items() if key not in _ABOUT}
    return dict(_leaves(kept, ""))


def _leaves(value: Any, place: str) -> Iterator[tuple[str, Told]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            if key not in _SENTENCES:
                yield from _leaves(inner, f"{place}.{key}" if place else key)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _leaves(inner, f"{place}[{index}]")
    elif isinstance(value, bool):
        yield place, json.dumps(value)
    elif isinstance(value, int | float):
        yield place, _finite(value)
    else:
        yield place, value


def _finite(value: float) -> float | None:
    """Return a number; None for one that no document of ours holds."""
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def differences(
    record: Mapping[str, Any], now: Mapping[str, Any]
) -> tuple[tuple[Differing, ...], int, int]:
    """Return what differs, and how many numbers and words there are.

    Words come first, then numbers by the size of their change.

    Parameters
    ----------
    record, now : mapping
        Documents. Numbers are the same within one unit of their tenth digit: they are
        rounded to that, and the last bits hang on the machine.

    Raises
    ------
    InputError
        For documents of two kinds.
    """
    if record["schema"] != now["schema"]:
        raise InputError(
            f"the record says {record['schema']}, its command makes {now['schema']}"
        )
    was, known = told_in(record), told_in(now)
    places = list(dict.fromkeys([*was, *known]))
    found = [
        Differing(place=place, was=was.get(place), now=known.get(place))
        for place in places
        if not _same(was.get(place), known.get(place))
        or (place in was) != (place in known)
    ]
    each = [known.get(p) if was.get(p) is None else was[p] for p in places]
    numbers, words = (sum(isinstance(x, kind) for x in each) for kind in (float, str))
    return tuple(sorted(found, key=lambda one: -one.size)), numbers, words


def _same(was: Told, now: Told) -> bool:
    """Say whether two are one word, one number in ten digits, or both none."""
    if not (isinstance(was, float) and isinstance(now, float)):
        return was == now
    largest = max(abs(was), abs(now))
    if largest == 0.0:
        return True
    unit = 10.0 ** (math.floor(math.log10(largest)) + 1 - DIGITS)
    return abs(was - now) <= 1.001 * unit
