"""What reaches a screen: results by :func:`say`, a line beside by :func:`remark`."""

from __future__ import annotations

import sys


def say(text: str) -> None:
    """Print a result, or a part of it."""
    sys.stdout.write(text)


def remark(text: str) -> None:
    """Print one line beside the result."""
    sys.stderr.write(" ".join(text.split()) + "\n")
