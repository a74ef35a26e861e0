"""The keys of the tables that a search reads: scale, limits, search itself."""

from __future__ import annotations

from castsugar.columns import COLUMNS
from castsugar.workshop.schema import Key, Keys

#: Columns that only a search has: a sum of others, and what the motor delivers.
WEIGHTED, DELIVERED = "weighted sum", "delivered_specific_impulse_s"

#: Keys of the columns that can be searched for: those with numbers that a mix decides.
SEARCHABLE = tuple(
    c.key
    for c in COLUMNS
    if c.decimals is not None and c.group not in ("row", "uncertainty")
)

#: Of these less is better in a trade-off unless the user says "most": what presses on
#: the case, heats it or clogs the nozzle, what is thick or crowded, what is spoilt, and
#: the temperature from which a mix pours. Of all others, more: also of temperatures
#: that are good to be high (pours up to, boils at, glass of the binder).
LESS_IS_BETTER = frozenset(
    [
        "flame_temperature_K",
        "throat_temperature_K",
        "exit_temperature_K",
        "condensed_mass_fraction",
        "undissolved_sugar_percent",
        "solids_over_packing",
        "pour_viscosity_Pa_s",
        "pour_viscosity_p10_Pa_s",
        "pour_viscosity_p90_Pa_s",
        "pour_window_low_C",
        "sugar_degraded_percent",
        "kn_max",
        "chamber_pressure_MPa",
        "chamber_pressure_p95_MPa",
    ]
)

#: The word that stands for what the case of [motor] may hold.
CASE = "case"

#: What is taken where none is stated, as on the command line.
PRESSURES = {"pressure": "1000 psi", "exit_pressure": "1 atm"}

#: The flows of the thermochemistry, the default first.
FLOWS = ("no-solidification", "equilibrium", "frozen")

#: How bounds are written.
BOUNDS = "'55 % to 70 %', or '1 %' for a fixed share"

SCALE: Keys = {
    "step": Key(
        range="step of the scale", required=True, about="its smallest step, '0.1 g'"
    ),
    "accuracy": Key(
        range="uncertainty of weighing", about="standard uncertainty of one weighing"
    ),
    "capacity": Key(
        range="capacity of the scale",
        about="its largest load, vessel included, '500 g'",
    ),
    "vessel": Key(range="vessel", about="what is weighed into, empty, '60 g'"),
}

#: Column -> a table of :data:`LIMIT`.
LIMITS: Keys = {key: Key(kind="table") for key in SEARCHABLE}

LIMIT: Keys = {
    "at_most": Key(kind="number or text"),
    "at_least": Key(kind="number or text"),
    "probability": Key(
        range="probability of a limit", about="share of the draws, '80 %'"
    ),
}

SEARCH: Keys = {
    "maximise": Key(kind="text", about="a column"),
    "minimise": Key(kind="text", about="a column"),
    "weights": Key(kind="table", about="column = weight, of a weighted sum"),
    "pressure": Key(range="chamber pressure", about="in the chamber, '1000 psi'"),
    "exit_pressure": Key(range="exit pressure", about="at the nozzle exit, '1 atm'"),
    "flow": Key(kind="choice", default=FLOWS[0], choices=FLOWS),
    "batch": Key(range="batch", about="mass of what is weighed, '200 g'"),
    "cook": Key(kind="text", about="'119 C 8 min', or points of time and temperature"),
    "minutes": Key(
        kind="number", range="minutes", about="minutes at the temperature of the cook"
    ),
    "water_lost": Key(range="water lost", about="share that leaves, without a kitchen"),
    "seed": Key(kind="whole"),
    "draws": Key(kind="whole", range="draws", about="of kitchen and motor"),
    "ratios": Key(kind="texts", default=(), about="['sucrose:corn syrup >= 0.5']"),
    "front": Key(kind="texts", about="two columns to trade off"),
    "robust": Key(kind="flag", default=False),
    "syrup_solids_spread": Key(
        range="spread of dry solids", about="of a sloppy batch, '2 %'"
    ),
    "moisture_spread": Key(range="spread of moisture", about="of powders, '0.2 %'"),
    "ingredients": Key(
        kind="table",
        required=True,
        about=f"[search.ingredients] with names and bounds: {BOUNDS}",
    ),
    "choices": Key(kind="table", about="slot = names of alternatives"),
    "stock": Key(kind="table", about="ingredient = mass at hand"),
}
