"""What reaches a screen: results by :func:`say`, a line beside by :func:`remark`.

Labels, names and paths come from people and from files: what would steer a terminal is
written out, what is long is shortened. A sign that a stream has no character for is
spelled in ASCII.
"""

from __future__ import annotations

import codecs
import contextlib
import io
import os
import re
import sys
from typing import TextIO

from castsugar.cli import progress
from castsugar.errors import InputError

#: Longest piece of input that a line repeats, and the longest line [characters].
_LONGEST_ECHO, _LONGEST_LINE = 80, 1000

#: What steers a terminal or turns the order of what is read: controls but tab and line
#: feed, marks of direction, invisible characters, halves of surrogate pairs.
_STEERING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\xad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f"
    "\ud800-\udfff\ufeff\ufff9-\ufffb\ufffe\uffff]"
)

#: A piece in quotes, as ``repr`` writes it; an apostrophe inside a word opens none.
_QUOTED = re.compile(r"""(?<!\w)(['"])((?:\\.|(?!\1)[^\\])*)\1(?!\w)""")
_UNBROKEN = re.compile(rf"\S{{{4 * _LONGEST_ECHO},}}")

#: Signs of results that some screens lack: a minus that is lost would be a lie.
_SPELLED = {
    "\u2212": "-",
    "\u2013": "-",
    "\u00b1": "+-",
    "\u00d7": "x",
    "\u2192": "->",
    "\u2264": "<=",
    "\u2265": ">=",
    "\u03c6": "phi",
    "\u00b0": "",
    "\u00b2": "2",
    "\u00b3": "3",
    "\u2610": "[ ]",
}
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


def visible(text: str) -> str:
    r"""Return a text with characters that steer a terminal written out.

    Examples
    --------
    >>> visible("a" + chr(27) + "[2Jb")
    'a\\u001b[2Jb'
    """
    return _STEERING.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def say(text: str) -> None:
    """Print a result now; a reader that left early keeps nothing else from being done.

    Raises
    ------
    InputError
        If the output is closed, or its disk full: half a result is none.
    """
    if sys.stdout is None:
        raise InputError("nothing can be printed: the output is closed")
    progress.clear()
    try:
        _write(sys.stdout, visible(text))
    except BrokenPipeError:
        silence(sys.stdout)
    except OSError as error:
        silence(sys.stdout)
        raise InputError(f"the result cannot be printed: {error.strerror}") from None


def _write(stream: TextIO, text: str) -> None:
    """Write all of a text now, or raise OSError."""
    if isinstance(getattr(stream, "buffer", None), io.RawIOBase):
        # With PYTHONUNBUFFERED what the system does not take at once would be lost.
        code, errors, number = stream.encoding, stream.errors, stream.fileno()
        with open(number, "w", encoding=code, errors=errors, closefd=False) as whole:
            whole.write(text)
    else:
        stream.write(text)
        stream.flush()


def silence(stream: TextIO) -> None:
    """Let what is left in the buffer of an output go nowhere."""
    with contextlib.suppress(OSError):  # no file of the system
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def remark(text: str) -> None:
    """Print one line beside the result; what it repeats of the input is shortened.

    Nobody need hear it: an output without room changes nothing.
    """
    progress.clear()
    try:
        sys.stderr.write(one_line(text) + "\n")
        sys.stderr.flush()
    except OSError:
        silence(sys.stderr)


def one_line(text: str) -> str:
    """Return a text on one line, its long pieces shortened.

    Examples
    --------
    >>> len(one_line(f"recipe {'x' * 10000!r} is empty"))
    98
    """
    line = visible(" ".join(text.split()))
    line = _QUOTED.sub(lambda found: f"{found[1]}{_cut(found[2])}{found[1]}", line)
    line = _UNBROKEN.sub(lambda found: _cut(found[0], 4 * _LONGEST_ECHO), line)
    return _cut(line, _LONGEST_LINE)


def _cut(text: str, longest: int = _LONGEST_ECHO) -> str:
    """Return a text, its middle left out where it is longer than `longest`."""
    if len(text) <= longest:
        return text
    tail = (longest - 3) // 4
    return f"{text[: longest - 3 - tail]}...{text[-tail:]}"
