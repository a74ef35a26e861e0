"""The date of an entry: as typed, or today."""

from __future__ import annotations

import datetime

from castsugar.bench.schema import day
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
        return day(typed)
    except InputError as error:
        raise InputError(f"--date {error}") from None
