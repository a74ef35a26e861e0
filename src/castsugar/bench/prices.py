"""What ingredients cost: prices per mass, in a currency that the user names."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from castsugar import units
from castsugar.bench.schema import INVENTED, Place, Table

#: How a price is written.
HOW = "'3.20 EUR/kg', a number, a currency, and the mass that it buys"

_PRICE = re.compile(r"\s*(\d+\.?\d*|\.\d+)\s*([^\s\d/]+)\s*/\s*([A-Za-z]+)\s*")

#: Price of a kilogram, and its currency.
Price = tuple[float, str]


class PriceList(Table, head="[prices]", used="search for the cheapest, and next"):
    """what ingredients cost: names, each with a price; lots may say their own"""


def read_price(raw: Any, key: str, place: Place) -> Price:
    """Read a price.

    Raises
    ------
    InputError
        File, line and key.

    Examples
    --------
    >>> from pathlib import Path
    >>> place = Place(Path("bench.toml"), "", "prices")
    >>> read_price("0.5 EUR/lb", "KNO3", place)
    (1.1023113109243878, 'EUR')
    """
    found = _PRICE.fullmatch(raw) if isinstance(raw, str) else None
    if found is None or found[3] not in units.UNITS["mass"]:
        raise place.fail(key, f"is {raw!r}; write {HOW}")
    mass = units.parse(f"1 {found[3]}", "mass").value
    return float(found[1]) / mass, found[2]


def read_prices(raw: Any, place: Place) -> dict[str, Price]:
    """Check the table of prices; names of ingredients are not looked up."""
    if not isinstance(raw, Mapping):
        raise place.fail("", "must be a table")
    return {
        name: read_price(one, name, place)
        for name, one in raw.items()
        if name != INVENTED
    }
