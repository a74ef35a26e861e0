"""Kitchen verdicts, parameters and measurements, as text and as plain rows."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from castsugar.columns import Column
from castsugar.data.records import Caution, Syrup
from castsugar.kitchen.calibration import BAND, Learnt, Outcome
from castsugar.kitchen.glass import set_word
from castsugar.kitchen.heat import FACTOR
from castsugar.kitchen.parameters import PARAMETERS, Belief
from castsugar.report.layout import CELL, LABEL, letters, number, remarks, wrapped

Row = Mapping[str, Any]

TITLE = "In the kitchen, at the pour and after"


def kitchen_lines(
    names: Sequence[str], rows: Sequence[Row], *, water: bool = False
) -> list[str]:
    """Return the kitchen block of up to three mixes; empty if not asked."""
    if all(row["flow_class"] == "not asked" for row in rows):
        return []
    heads = "".join(f"{name:>{CELL}}" for name in names)
    lines = ["", f"{TITLE:<{LABEL}}{heads}"]
    for label, cell in (*_LINES, *(_WATER if water else ())):
        told = [
            "-" if row["flow_class"] in ("not asked", "not computed") else cell(row)
            for row in rows
        ]
        cells = "".join(f"{text:>{CELL}}" for text in told)
        lines.append(f"  {label:<{LABEL - 2}}{cells}")
    return lines


def _plain(key: str, decimals: int) -> Any:
    return lambda row: number(row[key], decimals)


def one_digit(value: float) -> str:
    """Write a number with the one digit that a kitchen model deserves.

    Examples
    --------
    >>> [one_digit(v) for v in (0.234, 2.7, 36.0, 1400.0, math.inf)]
    ['0.2', '3', '40', '1000', 'jams']
    """
    if not math.isfinite(value):
        return "jams" if value > 0 else "-"
    if value >= 1e4:
        return ">10000"
    if value <= 0.0:
        return "0"
    return f"{float(f'{value:.0e}'):g}"


def column_text(column: Column, value: float) -> str:
    """Write a value of a column with the digits that it deserves."""
    if column.key.startswith("pour_viscosity"):
        return one_digit(value)
    return number(value, column.decimals)


def _band(row: Row) -> str:
    low = one_digit(row["pour_viscosity_p10_Pa_s"])
    high = one_digit(row["pour_viscosity_p90_Pa_s"])
    return low if low == high else f"{low}-{high}"


def _window(row: Row) -> str:
    low, high = row["pour_window_low_C"], row["pour_window_high_C"]
    return f"{low:.0f}-{high:.0f}" if math.isfinite(low) else "none"


def _degraded(row: Row) -> str:
    return number(row["sugar_degraded_percent"], 1)


_LINES = (
    ("flow at the pour", lambda row: str(row["flow_class"])),
    ("probability that it pours", _plain("pours_probability", 2)),
    ("pour viscosity, 10-90 % band, Pa s", _band),
    ("solids over packing (jams at 1)", _plain("relative_solids_pour", 2)),
    ("sugar not dissolved, %", _plain("undissolved_sugar_percent", 0)),
    ("pours between, C", _window),
    ("liquid starts to boil, C", _plain("liquid_boils_C", 0)),
    (f"sugar degraded, % (factor {FACTOR:g})", _degraded),
    ("solids over packing at 20 C", _plain("relative_solids_20C", 2)),
    ("the grain, once set", lambda row: set_word(row["relative_solids_20C"])),
    ("binder's glass transition, C", _plain("binder_glass_transition_C", 0)),
    ("draws water above, % humidity", _plain("storage_humidity_max_percent", 0)),
)

#: Shown where no other block says it.
_WATER = (
    ("water as weighed, %", _plain("water_as_weighed_percent", 1)),
    ("water as cast, %", _plain("water_as_cast_percent", 1)),
)

_NOTES = (
    "pours: below 10 Pa s and not crowded. The window is where it more likely pours "
    "than not while the sugar keeps its limit for the time given.",
    "Set: firm from 1 on, once the sugar has crystallised (hours to days); derived, "
    "untested. Store every grain sealed with desiccant.",
)


def kitchen_page(
    rows: Sequence[Row], assumed: Sequence[str], cautions: Sequence[Caution]
) -> str:
    """Return the page of ``kitchen judge``."""
    lines = ["How nitrate-sugar mixes cook, pour, set and keep: a model", ""]
    names = letters(len(rows))
    for name, row in zip(names, rows, strict=True):
        lines += wrapped(str(row["name"]), "      ", f"  {name:<4}")
    lines += ["", "Assumed"]
    for text in assumed:
        lines += wrapped(text, "    ", "  - ")
    for start in range(0, len(rows), 3):
        part = slice(start, start + 3)
        lines += kitchen_lines(names[part], rows[part], water=True)
    lines.append("")
    for text in _NOTES:
        lines += wrapped(text)
    lines += remarks(names, rows)
    return "\n".join(lines) + "\n" + caution_lines(cautions)


def caution_lines(cautions: Sequence[Caution]) -> str:
    """Return the cautions as the end of a page."""
    lines = ["", "Cautions"]
    for caution in cautions:
        lines += wrapped(caution.text, "    ", "  ! ")
    return "\n".join(lines) + "\n"


def parameter_rows(belief: Belief, syrup: Syrup) -> list[dict[str, Any]]:
    """Return the parameters as plain rows, those of the syrup as it stands.

    Parameters
    ----------
    belief : Belief
    syrup : Syrup
        The one that the kitchen measures; its solids and grade are what the first two
        parameters lie off from.
    """
    rows = []
    for parameter, origin in zip(PARAMETERS, belief.origins, strict=True):
        zero, size, label, unit = 0.0, 1.0, parameter.label, parameter.unit
        if parameter.name == "syrup_solids":
            zero, size = syrup.dry_solids_fraction, syrup.dry_solids_uncertainty
            zero, size = 100.0 * zero, 100.0 * size
            label, unit = f"dry solids of the {syrup.name}", "%"
        elif parameter.name == "syrup_grade":
            zero = syrup.viscosity_dextrose_equivalent
            label = f"dextrose equivalent as the viscosity of the {syrup.name} shows it"
        low, middle, high = (
            zero + size * v for v in belief.interval(parameter.name, 0.8)
        )
        rows.append(
            {
                "name": parameter.name,
                "meaning": label,
                "unit": unit,
                "p10": low,
                "p50": middle,
                "p90": high,
                "origin": origin,
            }
        )
    return rows


def _three(value: float) -> str:
    """Write three significant digits without an exponent."""
    return f"{float(f'{value:.3g}'):g}"


def outcome_rows(outcomes: Sequence[Outcome]) -> list[dict[str, Any]]:
    """Return what measurements said, as plain rows."""
    return [
        {
            "kind": o.measurement.kind,
            "label": o.measurement.label,
            "quantity": o.measurement.quantity,
            "unit": o.measurement.unit,
            "observed": o.observed,
            "expected": o.expected,
            "expected_low_95": o.low,
            "expected_high_95": o.high,
            "deviation": o.deviation,
            "contradicts": o.contradicts,
        }
        for o in outcomes
    ]


def parameter_page(learnt: Learnt, syrup: Syrup) -> str:
    """Return the page of ``kitchen parameters``."""
    lines = ["What is believed about the kitchen: p10, middle, p90", ""]
    for row in parameter_rows(learnt.kitchen.belief, syrup):
        band = " .. ".join(_three(row[p]) for p in ("p10", "p50", "p90"))
        lines.append(f"  {row['name']:<20}{band} {row['unit']}".rstrip())
        lines += wrapped(f"{row['meaning']}; {row['origin']}", "      ")
    if learnt.calibration.outcomes:
        lines += ["", "Measurements"]
    for outcome in learnt.calibration.outcomes:
        lines += wrapped(outcome.sentence(), "      ", "  - ")
    lines += [
        "",
        "Measure first: pan weight (water), bulk density (packing), ball fall (syrup);",
        "then flow-out, which tells what is left. castsugar kitchen --help",
    ]
    return "\n".join(lines) + "\n"


Bands = tuple[tuple[float, ...], tuple[float, ...]]


def measurement_document(
    before: Learnt, after: Learnt, syrup: Syrup, recipe: str, bands: Bands
) -> dict[str, Any]:
    """Return what one measurement changed, as plain values.

    Parameters
    ----------
    before, after : Learnt
    syrup : Syrup
        The one that the kitchen measures.
    recipe : str
        The mix on which the change is shown.
    bands : pair of tuples
        Its pour viscosity before and after, quantiles of
        :data:`castsugar.kitchen.calibration.BAND`. [Pa s]
    """
    return {
        "measurement": outcome_rows(after.calibration.outcomes[-1:])[0],
        "recipe": recipe,
        "band": {
            name: {
                f"pour_viscosity_p{100 * q:02.0f}_Pa_s": value
                for q, value in zip(BAND, band, strict=True)
            }
            for name, band in zip(("before", "after"), bands, strict=True)
        },
        "parameters_before": parameter_rows(before.kitchen.belief, syrup),
        "parameters_after": parameter_rows(after.kitchen.belief, syrup),
    }


def measurement_page(
    before: Learnt, after: Learnt, syrup: Syrup, recipe: str, bands: Bands
) -> str:
    """Return the page of one measurement; arguments of measurement_document."""
    document = measurement_document(before, after, syrup, recipe, bands)
    lines = wrapped(after.calibration.outcomes[-1].sentence(), "  ", "")
    lines += ["", f"{'parameter':<22}{'before, p10 .. p90':<24}after, p10 .. p90"]
    pairs = zip(
        document["parameters_before"], document["parameters_after"], strict=True
    )
    for old, new in pairs:
        was = f"{_three(old['p10'])} .. {_three(old['p90'])} {old['unit']}".rstrip()
        now = f"{_three(new['p10'])} .. {_three(new['p90'])} {new['unit']}".rstrip()
        text = "same" if was == now else now
        lines.append(f"  {old['name']:<20}{was:<24}{text}")
    cook = after.kitchen.cook
    lines += [
        "",
        f"Pour viscosity after {cook.duration / 60:g} min, poured at "
        f"{cook.pour_temperature - 273.15:.4g} C, 10-90 % band, Pa s",
    ]
    lines += wrapped(recipe)
    for name in ("before", "after"):
        band = document["band"][name]
        low, high = (
            one_digit(band[f"pour_viscosity_{p}_Pa_s"]) for p in ("p10", "p90")
        )
        lines.append(f"  {name:<20}{low} to {high}")
    return "\n".join(lines) + "\n"
