"""The tables of a bench file: what each key means, and what checks some of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from castsugar.bench.schema import Place, Table, key, keys_of, needed, plain, read_table

_RECIPE = "KNO3:60 powdered sugar:20 corn syrup:20"
_EVALUATES = "evaluate, sweep, map, compare, justify, search, weigh, batch"
_COOKS = f"kitchen, {_EVALUATES} and learn"
_FIRES = f"{_EVALUATES}, firing and learn"

# ----------------------------------------------------------------------------
# The kitchen, and what was measured in it.


@dataclass(frozen=True, kw_only=True)
class Kitchen(Table, head="[kitchen]", used=_COOKS):
    """how you cook"""

    altitude: float = key("altitude", "300 m", "height above the sea")
    air_pressure: float = key("air pressure", "980 mbar", "pressure of the air")
    syrup: str = plain("which syrup", "corn syrup", default="corn syrup")
    cook: str = plain("a temperature or a profile", "119 C")
    minutes: float = key("minutes", 8, "minutes at the temperature")
    degradation_limit: float = key(
        "degraded sugar", "2 %", "largest share of browned sugar"
    )
    packing: Any = plain("maximum packing of the grains")
    nitrate_dissolved: Any = plain("nitrate dissolved, share of what pure water takes")
    solubility_loss: Any = plain("how much syrup hinders sucrose from dissolving")
    drying_time: Any = plain("drying time of the pan at 119 C")
    liquid_factor: Any = plain("viscosity over that of the model")
    thermometer: Any = plain("true bulk temperature less the reading")
    measured: Any = plain("what was measured, as [[kitchen.measured]]")


#: Parameters that the user may state; those of a syrup belong to its lot.
STATABLE = tuple(
    name
    for name, one in keys_of(Kitchen).items()
    if one.kind == "table" and name != "measured"
)


@dataclass(frozen=True, kw_only=True)
class Stated(Table, head="[kitchen.PARAMETER]", used=_COOKS):
    """a parameter of the kitchen that you state, such as [kitchen.packing]"""

    value: float = plain("the value, in SI", 0.62, required=True)
    spread: float = plain(
        "its standard uncertainty (of the logarithm for times and factors)",
        0.02,
        required=True,
    )
    origin: str = plain(
        "where it comes from", "screened, tapped", default="stated in the bench file"
    )


@dataclass(frozen=True, kw_only=True)
class _Measured(Table, head="[[kitchen.measured]]", used=_COOKS):
    kind: str = plain("what was measured", "pan weight", required=True)
    date: str = plain("when it was measured, for the record", "2026-05-02", default="")
    note: str = plain("a remark for the record", "windy day", default="")


@dataclass(frozen=True, kw_only=True)
class _Pot(_Measured):
    recipe: str = plain("what was in the pan", _RECIPE, required=True)
    cook: str = plain(
        "bulk temperature, or a profile of time and temperature", "119 C", required=True
    )
    minutes: float = key("minutes", 8, "how long the one temperature was held")


def _salt() -> Any:
    return plain(
        "what was used: potassium nitrate, or potassium chloride",
        "potassium chloride",
        default="potassium nitrate",
        choices=("potassium nitrate", "potassium chloride"),
    )


@dataclass(frozen=True, kw_only=True)
class PanWeight(_Pot):
    """a measurement of the kind "pan weight": how fast the pan dries"""

    batch: float = needed("batch", "200 g", "mass of the mix as weighed")
    lost: float = needed(
        "mass lost", "1.4 g", "mass of pan and mix before, less pan and mix after"
    )
    scale: float = key(
        "uncertainty of weighing",
        "0.1 g",
        "standard uncertainty of one weighing",
        default=1e-4,
    )


@dataclass(frozen=True, kw_only=True)
class BulkDensity(_Measured):
    """a measurement of the kind "bulk density": how densely the grains pack"""

    mass: float = needed("mass of powder", "63 g", "mass of the tapped powder")
    volume: float = needed("volume of a cup", "50 ml", "volume of the cup")
    salt: str = _salt()


@dataclass(frozen=True, kw_only=True)
class BallFall(_Measured):
    """a measurement of the kind "ball fall": solids and grade of the syrup"""

    ball: float = needed("ball diameter", "3 mm", "diameter of the ball")
    cup: float = needed("cup diameter", "40 mm", "inner diameter of the cup")
    fall: float = needed("height", "50 mm", "distance of the fall")
    time: float = needed("measured time", "9.5 s", "time of the fall")
    temperature: float = needed("syrup temperature", "25 C", "of the syrup")
    syrup: str = plain("which syrup", "corn syrup", default="corn syrup")
    ball_density: float = key(
        "ball density",
        "7800 kg/m3",
        "density of the ball, steel or other",
        default=7800.0,
    )


@dataclass(frozen=True, kw_only=True)
class FlowOut(_Pot):
    """a measurement of the kind "flow-out": the viscosity of a mix"""

    tube_diameter: float = needed(
        "tube diameter", "8 mm", "inner diameter of the outlet tube"
    )
    tube_length: float = needed("tube length", "30 mm", "length of the outlet tube")
    head: float = needed("height", "60 mm", "mean height of the mix above the outlet")
    volume: float = needed("volume of a cup", "50 ml", "volume that ran out")
    time: float = needed("measured time", "72 s", "time that it took")
    salt: str = _salt()


#: Kind of measurement -> its table.
MEASUREMENTS: dict[str, type[Table]] = {
    "pan weight": PanWeight,
    "bulk density": BulkDensity,
    "ball fall": BallFall,
    "flow-out": FlowOut,
}


# ----------------------------------------------------------------------------
# The motor.


@dataclass(frozen=True, kw_only=True)
class Motor(Table, head="[motor]", used=_FIRES):
    """your motor: nozzle, grain, case, and how your mixes burn"""

    throat: float = needed("throat diameter", "8 mm")
    throat_spread: float = key(
        "uncertainty of the throat diameter",
        "0.05 mm",
        "standard uncertainty of the throat diameter",
    )
    exit: float = key(
        "exit diameter", "18 mm", "nozzle exit diameter; left out: no divergence"
    )
    nozzle_efficiency: float = key(
        "nozzle efficiency", "95 %", "thrust over that of an ideal nozzle", default=1.0
    )
    thrust_coefficient: float = key(
        "thrust coefficient", 1.4, "measured, in the place of exit"
    )
    density_ratio: float = key(
        "density ratio", "95 %", "a cast grain over the density without voids"
    )
    density_ratio_spread: float = key("uncertainty of the density ratio", "1 %")
    area_spread: float = key("uncertainty of the burning area", "2 %")
    c_star_spread: float = key(
        "uncertainty of c*", "1 %", "uncertainty of the ideal c*"
    )
    efficiency: float = key(
        "efficiency", "90 %", "delivered over ideal c*, for performance"
    )
    measured_efficiency: float = key(
        "efficiency", "90 %", "delivered over ideal c*, from firings"
    )
    grain_temperature: float = key("grain temperature", "20 C")
    grain_temperature_spread: float = key(
        "uncertainty of the grain temperature",
        5,
        "uncertainty of the grain temperature, in kelvin",
    )
    temperature_sensitivity: float = key(
        "temperature sensitivity", 0.002, "of the burn rate, in 1/K"
    )
    ambient_pressure: float = key("air pressure", "980 mbar", "air around the motor")
    installed_mass: float = key(
        "installed mass", "900 g", "the rocket with the motor in it"
    )
    grain: Any = plain("[motor.grain] with its sizes", required=True)
    case: Any = plain("[motor.case] with the pressure it may hold")
    burn_law: Any = plain(
        "[[motor.burn_law]] with recipe and strands, or with borrowed", required=True
    )


@dataclass(frozen=True, kw_only=True)
class Cylinder(Table, head="[motor.grain]", used=_FIRES):
    """a grain of hollow cylinders"""

    outer: float = needed("outer diameter", "36 mm")
    core: float = needed("core diameter", "14 mm")
    length: float = needed("segment length", "62 mm", "length of one segment")
    segments: float = key("segments", 4, "how many segments", default=1.0)
    burning_ends: float = key(
        "burning ends", 2, "burning ends of a segment: 2, 1 or 0", default=2.0
    )


@dataclass(frozen=True, kw_only=True)
class Areas(Table, head="[motor.grain]", used=_FIRES):
    """a grain of any shape: burning area over burnt web"""

    web_mm: Any = key(
        "web", [0, 5, 10], "rising from 0, in mm", kind="numbers", required=True
    )
    area_mm2: Any = key(
        "burning area",
        [9000, 9500, 9000],
        "one a web, in mm2",
        kind="numbers",
        required=True,
    )
    port: float = key("core diameter", "14 mm", "diameter of the smallest gas passage")


@dataclass(frozen=True, kw_only=True)
class Case(Table, head="[motor.case]", used=_FIRES):
    """what your case may hold; test it with water, cold, from a distance"""

    rated_pressure: float = key(
        "rated pressure", "1000 psi", "that you allow in a firing"
    )
    proof_pressure: float = key("proof pressure", "2500 psi", "held cold, with water")
    inner_diameter: float = key("bore of the case", "40 mm")
    wall: float = key("wall of the case", "3 mm", "thickness of the wall")
    material: str = plain(
        "what it is made of", "aluminium tube", default="case material"
    )
    yield_strength: float = key("strength", "240 MPa", "cold yield strength")
    ultimate_strength: float = key("strength", "290 MPa", "cold ultimate strength")
    safety_factor: float = key(
        "safety factor", 2, "strength over what is allowed", default=2.0
    )
    derating: float = key("derating", "80 %", "hot over cold strength")
    plastic: bool = plain(
        "whether it is plastic, whatever its name", True, default=False
    )


@dataclass(frozen=True, kw_only=True)
class Strands(Table, head="[[motor.burn_law]]", used=_FIRES):
    """how a mix burns: your own strands"""

    recipe: str = plain("what was burned", _RECIPE, required=True)
    strands: str = plain("CSV file of strands", "strands.csv", required=True)
    mix: str = plain("its name in that file", "60/20/20", default="")


@dataclass(frozen=True, kw_only=True)
class StatedLaw(Table, head="[[motor.burn_law]]", used=_FIRES):
    """how a mix burns: a law that you state"""

    recipe: str = plain("what was burned", _RECIPE, required=True)
    rate: float = needed("burn rate", "5 mm/s")
    pressure: float = needed("pressure of a burn rate", "1 MPa", "where the rate holds")
    exponent: float = needed("exponent", 0.3)
    rate_spread: float = needed("uncertainty of the burn rate", "5 %")
    exponent_spread: float = needed("uncertainty of the exponent", 0.03)
    source: str = plain(
        "where it comes from", "club notes", default="stated in the bench file"
    )


@dataclass(frozen=True, kw_only=True)
class Borrowed(Table, head="[[motor.burn_law]]", used=_FIRES):
    """how a mix burns: a published law, with a wide band"""

    borrowed: str = plain("name of a published law", "sucrose 65/35", required=True)


# ----------------------------------------------------------------------------
# Lots, pan and castings.
#
# No catalogue is needed here; :mod:`castsugar.bench.lots` looks the ingredients up.


def _lot_u(of: str) -> Any:
    return key("uncertainty of a lot", "0.5 %", f"standard uncertainty of {of}")


@dataclass(frozen=True, kw_only=True)
class Lot(Table, head='[lots."NAME"]', used=f"{_EVALUATES} and learn"):
    """what is in a bag or a bottle, under a name of your own"""

    ingredient: str = plain("a name of the catalogue", "KNO3", required=True)
    assay: float = key(
        "assay",
        "99.2 %",
        "the named substance, such as potassium nitrate in the dry "
        "matter: water left out",
    )
    moisture: float = key("moisture", "0.3 %", "of the powder as it is weighed")
    inert: float = key("inert part", "0.1 %", "ash, salt in the dry matter")
    solids: float = key("dry solids", "80 %", "dry solids of a syrup")
    dextrose_equivalent: float = key("dextrose equivalent", 42, "of a glucose syrup")
    label_carbohydrate: float = key(
        "carbohydrate on a label", "30 g", "carbohydrate in one serving"
    )
    label_serving: str = plain("one serving, a mass or a volume", "100 g")
    label_density: float = key("syrup density", "1.38 g/ml", "measured")
    assay_u: float = _lot_u("assay")
    moisture_u: float = _lot_u("moisture")
    inert_u: float = _lot_u("inert")
    solids_u: float = _lot_u("solids")
    date: str = plain("when the numbers were read", "2026-05-01")
    source: str = plain("where they come from", "label", default="")
    in_use: bool = plain(
        "of several lots of one ingredient, the one that is open", True
    )


#: Words in the name of a pan that make it a pressure vessel.
PRESSURE_VESSELS = ("pressure cooker", "autoclave")


@dataclass(frozen=True, kw_only=True)
class Pan(Table, head="[pan]", used="weigh and batch; every command for its cautions"):
    """your pan, and what stays behind"""

    name: str = plain("what you call it", "enamel pan, 22 cm", default="")
    volume: float = key("pan volume", "1.5 l", "up to the rim; at most half is filled")
    residue_cup: float = key("residue", "1.5 g", "syrup that stays in its cup")
    residue_pan: float = key("residue", "4 g", "hot mix that stays in pan and tools")
    sealed: bool = plain("a lid that holds steam: never for hot mix", False)


@dataclass(frozen=True, kw_only=True)
class Casting(Table, head="[casting]", used="weigh and batch"):
    """what is cast beside grains: strands to burn, columns that delay"""

    strand_length: float = key("strand length", "60 mm")
    strand_side: float = key("strand width", "10 mm", "side of a square strand")
    strand_diameter: float = key("strand width", "10 mm", "of a round strand")
    delay_diameter: float = key("delay diameter", "12 mm")
    delay_length: float = key("delay length", "25 mm", "length of the delay, as cast")


def read_lots(raw: Any, path: Path, text: str) -> dict[str, dict[str, Any]]:
    """Check the lots: names of the user's own, each with the keys of :class:`Lot`."""
    place = Place(path, text, "lots")
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
        inner = Place(path, text, f"lots.{name}")
        lot = read_table(entry, Lot, inner)
        _check_label(lot, inner)
        for part in ("assay", "moisture", "inert", "solids"):
            if lot[f"{part}_u"] is not None and lot[part] is None:
                stated = lot["label_carbohydrate"] is not None and part == "solids"
                if not stated:
                    raise inner.fail(f"{part}_u", f"needs {part}; give that too")
        found[name] = lot
    return found


def _check_label(lot: Mapping[str, Any], place: Place) -> None:
    """Check that a label is whole, and that dry solids come from one place only."""
    if lot["label_carbohydrate"] is None:
        for name in ("label_serving", "label_density"):
            if lot[name] is not None:
                raise place.fail(name, "needs label_carbohydrate; give that too")
        return
    if lot["solids"] is not None:
        raise place.fail(
            "label_carbohydrate", "and solids are both given; give the one you trust"
        )
    if lot["label_serving"] is None:
        raise place.fail(
            "label_serving", "is missing; give the serving, '100 g' or '30 ml'"
        )


def read_pan(raw: Any, path: Path, text: str) -> dict[str, Any]:
    """Check the pan."""
    return read_table(raw, Pan, Place(path, text, "pan"))


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


def read_casting(raw: Any, path: Path, text: str) -> dict[str, Any]:
    """Check the sizes of strands and delay columns."""
    place = Place(path, text, "casting")
    found = read_table(raw, Casting, place)
    if found["strand_side"] is not None and found["strand_diameter"] is not None:
        raise place.fail("strand_side", "and strand_diameter are both given; give one")
    return found
