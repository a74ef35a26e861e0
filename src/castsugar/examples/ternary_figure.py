"""A map of c* over nitrate, sugar and syrup: copy this file and make it yours.

``python -m castsugar.examples.ternary_figure [FILE]``
"""

from __future__ import annotations

import argparse
from typing import Any

import castsugar as cs
from castsugar.numerics import triangle

ITEMS = ("potassium nitrate", "powdered sugar", "corn syrup")
COLUMN, LABEL = "characteristic_velocity_m_s", "ideal c* [m/s]"
STEP = 0.0125
PRESSURE = 6.894757e6  # 1000 psi, absolute [Pa]

#: Least of each item that is drawn [mass fraction]; the most follows.
LOW = (0.55, 0.1, 0.1)


def figure(path: str) -> None:
    """Evaluate the mixes, draw them and save the figure."""
    import matplotlib as mpl
    import mpltern  # noqa: F401 - adds the projection "ternary"

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    shares = triangle(STEP)
    shares = shares[(shares >= [low - 1e-9 for low in LOW]).all(axis=1)]
    table = cs.evaluate(cs.blend(ITEMS, shares), pressure=PRESSURE)
    kept = (table["status"] == "ok").to_numpy()  # others have no value to draw
    percents, values = 100.0 * shares[kept].T, table[COLUMN].to_numpy()[kept]

    drawing = plt.figure(figsize=(7.0, 5.6), layout="constrained")
    axes: Any = drawing.add_subplot(projection="ternary", ternary_sum=100.0)
    colours = axes.tricontourf(*percents, values, levels=12, cmap="viridis")
    lines = axes.tricontour(
        *percents, values, levels=12, colors="white", linewidths=0.6
    )
    axes.clabel(lines, lines.levels[1::2], fmt="%.0f")
    axes.set_ternary_min(*(100.0 * share for share in LOW))
    for side, name in zip("tlr", ITEMS, strict=True):
        getattr(axes, f"set_{side}label")(f"{name} [%]")
    drawing.colorbar(colours, label=LABEL, shrink=0.7)
    drawing.suptitle("Ideal, no losses; no claim of safety", fontsize=10)
    drawing.savefig(path, dpi=150, bbox_inches="tight")
    plt.close(drawing)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Map c* over three ingredients.")
    parser.add_argument("file", nargs="?", default="ternary_figure.png")
    try:
        figure(parser.parse_args().file)
    except ModuleNotFoundError as error:
        parser.exit(2, f"{error.name} is missing; pip install 'castsugar[plot]'\n")
