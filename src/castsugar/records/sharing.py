"""What a bench shares: its strands, without what would tell whose they are."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from castsugar.bench.cross_checks import of_the_example
from castsugar.bench.world import World
from castsugar.errors import InputError
from castsugar.motor.strand_model import pots
from castsugar.motor.strands import Strand
from castsugar.readings.shared_strands import SharedStrand, rounded
from castsugar.records.batch import Batch
from castsugar.records.learning.burn_laws import BurnedLearnt, MixLaw


def own_strands(
    world: World, batches: Sequence[Batch], learnt: BurnedLearnt, licence: str
) -> list[SharedStrand]:
    """Return all strands of a bench file and of batches, each once, as they are shared.

    No name, note, date or path is in them; their bench is still empty. Batches are
    numbered in the order of what is in them, which tells nothing of when they were
    made.

    Parameters
    ----------
    world : World
    batches : sequence of Batch
        Those that are learnt from.
    learnt : BurnedLearnt
        What they and the bench file teach.
    licence : str
        One of :data:`castsugar.readings.shared_strands.LICENCES`.
    """
    water = {
        batch.id: float(batch.predictions.get("water_as_cast_percent", math.nan))
        for batch in batches
    }
    usual = str(world.bench.kitchen["process"])
    found = []
    for mix in learnt.mixes:
        for batch, strands in _pots(mix):
            wet = water.get(batch, math.nan)
            one = [_shared(mix, s, wet, usual) for s in strands]
            found.append(sorted(one, key=_in_batch))
    found.sort(key=_order)
    return [
        replace(one, licence=licence, batch=number)
        for number, rows in enumerate(found, start=1)
        for one in rows
    ]


def refuse_invented(world: World, learnt: BurnedLearnt) -> None:
    """Refuse to share what nobody burned.

    Raises
    ------
    InputError
        Names the entries and files.
    """
    told = [n for n in world.invented if n.startswith("motor.burn_law") and ": " in n]
    told += [
        Path(strand.file).name
        for mix in learnt.mixes
        for source in mix.sources
        for strand in source.strands
        if (source.batches and strand.invented) or of_the_example(source.strands)
    ]
    if told:
        listed = ", ".join(dict.fromkeys(told))
        raise InputError(
            f"batch export: got strands that are invented ({listed}); allowed: strands "
            "that you burned; take the invented ones out of the bench file, or the "
            "mark invented away where they are yours"
        )


def _pots(mix: MixLaw) -> Iterator[tuple[str, list[Strand]]]:
    every = [strand for source in mix.sources for strand in source.strands]
    yield from pots(mix.recipe, every).items()


def _shared(mix: MixLaw, strand: Strand, water: float, usual: str) -> SharedStrand:
    """Return one strand as it is shared, its batch not numbered yet."""
    temperature = math.nan if strand.temperature is None else strand.temperature
    numbers = {
        "degraded_sugar_percent": 100.0 * strand.degraded,
        "water_as_cast_percent": water,
        "strand_temperature_K": temperature,
        "pressure_MPa": 1e-6 * strand.pressure,
        "burn_rate_mm_s": 1e3 * strand.rate,
    }
    return SharedStrand(
        licence="",
        bench="",
        batch=0,
        process=strand.process or usual,
        numbers={n: rounded(x) for n, x in numbers.items() if not math.isnan(x)},
        shares={n: rounded(100.0 * x) for n, x in sorted(mix.fractions.items()) if x},
    )


def _in_batch(row: SharedStrand) -> tuple[object, ...]:
    return row.reading, sorted(row.numbers.items())


def _order(rows: Sequence[SharedStrand]) -> tuple[object, ...]:
    first = rows[0]
    return tuple(first.shares.items()), first.process, [one.reading for one in rows]
