"""What a ballistics calculation takes of a mix and a motor, with the doubt of each.

Every quantity is an :class:`Entry` in SI units, which its key names: value, standard
uncertainty or 95 % interval, status, source. What belongs together says so: the pairs
of exponent and molar mass, the covariance of a burn law, rows drawn together.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from importlib import metadata
from typing import TYPE_CHECKING, Any, Final

from castsugar import plain
from castsugar.arrays import FloatArray
from castsugar.ballistic_input import motor, states
from castsugar.ballistic_input.entry import Block, Entry
from castsugar.ballistic_input.states import Pair
from castsugar.checks import instance, named_options
from castsugar.columns import doubts_of
from castsugar.constants import DEFAULT_FLOW, DEFAULT_PRESSURE, STANDARD_ATMOSPHERE
from castsugar.data.load import data_version
from castsugar.errors import ConvergenceError, InputError
from castsugar.evaluation import check_options, equilibrium, evaluate_columns
from castsugar.frozen import dataclass
from castsugar.kitchen.parameters import Kitchen
from castsugar.kitchen.pour_table import as_cast, casting_of
from castsugar.mix.mix import Mix, MixLike, as_mix
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.hardware import Hardware
from castsugar.rows import records, shipped_species
from castsugar.thermo.flow import FLOWS
from castsugar.thermo.species import SpeciesTable

if TYPE_CHECKING:
    import pandas as pd

#: Pressures at which the states are given beside the evaluated one, so that they can
#: be interpolated in ln p. [Pa]
PRESSURES: Final = (1.0e6, 3.0e6, 7.0e6)

#: Rows that are drawn together.
ROWS: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ballistics:
    """What a ballistics calculation takes.

    Attributes
    ----------
    mix : Mix
        As cast.
    pressure : float
        At which it was evaluated. [Pa]
    identity : mapping of str to Entry
        What it is, how its products expand, on which data it rests.
    thermochemistry : tuple of mapping
        One a pressure, rising: chamber, throat and exit, without losses.
    pairs : tuple of Pair
        Which molar mass belongs to which exponent; no other pair may be used.
    delivered : mapping
        Efficiencies of c* and nozzle, and what they leave.
    burn_law : mapping
        Origin, doubt and scatter of the burn rate; one entry that says why without.
    bands : tuple of mapping
        ``r = a (p / 1 MPa)**n`` by pressure bands, rising.
    temperature : mapping
        Temperature sensitivity of burn rate and pressure.
    density : mapping
        Without voids, of the grain, and their ratio.
    gas_transport : mapping
        Viscosity, conductivity of the gas without smoke.
    hardware : mapping
        The motor; empty without.
    kn : tuple of (float, float)
        Web burnt [m], and burning over throat area.
    draws : mapping of str to ndarray, shape (200,)
        Values drawn together. [unit that the key ends in]
    law : BurnLaw or None
        The burn law itself, in Python.
    notes : tuple of str
        What limits the use of a number.
    invented : tuple of str
        Entries of the bench that nobody measured.
    """

    mix: Mix
    pressure: float
    identity: Block
    thermochemistry: tuple[Block, ...]
    pairs: tuple[Pair, ...]
    delivered: Block
    burn_law: Block
    bands: tuple[Block, ...]
    temperature: Block
    density: Block
    gas_transport: Block
    hardware: Block
    kn: tuple[tuple[float, float], ...]
    draws: Mapping[str, FloatArray]
    law: BurnLaw | None = None
    notes: tuple[str, ...] = ()
    invented: tuple[str, ...] = ()

    @property
    def evaluated(self) -> Block:
        """Return the states at the evaluated pressure."""
        return _at(self.thermochemistry, self.pressure)

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys."""

        def told(block: Block) -> dict[str, Any]:
            return {key: one.to_dict() for key, one in block.items()}

        return {
            "identity": told(self.identity),
            "thermochemistry": [told(block) for block in self.thermochemistry],
            "pairs": [one.to_dict() for one in self.pairs],
            "delivered": told(self.delivered),
            "burn_law": told(self.burn_law),
            "burn_law_bands": [told(block) for block in self.bands],
            "temperature_sensitivity": told(self.temperature),
            "density": told(self.density),
            "gas_transport": told(self.gas_transport),
            "hardware": told(self.hardware),
            "kn": [{"web_m": web, "kn": kn} for web, kn in self.kn],
            "draws": {key: x.tolist() for key, x in self.draws.items()},
            "notes": list(self.notes),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return one row a quantity: block, place in it, quantity, value and doubt."""
        return [
            {"block": name, "place": place, "quantity": key} | one.to_dict()
            for name, place, key, one in self._placed()
        ]

    def _placed(self) -> Iterator[tuple[str, str, str, Entry]]:
        for name, block, place in self.blocks():
            for key, one in block.items():
                yield name, place, key, one
        for web, kn in self.kn:
            yield "kn", f"web_m={web:.6g}", "kn", Entry(value=kn)
        for key, drawn in self.draws.items():
            for i, value in enumerate(drawn.tolist(), start=1):
                yield "draws", f"row={i}", key, Entry(value=value, status="drawn")

    def blocks(self) -> Iterator[tuple[str, Block, str]]:
        """Yield name and entries of every block; its place where there are several."""
        yield "identity", self.identity, ""
        for block in self.thermochemistry:
            pressure = block["pressure_Pa"].value
            yield "thermochemistry", block, f"pressure_Pa={pressure:.10g}"
        yield "delivered", self.delivered, ""
        yield "burn_law", self.burn_law, ""
        for i, block in enumerate(self.bands, start=1):
            yield "burn_law_bands", block, f"band={i}"
        yield "temperature_sensitivity", self.temperature, ""
        yield "density", self.density, ""
        yield "gas_transport", self.gas_transport, ""
        yield "hardware", self.hardware, ""

    def to_frame(self) -> pd.DataFrame:
        """Return :meth:`rows` as a table."""
        import pandas as pd

        return pd.DataFrame(self.rows())

    def to_json(self) -> str:
        """Return :meth:`to_dict` as JSON."""
        return plain.to_json(self.to_dict())

    def __str__(self) -> str:
        here = self.evaluated
        told = ", ".join(
            f"{key} {here[key].value:.4g}"
            for key in ("flame_temperature_K", "isentropic_exponent")
        )
        return f"{self.mix.name} at {self.pressure / 1e6:.4g} MPa: {told}; to_dict()"


@named_options
def ballistics(  # noqa: PLR0913 - keyword-only options
    mix: MixLike,
    hardware: Hardware | None = None,
    *,
    pressure: float = DEFAULT_PRESSURE,
    exit_pressure: float | None = STANDARD_ATMOSPHERE,
    flow: str = DEFAULT_FLOW,
    kitchen: Kitchen | None = None,
    species: SpeciesTable | None = None,
    bands: Mapping[str, tuple[float, float]] | None = None,
) -> Ballistics:
    """Return what a ballistics calculation takes of a mix, in SI units.

    Parameters
    ----------
    mix : Mix, recipe or recipe text
    hardware : Hardware, optional
        Grain, nozzle, case, burn laws; without it the block of the burn law says that
        there is none.
    pressure : float
        Chamber pressure, absolute. [Pa]
    exit_pressure : float or None
        [Pa]; None leaves throat and exit out.
    flow : str
        ``"no-solidification"``, ``"equilibrium"`` or ``"frozen"``: that of throat, exit
        and condensed shares; c* and thrust coefficient are given of all three.
    kitchen : Kitchen, optional
        How the mix is cooked: the water that leaves in it is not burnt.
    species : SpeciesTable, optional
        The shipped products by default.
    bands : mapping, optional
        95 % intervals of columns of the table at `pressure` that were drawn with more
        than the data, key to (low, high); they take the place of those of the data.
        [unit of the column]

    Returns
    -------
    Ballistics
        States at 1, 3 and 7 MPa and at `pressure`. Ideal values are without losses;
        delivered ones hold each efficiency once.

    Raises
    ------
    InputError
        A mix that does not burn by this model, options without meaning.
    RefusedError
        For an inert dummy.
    ConvergenceError
        If a state is not found.

    Notes
    -----
    Valid for nitrate-sugar mixes, 0.001 to 100 MPa. The exponent of all products goes
    with the effective molar mass; :attr:`Ballistics.pairs` names what goes with what.
    Source: Sutton & Biblarz, *Rocket Propulsion Elements*, ch. 3 and 5, from memory.

    Examples
    --------
    >>> found = ballistics("KNO3:65 sucrose:35", pressure=3e6, flow="equilibrium")
    >>> here = found.evaluated
    >>> round(here["characteristic_velocity_equilibrium_m_s"].value)
    918
    >>> round(here["isentropic_exponent"].value, 2), found.pairs[0].molar_mass
    (1.12, 'effective_molar_mass_kg_mol')
    """
    instance(hardware, Hardware, "hardware")
    instance(kitchen, Kitchen, "kitchen")
    instance(species, SpeciesTable, "species")
    check_options(pressure, exit_pressure, flow)
    products = species or shipped_species()
    weighed = as_mix(mix)
    cast = weighed if kitchen is None else as_cast(weighed, kitchen)
    expected = (math.nan, math.nan)
    if kitchen is not None and hardware is not None:
        expected = casting_of(weighed, kitchen)
    at = sorted({*(p for p in PRESSURES if p > (exit_pressure or 0.0)), pressure})
    known = evaluate_columns(
        [cast for _ in at],
        pressure=at,
        exit_pressure=exit_pressure,
        flow="equilibrium" if flow == "frozen" else flow,
        data_uncertainty=True,
        species=products,
    )
    rows = records(known)
    check_burns(rows[at.index(pressure)], cast)
    given: dict[str, Any] = {"exit_pressure": exit_pressure, "flow": flow}
    given["species"] = products
    blocks = [
        states.states_of(cast, row, pressure=p, **given)
        for p, row in zip(at, rows, strict=True)
        if row["status"] == "ok"
    ]
    if bands:
        here = _at(blocks, pressure)
        blocks = [states.drawn_bands(one, here, flow, bands) for one in blocks]
    filled = hardware.filled(expected) if hardware is not None else None
    columns = evaluate_columns([cast], pressure=pressure, motor=filled, **given)
    row = records(columns)[0] | doubts_of(bands or {})
    density = motor.density(cast, filled, flows=filled is not hardware)
    return _assembled(cast, filled, blocks, row, pressure, given | {"density": density})


def _assembled(
    mix: Mix,
    hardware: Hardware | None,
    blocks: list[Block],
    row: Mapping[str, Any],
    pressure: float,
    given: Mapping[str, Any],
) -> Ballistics:
    """Put the blocks together."""
    here = _at(blocks, pressure)
    driven, why = motor.driven_or_why(mix, hardware, pressure, row)
    temperature = motor.temperature(hardware, driven)
    density = given["density"]
    delivered, used = motor.delivered(
        hardware, row, pressure=pressure, exit_pressure=given["exit_pressure"]
    )
    pairs = states.pairs_of(here)
    transport = states.gas_transport_of(
        equilibrium(mix, pressure=pressure, species=given["species"])
    )
    return Ballistics(
        mix=mix,
        pressure=pressure,
        identity=_identity(mix, pressure, given),
        thermochemistry=tuple(blocks),
        pairs=pairs,
        delivered=delivered,
        burn_law=motor.burn_law(driven or why),
        bands=() if driven is None else tuple(motor.law_bands(driven.law)),
        temperature=temperature,
        density=density,
        gas_transport=transport,
        hardware={} if hardware is None else motor.hardware_block(hardware, driven),
        kn=() if hardware is None else motor.kn_table(hardware),
        draws=motor.joint_draws(ROWS, driven, density, temperature, used),
        law=None if driven is None else driven.law,
        notes=tuple(_notes(here, pairs, driven, transport)),
        invented=() if hardware is None else hardware.all_invented,
    )


def _at(blocks: Sequence[Block], pressure: float) -> Block:
    """Return the states at a pressure [Pa]."""
    return next(one for one in blocks if one["pressure_Pa"].value == pressure)


def _identity(mix: Mix, pressure: float, given: Mapping[str, Any]) -> Block:
    """Return what it is, and how it expands."""
    weighed = ", ".join(f"{name} {100.0 * x:.4g}" for name, x in mix.recipe)
    shares: dict[str, float] = {}
    for one in mix.cast:
        name = one.ingredient.name
        shares[name] = shares.get(name, 0.0) + one.mass_fraction
    cast = ", ".join(f"{name} {100.0 * x:.4g}" for name, x in shares.items())
    leaving = given["exit_pressure"]
    return {
        "name": Entry(value=mix.name, status="stated"),
        "as_weighed_mass_percent": Entry(value=weighed, status="stated"),
        "as_cast_mass_percent": Entry(value=cast),
        "water_as_cast_mass_fraction": Entry(value=mix.water_as_cast),
        "pressure_Pa": Entry(value=pressure, status="stated"),
        "exit_pressure_Pa": Entry(
            value=math.nan if leaving is None else leaving, status="stated"
        ),
        "nozzle_flow": Entry(
            value=given["flow"], status="stated", source=FLOWS[given["flow"]]
        ),
        "castsugar": Entry(value=metadata.version("castsugar")),
        "species_data": Entry(value=data_version()),
    }


#: The formula of one exponent is held good to this share of c*.
_FORMULA: Final = 1e-3


def _notes(
    here: Block,
    pairs: tuple[Pair, ...],
    driven: motor.Driven | None,
    transport: Block,
) -> Iterator[str]:
    """Yield what limits the use of a number."""
    yield "pressures are absolute; condensed shares are shares of the mass of the mix"
    ideal = here.get(states.key_of("equilibrium", states.VELOCITY))
    made = pairs[0].characteristic_velocity_m_s
    if ideal is not None and ideal.known:
        off = made / float(ideal.value) - 1.0
        if not abs(off) <= _FORMULA:
            yield (
                "the exponent of the chamber does not hold up to the throat: its "
                f"formula misses c* by {100.0 * off:+.2g} %; take c* as it stands"
            )
    if driven is not None:
        yield (
            "coefficient and exponent are of the next batch in a motor, the step from "
            "strands to motors in them; do not add it again"
        )
        yield (
            "a delivered c* is the ideal one times its efficiency, once; peaks and "
            "margins of castsugar take the ideal one until firings measured it"
        )
    if not transport["viscosity_Pa_s"].known:
        yield "gas transport is withheld: its data know too little of the gas"


def check_burns(row: Mapping[str, Any], mix: Mix) -> None:
    """Refuse a mix whose row of the table has no flow.

    Raises
    ------
    InputError
        It does not burn by this model.
    ConvergenceError
        A state was not found.
    """
    status = str(row["status"])
    if status == "cold":
        raise InputError(
            f"mix {mix.name!r} does not burn by this model: its products at 600 K hold "
            "more enthalpy than the mix; take one nearer to KNO3:65 sucrose:35"
        )
    if status.startswith("not computed: "):
        raise InputError(f"mix {mix.name!r}: {status.removeprefix('not computed: ')}")
    if status != "ok":
        raise ConvergenceError(f"mix {mix.name!r}: {status}")
