"""``castsugar open``: the bench on one live page in the browser."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

from castsugar.cli.bench_option import Once, add_bench_option, stated_world
from castsugar.cli.screen import remark, say
from castsugar.errors import InputError

_EXAMPLES = """\
The page is served to this machine alone, under the link that is printed, until
Ctrl-C. It writes what you tell it to: recipes and limits of the bench file, and
batches.

examples:
  castsugar open
  castsugar open bench.toml --read-only
  castsugar open --port 8765 --no-browser
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "open",
        description="Open the bench as a live page in the browser.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "bench",
        action=Once,
        nargs="?",
        metavar="FILE",
        help="bench file, as with --bench",
    )
    add_bench_option(parser)
    parser.add_argument(
        "--port", default="0", metavar="N", help="port on this machine (default: any)"
    )
    parser.add_argument(
        "--read-only", action="store_true", help="write nothing from the page"
    )
    parser.add_argument(
        "--no-browser", action="store_true", help="print the link and open nothing"
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Serve the page until Ctrl-C."""
    from castsugar.page import serve
    from castsugar.page.desk import Page

    path = stated_world(options).bench.path.resolve()
    read_only = options.read_only
    if not read_only and not _writable(path):
        remark(f"castsugar: {path.parent} cannot be written to; opened read-only")
        read_only = True
    if not options.port.isascii() or not options.port.isdigit():
        raise InputError(f"--port is {options.port!r}; give a number, 0 for any")
    with serve.bound(int(options.port)) as own:
        page = Page(path, read_only=read_only)
        remark("castsugar: Ctrl-C ends it")
        serve.run(page, own, browser=not options.no_browser, say=_said)
    return 0


def _said(line: str) -> None:
    say(line + "\n")
    sys.stdout.flush()


def _writable(path: Path) -> bool:
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)
