"""Who does the work of thousands of mixes: this process, several, or a cluster."""

from __future__ import annotations

import argparse
import contextlib
import importlib
import signal
from collections.abc import Iterator
from concurrent.futures import Executor
from typing import Any

from castsugar.frozen import dataclass

#: How long an address may take to answer. [s]
_ANSWERS_WITHIN = 10.0

#: Tasks a worker that may be under way: one in hand, and the next.
_AHEAD = 2


def add_worker_options(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "--workers",
        type=int,
        metavar="N",
        help="processes that share the work (default 1)",
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="scheduler of a dask cluster that does the work, 'tcp://host:8786'; the "
        "same castsugar and data there",
    )


@dataclass(frozen=True, slots=True)
class Crew:
    """Who works, and how many tasks may be under way: more would pile up results."""

    executor: Executor
    room: int


@contextlib.contextmanager
def workers_of(options: argparse.Namespace, tasks: int) -> Iterator[Crew | None]:
    """Open what was asked for, if there is work for more than one.

    Raises
    ------
    InputError
        Fewer than one worker; both options; a cluster that does not answer, or has
        another castsugar or other data.
    """
    from castsugar.errors import InputError

    count = 1 if options.workers is None else options.workers
    if count < 1:
        raise InputError(f"--workers is {count}; it must be 1 or more")
    if options.cluster is not None:
        if options.workers is not None:
            raise InputError("--workers and --cluster are both given; choose one")
        with _cluster(options.cluster) as crew:
            yield crew
        return
    if count == 1 or tasks <= 1:
        yield None
        return
    from concurrent.futures import ProcessPoolExecutor

    # Ctrl-C reaches the workers too; they finish what they have in hand.
    deaf = (signal.SIGINT, signal.SIG_IGN)
    with ProcessPoolExecutor(
        min(count, tasks), initializer=signal.signal, initargs=deaf
    ) as pool:
        yield Crew(pool, _AHEAD * min(count, tasks))


@contextlib.contextmanager
def _cluster(address: str) -> Iterator[Crew]:
    """Connect to a scheduler, and see that its workers would compute the same."""
    from castsugar.errors import InputError

    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError:
        raise InputError(
            "--cluster needs dask, which is not installed; pip install "
            "'castsugar[cluster]'"
        ) from None
    try:
        client = distributed.Client(address, timeout=_ANSWERS_WITHIN)
    except (OSError, ValueError) as error:
        reason = " ".join(str(error).split())[:100]
        raise InputError(
            f"--cluster {address}: no scheduler answers within "
            f"{_ANSWERS_WITHIN:g} s ({reason}); start one with: dask scheduler"
        ) from None
    with client:
        _check_alike(address, client)
        yield Crew(client.get_executor(), _AHEAD * sum(client.ncores().values()))


def _check_alike(address: str, client: Any) -> None:
    """Refuse a cluster without workers, or with workers that have other code or data.

    Raises
    ------
    InputError
    """
    from castsugar.data.load import code_and_data
    from castsugar.errors import InputError

    ours = code_and_data()
    try:
        theirs = client.run(code_and_data, on_error="return")
    except Exception as error:  # noqa: BLE001 whatever a foreign scheduler raises
        raise InputError(
            f"--cluster {address}: its workers cannot be asked: "
            f"{' '.join(str(error).split())[:100]}"
        ) from None
    if not theirs:
        raise InputError(
            f"--cluster {address} has no workers; start some: dask worker {address}"
        )
    for worker, found in theirs.items():
        if found != ours:
            raise InputError(
                f"--cluster {address}: {worker} has {found}, here is {ours}; install "
                "the same castsugar on both"
            )
