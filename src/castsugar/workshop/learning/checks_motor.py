"""Strands of a batch, held against the burn law of the day they were made."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.files.reading import sha256_of
from castsugar.motor.burn_law import BurnLaw, burn_rate, log_rate_uncertainty
from castsugar.motor.hardware import Hardware
from castsugar.motor.strands import Strand
from castsugar.workshop.batches.batch import Batch
from castsugar.workshop.batches.foresee import mix_of
from castsugar.workshop.batches.frozen import thaw
from castsugar.workshop.batches.record import Link
from castsugar.workshop.bench import Bench
from castsugar.workshop.learning.burned import law_for
from castsugar.workshop.learning.checks import COVERAGE, is_discarded
from castsugar.workshop.learning.material import file_fault
from castsugar.workshop.learning.tally import Check, Skipped
from castsugar.workshop.motor_bench import hardware_of
from castsugar.workshop.readings import read_strands

RATE = "burn rate of strands"

#: Fewest strands whose own scatter is used.
_OWN_SCATTER = 3

Found = Check | Skipped


def motor_that_day(batch: Batch, database: Database) -> tuple[Bench, Hardware] | None:
    """Return bench file and motor as they were when a batch was made.

    None if the record keeps no motor.

    Raises
    ------
    CastsugarError
        If files of strands that its burn law came from are not as they were.
    """
    frozen = batch.made.bench
    bench = thaw(frozen, batch.path.parent)
    if frozen is None or bench is None or bench.motor is None:
        return None
    for name, wanted in frozen.strands.items():
        if sha256_of(bench.path.parent / name) != wanted:
            raise InputError(f"{name}, from which the burn law came, has changed since")
    return bench, hardware_of(bench, database)


def strand_checks(
    batches: Sequence[Batch], database: Database, *, changed: bool = False
) -> Iterator[Found]:
    """Hold the strands of batches against the burn law known on the day.

    The same strands that several batches link are one comparison, that of the first.
    """
    seen: dict[tuple[str, str], str] = {}
    for batch in batches:
        for link in batch.strand_files():
            fault = file_fault(link)
            if fault == "missing" or (fault and not changed):
                yield skip(batch, RATE, f"{link.path.name} is {fault}")
                continue
            same = link.sha256, link.mix
            if same in seen:
                why = f"the same strands as those of {seen[same]}; they count once"
                yield skip(batch, RATE, why)
                continue
            try:
                found = _strands(batch, link, database)
            except CastsugarError as error:
                found = skip(batch, RATE, str(error))
            if isinstance(found, Check):
                seen[same] = batch.id
            yield found


def skip(batch: Batch, quantity: str, why: str) -> Skipped:
    """Say why something is not compared."""
    return Skipped(batch=batch.id, quantity=quantity, why=why)


def _strands(batch: Batch, link: Link, database: Database) -> Found:
    """Hold the strands of one file against the law of the day, at their pressures."""
    known = motor_that_day(batch, database)
    if known is None:
        return skip(batch, RATE, "no burn law was known")
    hardware = known[1]
    frozen = batch.made.bench
    assert frozen is not None  # motor_that_day found one
    if link.sha256 in frozen.strands.values():
        return skip(batch, RATE, "the burn law of that day came from these strands")
    strands = [s for s in read_strands(link.path) if s.mix == link.mix]
    if not strands:
        return skip(batch, RATE, f"{link.path.name} has no mix {link.mix!r}")
    law = law_for(mix_of(batch.made, batch.path.parent, database), hardware)
    return _beside(batch, strands, law, hardware)


def _beside(
    batch: Batch, strands: Sequence[Strand], law: BurnLaw, hardware: Hardware
) -> Check:
    r"""Compare the geometric mean of the rates with that of the law.

    The band is that of the law without the scatter of single strands, and the scatter
    of these strands over root N: :math:`u^2 = u_{law}^2 - s_{law}^2 + s^2 / N`.
    """
    from scipy.stats import t

    p = np.array([s.pressure for s in strands])
    sensitivity = hardware.temperature_sensitivity
    expected = np.log(burn_rate(law, p))
    if law.temperature is not None:
        warm = [s.temperature or law.temperature for s in strands]
        expected = expected + sensitivity * (np.array(warm) - law.temperature)
    off = np.log([s.rate for s in strands]) - expected
    count = len(strands)
    scatter = law.scatter
    if count >= _OWN_SCATTER:
        scatter = max(scatter, float(np.std(off, ddof=1)))
    middle = math.exp(float(np.log(p).mean()))
    own = float(log_rate_uncertainty(law, middle)) ** 2 - law.scatter**2
    u = math.sqrt(max(own, 0.0) + scatter**2 / count)
    factor = COVERAGE
    if math.isfinite(law.degrees_of_freedom):
        factor = float(t.ppf(0.975, law.degrees_of_freedom))
    predicted = 1e3 * math.exp(float(expected.mean()))
    outside = float(np.min(p)) < law.tested[0] or float(np.max(p)) > law.tested[1]
    return Check(
        batch=batch.id,
        quantity=RATE,
        unit="mm/s",
        predicted=predicted,
        low=predicted * math.exp(-factor * u),
        high=predicted * math.exp(factor * u),
        measured=predicted * math.exp(float(off.mean())),
        note="beyond the pressures of the law" if outside else "",
        discarded=is_discarded(batch),
    )
