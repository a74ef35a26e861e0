"""The example scenario: an invented club's bench, written into a folder of the user's.

Every file says in its first line that it is invented; the readings were made by a
seeded script of the tests, which compares them.
"""

from __future__ import annotations

import os
from importlib import resources
from pathlib import Path

from castsugar.errors import InputError
from castsugar.files.writing import write_together

#: File of the scenario -> what it is.
FILES: dict[str, str] = {
    "bench.toml": "the bench file: every table, with comments",
    "strands.csv": "strands of three mixes",
    "strands-new.csv": "strands of the mix that the search finds",
    "shot.csv": "the recording of a static test of that mix",
    "delay.csv": "strands of a delay mix",
}


def example_files() -> dict[str, str]:
    """Return the files of the scenario: name to content.

    Examples
    --------
    >>> all("INVENTED" in text.splitlines()[0] for text in example_files().values())
    True
    """
    folder = resources.files("castsugar.bench.example")
    return {name: (folder / name).read_text("utf-8") for name in FILES}


def write_example(folder: Path, *, force: bool = False) -> tuple[Path, ...]:
    """Write the scenario into a folder, which is made if it is not there.

    None is ever half-written, and a full disk changes nothing: see
    :func:`castsugar.files.writing.write_together`.

    Parameters
    ----------
    folder : pathlib.Path
    force : bool
        Whether files of these names may be replaced.

    Returns
    -------
    tuple of pathlib.Path

    Raises
    ------
    InputError
        If any of the files exists (without `force`), or cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     written = write_example(Path(folder))
    >>> sorted(path.name for path in written)
    ['bench.toml', 'delay.csv', 'shot.csv', 'strands-new.csv', 'strands.csv']
    """
    texts = example_files()
    if not force:
        _refuse(folder, [n for n in texts if os.path.lexists(folder / n)])
    write_together(folder, texts, force=force)
    return tuple(folder / name for name in texts)


def _refuse(folder: Path, there: list[str]) -> None:
    """Refuse to write over files, all of them named at once."""
    if there:
        them, verb = ("it", "exists") if len(there) == 1 else ("them", "exist")
        raise InputError(
            f"{', '.join(there)} {verb} already in {folder}; choose another folder or "
            f"add --force to replace {them}"
        )
