"""The keys of the motor table of a bench file."""

from __future__ import annotations

from castsugar.workshop.schema import Key, Keys

MOTOR: Keys = {
    "throat": Key(kind="length", required=True, about="throat diameter, '8 mm'"),
    "throat_spread": Key(kind="length", about="its standard uncertainty, '0.05 mm'"),
    "exit": Key(kind="length", about="nozzle exit diameter; left out: no divergence"),
    "nozzle_efficiency": Key(kind="fraction", default=1.0),
    "thrust_coefficient": Key(kind="number"),
    "density_ratio": Key(kind="fraction", about="grain over density without voids"),
    "density_ratio_spread": Key(kind="fraction"),
    "area_spread": Key(kind="fraction", about="of the burning area, '2 %'"),
    "c_star_spread": Key(kind="fraction", about="of the ideal c*, '1 %'"),
    "efficiency": Key(
        kind="fraction", about="delivered over ideal c*, for performance"
    ),
    "measured_efficiency": Key(kind="fraction", about="the same, from firings"),
    "grain_temperature": Key(kind="temperature"),
    "grain_temperature_spread": Key(kind="number", about="in kelvin"),
    "temperature_sensitivity": Key(kind="number", about="of the burn rate, 1/K"),
    "ambient_pressure": Key(kind="pressure"),
    "grain": Key(kind="table", required=True, about="[motor.grain] with its sizes"),
    "case": Key(kind="table"),
    "burn_law": Key(
        kind="table",
        required=True,
        about="[[motor.burn_law]] with recipe and strands, or with borrowed",
    ),
}

#: A hollow cylinder.
CYLINDER: Keys = {
    "outer": Key(kind="length", required=True, about="outer diameter"),
    "core": Key(kind="length", required=True, about="core diameter"),
    "length": Key(kind="length", required=True, about="length of one segment"),
    "segments": Key(kind="number", default=1.0),
    "burning_ends": Key(kind="number", default=2.0, about="of a segment: 2, 1 or 0"),
}

#: A grain of any shape.
AREAS: Keys = {
    "web_mm": Key(kind="numbers", required=True, about="rising from 0, in mm"),
    "area_mm2": Key(kind="numbers", required=True, about="one a web, in mm2"),
    "port": Key(kind="length", about="diameter of the smallest gas passage"),
}

CASE: Keys = {
    "rated_pressure": Key(kind="pressure", about="that you allow in a firing"),
    "proof_pressure": Key(kind="pressure", about="held cold, with water"),
    "inner_diameter": Key(kind="length"),
    "wall": Key(kind="length", about="thickness"),
    "material": Key(kind="text", default="case material"),
    "yield_strength": Key(kind="pressure", about="cold, '240 MPa'"),
    "ultimate_strength": Key(kind="pressure"),
    "safety_factor": Key(kind="number", default=2.0),
    "derating": Key(kind="fraction", about="hot over cold strength"),
    "plastic": Key(kind="flag", default=False),
}

#: Ways to say how a mix burns: strands, a law, or a borrowed one.
STRANDS: Keys = {
    "recipe": Key(kind="text", required=True, about="what was burned"),
    "strands": Key(kind="text", required=True, about="CSV file of strands"),
    "mix": Key(kind="text", default="", about="its name in the file"),
}
STATED: Keys = {
    "recipe": Key(kind="text", required=True, about="what was burned"),
    "rate": Key(kind="burn_rate", required=True),
    "pressure": Key(kind="pressure", required=True, about="where the rate holds"),
    "exponent": Key(kind="number", required=True),
    "rate_spread": Key(kind="fraction", required=True, about="of the rate, '5 %'"),
    "exponent_spread": Key(kind="number", required=True),
    "source": Key(kind="text", default="stated in the bench file"),
}
BORROWED: Keys = {
    "borrowed": Key(kind="text", required=True, about="name of a published law"),
}
