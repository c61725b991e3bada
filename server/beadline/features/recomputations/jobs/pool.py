"""The workers that analyse: they touch no database, so that they can run anywhere."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context, parent_process
from multiprocessing.process import BaseProcess

from beadline.kit.errors import Invalid

CONNECT_WITHIN_S = 10


@dataclass(frozen=True, slots=True)
class Workers:
    """Where traces are analysed, and how many at the same time."""

    executor: Executor
    many: int


@contextmanager
def local(processes: int | None = None) -> Iterator[Workers]:
    """Start processes on this machine, one a core if no number is given; each uses one thread.

    Raises
    ------
    Invalid
        If the number can't be meant.
    """
    many = processes if processes is not None else os.cpu_count() or 1
    if not 1 <= many <= 256:
        raise Invalid(f"{many} processes can't be started.", where="--processes", mend="Give 1 to 256.")
    started = ProcessPoolExecutor(many, mp_context=get_context("spawn"), initializer=_end_with_parent)
    with started as executor:
        yield Workers(executor, many)


@contextmanager
def on_scheduler(address: str) -> Iterator[Workers]:
    """Use the workers of a Dask scheduler, on this machine or others.

    Raises
    ------
    Invalid
        If Dask is not installed, the scheduler does not answer, or it has no workers.
    """
    try:
        import distributed
    except ImportError as error:
        mend = 'Install it with the extra: pip install "beadline[dask]".'
        raise Invalid("Dask is not installed.", where="--scheduler", mend=mend) from error
    try:
        client = distributed.Client(address, timeout=CONNECT_WITHIN_S, set_as_default=False)
    except (OSError, ValueError) as error:
        said = f"No Dask scheduler answers at {address}."
        raise Invalid(said, where="--scheduler", mend="Give its address, such as tcp://host:8786.") from error
    with client:
        many = sum(client.nthreads().values())
        if not many:
            said = f"The Dask scheduler at {address} has no workers."
            raise Invalid(said, where="--scheduler", mend=f"Start some: dask worker {address}")
        yield Workers(client.get_executor(pure=False), many)


def _end_with_parent() -> None:
    """Let a process end when the one that started it is killed; it would wait for work for ever."""
    parent = parent_process()
    if parent is not None:
        threading.Thread(target=_wait_for_end, args=(parent,), daemon=True).start()


def _wait_for_end(parent: BaseProcess) -> None:
    parent.join()
    os._exit(1)
