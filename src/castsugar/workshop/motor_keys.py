"""The keys of the motor table of a bench file."""

from __future__ import annotations

from castsugar.workshop.schema import Key, Keys

MOTOR: Keys = {
    "throat": Key(
        range="throat diameter", required=True, about="throat diameter, '8 mm'"
    ),
    "throat_spread": Key(
        range="uncertainty of the throat diameter",
        about="its standard uncertainty, '0.05 mm'",
    ),
    "exit": Key(
        range="exit diameter", about="nozzle exit diameter; left out: no divergence"
    ),
    "nozzle_efficiency": Key(range="nozzle efficiency", default=1.0),
    "thrust_coefficient": Key(kind="number", range="thrust coefficient"),
    "density_ratio": Key(
        range="density ratio", about="grain over density without voids"
    ),
    "density_ratio_spread": Key(range="uncertainty of the density ratio"),
    "area_spread": Key(
        range="uncertainty of the burning area", about="of the burning area, '2 %'"
    ),
    "c_star_spread": Key(range="uncertainty of c*", about="of the ideal c*, '1 %'"),
    "efficiency": Key(
        range="efficiency", about="delivered over ideal c*, for performance"
    ),
    "measured_efficiency": Key(range="efficiency", about="the same, from firings"),
    "grain_temperature": Key(range="grain temperature"),
    "grain_temperature_spread": Key(
        kind="number", range="uncertainty of the grain temperature", about="in kelvin"
    ),
    "temperature_sensitivity": Key(
        kind="number", range="temperature sensitivity", about="of the burn rate, 1/K"
    ),
    "ambient_pressure": Key(range="air pressure"),
    "installed_mass": Key(
        range="installed mass", about="of the rocket with the motor in it, '900 g'"
    ),
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
    "outer": Key(range="outer diameter", required=True, about="outer diameter"),
    "core": Key(range="core diameter", required=True, about="core diameter"),
    "length": Key(range="segment length", required=True, about="length of one segment"),
    "segments": Key(kind="number", range="segments", default=1.0),
    "burning_ends": Key(
        kind="number",
        range="burning ends",
        default=2.0,
        about="of a segment: 2, 1 or 0",
    ),
}

#: A grain of any shape.
AREAS: Keys = {
    "web_mm": Key(
        kind="numbers", range="web", required=True, about="rising from 0, in mm"
    ),
    "area_mm2": Key(
        kind="numbers", range="burning area", required=True, about="one a web, in mm2"
    ),
    "port": Key(range="core diameter", about="diameter of the smallest gas passage"),
}

CASE: Keys = {
    "rated_pressure": Key(range="rated pressure", about="that you allow in a firing"),
    "proof_pressure": Key(range="proof pressure", about="held cold, with water"),
    "inner_diameter": Key(range="bore of the case"),
    "wall": Key(range="wall of the case", about="thickness"),
    "material": Key(kind="text", default="case material"),
    "yield_strength": Key(range="strength", about="cold, '240 MPa'"),
    "ultimate_strength": Key(range="strength"),
    "safety_factor": Key(kind="number", range="safety factor", default=2.0),
    "derating": Key(range="derating", about="hot over cold strength"),
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
    "rate": Key(range="burn rate", required=True),
    "pressure": Key(
        range="pressure of a burn rate", required=True, about="where the rate holds"
    ),
    "exponent": Key(kind="number", range="exponent", required=True),
    "rate_spread": Key(
        range="uncertainty of the burn rate", required=True, about="of the rate, '5 %'"
    ),
    "exponent_spread": Key(
        kind="number", range="uncertainty of the exponent", required=True
    ),
    "source": Key(kind="text", default="stated in the bench file"),
}
BORROWED: Keys = {
    "borrowed": Key(kind="text", required=True, about="name of a published law"),
}
