"""Work as a user to whom nothing belongs: permissions count for that one."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

#: The user nobody of most systems.
NOBODY = 65534


@contextlib.contextmanager
def public_folder() -> Iterator[Path]:
    """Make a folder that everybody can reach."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made).resolve()
        folder.chmod(0o755)
        yield folder


@contextlib.contextmanager
def as_nobody(folder: Path) -> Iterator[None]:
    """Act as another user than root; what is needed must be imported before."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        if not os.access(folder, os.X_OK, effective_ids=True):
            pytest.skip("temporary files are closed to others here")
        yield
    finally:
        os.seteuid(0)
