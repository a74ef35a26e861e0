"""Published burn laws: the file, its records, and the laws made of them."""

from __future__ import annotations

import math

import pytest

import castsugar as cs
from castsugar.motor.burn_law import (
    BORROWED_DOUBT,
    borrowed_law,
    borrowed_laws,
    burn_rate,
)

#: From memory, sample data, not a check of physics: the values that circulate in the
#: trade, typed here a second time so that no row of the file changes unseen.
#: MPa, MPa, mm/s at 1 MPa, exponent.
TRADE = {
    "sucrose 65/35": [(0.1, 10, 8.26, 0.319)],
    "dextrose 65/35": [
        (0.103, 0.779, 8.875, 0.619),
        (0.779, 2.572, 7.553, -0.009),
        (2.572, 5.930, 3.841, 0.688),
        (5.930, 8.502, 17.20, -0.148),
        (8.502, 11.20, 4.775, 0.442),
    ],
    "sorbitol 65/35 in bands": [
        (0.103, 0.807, 10.708, 0.625),
        (0.807, 1.503, 8.763, -0.314),
        (1.503, 3.792, 7.852, -0.013),
        (3.792, 7.033, 3.907, 0.535),
        (7.033, 10.67, 9.653, 0.064),
    ],
    "sorbitol 65/35 single": [(0, math.inf, 5.13, 0.222)],
    "erythritol 65/35": [(0, math.inf, 2.90, 0.395)],
}


@pytest.fixture(scope="module")
def database() -> cs.Database:
    """The shipped database."""
    return cs.load_database()


@pytest.mark.frozen
def test_the_file_holds_the_values_of_the_trade(database: cs.Database) -> None:
    """From memory, sample data, not a check of physics."""
    assert list(database.burn_laws) == list(TRADE)
    for name, bands in TRADE.items():
        record = database.burn_laws[name]
        assert len(record.bands) == len(bands)
        for got, (low, high, rate, exponent) in zip(record.bands, bands, strict=True):
            expected = (1e6 * low, 1e6 * high, 1e-3 * rate, exponent)
            assert got == pytest.approx(expected, rel=1e-14)
        assert record.fuel == name.split()[0]
        assert record.mix == f"KNO3/{record.fuel} 65/35"
        assert record.oxidizer_fraction == pytest.approx(0.65, rel=1e-15)
        assert record.status == "published, not read"
        assert record.note


@pytest.mark.exact
def test_every_law_may_only_be_borrowed_with_a_wide_band(
    database: cs.Database,
) -> None:
    """No law is surer than its rivals let it be: 95 % of it hold the other's factor.

    Exact: the two sorbitol laws at 1 MPa, 8.763 and 5.13 mm/s, are 1.708 apart; the
    standard deviation by two values is their distance over the root of 2.
    """
    laws = borrowed_laws(database)
    assert [law.name for law in laws] == list(TRADE)
    rivals = [float(burn_rate(law, 1e6)) for law in laws if "sorbitol" in law.name]
    apart = math.log(max(rivals) / min(rivals))
    assert math.exp(apart) == pytest.approx(8.763 / 5.13, rel=1e-12)
    assert pytest.approx(apart / math.sqrt(2.0), rel=0.01) == BORROWED_DOUBT
    for law in laws:
        record = database.burn_laws[law.name]
        assert law.log_rate_u == BORROWED_DOUBT
        assert law.origin == f"borrowed: {law.source}"
        assert (law.status, law.kind) == ("published, not read", record.fuel)
        assert database.sources[law.source].citation


@pytest.mark.exact
def test_joins_agree_within_four_percent(database: cs.Database) -> None:
    """A slip of the pen in a coefficient would show as a step at a join.

    Common practice, no source: such tables are rounded, their pieces meet within 4 %.
    """
    joins = 0
    for law in borrowed_laws(database):
        for below, above in zip(law.bands[:-1], law.bands[1:], strict=True):
            p = below.high / 1e6
            step = above.rate / below.rate * p ** (above.exponent - below.exponent)
            assert abs(step - 1.0) < 0.04
            joins += 1
    assert joins == 8


@pytest.mark.exact
def test_a_law_is_found_by_its_name(database: cs.Database) -> None:
    """Exact: r = 8.26 mm/s at 1 MPa, and 8.26 x 10^0.319 at the end of its band."""
    law = borrowed_law(database, "  Sucrose   65/35")
    assert burn_rate(law, 1e6) == pytest.approx(8.26e-3, rel=1e-14)
    assert burn_rate(law, 1e7) == pytest.approx(8.26e-3 * 10**0.319, rel=1e-12)
    with pytest.raises(cs.UnknownNameError, match="did you mean 'sucrose 65/35'"):
        borrowed_law(database, "sucrose 60/40")
