"""Make `kitchen_checks` and `published_checks` importable from the tests beside.

Pytest runs in importlib mode and leaves ``sys.path`` alone; the benchmarks use the
same lines to import the packages.
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent

for folder in (HERE, HERE.parent / "published"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))
