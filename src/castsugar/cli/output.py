"""What commands share: output options, and where the result goes."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path


def add_output_options(parser: argparse.ArgumentParser, *, csv: bool = True) -> None:
    """Add --json, --csv, -o and --force to a command."""
    kind = parser.add_mutually_exclusive_group()
    kind.add_argument("--json", action="store_true", help="print JSON, units in keys")
    if csv:
        kind.add_argument("--csv", action="store_true", help="print CSV")
    parser.add_argument(
        "-o", "--output", metavar="FILE", help="write to FILE instead of the screen"
    )
    parser.add_argument(
        "--force", action="store_true", help="let -o replace an existing file"
    )


def deliver(options: argparse.Namespace, text: str) -> None:
    """Print a result, or write it to the file asked for."""
    if options.output is None:
        sys.stdout.write(text)
        return
    from castsugar.workshop.files import write_text

    write_text(Path(options.output), text, force=options.force)
    sys.stderr.write(f"wrote {options.output}\n")


def version_line() -> str:
    """Return the versions that a result depends on, on one line."""
    from importlib import metadata

    from castsugar.database.locate import data_version

    return (
        f"castsugar {metadata.version('castsugar')}, species data {data_version()}, "
        f"Cantera {metadata.version('cantera')}"
    )
