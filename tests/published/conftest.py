"""Make `published_checks` importable from the tests beside it.

Pytest runs in importlib mode and leaves ``sys.path`` alone; the benchmarks use the
same line to import the package.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
