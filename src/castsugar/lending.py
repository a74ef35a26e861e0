"""Published burn laws to borrow, for whoever has measured none."""

from __future__ import annotations

from dataclasses import replace

from castsugar.data.burn_laws import BurnLawRecord
from castsugar.data.load import Database
from castsugar.errors import unknown_name
from castsugar.motor import law as motor_law
from castsugar.motor.law import BORROWED_DOUBT, BurnLaw


def borrowed_laws(database: Database) -> tuple[BurnLaw, ...]:
    """Return every published burn law, in the order of the file.

    The doubt of each is that of its row, but not less than
    :data:`castsugar.motor.law.BORROWED_DOUBT`; its origin names the source.
    """
    return tuple(_law(record) for record in database.burn_laws.values())


def borrowed_law(database: Database, name: str) -> BurnLaw:
    """Return the published burn law of that name; case does not matter.

    Raises
    ------
    UnknownNameError
        With the nearest known names.

    Examples
    --------
    >>> from castsugar.data import load_database
    >>> borrowed_law(load_database(), "Sucrose 65/35").origin
    'borrowed: hobby-strand-value'
    """
    wanted = " ".join(name.split()).lower()
    for record in database.burn_laws.values():
        if record.name.lower() == wanted:
            return _law(record)
    raise unknown_name("published burn law", name, database.burn_laws)


def _law(record: BurnLawRecord) -> BurnLaw:
    """Make a law of a record."""
    law = motor_law.borrowed_law(
        record.name,
        record.bands,
        relative_uncertainty=record.relative_uncertainty,
        status=record.status,
        source=record.source,
        kind=record.fuel,
    )
    return replace(law, log_rate_u=max(law.log_rate_u, BORROWED_DOUBT))
