"""Which files a document rests on, each by its SHA-256."""

from __future__ import annotations

import argparse
from pathlib import Path

#: So many hexadecimal digits are shown.
_SHOWN = 16


def files_read(options: argparse.Namespace) -> dict[str, str]:
    """Return the bench files of a command and the files that they name.

    Parameters
    ----------
    options : argparse.Namespace
        With `bench`, `motor` and `kitchen`: names of files, or None.

    Returns
    -------
    dict of str to str
        Name as typed to the first digits of its SHA-256.

    Raises
    ------
    InputError
        If a file cannot be read.
    """
    from castsugar.cli.bench_option import read_world
    from castsugar.files.reading import sha256_of

    found: dict[str, str] = {}
    for name in (options.bench, options.motor, options.kitchen):
        if name is None or name in found:
            continue
        found[name] = sha256_of(Path(name))[:_SHOWN]
        bench = read_world(options, name).bench
        for law in (bench.motor or {}).get("burn_law", []):
            if strands := law.get("strands"):
                found[strands] = sha256_of(bench.path.parent / strands)[:_SHOWN]
    return found
