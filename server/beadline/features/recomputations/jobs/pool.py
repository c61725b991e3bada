"""The processes that analyse: they touch no database, so that they can run anywhere."""

from __future__ import annotations

import os
import threading
from concurrent.futures import Executor, ProcessPoolExecutor
from multiprocessing import get_context, parent_process
from multiprocessing.process import BaseProcess

from beadline.kit.errors import Invalid


def local(processes: int | None) -> Executor:
    """Start processes on this machine, one a core if no number is given; each uses one thread.

    Raises
    ------
    Invalid
        If the number can't be meant.
    """
    many = processes if processes is not None else os.cpu_count() or 1
    if not 1 <= many <= 256:
        raise Invalid(f"{many} processes can't be started.", where="--processes", mend="Give 1 to 256.")
    return ProcessPoolExecutor(many, mp_context=get_context("spawn"), initializer=_end_with_parent)


def _end_with_parent() -> None:
    """Let a process end when the one that started it is killed; it would wait for work for ever."""
    parent = parent_process()
    if parent is not None:
        threading.Thread(target=_wait_for_end, args=(parent,), daemon=True).start()


def _wait_for_end(parent: BaseProcess) -> None:
    parent.join()
    os._exit(1)
