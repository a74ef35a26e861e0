"""What a change of mix does, with intervals: copy this file and make it yours.

``python -m castsugar.examples.difference_figure [FILE]``
"""

from __future__ import annotations

import argparse
from typing import Any

import castsugar as cs

BASE = "KNO3:60 powdered sugar:20 corn syrup:20"
NEW = "KNO3:62 powdered sugar:14 corn syrup:24"
COLUMNS = (
    "flame_temperature_K",
    "characteristic_velocity_m_s",
    "specific_impulse_s",
    "density_impulse_kg_s_m3",
)
COLOURS = {"better": "#0072b2", "worse": "#d55e00", "": "#1c1c1c"}


def figure(path: str) -> None:
    """Compare the mixes, draw their differences and save the figure."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    mixes = [cs.Mix.weigh(text) for text in (BASE, NEW)]
    table = cs.compare(mixes, draws=500).to_frame()
    new = table[table["name"] == mixes[1].name].set_index("column")

    drawing, panels = plt.subplots(len(COLUMNS), figsize=(7.0, 5.5), layout="tight")
    for axes, column in zip(panels, COLUMNS, strict=True):
        row: Any = new.loc[column]
        low, high = row["difference_interval_low"], row["difference_interval_high"]
        told = row["verdict"] != "cannot tell"
        ink = COLOURS[row["merit"]] if told else "#808080"
        axes.plot([low, high], [0.0, 0.0], color=ink, linewidth=4.0)
        axes.plot(row["difference"], 0.0, "o", color=ink, mfc=ink if told else "white")
        axes.axvline(0.0, color="black", linewidth=1.0)
        most = 1.1 * max(abs(low), abs(high)) or 1.0
        axes.set(xlim=(-most, most), yticks=[], xlabel=f"change of {column}")
        axes.set_title(row["merit"] or row["verdict"], loc="right", fontsize=10)
    drawing.suptitle(f"{NEW}\nless {BASE}, 95 % of paired draws", fontsize=10)
    drawing.savefig(path, dpi=150)
    plt.close(drawing)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Draw differences of two mixes.")
    parser.add_argument("file", nargs="?", default="difference_figure.png")
    try:
        figure(parser.parse_args().file)
    except ModuleNotFoundError as error:
        parser.exit(2, f"{error.name} is missing; pip install 'castsugar[plot]'\n")
