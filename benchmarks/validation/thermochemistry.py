"""60,000 random mixes of everything that may be weighed, in three flows.

Run ``python benchmarks/validation/thermochemistry.py``; it takes about a minute and
prints what stands in ``thermochemistry.md``. The mixes are those of
``tests/thermo/equilibrium_checks/scope.py``: nitrates, sugars, polyols, syrups, water,
iron oxide and the rest of the catalogue; 0.1 to 10 MPa, expanded to 0.1 MPa, 20 kPa and
1 kPa, a third each. The slow tests hold a tenth of them to the same limits.
"""

from __future__ import annotations

import collections
import datetime
import sys
import time
import warnings
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "tests" / "thermo"))

from equilibrium_checks import scope

#: Rows a flow, and the seed: fixed before the run.
COUNT, SEED = 20_000, 11


def main() -> None:
    """Print what became of every row."""
    print(f"{datetime.date.today()}, {COUNT} rows a flow, seed {SEED}\n")
    print(
        "| flow | ok | cold | lost | exits < 300 K | not flagged | warnings | CPU s |"
    )
    print("|---|---|---|---|---|---|---|---|")
    reasons: collections.Counter[str] = collections.Counter()
    for flow in scope.FLOWS:
        started = time.process_time()
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always")
            found = scope.outcome(COUNT, SEED, flow)
        spent = time.process_time() - started
        reasons.update(found.reasons)
        print(
            f"| {flow} | {found.ok} | {found.cold} | {len(found.reasons)} "
            f"| {found.below_the_fits} | {found.unflagged} | {len(said)} "
            f"| {spent:.0f} |"
        )
    print(f"\n{sum(reasons.values())} of {3 * COUNT} without convergence:\n")
    for reason, count in reasons.most_common():
        print(f"* {count}: {reason}")


if __name__ == "__main__":
    main()
