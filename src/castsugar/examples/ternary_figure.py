"""A map of c* over nitrate, sugar and syrup: copy this file and make it yours.

``python -m castsugar.examples.ternary_figure [FILE]``
"""

from __future__ import annotations

import argparse

import castsugar as cs
from castsugar.numerics import triangle

ITEMS = ("potassium nitrate", "powdered sugar", "corn syrup")
COLUMN, LABEL = "characteristic_velocity_m_s", "c*, ideal, m/s"
STEP = 0.0125
PRESSURE = 6.894757e6  # 1000 psi, absolute [Pa]

#: Least of each item that is drawn [mass fraction]; the most follows.
LOW = (0.55, 0.1, 0.1)


def figure(path: str) -> None:
    """Evaluate the mixes, draw them and save the figure."""
    shares = triangle(STEP)
    shares = shares[(shares >= [low - 1e-9 for low in LOW]).all(axis=1)]
    table = cs.evaluate(cs.blend(ITEMS, shares), pressure=PRESSURE)
    most = [1.0 - sum(LOW) + low for low in LOW]
    axes = cs.plot.ternary(
        shares,
        table[COLUMN].to_numpy(),
        corners=ITEMS,
        label=LABEL,
        zoom=tuple(zip(LOW, most, strict=True)),
        limits={"1500 K": 1500.0 - table["flame_temperature_K"].to_numpy()},
        marks={"60/20/20": (0.6, 0.2, 0.2)},
    )
    axes.figure.suptitle("Ideal, no losses; no claim of safety", fontsize=10)
    axes.figure.legend(loc="outside lower center", ncols=3)
    axes.figure.savefig(path, dpi=150)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Map c* over three ingredients.")
    parser.add_argument("file", nargs="?", default="ternary_figure.png")
    try:
        figure(parser.parse_args().file)
    except ModuleNotFoundError as error:
        missing = str(error.name).partition(".")[0]
        parser.exit(2, f"{missing} is missing; pip install 'castsugar[plot]'\n")
