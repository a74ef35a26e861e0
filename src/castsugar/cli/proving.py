"""``--prove``: flame temperatures proved, and their certificates written."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.output import write_file
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.asked import Question
    from castsugar.mix.mix import Mix
    from castsugar.proof import Proof

#: The program that checks certificates, as it is called beside them.
CHECKER = "check_certificate.py"


def add_proof_options(group: Any) -> None:
    """Add what asks for proofs."""
    group.add_argument(
        "--prove",
        action="store_true",
        help="prove flame and exit temperature within 1e-6 K, and Isp, by bounds that "
        "trust no solver (arithmetic, not data); needs castsugar[proof]",
    )
    group.add_argument(
        "--certificates",
        metavar="FOLDER",
        help="with --prove: write a certificate a mix, and the program that checks "
        "them without castsugar",
    )


def check_proof_options(options: argparse.Namespace, count: int) -> None:
    """Refuse proofs that could not be made or written, before any work.

    Raises
    ------
    InputError
    """
    if options.certificates is not None and not options.prove:
        raise InputError("--certificates writes what --prove proves; add --prove")
    if not options.prove:
        return
    from castsugar.files.writing import refuse_unwritable
    from castsugar.proof import need_flint

    need_flint()
    if options.certificates is not None:
        program, *files = _files(options, count)
        names = {"--certificates: program": program}
        for place, name in enumerate(files, start=1):
            names[f"--certificates: flame {place}"] = name
            names[f"--certificates: exit {place}"] = _of_exit(name)
        refuse_unwritable(names, force=options.force)


def proofs_of(
    options: argparse.Namespace,
    question: Question,
    mixes: Sequence[Mix],
    rows: Sequence[Mapping[str, Any]],
) -> list[Proof | None]:
    """Prove the flame temperatures of the rows; None where there is none."""
    if not options.prove:
        return []
    from castsugar.proof import prove

    given = {
        **question.conditions.options(),
        "kitchen": question.kitchen,
        "species": question.species,
    }
    return [
        prove(mix, temperature=row["flame_temperature_K"], **given)
        if row["status"] == "ok"
        else None
        for mix, row in zip(mixes, rows, strict=True)
    ]


def write_certificates(
    options: argparse.Namespace, proofs: Sequence[Proof | None]
) -> None:
    """Write the certificates that were asked for, and what checks them."""
    if options.certificates is None:
        return
    import json

    from castsugar.files.reading import read_bytes
    from castsugar.thermo.proof import check

    program, *files = _files(options, len(proofs))
    write_file(options, program, read_bytes(Path(check.__file__)))
    for name, one in zip(files, proofs, strict=True):
        for own, certificate in _certificates(name, one):
            write_file(options, own, json.dumps(certificate) + "\n")


def _certificates(
    name: str, proof: Proof | None
) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield the files of one mix: of its flame, of its expansion."""
    if proof is not None and proof.proved:
        yield name, proof.certificate
        if proof.expansion is not None and proof.expansion.proved:
            yield _of_exit(name), proof.expansion.certificate


def _of_exit(name: str) -> str:
    """Return the file of an expansion beside that of its flame."""
    return str(Path(name).with_name(Path(name).name.replace("flame", "exit")))


def _files(options: argparse.Namespace, count: int) -> list[str]:
    """Return the files: the program, then one a mix."""
    folder = Path(options.certificates)
    names = [CHECKER, *(f"flame-{n}.json" for n in range(1, count + 1))]
    return [str(folder / name) for name in names]
