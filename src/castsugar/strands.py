"""Strands that were burned, in Python: files in, burn laws out."""

from __future__ import annotations

from castsugar.motor.strands import (
    MixResult,
    Strand,
    StrandResults,
    analyse,
    analyse_mix,
)
from castsugar.readings.strand_files import read_strand_files, read_strands

__all__ = [
    "MixResult",
    "Strand",
    "StrandResults",
    "analyse",
    "analyse_mix",
    "read_strand_files",
    "read_strands",
]
