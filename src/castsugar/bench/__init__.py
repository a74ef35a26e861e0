"""The user's bench file: one TOML file that describes a world, read once."""

from __future__ import annotations

from castsugar.bench.example import write_example
from castsugar.bench.open_points import BenchCheck, check
from castsugar.bench.world import World, read

__all__ = [
    "BenchCheck",
    "World",
    "check",
    "read",
    "write_example",
]
