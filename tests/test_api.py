"""The names, parameters and columns that other people type, and quick imports."""

from __future__ import annotations

import importlib
import inspect
import json
import pkgutil
import subprocess
import sys

import pytest

import castsugar as cs

HEAVY = {"numpy", "pandas", "scipy", "cantera", "matplotlib"}


@pytest.mark.frozen
def test_public_names() -> None:
    """The public names are those that were promised, and each can be had."""
    # Frozen, 2026-11: a new name is added here on purpose, none ever leaves quietly.
    assert cs.__all__ == [
        "COLUMNS",
        "Ballistics",
        "Blends",
        "CastsugarError",
        "Change",
        "Claim",
        "Comparison",
        "Conditions",
        "ConvergenceError",
        "Cook",
        "DataError",
        "Database",
        "Doubts",
        "FlowSolution",
        "Hardware",
        "InCantera",
        "Ingredient",
        "InputError",
        "Kitchen",
        "Limit",
        "Lot",
        "Mix",
        "Proof",
        "Recipe",
        "RefusedError",
        "Requirement",
        "Sensitivities",
        "SpeciesTable",
        "State",
        "UnknownNameError",
        "ValidityError",
        "WorkerError",
        "__version__",
        "ballistics",
        "bench",
        "blend",
        "cite",
        "compare",
        "equilibrium",
        "evaluate",
        "firing",
        "justify",
        "kitchen",
        "kitchen_table",
        "load_database",
        "motor",
        "optimize",
        "parse_recipe",
        "performance",
        "plot",
        "prove",
        "records",
        "search",
        "sensitivities",
        "species_file",
        "species_set",
        "strands",
        "to_cantera",
        "weigh",
    ]
    assert all(hasattr(cs, name) for name in cs.__all__)
    assert set(cs.__all__) == set(dir(cs))


# Frozen, 2026-11: what each command does, in Python.
SPACES = {
    "bench": ("BenchCheck World check read write_example"),
    "firing": (
        "Delay Frames Measured Recorded Recording Reduction Stand StaticTest Thrusting "
        "delay_law delay_length delay_time mean_of_two read_trace reduce_recording "
        "review review_frames"
    ),
    "kitchen": (
        "Belief Cook Drying Kitchen Learnt Measurement PourHeat ball_fall "
        "boiling_water brine bulk_density "
        "calibrate clear_point drying_time flow_out kitchen_intervals kitchen_table "
        "pan_weight parse_cook pour_heat unmeasured"
    ),
    "motor": (
        "Allowable AreaTable Asked Band BurnLaw BurnModel Burned Case Firing Hardware "
        "HollowCylinder Material Spread allowable_pressure borrowed_law "
        "borrowed_laws burn_rate firings"
    ),
    "optimize": "Effort Outcome Prices Row Sloppiness",
    "plot": (
        "checks cook delay differences firing front growth responses species "
        "strands sweep ternary trace viscosity"
    ),
    "records": (
        "Batch Damaged Event FrozenBench Learning Link Made Summary add_events foresee "
        "freeze learn_all list_batches material_of new_batch read_batch read_batches "
        "record_path save"
    ),
    "strands": (
        "MixResult Strand StrandResults analyse analyse_mix read_strand_files "
        "read_strands"
    ),
    "weigh": (
        "Addition Castings Charge Conditions Correction Equipment Judged Line Piece "
        "Sheet Sizes Tolerance Weighing balance castings corrected equipment_of "
        "fewest_pans in_pans judge notes pieces_of plan read_charge sheet_again "
        "sizes_of tolerances weighed_with weighing"
    ),
}


@pytest.mark.frozen
@pytest.mark.parametrize("space", SPACES)
def test_names_of_a_space(space: str) -> None:
    """Each has what its command needs, and each name can be had."""
    module = getattr(cs, space)
    assert list(module.__all__) == SPACES[space].split()
    assert all(hasattr(module, name) for name in module.__all__)


@pytest.mark.frozen
def test_unknown_public_name() -> None:
    """A name that is not public is an AttributeError, as Python expects."""
    with pytest.raises(AttributeError, match="no attribute 'evaluat'"):
        _ = cs.evaluat


# Frozen, 2026-11: names, order and defaults of the parameters; "*" starts those that
# must be named. 6894757 Pa is 1000 psi to seven digits, 101325 Pa one atmosphere.
SIGNATURES = {
    "ballistics": (
        "(mix, hardware=None, *, pressure=6894757.0, exit_pressure=101325.0, "
        "flow='no-solidification', kitchen=None, species=None, bands=None)"
    ),
    "compare": (
        "(mixes, *, baseline=0, conditions=None, doubts=None, scale_step=0.0001, "
        "draws=2048, seed=1)"
    ),
    "justify": (
        "(base, new, *, conditions=None, doubts=None, limits=(), claims=(), "
        "scale_step=0.0001, draws=2048, seed=1, confirm=True)"
    ),
    "Mix.weigh": (
        "(recipe, *, name='', basis='parts', water_lost=0.0, lots=None, "
        "alternatives=None, process='', database=None)"
    ),
    "evaluate": (
        "(mixes, *, pressure=6894757.0, exit_pressure=101325.0, "
        "flow='no-solidification', confirm=False, data_uncertainty=False, "
        "kitchen=None, motor=None, windows=True, executor=None, species=None)"
    ),
    "performance": (
        "(mix, *, pressure=6894757.0, exit_pressure=101325.0, "
        "flow='no-solidification', species=None)"
    ),
    "equilibrium": "(mix, *, pressure=6894757.0, temperature=None, species=None)",
    "prove": (
        "(mix, *, pressure=6894757.0, exit_pressure=None, flow='no-solidification', "
        "within=1e-06, temperature=None, kitchen=None, species=None)"
    ),
    "load_database": "(folder=None)",
    "parse_recipe": "(text, *, where='')",
    "Lot": (
        "(*, moisture=0.0, inert=0.0, assay=None, dry_solids=None, "
        "dextrose_equivalent=None, dry_solids_uncertainty=None, "
        "moisture_uncertainty=None, assay_uncertainty=None, invented=())"
    ),
}


@pytest.mark.frozen
@pytest.mark.parametrize("name", SIGNATURES)
def test_signature(name: str) -> None:
    """Parameters keep name, order and default."""
    thing = cs
    for part in name.split("."):
        thing = getattr(thing, part)
    found = inspect.signature(thing)
    plain = [
        p.replace(annotation=inspect.Parameter.empty) for p in found.parameters.values()
    ]
    text = str(inspect.Signature(plain))
    assert text == SIGNATURES[name]


@pytest.mark.frozen
def test_ingredient_parameters() -> None:
    """An own ingredient takes the parameters of the contract by name."""
    found = inspect.signature(cs.Ingredient).parameters
    wanted = {"name", "formula", "enthalpy_of_formation", "density", "role"}
    assert wanted <= set(found)
    assert all(p.kind is inspect.Parameter.KEYWORD_ONLY for p in found.values())


# Frozen, 2026-11: the thermo, kitchen and motor columns of the contract, in
# its order, the glass transition of the binder, and how dense the casting is.
COLUMN_KEYS = [
    "name",
    "status",
    "oxidizer_fuel_ratio",
    "oxygen_balance_percent",
    "water_as_weighed_percent",
    "water_as_cast_percent",
    "density_kg_m3",
    "flame_temperature_K",
    "gas_molar_mass_g_mol",
    "effective_molar_mass_g_mol",
    "products_molar_mass_g_mol",
    "gas_moles_mol_kg",
    "condensed_mass_fraction",
    "isentropic_exponent",
    "characteristic_velocity_m_s",
    "throat_temperature_K",
    "throat_pressure_ratio",
    "exit_temperature_K",
    "specific_impulse_s",
    "thrust_coefficient",
    "density_impulse_kg_s_m3",
    "liquid_boils_C",
    "undissolved_sugar_percent",
    "relative_solids_pour",
    "pour_viscosity_Pa_s",
    "pour_viscosity_p10_Pa_s",
    "pour_viscosity_p90_Pa_s",
    "flow_class",
    "pours_probability",
    "pour_window_low_C",
    "pour_window_high_C",
    "relative_solids_20C",
    "binder_glass_transition_C",
    "density_ratio",
    "density_ratio_u",
    "sugar_degraded_percent",
    "storage_humidity_max_percent",
    "kn_max",
    "peak_pressure_MPa",
    "peak_pressure_p95_MPa",
    "peak_pressure_p95_this_batch_MPa",
    "pressure_margin_percent",
    "burn_law_origin",
    "flame_temperature_u_K",
    "characteristic_velocity_u_m_s",
    "specific_impulse_u_s",
    "confirmation",
    "difference_temperature_K",
    "difference_characteristic_velocity_ppm",
    "difference_specific_impulse_ppm",
    "flags",
]


@pytest.mark.frozen
def test_columns() -> None:
    """Keys and order of the table, and of an evaluated table without rows."""
    assert [c.key for c in cs.COLUMNS] == COLUMN_KEYS
    asked = [k for k in COLUMN_KEYS if "_u_" not in k]  # the others when asked for
    assert list(cs.evaluate([]).columns) == asked


@pytest.mark.exact
def test_column_keys_carry_the_unit() -> None:
    """The unit on the screen is the ending of the key; no unit, no ending."""
    # Exact: the unit written with letters, "/" left out, "%" as percent.
    endings = {
        "%": "_percent",
        "kg/m3": "_kg_m3",
        "K": "_K",
        "C": "_C",
        "MPa": "_MPa",
        "Pa s": "_Pa_s",
        "g/mol": "_g_mol",
        "mol/kg": "_mol_kg",
        "m/s": "_m_s",
        "s": "_s",
        "kg s/m3": "_kg_s_m3",
        "ppm": "_ppm",
    }
    for column in cs.COLUMNS:
        if column.unit:
            rest = column.key.removesuffix(endings[column.unit])
            assert rest != column.key
            assert not rest.endswith(tuple(endings.values()))
        else:
            assert not column.key.endswith(tuple(endings.values()))
        assert column.meaning
        # Text columns have no decimals, numbers say how many they deserve.
        words = {"name", "status", "confirmation", "flags"}
        text = column.key in words | {"flow_class", "burn_law_origin"}
        assert (column.decimals is None) == text


@pytest.mark.exact
def test_errors_derive_from_one_tree() -> None:
    """One except clause catches all; the builtin that fits catches each."""
    # Exact: the tree of the contract.
    builtin = {
        "DataError": ValueError,
        "UnknownNameError": LookupError,
        "InputError": ValueError,
        "RefusedError": ValueError,
        "ValidityError": ValueError,
        "ConvergenceError": RuntimeError,
    }
    for name, base in builtin.items():
        error = getattr(cs, name)
        assert issubclass(error, cs.CastsugarError)
        assert issubclass(error, base)
        assert not issubclass(error, KeyError)  # its text would come in quotes


@pytest.mark.exact
def test_functions_survive_their_modules() -> None:
    """With every submodule imported, none of them hides a public function."""
    for module in pkgutil.walk_packages(cs.__path__, "castsugar."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    for name in (
        "evaluate",
        "ballistics",
        "equilibrium",
        "search",
        "compare",
        "justify",
    ):
        assert callable(getattr(cs, name)), name
    modules = {m.name for m in pkgutil.iter_modules(cs.__path__)}
    assert not modules & {n for n in cs.__all__ if callable(getattr(cs, n))}


def fresh(code: str) -> tuple[set[str], int]:
    """Run code in a new process; return the top-level modules loaded and the exit."""
    program = f"""
import json, sys
code = 0
try:
    {code}
except SystemExit as stop:
    code = stop.code
loaded = sorted({{name.split(".")[0] for name in sys.modules}})
sys.stderr.write("\\n" + json.dumps([loaded, code]))
"""
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    loaded, status = json.loads(done.stderr.rsplit("\n", 1)[1])
    return set(loaded), status


def run_line(*words: str) -> str:
    """Return code that runs the command line."""
    return f"from castsugar.cli.main import main; sys.exit(main({list(words)!r}))"


# Exact: what must stay quick (--help in less than 0.3 s) loads none of the
# big libraries. What is loaded is a steadier measure than a clock.
LIGHT = [
    ("import castsugar", 0),
    ("import castsugar; castsugar.Mix.weigh({'KNO3': 65, 'corn syrup': 35})", 0),
    *(
        pytest.param(run_line(*words), status, marks=pytest.mark.slow)
        for words, status in (
            (("--help",), 0),
            (("evaluate", "--help"), 0),
            (("--version",), 0),
            (("ingredients", "sorbitol"), 0),
            (("evaluate",), 2),
            (("evaluate", "KNO3:65 sucrse:35"), 2),
            (("evaluate", "KNO3:65 sucrose:35", "--pressure", "1000"), 2),
        )
    ),
]


@pytest.mark.exact
@pytest.mark.parametrize(("code", "status"), LIGHT)
def test_light(code: str, status: int) -> None:
    """Import, help and usage errors load no big library."""
    loaded, got = fresh(code)
    assert got == status
    assert "castsugar" in loaded
    assert not loaded & HEAVY


@pytest.mark.exact
def test_light_sees_a_heavy_import() -> None:
    """The measurement itself finds numpy when it is loaded."""
    loaded, _ = fresh("import numpy")
    assert "numpy" in loaded


@pytest.mark.slow
@pytest.mark.exact
def test_a_plain_question_loads_no_wing_that_it_does_not_need() -> None:
    """Without a cook and a motor, neither kitchen nor motor, nor pandas."""
    words = ["evaluate", "KNO3:65 sucrose:35"]
    heavy = ["pandas", "scipy.stats", "matplotlib", "jinja2"]
    program = f"""
import sys
from castsugar.cli.main import main
main({words!r})
print(*[name for name in sys.modules if name.startswith("castsugar")], file=sys.stderr)
assert not set({heavy!r}) & set(sys.modules)
"""
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    loaded = done.stderr.split()
    rooms = {name.split(".")[1] for name in loaded if "." in name}
    assert {"thermo", "evaluation", "report"} <= rooms
    assert not rooms & {"kitchen", "motor", "optimize", "comparison", "bench"}
    assert len(loaded) <= 90
