"""Entry point: read the words, call the command, turn errors into exit codes.

Exit codes: 0 done; 1 ran, but the answer is "no"; 2 bad input; 3 a row without
convergence; 70 a fault of castsugar; 130 interrupted.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import importlib
import io
import itertools
import os
import re
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

from castsugar.cli import progress
from castsugar.cli.bench_option import settle_bench
from castsugar.cli.interrupt import INTERRUPTED
from castsugar.cli.output import check_outputs, version_line
from castsugar.cli.screen import remark, say, silence, spell_what_does_not_fit
from castsugar.cli.spellings import joined, spelled
from castsugar.errors import CastsugarError, ConvergenceError, InputError, nearest_names
from castsugar.files.reading import noted
from castsugar.plausible import collected

#: The matrices here are small: threads of linear algebra only get in each other's way.
#: Set before numpy is loaded, and only where the user has not set them.
SINGLE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")

#: New objects at which unreachable ones are looked for. Of the many that a start makes
#: nearly all stay: at Python's 700 the search for others takes a twentieth of the CPU.
#: What runs until it is stopped keeps to Python's own, and 100 MB less.
NEW_OBJECTS, USUAL = 200_000, gc.get_threshold()

NO, BAD_INPUT, NO_CONVERGENCE, FAULT = 1, 2, 3, 70

#: Shows the traceback of a fault; known before and after the command.
DEBUG = "--debug"

#: Makes a remark an answer of "no".
STRICT = "--strict"

#: Commands in the order of the help: group -> command -> the module that has it.
GROUPS = {
    "Start": {
        "init": "init",
        "check": "check",
        "ingredients": "ingredients",
        "cautions": "cautions",
        "examples": "examples",
    },
    "Ask": {
        "evaluate": "evaluate",
        "ballistics": "ballistics",
        "compare": "compare",
        "search": "search",
        "justify": "justify",
        "sweep": "sweep",
        "map": "triangle",
        "next": "next_burns",
        "audit": "audit",
        "open": "open_page",
    },
    "Bench": {
        "weigh": "weigh",
        "plan": "plan",
        "batch": "batch",
        "kitchen": "kitchen",
    },
    "Learn": {"burnrate": "burnrate", "firing": "firing", "learn": "learn"},
    "Shell": {"completion": "completion"},
}
COMMANDS = {name: module for own in GROUPS.values() for name, module in own.items()}

#: The line of each in the help.
LINES = {
    "init": "write an example bench file with readings, to learn on",
    "check": "what of your bench is invented, misfit, missing or assumed",
    "ingredients": "list ingredients, or show one with its sources",
    "cautions": "all cautions, those of a topic, or those that your mix raises",
    "examples": "stories in Python: short scripts to read, run and change",
    "evaluate": "flame temperature, c*, specific impulse and more of some recipes",
    "ballistics": "what a ballistics calculation takes of a mix: c*, burn law, doubts",
    "compare": "mixes side by side: what differs for certain, and what cannot be told",
    "search": "the best mix that pours, sets and stays under pressure, and why",
    "justify": "a change of mix on one page: what it does, how sure, on what evidence",
    "sweep": "one ingredient against the rest, as a chart and a table",
    "map": "three ingredients against each other, as a picture and a table",
    "next": "what to measure next: pan, cup, strands, a firing; what tells most",
    "audit": "recompute a record (JSON) and say which numbers differ",
    "open": "your bench on one live page: drag the mix and see what it does",
    "weigh": "the weigh sheet of a batch, and corrections while weighing",
    "plan": "turned round: what a batch gives, when it is dry, which heat pours",
    "batch": "keep what was made, what was predicted and what was measured",
    "kitchen": "how a mix cooks, pours, sets and keeps; kitchen measurements",
    "burnrate": "burning-rate law, with its uncertainty, from strands that you burned",
    "firing": "c*, impulse, efficiency and burning-rate law from a static test; delays",
    "learn": "refit kitchen, burning rate and efficiency from your batches",
    "completion": "print a script that completes commands and options in bash or zsh",
}

#: What argparse says of a word that is none of a few.
_CHOICE = re.compile(r"argument .*?: invalid choice: (.*) \(choose from (.*)\)")

#: A wrong quantity: its line says all, the option included.
_QUANTITY = re.compile(r"argument (--[^:]*): (\1[ :].*)", re.DOTALL)

#: Parts of a recipe that the shell took apart, left over.
_STRAY, _PART = "unrecognized arguments:", re.compile(r"[^\s:]:[0-9.]+%?(\s|$)")

#: Two dashes as the value of an option, which argparse takes for the end of options.
_DASHES = re.compile(r"(--[^=]+|-[A-Za-z])=?--")

INTRODUCTION = """\
castsugar says what a nitrate-sugar mix does, before it is cooked.

  castsugar evaluate "KNO3:65 sucrose:35" --pressure "1000 psi"
  castsugar evaluate "KNO3:60 powdered sugar:20 corn syrup:20" --water-lost 0.2
  castsugar ingredients "corn syrup"
  castsugar init my-bench

  Start  init, check, ingredients, cautions, examples
  Ask    evaluate, ballistics, compare, search, justify, sweep, map, next,
         audit, open
  Bench  weigh, plan, batch, kitchen
  Learn  burnrate, firing, learn
  Shell  completion

castsugar init writes an example of everything, to learn on.
castsugar COMMAND --help says more.
Nothing here is a claim that a mix is safe. Local law decides; certified
products and licensed practice come first.
"""


class Grouped(argparse.RawDescriptionHelpFormatter):
    """Help that lists the commands in their groups."""

    def _format_action(self, action: argparse.Action) -> str:
        """Put the name of its group before the first command of each."""
        if not isinstance(action, argparse._SubParsersAction):
            return super()._format_action(action)
        first = {next(iter(own)): group for group, own in GROUPS.items()}
        lines = []
        for command in action._choices_actions:
            if command.dest in first:
                lines.append(f"{'':{self._current_indent}}{first[command.dest]}\n")
            self._indent()
            lines.append(super()._format_action(command))
            self._dedent()
        return "".join(lines)


class Commands(argparse._SubParsersAction):  # type: ignore[type-arg]
    """The commands, each with its line of the help."""

    def add_parser(self, name: str, **options: Any) -> Any:
        """Add a command; of one that is only listed there is no more."""
        return super().add_parser(name, help=LINES[name], **options)


class Parser(argparse.ArgumentParser):
    """An argument parser that complains in one line and names the nearest word."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.add_argument(
            DEBUG,
            action="store_true",
            default=argparse.SUPPRESS,
            help="show the traceback of a fault of castsugar (exit code 70)",
        )
        self.add_argument(
            STRICT,
            action="store_true",
            default=argparse.SUPPRESS,
            help="leave with exit code 1 if there is a remark, such as on an unusual "
            "value",
        )
        self._optionals.title = "help"
        self._optionals = self._positionals  # options beside what they belong to
        self._positionals.title = "what you ask"

    def error(self, message: str) -> NoReturn:
        """Print one line and leave with exit code 2."""
        if told := _QUANTITY.fullmatch(message):
            raise InputError(told[2])
        text = " ".join(message.split())
        if text.startswith(_STRAY) and _PART.search(text):
            raise InputError(
                f'{text}; put the recipe in quotes: "KNO3:65 sucrose:35" is one recipe'
            )
        if found := _CHOICE.fullmatch(text):
            text = self._nearest(found[1], found[2].replace("'", "").split(", "))
        remark(f"castsugar: {text}; see {self.prog} --help")
        sys.exit(BAD_INPUT)

    def meant(self, words: Sequence[str]) -> Parser:
        """Return the parser of the command, or of its part, that words name."""
        found = self
        for word in words:
            parts = [
                action.choices
                for action in found._actions
                if isinstance(action, argparse._SubParsersAction)
            ]
            found = next((own[word] for own in parts if word in own), found)
        return found

    def stray(self, words: Sequence[str]) -> NoReturn:
        """Complain about words that are left over; a near option is named."""
        if words[0] == "-":
            from castsugar.files.writing import NO_DASH

            raise InputError(NO_DASH)
        near = nearest_names(words[0].partition("=")[0], [*self._option_string_actions])
        hint = f" (did you mean {near[0]}?)" if near else ""
        self.error(f"{_STRAY} {' '.join(words)}{hint}")

    def check(self, words: Sequence[str]) -> None:
        """Refuse words that would not come through as they were typed."""
        for word in words:
            if any("\ud800" <= char <= "\udfff" for char in word):
                known = sys.getfilesystemencoding()
                self.error(f"{word!r} is not text in {known}; type or name it anew")
        for word in itertools.takewhile(lambda word: word != "--", words):
            if found := _DASHES.fullmatch(word):
                self.error(f"argument {found[1]}: '--' is no value")

    def _print_message(self, message: str, file: Any = None) -> None:
        """Print help; unlike argparse, complain if that cannot be done."""
        if file is sys.stdout:
            say(message)
        else:
            super()._print_message(message, file)

    def _nearest(self, typed: str, known: Sequence[str]) -> str:
        """Say what is allowed instead of what was typed, the nearest word first."""
        near = nearest_names(typed[1:-1], known)
        hint = f"did you mean {near[0]!r}? " if near else ""
        return f"{typed} is not known here; {hint}allowed: {', '.join(known)}"


def build_parser(only: str | None = None) -> Parser:
    """Return the parser of all commands, or that of one: it loads nothing else.

    A word that is none of them lists all, and loads none.
    """
    parser = Parser(prog="castsugar", description=INTRODUCTION, allow_abbrev=False)
    parser.formatter_class = Grouped
    parser.add_argument(
        "--version",
        action="store_true",
        help="print the versions of castsugar, its data and Cantera",
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", action=Commands)
    for name, module in COMMANDS.items():
        if only is not None and only not in COMMANDS:
            commands.add_parser(name)
        elif only in (None, name):
            importlib.import_module(f"castsugar.cli.{module}").add_parser(commands)
    return parser


def main(words: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    for variable in SINGLE_THREAD:
        os.environ.setdefault(variable, "1")
    gc.set_threshold(NEW_OBJECTS)
    if sys.stderr is None:
        sys.stderr = io.StringIO()
    spell_what_does_not_fit()
    typed = tuple(sys.argv[1:] if words is None else words)
    options = argparse.Namespace()
    try:
        with collected() as options.remarks, noted() as options.files_read:
            _read(typed, options)
            return _run(options)
    except ConvergenceError as error:
        return _complain(error, NO_CONVERGENCE)
    except CastsugarError as error:
        return _complain(error, BAD_INPUT)
    except KeyboardInterrupt:
        return _interrupted(getattr(options, "done", []))
    except BrokenPipeError:
        silence(sys.stdout)
        return 0
    except Exception as error:  # noqa: BLE001 the last resort: nobody above
        return _fault(error, show=DEBUG in typed)


def _read(words: tuple[str, ...], options: argparse.Namespace) -> None:
    """Fill in the options that were typed, with the words themselves."""
    Parser(prog="castsugar").check(words)
    options.words = spelled(joined(words))
    first = next((word for word in options.words if not word.startswith("-")), "")
    parser = build_parser(first)
    _, left = parser.parse_known_args(options.words, options)
    if left:
        parser.meant(options.words).stray(left)


def _run(options: argparse.Namespace) -> int:
    """Call the command that was asked for."""
    if options.version:
        say(version_line() + "\n")
        return 0
    if options.command is None:
        say(INTRODUCTION)
        return 0
    settle_bench(options)
    check_outputs(options)
    until_stopped = options.command == "open"
    if until_stopped:
        gc.set_threshold(*USUAL)
    with contextlib.nullcontext() if until_stopped else progress.shown(options):
        code: int = options.run(options)
    if code == 0 and options.remarks and getattr(options, "strict", False):
        remark(f"castsugar: {STRICT}, and remarks: {len(options.remarks)}")
        return NO
    return code


def _interrupted(done: Sequence[str]) -> int:
    """Say what there is of a command that Ctrl-C ended."""
    told = f"done is only: {', '.join(done)}" if done else "nothing was written"
    remark(f"castsugar: interrupted; {told}")
    return INTERRUPTED


def _complain(error: Exception, code: int) -> int:
    """Print an error as one line."""
    remark(f"castsugar: {error}")
    return code


def _fault(error: Exception, *, show: bool) -> int:
    """Say in one line that castsugar is at fault, and where; all of it if asked for."""
    import traceback

    if show:
        traceback.print_exc()
    if isinstance(error, MemoryError):
        remark("castsugar: out of memory; ask for fewer mixes, draws or points")
        return FAULT
    last = traceback.extract_tb(error.__traceback__)[-1]
    remark(
        f"castsugar: this is a fault of castsugar, and no answer: "
        f"{type(error).__name__}: {error} ({os.path.basename(last.filename)}, line "
        f"{last.lineno}); {DEBUG} shows all of it, to be reported with the command"
    )
    return FAULT
