"""Those who work for a study: this process, others of this machine, or the workers of a cluster.

What they are given comes back in its order. A Ctrl-C stops them within a moment: what they had done by then is kept.
So does SIGTERM, where the command line makes one of it.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from types import FrameType, TracebackType
from typing import Any, Protocol

from simbot.scenario.errors import SimbotError

TO_END = (signal.SIGINT, signal.SIGTERM)  # both may go to a whole group of processes
GRACE_S = 1.5  # in which those who were told to stop may end what they are at


class PlayersLost(SimbotError):
    """Those who play went away in the middle of a study."""


class Pending(Protocol):
    """Something that somebody does."""

    def done(self) -> bool: ...

    def cancel(self) -> bool: ...

    def result(self) -> Any: ...


class Pool(Protocol):
    """Those who do it."""

    def submit(self, play: Any, /, *what: Any) -> Pending: ...

    def shutdown(self, *, wait: bool, cancel_futures: bool) -> None: ...


class Players:
    """They are started with it.

    Parameters
    ----------
    workers : int
        Processes of this machine; 1: this one.
    cluster : str or None
        Address of a scheduler; then its workers play, however many they are.
    """

    def __init__(self, workers: int, cluster: str | None = None) -> None:
        self.workers = workers
        self.pool: Pool | None = None
        self.children: list[Any] = []
        self.quit: Any = None
        self.begun: deque[Pending] = deque()
        if cluster is not None:
            from simbot.studies.cluster import Crew

            crew = Crew(cluster)
            self.pool, self.workers = crew, crew.workers
        elif workers > 1:
            context = multiprocessing.get_context("spawn")
            self.quit = context.Event()
            before = set(multiprocessing.active_children())
            self.pool = ProcessPoolExecutor(workers, context, _prepare, (self.quit, gc.get_threshold()))
            with _deaf():
                self.pool.submit(_ready)  # starts them all
            self.children = [each for each in multiprocessing.active_children() if each not in before]

    def __enter__(self) -> Players:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.quit is not None:
            self.quit.set()
        if self.pool is not None:
            self.pool.shutdown(wait=False, cancel_futures=True)

    def each(self, do: Callable[..., Any], tasks: Sequence[Sequence[Any]]) -> Iterator[Any]:
        """What it makes of every task, in their order."""
        if self.pool is None:
            for task in tasks:
                yield do(*task)
            return
        self.begun = deque(self.pool.submit(do, *task) for task in tasks)
        while self.begun:
            found = ended(self.begun[0])
            self.begun.popleft()
            yield found

    def left(self) -> list[Any]:
        """Stop: what was done of `each` and has not been handed out; None for what was not done."""
        found = self.gathered(list(self.begun))
        self.begun.clear()
        return found

    def gathered(self, begun: Sequence[Pending]) -> list[Any]:
        """Stop: what was begun and is done within a moment; None for the rest. Nobody plays afterwards."""
        if self.quit is not None:
            self.quit.set()
        for each in begun:
            each.cancel()
        until = time.monotonic() + GRACE_S
        while not all(each.done() for each in begun) and time.monotonic() < until:
            time.sleep(0.01)
        found = [_result(each) for each in begun]
        for child in self.children:
            if not all(each.done() for each in begun):
                child.kill()
        return found


def ended(pending: Pending) -> Any:
    """What it came to.

    Raises
    ------
    PlayersLost
        A process was ended from outside, or a cluster is gone.
    """
    try:
        return pending.result()
    except BrokenProcessPool as error:
        raise PlayersLost(f"a process that played matches was ended from outside ({error})") from error


def _result(pending: Pending) -> Any:
    if not pending.done():
        return None
    try:
        return pending.result()
    except BaseException:  # cancelled, or its process was ended
        return None


_quit: list[Any] = []  # of a process that works for another one


def no_more() -> bool:
    """Whether whoever asked this process does not want any more."""
    return bool(_quit) and bool(_quit[0].is_set())


@contextmanager
def heeded() -> Iterator[None]:
    """Leave with KeyboardInterrupt where Ctrl-C or SIGTERM came meanwhile and was dropped.

    Python drops whatever is raised while it does away with an object, which it may be doing at any instant.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    pressed = []
    before = {each: signal.getsignal(each) for each in TO_END}

    def note(number: int, frame: FrameType | None) -> None:
        heard = before[signal.Signals(number)]
        if callable(heard):
            try:
                heard(number, frame)
            except BaseException:  # whoever only notes it wants no more of it
                pressed.append(number)
                raise

    mine = [each for each, heard in before.items() if callable(heard)]
    for each in mine:
        signal.signal(each, note)
    try:
        yield
    finally:
        for each in mine:
            if signal.getsignal(each) is note:  # else: what was called has put another in its place
                signal.signal(each, before[each])
    if pressed:
        raise KeyboardInterrupt


@contextmanager
def _deaf() -> Iterator[None]:
    """Let Ctrl-C pass for a moment: a process that is born now does not hear it either, not even while it imports."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = [(each, signal.signal(each, signal.SIG_IGN)) for each in TO_END]
    try:
        yield
    finally:
        for each, heard in before:
            signal.signal(each, heard)


def _ready() -> None:
    return None


def _prepare(stop: Any, threshold: tuple[int, int, int]) -> None:
    """When to end is the business of the process that asked; where that is killed, end with it. Collect as seldom."""
    gc.set_threshold(*threshold)
    for each in TO_END:
        signal.signal(each, signal.SIG_IGN)
    _quit[:] = [stop]
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
