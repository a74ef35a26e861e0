"""The tables of a bench file: what each key means, and what checks some of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from castsugar.bench.conditions import typed_values
from castsugar.bench.prices import read_price
from castsugar.bench.schema import Place, Table, key, needed, read_table
from castsugar.mix.mix import PROCESSES
from castsugar.units import SHOWN_AS

_RECIPE = "KNO3:60 powdered sugar:20 corn syrup:20"
_EVALUATES = "evaluate, sweep, map, compare, justify, search, weigh, batch"
_COOKS = f"kitchen, {_EVALUATES} and learn"
_FIRES = f"{_EVALUATES}, firing and learn"


class Units(Table, head="[units]", used="every command"):
    """the units that you think in; files for scripts keep SI"""

    show: str = key(
        "in which units results are shown: SI, or those of the United States",
        "us",
        default=SHOWN_AS[0],
        choices=SHOWN_AS,
    )


# ----------------------------------------------------------------------------
# Under what mixes burn.

#: The flows of the thermochemistry, the default first.
FLOWS = ("no-solidification", "equilibrium", "frozen")


class Conditions(Table, head="[conditions]", used=f"{_EVALUATES} and learn"):
    """under what mixes burn, the same in every command"""

    pressure: float = key("pressure in the chamber", "500 psi", "chamber pressure")
    exit: float = key("pressure at the nozzle exit", "1 atm", "exit pressure")
    nozzle_flow: str = key("how the products expand", FLOWS[0], choices=FLOWS)


def read_conditions(raw: Any, place: Place) -> dict[str, Any]:
    """Check the conditions; `typed` holds what is stated, quantities as typed."""
    found = read_table(raw, Conditions, place)
    kinds = {"pressure": "pressure", "exit": "pressure", "nozzle_flow": ""}
    return found | {"typed": typed_values(raw, kinds)}


# ----------------------------------------------------------------------------
# The kitchen, and what was measured in it.


def _process(about: str, default: str = "") -> Any:
    return key(about, "melted dry", default=default, choices=PROCESSES)


#: What says how thick the layer in a pan is, and what pans are made of.
_LAYER, _METALS = ("pan_diameter",), ("steel", "aluminium", "glass")


class Kitchen(Table, head="[kitchen]", used=_COOKS):
    """how you cook"""

    altitude: float = key(
        "height above the sea", "300 m", "altitude", instead_of="air_pressure"
    )
    air_pressure: float = key("pressure of the air", "980 mbar", "air pressure")
    syrup: str = key("which syrup", "corn syrup", default="corn syrup")
    cook: str = key("a temperature or a profile", "119 C")
    minutes: float = key("minutes at the temperature", 8, "minutes")
    process: str = _process("how your mixes are made, if not stated", PROCESSES[0])
    degradation_limit: float = key(
        "largest share of browned sugar", "2 %", "degraded sugar"
    )
    batch: float = key("mass of mix in the pan", "200 g", "batch", needs=_LAYER)
    pan_diameter: float = key(
        "bottom of the pan, inside", "22 cm", "pan diameter", needs=("batch",)
    )
    stirring_interval: float = key(
        "how often the bottom is stirred free",
        "60 s",
        "stirring interval",
        needs=_LAYER,
    )
    pan_mass: float = key("the empty pan", "600 g", "pan mass", needs=_LAYER)
    pan_material: str = key(
        "what the pan is made of", "steel", choices=_METALS, needs=("pan_mass",)
    )
    heater_watts: float = key(
        "heat that arrives in pan and mix, in W: a plate's label says more",
        400,
        "heater",
        needs=_LAYER,
    )
    heating_rate: float = key(
        "how fast the bulk warms, in kelvin a minute", 10, "heating rate", needs=_LAYER
    )
    room_temperature: float = key("room temperature", "22 C")
    room_humidity: float = key(
        "humidity of the air where grains are kept", "60 %", "humidity"
    )
    bag_area_m2: float = key(
        "bag that a grain is sealed in, both sides, in m2", 0.03, "bag area"
    )
    silica_gel: float = key("dry silica gel in the bag", "5 g", needs=("bag_area_m2",))
    packing: Any = key("maximum packing of the grains")
    nitrate_dissolved: Any = key("nitrate dissolved, share of what pure water takes")
    solubility_loss: Any = key("how much syrup hinders sucrose from dissolving")
    drying_time: Any = key("drying time at 119 C of a usual layer")
    liquid_factor: Any = key("viscosity over that of the model")
    thermometer: Any = key("true bulk temperature less the reading")
    law_exponent: Any = key("form of the law of crowding, n in (1 - r)^-n")
    tap: bool = key(
        "whether the mould is tapped or vibrated as it fills", True, default=False
    )
    measured: Any = key("what was measured, as [[kitchen.measured]]")


#: Parameters that the user may state; those of a syrup belong to its lot.
STATABLE = tuple(
    name
    for name, one in Kitchen.KEYS.items()
    if one.kind == "table" and name != "measured"
)


class Stated(Table, head="[kitchen.PARAMETER]", used=_COOKS):
    """a parameter of the kitchen that you state, such as [kitchen.packing]"""

    value: float = needed("the value, in SI", 0.62)
    spread: float = needed(
        "its standard uncertainty (of the logarithm for times and factors)", 0.02
    )
    origin: str = key(
        "where it comes from", "screened, tapped", default="stated in the bench file"
    )


class _Measured(Table, head="[[kitchen.measured]]", used=_COOKS):
    kind: str = needed("what was measured", "pan weight")
    date: str = key("when it was measured, for the record", "2026-05-02", default="")
    note: str = key("a remark for the record", "windy day", default="")


class _Pot(_Measured):
    recipe: str = needed("what was in the pan", _RECIPE)
    cook: str = needed(
        "bulk temperature, or a profile of time and temperature", "119 C"
    )
    minutes: float = key("how long the one temperature was held", 8, "minutes")


def _salt() -> Any:
    return key(
        "what was used: potassium nitrate, or potassium chloride",
        "potassium chloride",
        default="potassium nitrate",
        choices=("potassium nitrate", "potassium chloride"),
    )


class PanWeight(_Pot, head='[[kitchen.measured]] kind = "pan weight"'):
    """weigh the pan before and after: how fast it dries"""

    batch: float = needed("mass of the mix as weighed", "200 g", "batch")
    pan_diameter: float = key(
        "bottom of the pan, if not that of [kitchen]", "16 cm", "pan diameter"
    )
    stirring_interval: float = key(
        "how often its bottom was stirred free, if not as in [kitchen]",
        "30 s",
        "stirring interval",
    )
    lost: float = needed(
        "mass of pan and mix before, less pan and mix after", "1.4 g", "mass lost"
    )
    scale: float = key(
        "standard uncertainty of one weighing",
        "0.1 g",
        "uncertainty of weighing",
        default=1e-4,
    )


class BulkDensity(_Measured, head='[[kitchen.measured]] kind = "bulk density"'):
    """weigh a cup of tapped powder: how densely the grains pack"""

    mass: float = needed("mass of the tapped powder", "63 g", "mass of powder")
    volume: float = needed("volume of the cup", "50 ml", "volume of a cup")
    salt: str = _salt()


class Brine(_Measured, head='[[kitchen.measured]] kind = "brine"'):
    """let ground nitrate settle in its own saturated brine: how the grains pack"""

    mass: float = needed("mass of the dry ground salt", "60 g", "mass of powder")
    loose: float = needed("volume of the settled bed", "52 ml", "volume of a bed")
    tapped: float = needed("the same after tapping", "46 ml", "volume of a bed")
    temperature: float = needed(
        "temperature of brine and room", "20 C", "brine temperature"
    )
    runs: int = key(
        "how often it was done, means given", 1, "runs", default=1, kind="whole"
    )
    salt: str = _salt()


class ClearPoint(_Measured, head='[[kitchen.measured]] kind = "clear point"'):
    """stir nitrate into warm syrup until it stays: how much of it dissolves"""

    liquid: str = needed(
        "plain syrup (A), 10 syrup to 4 sugar (B), or syrup, sugar and water", "A"
    )
    mass: float = needed("mass of the liquid", "20 g", "mass of a liquid")
    added: float = needed("all of the nitrate added", "5.1 g", "nitrate added")
    portion: float = needed("mass of the last portion", "0.1 g", "last portion")
    temperature: float = needed(
        "temperature of the liquid", "85 C", "clear temperature"
    )
    lost: float = key(
        "water that left until the end", "0.1 g", "water lost of a glass", default=0.0
    )
    syrup: str = key("which syrup", "corn syrup", default="corn syrup")


class BallFall(_Measured, head='[[kitchen.measured]] kind = "ball fall"'):
    """time a ball in the cold syrup: its solids and grade"""

    ball: float = needed("diameter of the ball", "3 mm", "ball diameter")
    cup: float = needed("inner diameter of the cup", "40 mm", "cup diameter")
    fall: float = needed("distance of the fall", "50 mm", "height")
    time: float = needed("time of the fall", "9.5 s", "measured time")
    temperature: float = needed("temperature of the syrup", "25 C", "syrup temperature")
    syrup: str = key("which syrup", "corn syrup", default="corn syrup")
    ball_density: float = key(
        "density of the ball, steel or other",
        "7800 kg/m3",
        "ball density",
        default=7800.0,
    )


class BoilingWater(_Measured, head='[[kitchen.measured]] kind = "boiling water"'):
    """read thermometer or dial in boiling water: what they are off"""

    reading: float = needed("what it shows", "98.5 C", "reading in boiling water")


class FlowOut(_Pot, head='[[kitchen.measured]] kind = "flow-out"'):
    """time mix that runs out of a cup: its viscosity; inert salt first"""

    tube_diameter: float = needed(
        "inner diameter of the outlet tube", "8 mm", "tube diameter"
    )
    tube_length: float = needed("length of the outlet tube", "30 mm", "tube length")
    head: float = needed("mean height of the mix above the outlet", "60 mm", "height")
    volume: float = needed("volume that ran out", "50 ml", "volume of a cup")
    time: float = needed("time that it took", "72 s", "measured time")
    salt: str = _salt()
    layer: float = key(
        "thickest layer that stays on an upright spatula",
        "3 mm",
        "thickness of a layer",
    )
    bore: float = key(
        "width of the mould that it shall run into", "20 mm", "bore", needs=("layer",)
    )


#: Kind of measurement -> its table.
MEASUREMENTS: dict[str, type[Table]] = {
    "pan weight": PanWeight,
    "bulk density": BulkDensity,
    "brine": Brine,
    "clear point": ClearPoint,
    "ball fall": BallFall,
    "flow-out": FlowOut,
    "boiling water": BoilingWater,
}


# ----------------------------------------------------------------------------
# The motor.


class Motor(Table, head="[motor]", used=_FIRES):
    """your motor: nozzle, grain, case, and how your mixes burn"""

    throat: float = needed("throat diameter", "8 mm")
    throat_spread: float = key(
        "standard uncertainty of the throat diameter",
        "0.05 mm",
        "uncertainty of the throat diameter",
    )
    exit: float = key(
        "nozzle exit diameter; left out: no divergence", "18 mm", "exit diameter"
    )
    nozzle_efficiency: float = key(
        "thrust over that of an ideal nozzle", "95 %", "nozzle efficiency", default=1.0
    )
    thrust_coefficient: float = key(
        "measured, in the place of exit",
        1.4,
        "thrust coefficient",
        instead_of="nozzle_efficiency",
    )
    density_ratio: float = key(
        "a cast grain over the density without voids", "95 %", "density ratio"
    )
    density_ratio_spread: float = key("uncertainty of the density ratio", "1 %")
    area_spread: float = key("uncertainty of the burning area", "2 %")
    c_star_spread: float = key(
        "uncertainty of the ideal c*", "1 %", "uncertainty of c*"
    )
    efficiency: float = key(
        "delivered over ideal c*, for performance",
        "90 %",
        "efficiency",
        instead_of="measured_efficiency",
    )
    measured_efficiency: float = key(
        "delivered over ideal c*, where no firing tells it", "90 %", "efficiency"
    )
    grain_temperature: float = key("grain temperature", "20 C")
    grain_temperature_spread: float = key(
        "uncertainty of the grain temperature, in kelvin",
        5,
        "uncertainty of the grain temperature",
    )
    temperature_sensitivity: float = key(
        "of the burn rate: its relative change by 1 K, in 1/K",
        0.002,
        "temperature sensitivity",
    )
    ambient_pressure: float = key("air around the motor", "980 mbar", "air pressure")
    installed_mass: float = key(
        "the rocket with the motor in it", "900 g", "installed mass"
    )
    grain_mass: float = key(
        "all grains together, weighed: their sizes and density are held against it",
        "369 g",
        "propellant mass",
    )
    case_volume: float = key(
        "inside of the empty case, closures and nozzle in place: what gas is stored "
        "while a firing burns",
        "340 ml",
        "inside volume of the case",
    )
    throat_after: float = key(
        "usual throat diameter after a firing: how far it wears or clogs",
        "8.1 mm",
        "throat diameter",
    )
    cone_half_angle: float = key(
        "half angle of the cone behind the throat, in degrees", 12, "cone half angle"
    )
    igniter_mass: float = key("charge of the igniter", "1 g", "igniter mass")
    igniter_time: float = key("how long that charge burns", "30 ms", "igniter time")
    hottest_grain: float = key(
        "grain temperature on the hottest day that you fire on",
        "35 C",
        "grain temperature",
    )
    grain: Any = needed("[motor.grain] with its sizes")
    case: Any = key("[motor.case] with the pressure it may hold")
    burn_law: Any = key(
        "[[motor.burn_law]] with recipe and strands, or with borrowed; without one the "
        "burning rate is held as widely as for a mix that nobody burned"
    )
    firing: Any = key("what static tests taught, as [[motor.firing]]")


class Cylinder(Table, head="[motor.grain]", used=_FIRES):
    """a grain of hollow cylinders"""

    outer: float = needed("outer diameter", "36 mm")
    core: float = needed("core diameter", "14 mm")
    length: float = needed("length of one segment", "62 mm", "segment length")
    segments: float = key("how many segments", 4, "segments", default=1.0)
    burning_ends: float = key(
        "burning ends of a segment: 2, 1 or 0", 2, "burning ends", default=2.0
    )


class Areas(Table, head="[motor.grain]", used=_FIRES):
    """a grain of any shape: burning area over burnt web"""

    web_mm: Any = needed(
        "depths burnt, rising from 0, in mm", [0, 5, 10], "web", kind="numbers"
    )
    area_mm2: Any = needed(
        "burning area at each of web_mm, in mm2",
        [9000, 9500, 9000],
        "burning area",
        kind="numbers",
    )
    port: float = key("diameter of the smallest gas passage", "14 mm", "core diameter")


class Case(Table, head="[motor.case]", used=_FIRES):
    """what your case may hold; test it with water, cold, from a distance"""

    rated_pressure: float = key(
        "the pressure that you allow in a firing", "1000 psi", "rated pressure"
    )
    proof_pressure: float = key(
        "the pressure that it held cold, with water", "2500 psi", "proof pressure"
    )
    inner_diameter: float = key("bore of the case", "40 mm")
    wall: float = key("thickness of the wall", "3 mm", "wall of the case")
    material: str = key("what it is made of", "aluminium tube", default="case material")
    yield_strength: float = key("cold yield strength", "240 MPa", "strength")
    ultimate_strength: float = key("cold ultimate strength", "290 MPa", "strength")
    safety_factor: float = key(
        "strength over what is allowed", 2, "safety factor", default=2.0
    )
    derating: float = key("hot over cold strength", "80 %", "derating")
    plastic: bool = key("whether it is plastic, whatever its name", True, default=False)


def _degraded() -> Any:
    return key("degraded share of the sugar", "2 %", default=0.0)


class Strands(Table, head="[[motor.burn_law]]", used=_FIRES):
    """how a mix burns: your own strands"""

    recipe: str = needed("what was burned", _RECIPE)
    strands: str = needed("CSV file of strands", "strands.csv")
    mix: str = key("its name in that file", "60/20/20", default="")
    batch: str = key("the pot, if no column of the file says it", "pot 3", default="")
    process: str = _process("how it was made, if no column of the file says it")
    degraded: float = _degraded()
    date: str = key("when they burned, if no column says it", "2026-05-02", default="")


class StatedLaw(Table, head="[[motor.burn_law]]", used=_FIRES):
    """how a mix burns: a law that you state"""

    recipe: str = needed("what was burned", _RECIPE)
    rate: float = needed("burn rate", "5 mm/s")
    pressure: float = needed(
        "pressure at which the rate holds", "1 MPa", "pressure of a burn rate"
    )
    exponent: float = needed("exponent", 0.3)
    rate_spread: float = needed("uncertainty of the burn rate", "5 %")
    exponent_spread: float = needed("uncertainty of the exponent", 0.03)
    process: str = _process("how it was made")
    source: str = key(
        "where it comes from", "club notes", default="stated in the bench file"
    )


class Borrowed(Table, head="[[motor.burn_law]]", used=_FIRES):
    """how a mix burns: a published law, with a wide band"""

    borrowed: str = needed("name of a published law", "sucrose 65/35")


LAWS = (Strands, StatedLaw, Borrowed)


def _efficiency(about: str) -> Any:
    return key(about, "92 %", "efficiency of a firing")


def _efficiency_u(of: str) -> Any:
    about = f"standard uncertainty of {of} from the reading"
    return key(about, "2 %", "uncertainty of an efficiency", needs=(of,))


class Firing(Table, head="[[motor.firing]]", used=_FIRES):
    """what a static test taught: one measured rate, and what the motor delivered"""

    recipe: str = needed("what was fired", _RECIPE)
    pressure: float = needed(
        "pressure at which the rate holds", "3.4 MPa", "pressure of a burn rate"
    )
    rate: float = needed("burn rate in the motor", "9 mm/s", "burn rate")
    rate_u: float = key(
        "standard uncertainty of the rate from the reading",
        "1.5 %",
        "uncertainty of the burn rate",
        default=0.015,
    )
    rate_u_shared: float = key(
        "the part of it that all firings which state one share, as filmed ones do",
        "1 %",
        "uncertainty of the burn rate",
        default=0.0,
    )
    batch: str = key("the pot that the grains were cast from", "pot 3", default="")
    date: str = key("when it was fired", "2026-05-23", default="")
    c_star_efficiency: float = _efficiency("delivered over ideal c*")
    c_star_efficiency_u: float = _efficiency_u("c_star_efficiency")
    nozzle_efficiency: float = _efficiency("delivered over ideal thrust coefficient")
    nozzle_efficiency_u: float = _efficiency_u("nozzle_efficiency")
    process: str = _process("how the grains were made")
    degraded: float = _degraded()
    accepted: str = key(
        "why a firing that is doubted counts", "gauge checked", default=""
    )
    source: str = key("the recording", "shot.csv", default="")


def _scatter(about: str, assumed: float, known: str = "scatter of burn rates") -> Any:
    return key(about, "6 %", known, default=assumed)


class Scatter(Table, head="[scatter]", used=_FIRES):
    """by how much burn rates scatter; what is not stated is assumed"""

    batch: float = _scatter("from batch to batch of one mix", 0.06)
    strand: float = _scatter("from strand to strand", 0.025)
    session: float = _scatter("what strands burned at one pressure share", 0.01)
    bend: float = _scatter("of the law in pressure", 0.02)
    surface: float = _scatter("how far a mix leaves the straight trend", 0.06)
    firing: float = _scatter("from firing to firing", 0.025)
    process: float = _scatter("what another process does to a mix", 0.12)
    strands_to_motor: float = _scatter(
        "how much faster a motor burns than strands", 0.04, "strands to motor"
    )
    strands_to_motor_u: float = _scatter("standard uncertainty of that", 0.05)


# ----------------------------------------------------------------------------
# Lots, pan and castings.
#
# No catalogue is needed here; :mod:`castsugar.bench.lots` looks the ingredients up.


def _lot_u(of: str, *other: str) -> Any:
    about = f"standard uncertainty of {of}"
    return key(about, "0.5 %", "uncertainty of a lot", needs=(of, *other))


class Lot(Table, head='[lots."NAME"]', used=f"{_EVALUATES} and learn"):
    """what is in a bag or a bottle, under a name of your own"""

    ingredient: str = needed("a name of the catalogue", "KNO3")
    assay: float = key(
        "the named substance, such as potassium nitrate in the dry matter",
        "99.2 %",
        "assay",
    )
    moisture: float = key("water of the powder as it is weighed", "0.3 %", "moisture")
    inert: float = key("ash, salt in the dry matter", "0.1 %", "inert part")
    grind: str = key(
        "of nitrate: not stated, above 100 um, 20-50 um, milled, or a median size",
        "milled",
    )
    solids: float = key("dry solids of a syrup", "80 %", "dry solids")
    dextrose_equivalent: float = key(
        "grade of a glucose syrup", 42, "dextrose equivalent"
    )
    label_carbohydrate: float = key(
        "carbohydrate in one serving",
        "30 g",
        "carbohydrate on a label",
        instead_of="solids",
        needs=("label_serving",),
    )
    label_serving: str = key(
        "one serving, a mass or a volume", "100 g", needs=("label_carbohydrate",)
    )
    label_density: float = key(
        "density of the syrup, measured",
        "1.38 g/ml",
        "syrup density",
        needs=("label_carbohydrate",),
    )
    assay_u: float = _lot_u("assay")
    moisture_u: float = _lot_u("moisture")
    inert_u: float = _lot_u("inert")
    solids_u: float = _lot_u("solids", "label_carbohydrate")
    date: str = key("when the numbers were read", "2026-05-01")
    source: str = key("where they come from", "label", default="")
    in_use: bool = key("of several lots of one ingredient, the one that is open", True)
    price: str = key("what it costs", "3.20 EUR/kg")


#: Words in the name of a pan that make it a pressure vessel.
PRESSURE_VESSELS = ("pressure cooker", "autoclave")


class Pan(Table, head="[pan]", used="weigh and batch; every command for its cautions"):
    """your pan, and what stays behind"""

    name: str = key("what you call it", "enamel pan, 22 cm", default="")
    volume: float = key(
        "what it holds up to the rim; at most half is filled", "1.5 l", "pan volume"
    )
    residue_cup: float = key("syrup that stays in its cup", "1.5 g", "residue")
    residue_pan: float = key("hot mix that stays in pan and tools", "4 g", "residue")
    sealed: bool = key("a lid that holds steam: never for hot mix", False)


class Casting(Table, head="[casting]", used="weigh and batch"):
    """what is cast beside grains: strands to burn, columns that delay"""

    strand_length: float = key("strand length", "60 mm")
    strand_side: float = key(
        "side of a square strand", "10 mm", "strand width", instead_of="strand_diameter"
    )
    strand_diameter: float = key("diameter of a round strand", "10 mm", "strand width")
    delay_diameter: float = key("delay diameter", "12 mm")
    delay_length: float = key("length of the delay, as cast", "25 mm", "delay length")


def read_scatter(raw: Any, place: Place) -> dict[str, float]:
    """Check the scatter of burn rates; return what is stated, and no more."""
    found = read_table(raw, Scatter, place)
    return {name: found[name] for name in raw}


def read_lots(raw: Any, place: Place) -> dict[str, dict[str, Any]]:
    """Check the lots: names of the user's own, each with the keys of :class:`Lot`."""
    if not isinstance(raw, Mapping):
        raise place.fail("", "must be a table")
    found = {}
    for name, entry in raw.items():
        if not name.strip() or not name.isprintable():
            raise place.fail("", f"has the name {name!r}; use letters and digits")
        if not isinstance(entry, Mapping):
            raise place.fail(
                name, f'must be a table of its own, written [lots."{name}"]'
            )
        inner = place.inner(name)
        found[name] = lot = read_table(entry, Lot, inner)
        if lot["price"] is not None:
            lot["price"] = read_price(lot["price"], "price", inner)
    return found


def is_sealed(pan: Mapping[str, Any] | None) -> bool:
    """Say whether a pan closes: stated, or by its name a pressure vessel.

    Examples
    --------
    >>> is_sealed({"name": "old Pressure Cooker", "sealed": None})
    True
    """
    if pan is None:
        return False
    named = any(word in pan["name"].casefold() for word in PRESSURE_VESSELS)
    return named if pan["sealed"] is None else bool(pan["sealed"])
