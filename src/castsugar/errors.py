"""The exceptions and warnings of castsugar.

Every message says what went wrong, what was got, what is allowed and what to do.
All exceptions derive from :class:`CastsugarError`; most also derive from the
builtin that fits, so that ``except ValueError`` keeps its usual meaning.
"""

from __future__ import annotations

import difflib
import warnings
from collections.abc import Iterable


class CastsugarError(Exception):
    """Base of every exception that castsugar raises on purpose."""


class DataError(CastsugarError, ValueError):
    """A data file is missing, damaged or inconsistent: names file, line and value."""


class UnknownNameError(CastsugarError, LookupError):
    """A name is not known; the message lists the nearest known names."""


class InputError(CastsugarError, ValueError):
    """A value given by the user is not usable: names it and the allowed range."""


class RefusedError(CastsugarError, ValueError):
    """A composition is outside the scope of castsugar: gives the reason."""


class ValidityError(CastsugarError, ValueError):
    """A value lies outside the range that a source covers."""


class ConvergenceError(CastsugarError, RuntimeError):
    """An iteration did not reach its tolerance: names the last state and residual."""


class WorkerError(CastsugarError, RuntimeError):
    """A worker of an executor died or could not be reached."""


class UnusualWarning(UserWarning):
    """A value is possible but not usual: says where it stands and what is usual."""


#: Old spellings that a warning was given of.
_warned: set[str] = set()


def deprecated(old: str, new: str, since: str) -> None:
    """Warn, once a process, of an old spelling of the Python interface.

    Called first thing by what has the old name: the warning points at its caller.

    Parameters
    ----------
    old, new : str
        As they are typed.
    since : str
        Version from which the new one is to be used.
    """
    if old not in _warned:
        _warned.add(old)
        told = f"{old} is called {new} since castsugar {since}; write that"
        warnings.warn(told, DeprecationWarning, stacklevel=3)


def nearest_names(name: str, known: Iterable[str], count: int = 3) -> list[str]:
    """Return up to `count` known names that look most like `name`, best first.

    Comparison ignores case. A known name that contains `name` (or is contained in
    it) counts as near.
    """
    lowered = {candidate.lower(): candidate for candidate in known}
    wanted = name.strip().lower()
    found = difflib.get_close_matches(wanted, lowered, n=count, cutoff=0.6)
    if len(wanted) >= 3:
        inside = [c for c in lowered if wanted in c or (len(c) >= 3 and c in wanted)]
        found += [c for c in inside if c not in found]
    return [lowered[candidate] for candidate in found[:count]]


def unknown_name(
    kind: str, name: str, known: Iterable[str], offered: Iterable[str] | None = None
) -> UnknownNameError:
    """Build the error for an unknown `name` of the given `kind` ("ingredient", ...).

    A suggestion is one of `offered`; of all known names by default.
    """
    listed = list(known)
    near = nearest_names(name, listed if offered is None else offered)
    if near:
        hint = f"did you mean {' or '.join(repr(n) for n in near)}?"
    elif kind == "ingredient" and len(listed) > 12:
        hint = f"castsugar ingredients lists the {len(listed)} known names"
    else:
        hint = f"known: {', '.join(listed) or 'none'}"
    return UnknownNameError(f"unknown {kind} {name!r}; {hint}")
