"""Run the command line as ``python -m castsugar``."""

from __future__ import annotations

import sys

from castsugar.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
