"""The date of an entry: as typed, or today."""

from __future__ import annotations

import datetime

from castsugar.errors import InputError


def date_of(typed: str | None) -> str:
    """Return a date as 2026-05-02; today if none was typed.

    Raises
    ------
    InputError
    """
    if typed is None:
        return datetime.date.today().isoformat()
    try:
        found = datetime.date.fromisoformat(typed.strip())
    except ValueError:
        raise InputError(
            f"--date {typed!r} is no day; write year, month and day: 2026-05-02"
        ) from None
    return found.isoformat()
