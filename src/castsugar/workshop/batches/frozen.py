"""What a record keeps of other files: tables of the bench file, names and hashes."""

from __future__ import annotations

import hashlib
import os
import tomllib
from pathlib import Path

from castsugar.files.paths import real
from castsugar.files.reading import sha256_of
from castsugar.plausible import collected
from castsugar.workshop.batches.record import FrozenBench
from castsugar.workshop.bench import Bench, check_bench, read_bench, toml_text

#: Tables that matter for what is foreseen.
TABLES = ("kitchen", "motor", "lots")


def relative(path: Path, folder: Path) -> str:
    """Return how a file is called from a folder, "/" between the parts.

    Of a file on another drive the whole name.
    """
    try:
        found = os.path.relpath(real(path), real(folder))
    except ValueError:
        found = str(real(path))
    return Path(found).as_posix()


def freeze(bench: Bench, folder: Path) -> FrozenBench:
    """Keep what matters of a bench file in a record of a folder.

    Raises
    ------
    InputError
        If a file of strands that its [motor] names cannot be read.
    """
    raw = tomllib.loads(bench.text.removeprefix("\ufeff"))
    texts = {t: toml_text({t: raw[t]}) if t in raw else "" for t in TABLES}
    laws = bench.motor["burn_law"] if bench.motor else []
    names = [law["strands"] for law in laws if "strands" in law]
    return FrozenBench(
        file=relative(bench.path, folder),
        sha256=hashlib.sha256(bench.text.encode("utf-8")).hexdigest(),
        strands={name: sha256_of(bench.path.parent / name) for name in names},
        **texts,
    )


def keeps_motor(frozen: FrozenBench | None, path: Path, folder: Path) -> bool:
    """Whether a record keeps the motor of a bench file: its table and its strands.

    Raises
    ------
    CastsugarError
        If the bench file, or strands that it names, cannot be read.
    """
    now = freeze(read_bench(path), folder)
    if frozen is None or not now.motor:
        return False
    return (frozen.motor, dict(frozen.strands)) == (now.motor, dict(now.strands))


def thaw(frozen: FrozenBench | None, folder: Path) -> Bench | None:
    """Return the bench file as it was, from a record in a folder.

    What is unusual in it was remarked on when it was frozen.

    Raises
    ------
    InputError
        If a table is not what this version reads.
    """
    if frozen is None:
        return None
    text = "\n".join(t for t in (frozen.kitchen, frozen.motor, frozen.lots) if t)
    with collected():
        return check_bench(folder / frozen.file, text)
