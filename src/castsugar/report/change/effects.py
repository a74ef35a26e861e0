"""What mixes are expected to do: values, differences, verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from castsugar.comparison.change import BASE, NEW, Change
from castsugar.comparison.compare import RULE, Comparison
from castsugar.report.blocks.model import Block, Cell, Figure, Paragraph, Section, Table
from castsugar.report.change.best import best_tables
from castsugar.report.change.words import (
    Asked,
    chance_text,
    is_equal,
    label,
    plain_label,
    verdict_box,
    with_interval,
)
from castsugar.report.difference_plot import difference_plot
from castsugar.report.difference_words import lines_of

#: Title of a group of columns -> its columns.
GROUPS: Mapping[str, tuple[str, ...]] = {
    "Performance, ideal": (
        "characteristic_velocity_m_s",
        "specific_impulse_s",
        "density_impulse_kg_s_m3",
        "density_kg_m3",
        "flame_temperature_K",
        "condensed_mass_fraction",
    ),
    "Pressure in your motor": ("peak_pressure_MPa",),
    "Pouring": ("pour_viscosity_Pa_s",),
    "Setting": ("relative_solids_20C",),
    "Storage": ("storage_humidity_max_percent",),
}

#: Names of rows that say which question they answer.
_NAMES = {
    "density_impulse_kg_s_m3": "density x specific impulse, kg s/m3",
    "peak_pressure_MPa": "peak pressure in your motor",
    "pour_viscosity_Pa_s": "pouring: viscosity",
    "relative_solids_20C": "setting: solids over packing at 20 C",
    "storage_humidity_max_percent": "storage: draws water above",
}

#: What is said where a wing was not asked for: a column of it -> words.
_MISSING = {
    "peak_pressure_MPa": "Pressure is not computed: describe the motor in [motor] "
    "of a bench file and burn strands. Without them, less pressure is a belief.",
    "pour_viscosity_Pa_s": "Pouring, setting and storage are not computed: say how the "
    "mix is cooked (--cook).",
}

#: What stands below a table of values.
MIDDLE = (
    "A value has every input in the middle and powders as dry as the recipe says (that "
    "of the pour viscosity is the median of the kitchen's draws). The draws add "
    "moisture, so a value may stand at an end of its interval."
)

_LESS = (
    "The performance is ideal, without losses: small motors deliver clearly less; a "
    "firing with pressure and propellant mass measures how much (castsugar firing)."
)


def effects_section(change: Change, asked: Asked) -> Section:
    """Return the section on what a change is expected to do."""
    comparison = change.comparison
    blocks: list[Block] = [
        Paragraph(text=f"Rule of the verdict: {RULE}.", tone="soft"),
        differences_table(comparison, NEW),
        Figure(
            svg=difference_plot(comparison, NEW),
            caption="Difference: new mix minus the one made now, with 95 % intervals. "
            "An interval that touches the middle line decides nothing.",
        ),
        values_table(comparison, ("now", "new"), (BASE, NEW)),
        Paragraph(text=MIDDLE, tone="soft"),
        *best_tables(("now", "new"), change.rows, asked.fired),
        *closing(comparison),
    ]
    return Section(
        key="effects", title="What it is expected to do", blocks=tuple(blocks)
    )


def differences_table(comparison: Comparison, mix: int) -> Table:
    """Return differences to the baseline, one row a column."""
    return Table(
        heads=("", "verdict", "difference, 95 %", "P(more)"),
        rows=tuple(_row(comparison, column, mix) for column in listed(comparison)),
        words=(1,),
    )


def listed(comparison: Comparison) -> list[str]:
    """Return the columns of a comparison in the order of the groups."""
    return [
        c for columns in GROUPS.values() for c in columns if c in comparison.cells[0]
    ]


def _row(comparison: Comparison, column: str, mix: int) -> tuple[Cell, ...]:
    """Return one row: difference with interval, verdict, chance that it is above 0."""
    cell = comparison.cells[mix][column]
    line = lines_of(comparison, column, (mix,))[0]
    return (
        Cell(text=_NAMES.get(column, plain_label(column))),
        verdict_box(cell),
        Cell(text=line.words),
        Cell(text="-" if is_equal(cell) else chance_text(cell.chance_higher)),
    )


def values_table(
    comparison: Comparison, heads: Sequence[str], mixes: Sequence[int]
) -> Table:
    """Return the values of mixes with their 95 % intervals."""
    columns = [
        c for group in GROUPS.values() for c in group if c in comparison.cells[0]
    ]
    return Table(
        heads=("each mix, with 95 % interval", *heads),
        rows=tuple(
            (
                Cell(text=label(column)),
                *(Cell(text=with_interval(comparison.cells[m][column])) for m in mixes),
            )
            for column in columns
        ),
    )


def closing(comparison: Comparison) -> list[Paragraph]:
    """Return what was not computed, what a reader has to know, what is ideal."""
    texts = [t for column, t in _MISSING.items() if column not in comparison.cells[0]]
    texts += [f"{note[:1].upper()}{note[1:]}." for note in comparison.notes]
    return [Paragraph(text=text, tone="soft") for text in [*texts, _LESS]]
