"""What commands share: output options, and where the result goes."""

from __future__ import annotations

import argparse
import contextlib
import shlex
from collections.abc import Collection, Iterator, Mapping, Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from castsugar.cli.screen import remark, say, visible
from castsugar.errors import InputError

if TYPE_CHECKING:
    from castsugar.plot.sheet import Drawing

#: What a command may offer besides -o and --force: kinds of text, of which one is
#: printed, and the rest.
KINDS = {
    "full": "print everything, not the first screen alone",
    "json": "print JSON, units in keys",
    "csv": "print CSV",
    "markdown": "print Markdown",
}
PAGE = "write the document as one HTML page, too"
UNITS = ("si", "us")

#: Endings of pictures.
KINDS_OF_PICTURES = (".svg", ".png", ".pdf")

#: What every command offers that does not leave it out.
OFFERED = (*KINDS, "page", "cite", "units")

#: What those leave out that use no number of the species data, or print its source.
UNCITED = ("cite",)


def add_output_options(
    parser: argparse.ArgumentParser,
    *,
    without: Collection[str] = (),
    page: str = PAGE,
    pictures: Mapping[str, str] | None = None,
    table: str = "",
) -> None:
    """Add what a result is printed as and where it goes, in a group of their own.

    `without` are those of :data:`OFFERED` that the command does not have; they are read
    as if they were not typed. `page` says what the page is, `table` what --csv FILE
    writes beside what is printed. `pictures` maps each picture to what it shows;
    the first is drawn where none is named, and `options.picture` maps those asked for
    to files.
    """
    offered = [one for one in OFFERED if one not in without]
    parser.set_defaults(**dict.fromkeys(KINDS, False), page=None, units=None)
    parser.set_defaults(picture={})
    group = parser.add_argument_group("output")
    kinds = [name for name in KINDS if name in offered]
    kind = group.add_mutually_exclusive_group() if len(kinds) > 1 else group
    for name in kinds:
        kind.add_argument(f"--{name}", action="store_true", help=KINDS[name])
    if table:
        words = (
            f"print CSV, or write {table} to FILE beside the rest; as Parquet if its "
            "name ends in .parquet"
        )
        group.add_argument(
            "--csv", nargs="?", const=True, default=False, metavar="FILE", help=words
        )
    if "page" in offered:
        group.add_argument("--page", metavar="FILE", help=page)
    if pictures:
        _add_picture_option(group, pictures)
    if "cite" in offered:
        words = "add versions, conditions and references of the data that were used"
        group.add_argument("--cite", action="store_true", help=words)
    if "units" in offered:
        group.add_argument(
            "--units",
            choices=UNITS,
            help="how it is shown, si or us (default: show of [units], else si)",
        )
    words = "write to FILE instead of the screen"
    group.add_argument("-o", "--output", metavar="FILE", help=words)
    words = "let files that exist be replaced"
    group.add_argument("--force", action="store_true", help=words)


def _add_picture_option(group: Any, pictures: Mapping[str, str]) -> None:
    main, *others = pictures
    words = f"draw {pictures[main]}; FILE ends in .svg, .png or .pdf"
    if others:
        more = "; ".join(f"{name}=FILE {pictures[name]}" for name in others)
        words += f"; {more}; may be repeated"
    group.add_argument(
        "--picture",
        action=_Picture,
        metavar="FILE",
        default={},
        names=tuple(pictures),
        help=words,
    )


class _Picture(argparse.Action):
    """Read FILE or NAME=FILE; each picture once."""

    def __init__(self, *, names: tuple[str, ...], **options: Any) -> None:
        super().__init__(**options)
        self.names = names

    def __call__(
        self, parser: Any, namespace: Any, values: Any, option_string: Any = None
    ) -> None:
        """Keep the file under the name of the picture."""
        name, equals, file = values.partition("=")
        if not equals or name not in self.names:
            name, file = self.names[0], values
        known = dict(getattr(namespace, self.dest))
        if name in known:
            raise InputError(f"--picture: {name} is to be drawn twice; ask for it once")
        setattr(namespace, self.dest, known | {name: file})


#: Options that name a file to write, by what argparse calls them.
WRITTEN = {"output": "-o", "csv": "--csv", "page": "--page", "trials": "--trials"}


def check_outputs(options: argparse.Namespace) -> None:
    """Refuse results that could not be written, before any work is done for them.

    Raises
    ------
    InputError
    """
    say("")
    given = {WRITTEN[k]: v for k, v in vars(options).items() if k in WRITTEN}
    names = {option: v for option, v in given.items() if isinstance(v, str)}
    drawn = getattr(options, "picture", {})
    for name, file in drawn.items():
        names["--picture" if len(drawn) == 1 else f"--picture {name}"] = file
    if names:
        from castsugar.files.writing import refuse_unwritable

        refuse_unwritable(names, force=options.force)
    if is_parquet(getattr(options, "csv", False)) and not find_spec("pyarrow"):
        raise InputError(
            f"--csv {options.csv}: Parquet needs pyarrow, which is not installed; pip "
            "install 'castsugar[cluster]', or write a .csv"
        )
    for file in drawn.values():
        if not file.lower().endswith(KINDS_OF_PICTURES):
            kinds = ", ".join(KINDS_OF_PICTURES)
            raise InputError(f"--picture {file}: let the name end in one of {kinds}")


def is_parquet(name: Any) -> bool:
    """Return whether a table is asked for as Parquet, by the name of its file."""
    return isinstance(name, str) and name.lower().endswith(".parquet")


def put(options: argparse.Namespace, text: str) -> None:
    """Print a text as it is, or write it to the file asked for."""
    if options.output is None:
        show(options, text)
    else:
        write_file(options, options.output, visible(text))


def show(options: argparse.Namespace, text: str) -> None:
    """Print a result; errors as for :func:`say`."""
    say(text)
    _note(options, "what is printed above")


def drawn(name: str, picture: Drawing) -> bytes:
    """Return a picture in the form that the ending of its file asks for."""
    from castsugar.plot.export import written

    return written(picture, Path(name).suffix)


def write_picture(options: argparse.Namespace, name: str, picture: Drawing) -> None:
    """Draw a picture and write it."""
    write_file(options, name, drawn(name, picture))


def write_file(options: argparse.Namespace, name: str, text: str | bytes) -> None:
    """Write a file that an option names, and say so."""
    from castsugar.files.writing import write_text

    write_text(Path(name), text, force=options.force)
    _wrote(options, name)


@contextlib.contextmanager
def write_in_parts(options: argparse.Namespace, name: str) -> Iterator[BinaryIO]:
    """Open a file that an option names, to be there when all is written; say so."""
    from castsugar.files.writing import written_in_parts

    with written_in_parts(Path(name), force=options.force) as stream:
        yield stream
    _wrote(options, name)


def _wrote(options: argparse.Namespace, name: str) -> None:
    _note(options, name)
    remark(f"wrote {name}")


def _note(options: argparse.Namespace, what: str) -> None:
    """Remember what is done, for an interruption to tell."""
    vars(options).setdefault("done", []).append(what)


def version_line() -> str:
    """Return the versions that a result depends on, on one line."""
    from importlib import metadata

    from castsugar.data.load import data_version

    return (
        f"castsugar {metadata.version('castsugar')}, species data {data_version()}, "
        f"Cantera {metadata.version('cantera')}"
    )


#: Options that say where a result goes or who computes it, not what it is: with a
#: value, without one, and with one that may be missing, of some commands.
_WHERE = (
    *("-o", "--output", "--page", "--picture", "--trials", "--certificates"),
    *("--workers", "--cluster"),
)
_HOW = ("--full", "--json", "--csv", "--markdown", "--force", "--debug", "--cite")
_TABLES = ("sweep", "map")


def command_text(words: Sequence[str]) -> str:
    """Return a command as typed, without what only says where the result goes.

    The words are all but the program's name.

    Examples
    --------
    >>> command_text(["compare", "a b", "--page", "x.html", "--json", "--seed", "2"])
    "castsugar compare 'a b' --seed 2"
    >>> command_text(["sweep", "base", "--csv", "out.csv", "--vary", "KNO3"])
    'castsugar sweep base --vary KNO3'
    """
    kept: list[str] = []
    skip = ""
    table = any(word in _TABLES for word in words[:1])
    options = (*_WHERE, *(["--csv"] if table else []))
    for word in words:
        if skip and not (skip == "--csv" and word.startswith("-")):
            skip = ""
            continue
        skip = word if word in options else ""
        if not (
            skip or word in _HOW or word.startswith(tuple(f"{w}=" for w in options))
        ):
            kept.append(word)
    return shlex.join(["castsugar", *kept])


#: So many hexadecimal digits of a SHA-256 are shown.
_SHOWN = 16


def files_read(options: argparse.Namespace) -> dict[str, str]:
    """Return the files that a command has read: name, first digits of its SHA-256.

    Names are those of the folder in which it ran, where they lie in it.
    """
    here = Path.cwd()
    found = {}
    for name, digest in getattr(options, "files_read", {}).items():
        path = Path(name)
        inside = path.is_absolute() and path.is_relative_to(here)
        told = path.relative_to(here).as_posix() if inside else name
        found[told] = digest[:_SHOWN]
    return found
