"""What was asked of a comparison, as far as its document repeats it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from castsugar.data.records import Caution, Source
from castsugar.motor.pressure_table import Firing


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was asked, and what a document needs beside the numbers.

    Attributes
    ----------
    command : str
        What gives the same document again.
    versions : mapping of str to str
        Of program, data and libraries.
    sources : mapping of str to Source
        All that the database knows.
    cautions : tuple of Caution
        Those that apply.
    assumptions : tuple of str
    reason : str
        Why the change is wanted, in the words of the user; may be empty.
    pressure : str
        Unit of pressure to show beside MPa.
    bench : str
        Name of the bench file; empty for none.
    notes : tuple of str
        What a reader has to know about what was asked.
    files : mapping of str to str
        Name of every file that was read to the first hexadecimal digits of its SHA-256.
    fired : tuple of Firing or None
        Every mix in the motor at the best estimates; empty without a motor.
    """

    command: str
    versions: Mapping[str, str]
    sources: Mapping[str, Source]
    cautions: tuple[Caution, ...] = ()
    assumptions: tuple[str, ...] = ()
    reason: str = ""
    pressure: str = "MPa"
    bench: str = ""
    notes: tuple[str, ...] = ()
    files: Mapping[str, str] = field(default_factory=dict)
    fired: tuple[Firing | None, ...] = ()
