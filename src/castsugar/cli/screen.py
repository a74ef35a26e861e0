"""What reaches a screen: results by :func:`say`, a line beside by :func:`remark`.

A sign that a stream has no character for is spelled in ASCII.
"""

from __future__ import annotations

import codecs
import io
import sys

#: Signs of results that some screens lack: a minus that is lost would be a lie.
_SPELLED = {"\u2212": "-", "\u2013": "-", "\u00b1": "+-", "\u00d7": "x", "\u2192": "->"}
_ERRORS = "castsugar.spelled"


def _spelled(error: UnicodeError) -> tuple[str, int]:
    """Spell signs that a stream cannot encode; any other character becomes "?"."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lost = error.object[error.start : error.end]
    return "".join(_SPELLED.get(char, "?") for char in lost), error.end


codecs.register_error(_ERRORS, _spelled)


def spell_what_does_not_fit() -> None:
    """Let stdout and stderr spell what their encoding has no character for."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=_ERRORS)


def say(text: str) -> None:
    """Print a result, or a part of it."""
    sys.stdout.write(text)


def remark(text: str) -> None:
    """Print one line beside the result."""
    sys.stderr.write(" ".join(text.split()) + "\n")
