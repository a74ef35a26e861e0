"""Stories: short scripts for people who write Python, to be read, run and changed.

Each is a script in percent format (``# %%`` starts a cell) that stands alone: it takes
its data from the package or computes them, prints, and leaves its picture in the folder
where it runs. They use public names only. ``castsugar examples`` lists and writes them.

What of castsugar can be extended, and the story that does it:

========================== ======================================= =====================
part                       how                                     story
========================== ======================================= =====================
ingredient, its doubt      ``cs.Ingredient(enthalpy_uncertainty)`` own_ingredient
product species            ``cs.species_file``, `species=`         own_products
burn law                   ``cs.motor.Burned(kind="stated")``      own_parts
limit                      ``cs.Requirement`` on a column          best_for_a_case
objective                  a column, or weights of columns         own_parts
limit on a map             any array of slacks                     ternary_map
executor                   whatever has `submit`                   many_mixes, own_parts
========================== ======================================= =====================

What cannot: the equations of kitchen and motor, the columns of the table and a function
of one's own as objective (evaluate, and choose in pandas), an element outside the
family, and an ingredient of one's own in a search, a comparison or on a weigh sheet.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterable
from importlib import resources
from importlib.util import find_spec
from pathlib import Path

from castsugar.errors import InputError, unknown_name
from castsugar.files.writing import write_together

__all__ = ["STORIES", "notebook", "script", "write"]

#: Story -> its one idea, in the order in which they are read.
STORIES: dict[str, str] = {
    "first_table": "a first table: which sugar, how much of it",
    "ternary_map": "a map of three ingredients with limits of your own",
    "water_in_the_pan": "what water that stays does, and how long it takes",
    "strands_to_law": "from strands to a burning-rate law",
    "three_batches": "three batches, and what they teach",
    "static_test": "a static test, from a raw logger's file",
    "which_is_better": "which mix is better, honestly",
    "best_for_a_case": "the best mix for a case",
    "own_ingredient": "an ingredient of your own; the second data set",
    "many_mixes": "100,000 mixes on a dask cluster",
    "hottest_flame": "for a class: why the hottest flame is not the best",
    "own_products": "a product species of your own",
    "own_parts": "burn law, limit, objective, executor of your own",
}


def script(name: str) -> str:
    """Return the script of a story.

    Parameters
    ----------
    name : str
        A key of :data:`STORIES`.

    Raises
    ------
    UnknownNameError

    Examples
    --------
    >>> script("first_table").splitlines()[:2]
    ['# %% [markdown]', '# # A first table']
    """
    if name not in STORIES:
        raise unknown_name("example", name, STORIES)
    folder = resources.files("castsugar.examples") / "stories"
    return (folder / f"{name}.py").read_text("utf-8")


def notebook(name: str) -> str:
    """Return a story as a notebook, not yet run; the same bytes each time.

    Raises
    ------
    InputError
        Without jupytext, which makes it.
    UnknownNameError
    """
    text = script(name)
    if find_spec("jupytext") is None:
        raise InputError(
            "a notebook needs jupytext, which is not installed; pip install "
            "'castsugar[docs]', or take the script"
        )
    jupytext = importlib.import_module("jupytext")
    made = jupytext.reads(text, fmt="py:percent")
    for number, cell in enumerate(made.cells):
        cell["id"] = f"{name}-{number}"
    made.metadata["kernelspec"] = {
        "display_name": "Python 3",
        "language": "python",
        "name": "python3",
    }
    return str(jupytext.writes(made, fmt="ipynb"))


def write(
    folder: Path, names: Iterable[str], *, notebooks: bool = False, force: bool = False
) -> tuple[Path, ...]:
    """Write stories into a folder, which is made if it is not there: all or none.

    Parameters
    ----------
    folder : pathlib.Path
    names : iterable of str
        Keys of :data:`STORIES`.
    notebooks : bool
        Whether as notebooks (.ipynb), not as scripts (.py).
    force : bool
        Whether files of these names may be replaced.

    Returns
    -------
    tuple of pathlib.Path

    Raises
    ------
    InputError
        If a file exists (without `force`) or cannot be written; without jupytext.
    UnknownNameError
    """
    told, ending = (notebook, "ipynb") if notebooks else (script, "py")
    texts = {f"{name}.{ending}": told(name) for name in names}
    write_together(folder, texts, force=force)
    return tuple(folder / name for name in texts)
