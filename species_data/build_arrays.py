"""Make the array files beside products.yaml and products-2002.yaml.

Run as ``python species_data/build_arrays.py`` with castsugar and Cantera installed,
after either file has changed; a test compares them with what Cantera reads. Without
an array file of its own bytes a product file is read by Cantera: slower, the same.
"""

from __future__ import annotations

from pathlib import Path

from castsugar.thermo.species import read_species
from castsugar.thermo.species_arrays import array_file, arrays_of

if __name__ == "__main__":
    for name in ("products.yaml", "products-2002.yaml"):
        path = Path(__file__).parent / name
        array_file(path).write_bytes(arrays_of(path, read_species(path)))
