"""One number behind a comparison, and how it came to be."""

from __future__ import annotations

from dataclasses import dataclass

#: How a number came to be: by the user's own measurement; from a source that can be
#: read; of something else than the mix or kitchen at hand; by calculation from
#: published numbers; without a source.
MEASURED, PUBLISHED, BORROWED = "measured", "published", "borrowed"
DERIVED, ASSUMED, STATED = "derived", "assumed", "stated"
RECALLED = "from memory"
STANDINGS = (MEASURED, STATED, PUBLISHED, DERIVED, RECALLED, BORROWED, ASSUMED)

#: Status of a row of the data files -> standing.
_STATUS = {
    "measured": PUBLISHED,
    "fitted": PUBLISHED,
    "estimated": DERIVED,
    "assumed": ASSUMED,
    "from memory": RECALLED,
}


#: First word of the origin of a burn law -> standing.
_LAWS = {
    "measured": MEASURED,
    "stated": STATED,
    "borrowed": BORROWED,
    "nearest": BORROWED,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One number behind a comparison.

    Attributes
    ----------
    subject : str
        What it is the value of.
    value, uncertainty : float
        NaN where there is none; the uncertainty is standard, on the scale that `unit`
        names.
    unit : str
    standing : str
        Of :data:`STANDINGS`.
    source : str
        Key of the sources of the database, or words where it is none of them.
    note : str
        How it is known, in the words of its row; rival values.
    """

    subject: str
    value: float
    uncertainty: float
    unit: str
    standing: str
    source: str
    note: str = ""


def standing_of(status: str, source: str) -> str:
    """Return the standing of a row of the data files.

    Examples
    --------
    >>> standing_of("measured", "crc-handbook"), standing_of("assumed", "user")
    ('published', 'assumed')
    """
    if source in ("common-practice", "derived-convention"):
        return ASSUMED
    if source == "from-memory":
        return RECALLED
    return _STATUS.get(status, ASSUMED)


def law_standing(origin: str) -> str:
    """Return the standing of a burn law.

    Examples
    --------
    >>> law_standing("measured"), law_standing("nearest measured mix: a, 6 % differs")
    ('measured', 'borrowed')
    """
    return _LAWS.get(origin.split(":")[0].split(" ")[0], DERIVED)
