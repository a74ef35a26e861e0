"""What sweep and map say of many mixes: rows by hand, so that every count is exact."""

from __future__ import annotations

import json
import math
from typing import Any

import jsonschema
import numpy as np
import pytest

from castsugar.columns import COLUMN
from castsugar.limits import Requirement, judge_rows, limits_of
from castsugar.report.cautions import Chosen
from castsugar.report.document import document, schema_of, to_csv
from castsugar.report.screen import in_order
from castsugar.report.shown import Shown
from castsugar.report.sweep import (
    BREAKS,
    PARTS,
    Many,
    broken_limits,
    many_fields,
    many_parts,
    many_rows,
    many_screen,
    runs,
)
from castsugar.report.terminal import to_text

pytestmark = pytest.mark.exact

KEYS = ("recipe.potassium_nitrate_mass_percent", "recipe.sucrose_mass_percent")
PEAK, POUR = "peak_pressure_MPa, 95 of 100", "pour_viscosity_Pa_s, 85 of 100"

#: KNO3 from 55 to 65 %: pressures above 6.9 MPa at both ends, pouring at the low end.
SHARES = (55.0, 57.0, 59.0, 61.0, 63.0, 65.0)
PEAKS = (9.0, 8.0, 5.0, 6.0, 6.5, 8.0)
THICK = (3.0, 4.0, 9.0, 11.0, 20.0, math.inf)
POURS = (0.97, 0.93, 0.86, 0.8, 0.5, 0.1)

LIMITS = limits_of(
    [
        Requirement(column="peak_pressure_MPa", at_most=6.9, probability=0.95),
        Requirement(column="pour_viscosity_Pa_s", at_most=10.0, probability=0.85),
    ]
)


def row(place: int, **more: Any) -> dict[str, Any]:
    known = {
        KEYS[0]: SHARES[place],
        KEYS[1]: 100.0 - SHARES[place],
        "name": f"mix {place}",
        "status": "ok",
        "flags": "",
        "flame_temperature_K": 1400.0 + 50.0 * place,
        "characteristic_velocity_m_s": (850.0, 870.0, 890.0, 905.0, 910.0, 908.0)[
            place
        ],
        "pours_probability": POURS[place],
        "peak_pressure_p95_MPa": PEAKS[place],
        "pour_viscosity_Pa_s": THICK[place],
        PEAK: PEAKS[place],
        POUR: THICK[place],
    }
    return known | more


def many(rows: list[dict[str, Any]], *, judged: bool = True, **more: Any) -> Many:
    known: dict[str, Any] = {
        "command": "sweep",
        "title": "sweep: KNO3",
        "names": ("KNO3", "sucrose"),
        "shares": KEYS,
        "varied": KEYS[0],
        "judged": judge_rows(LIMITS, rows) if judged else (),
        "conditions": lambda _: "Ideal at 500 psi",
        "cautions": Chosen(lines=(), keys=(), rest=4),
        "next": "castsugar search",
    }
    table = {key: [one[key] for one in rows] for key in rows[0]}
    if known["judged"]:
        table[BREAKS.key] = broken_limits(known["judged"])
    return Many(table=table, **(known | more))


def said(found: Many, show: Shown | None = None) -> list[str]:
    findings = in_order(many_screen(found, show or Shown()).findings)
    return [f"{one.status}: {one.text}" for one in findings]


ROWS = [row(place) for place in range(6)]


def test_stretches_of_a_mask() -> None:
    assert [*runs(np.array([False, True, True, False, True]))] == [(1, 2), (4, 4)]
    assert [*runs(np.array([False, False]))] == []


def test_a_sweep_says_ranges_first() -> None:
    found = said(many(ROWS))
    assert found[0] == (
        "DO NOT: fire below 59 or above 63 % KNO3: more than 5 of 100 next batches "
        "exceed your limit, 6.9 MPa."
    )
    assert found[1] == ("BROKEN: Pours in fewer than 85 of 100 draws above 59 % KNO3.")
    # Only 59 % keeps both.
    assert found[-1] == (
        "KEPT: At 59 % KNO3: both limits; of these the largest c* is 890 m/s at 59 %."
    )
    # 1 % below 910 is 900.9: from 61 % on.
    assert "within the 1 % it is known to: above 59 % KNO3" in " ".join(found)


def test_a_map_says_counts() -> None:
    found = said(many(ROWS, command="map", varied=""))
    assert found[0].startswith("DO NOT: fire 3 of 6 mixes: more than 5 of 100")
    assert "BROKEN: Pours in fewer than 85 of 100 draws in 3 of 6 mixes." in found
    assert "1 of 6 mixes keeps both limits: KNO3 59 %, sucrose 41 %" in found[-1]
    assert "Largest c*, ideal: 910 m/s at 63/37" in " ".join(found)


def test_what_all_draws_break_is_not_praised() -> None:
    draws = "256 of 2,048 draws, for more than 200 mixes"
    rows = [*ROWS, row(3, **{POUR: 9.9})]
    fallen = (6,)  # of 905 m/s
    found = said(many(rows, command="map", varied="", draws=draws, fallen=fallen))
    assert "KEPT: 1 of 7 mixes keeps both limits: KNO3 59 %, sucrose 41 %" in found[-1]
    assert found[-1].endswith("the largest c* is 890 m/s at 59/41, by all draws.")
    none = said(many(rows, draws=draws, fallen=(2, 6)))
    assert "BROKEN: 2 mixes keep both limits by few draws, none by all." in none
    assert "KEPT" not in " ".join(none)
    cut = said(many(rows, draws=draws, complete=False))
    assert "of these the largest" not in " ".join(cut)


def test_a_chance_that_is_shown_is_of_100() -> None:
    found = said(many(ROWS, columns=(COLUMN["pours_probability"],)))
    assert (
        "RESULT: Pours, of 100 draws: largest 97 at 55 %, smallest 10 at 65 %." in found
    )


def test_nowhere_is_said_with_some_numbers() -> None:
    rows = [row(k, **{POUR: 50.0}) for k in range(6)]
    assert (
        "BROKEN: Nowhere do 85 of 100 draws pour: 97 at 55 %, 86 at 59 %, 10 at 65 %."
        in (said(many(rows)))
    )
    assert "BROKEN: No mix of these keeps both limits." in said(many(rows))


def test_a_stop_of_a_row_is_never_hidden() -> None:
    """Without limits too: the flag alone raises DO NOT."""
    stop = "several stable pressures: do not fire it"
    rows = [*ROWS[:5], row(5, flags=stop)]
    assert said(many(rows, judged=False))[0] == (
        "DO NOT: fire above 63 % KNO3: several stable pressures."
    )
    # Where the limit on the pressure says so already it is said once.
    assert sum(x.startswith("DO NOT") for x in said(many(rows))) == 1


def test_what_is_not_computed_is_never_broken() -> None:
    rows = [*ROWS[:5], row(5, **{POUR: math.nan, "flags": "kitchen not computed: why"})]
    found = said(many(rows))
    assert "CANNOT TELL: Pour viscosity of above 63 % KNO3: why." in found
    told = many_rows(many(rows))
    assert told[5][BREAKS.key] == "peak_pressure_MPa; ?pour_viscosity_Pa_s"
    assert told[2][BREAKS.key] == ""


def test_cold_faint_freezing_and_interrupted() -> None:
    rows = [
        row(0, status="cold"),
        row(1, flags="flame below 900 K"),
        *ROWS[2:5],
        row(5, flags="freezing at the throat"),
    ]
    found = " ".join(said(many(rows, judged=False, complete=False)))
    assert "4 of 6 burn; below 57 % KNO3 not at all by this model" in found
    assert "at 57 % KNO3 only below 900 K" in found
    assert "CAUTION: Above 63 % KNO3: freezing at the throat" in found
    assert "INCOMPLETE" in found


@pytest.mark.parametrize("units", ["si", "us"])
def test_the_screen_fits(units: str) -> None:
    rows = [
        {**ROWS[k // 7], KEYS[0]: 55.0 + 0.25 * k, KEYS[1]: 45.0 - 0.25 * k}
        for k in range(41)
    ]
    lines = to_text(many_screen(many(rows), Shown(units))).splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    (head,) = [x for x in lines if x.startswith("KNO3, %")]
    assert 6 <= len(head.split()) - 2 <= 12
    assert ("MPa" in "".join(lines)) == (units == "si")
    assert not any("Left out" in x for x in lines)


def test_document_and_csv() -> None:
    found = many(ROWS)
    screen = many_screen(found, Shown())
    parts = many_parts(found)
    text = document("sweep", screen, parts, version="1", cautions=[])
    jsonschema.validate(json.loads(text), schema_of("sweep", PARTS))
    assert [x["broken"] for x in parts["limits"]] == [3, 3]
    rows = many_rows(found)
    head, first, *_ = to_csv(rows, many_fields(found)).splitlines()
    assert head.split(",")[:3] == [*KEYS, "name"]
    assert head.endswith(",limits_broken")
    assert first.startswith("55.0,45.0,mix 0,ok")
    assert "95 of 100" not in head


def test_where_oxygen_is_left_over_is_told() -> None:
    """The balance changes its sign between 63 and 65 %."""
    rows = [row(k, oxygen_balance_percent=-5.0 + 1.1 * k) for k in range(6)]
    assert "; oxygen is left over above 63 % KNO3." in " ".join(said(many(rows)))
    assert "oxygen" not in " ".join(said(many(ROWS)))
