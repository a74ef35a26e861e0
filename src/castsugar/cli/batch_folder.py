"""The folder of the records: the option that names it, and where it is."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path
from typing import Any

from castsugar.cli.bench_option import add_bench_option


def add_folder(parser: Any) -> None:
    """Add what says where the records are."""
    parser.add_argument(
        "--dir",
        metavar="DIR",
        help="folder of the records (default: batches, beside the bench file if one "
        "is given, else here)",
    )
    add_bench_option(parser)


def folder_of(options: argparse.Namespace) -> Path:
    """Return the folder of the records; raise InputError for an empty name."""
    from castsugar.errors import InputError

    if options.dir == "":
        raise InputError("--dir is empty; give a name or leave it out")
    if options.dir is not None:
        return Path(options.dir)
    beside = Path(options.bench).parent if options.bench is not None else Path()
    return beside / "batches"


def existing_folder(options: argparse.Namespace) -> Path:
    """Return the folder of the records; raise InputError if named in vain."""
    from castsugar.errors import InputError
    from castsugar.files.paths import is_folder

    folder = folder_of(options)
    if options.dir is not None and not is_folder(folder):
        raise InputError(f"--dir {options.dir}: there is no such folder")
    return folder


def where(options: argparse.Namespace) -> str:
    """Return the options that say where the records are, as typed."""
    given = (("--bench", options.bench), ("--dir", options.dir))
    return "".join(f" {name} {shlex.quote(v)}" for name, v in given if v is not None)
