"""Where the data files lie: in the installed package, or beside the sources."""

from __future__ import annotations

from pathlib import Path

from castsugar.database.table import read_text
from castsugar.errors import DataError


def data_folder() -> Path:
    """Return the folder ``species_data``.

    A wheel carries it inside the package; an editable install and a checkout have it
    two levels above the package.

    Raises
    ------
    DataError
        If neither place holds it.
    """
    package = Path(__file__).resolve().parents[1]
    places = (package.parents[1] / "species_data", package / "species_data")
    for place in places:
        if (place / "sources.csv").is_file():
            return place
    raise DataError(
        "the folder species_data was not found in the package or beside it; "
        "reinstall castsugar"
    )


#: The sets of combustion products that are shipped, the default first.
PRODUCT_SETS = {"nasa-1993": "products.yaml", "nasa-2002": "products-2002.yaml"}


def products_file(name: str = "nasa-1993", folder: Path | None = None) -> Path:
    """Return the path of a set of combustion products."""
    return (folder or data_folder()) / PRODUCT_SETS[name]


def data_version(folder: Path | None = None) -> str:
    """Return the version of the data files."""
    return read_text((folder or data_folder()) / "version.txt").strip()
