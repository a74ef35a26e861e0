"""Make `equilibrium_checks` importable from the tests beside it (importlib mode)."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
