"""Make what `shared` holds importable, and Ctrl-C heard, in every test."""

from __future__ import annotations

import signal
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "shared"))

# A shell lets its background jobs ignore Ctrl-C, and their children too.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
