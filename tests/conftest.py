"""In every test: `shared`, `support` importable, Ctrl-C heard, a worker one thread."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

from hypothesis import settings

# One thread a worker: threads of linear algebra that wait for a busy core multiply the
# time of small matrices. Read when numpy is loaded, here and in what the tests start.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

sys.path[:0] = [str(Path(__file__).parent / "shared"), str(Path(__file__).parent)]

# A shell lets its background jobs ignore Ctrl-C, and their children too.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# How often a property is tried: the gate asks for more, and always for the same, so
# that it judges the change and not its luck; new examples are found by the quick lane.
# No limit on the time of one example: the machine may be a busy one.
settings.register_profile("quick", max_examples=25, deadline=None)
settings.register_profile("gate", max_examples=150, deadline=None, derandomize=True)
settings.load_profile(os.environ.get("CASTSUGAR_EXAMPLES", "quick"))
