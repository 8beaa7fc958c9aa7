"""Plays days of matches on the workers of a dask scheduler. The home of dask.

The scheduler and its workers are started by whoever owns the machines; each worker has this same simbot
installed. What is played depends on keyed draws alone, so a day that was lost with its worker is played again
elsewhere and comes out the same.
"""

from __future__ import annotations

import logging
import platform
import warnings
from collections.abc import Callable
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from typing import Any

import simbot
from simbot.scenario.errors import SimbotError
from simbot.studies.players import PlayersLost

try:
    from distributed import Client
    from distributed.comm import get_address_host_port
except ModuleNotFoundError as error:
    raise SimbotError(
        "--cluster: the package dask.distributed is not here; pip install 'simbot[cluster]' brings it"
    ) from error

CONNECT_S = 10.0  # to reach the scheduler, and for it to have a worker
LOOK_S = 5.0  # between looks at whether anybody is still there
PATIENCE = 12  # looks without any worker before it is given up
PACKAGES = ("numpy", "scipy", "numba", "simpy")  # what may move a last digit


class Crew:
    """The workers of a scheduler.

    Parameters
    ----------
    address : str
        As the scheduler prints it: `tcp://host:8786`, or `host:8786`.

    Raises
    ------
    SimbotError
        Nothing answers there, it has no workers, or they have another simbot.
    """

    def __init__(self, address: str) -> None:
        self.address = address
        for name in ("distributed", "distributed.client"):
            logging.getLogger(name).setLevel(logging.CRITICAL)  # what goes wrong is said in one line below
        try:
            where = address if "://" in address else f"tcp://{address}"
            get_address_host_port(where, strict=True)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # versions are compared below
                self.client: Any = Client(where, timeout=CONNECT_S, set_as_default=False)
        except (OSError, ValueError, ImportError, RuntimeError) as error:
            raise SimbotError(f"--cluster {address}: no scheduler answers there ({_line(error)})") from error
        try:
            self.client.wait_for_workers(1, timeout=CONNECT_S)
            self._same_simbot()
        except TimeoutError as error:
            self.shutdown()
            raise SimbotError(
                f"--cluster {address}: the scheduler has no workers; dask worker {address} --nthreads 1 starts one"
            ) from error
        except SimbotError:
            self.shutdown()
            raise
        self.workers = sum(self.client.nthreads().values())

    def _same_simbot(self) -> None:
        """Refuse workers whose matches could come out otherwise than here."""
        mine = fingerprint()
        for where, theirs in self.client.run(fingerprint, on_error="return").items():
            if isinstance(theirs, BaseException):
                raise SimbotError(
                    f"--cluster {self.address}: the worker {where} cannot load this simbot ({_line(theirs)})"
                )
            for name, value in mine.items():
                if theirs.get(name) != value:
                    raise SimbotError(
                        f"--cluster {self.address}: the worker {where} has {name} {theirs.get(name)}, here it is "
                        f"{value}; the same bytes need the same versions"
                    )

    def submit(self, play: Callable[..., Any], *what: Any) -> Remote:
        """Have something played."""
        return Remote(self, self.client.submit(play, *what, pure=False))

    def shutdown(self, *, wait: bool = False, cancel_futures: bool = True) -> None:
        """Drop what was not waited for; the cluster stays."""
        self.client.close(timeout=LOOK_S)


class Remote:
    """Something that is played elsewhere."""

    def __init__(self, crew: Crew, future: Any) -> None:
        self.crew = crew
        self.future = future

    def done(self) -> bool:
        return bool(self.future.done())

    def cancel(self) -> bool:
        """It is not wanted any more; what is done stays."""
        if not self.done():
            self.future.cancel()
        return self.done()

    def result(self) -> Any:
        """Wait for it.

        Raises
        ------
        PlayersLost
            The scheduler is gone, or has had no workers for a while, or this cost one worker after the other.
        """
        nobody = 0
        while True:
            try:
                return self.future.result(timeout=LOOK_S)
            except TimeoutError:
                nobody = 0 if self._somebody() else nobody + 1
                if nobody == PATIENCE:
                    raise PlayersLost(f"--cluster {self.crew.address}: all workers are gone") from None
                if self.crew.client.status == "closed":
                    raise PlayersLost(f"--cluster {self.crew.address}: the scheduler is gone") from None
            except Exception as error:
                raise PlayersLost(f"--cluster {self.crew.address}: {_line(error)}") from error

    def _somebody(self) -> bool:
        return bool(self.crew.client.scheduler_info(n_workers=-1).get("workers"))


def fingerprint() -> dict[str, str]:
    """What the bytes of a match hang on: versions, and the text of all sources."""
    digest = sha256()
    root = Path(simbot.__file__).parent
    for path in sorted(root.rglob("*.py"), key=lambda path: path.relative_to(root).as_posix()):
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    packages = {name: version(name) for name in PACKAGES}
    return {
        "simbot": simbot.__version__,
        "Python": platform.python_version(),
        **packages,
        "sources": digest.hexdigest()[:12],
    }


def _line(error: BaseException) -> str:
    """An error in one line."""
    return " ".join(f"{type(error).__name__}: {error}".split())[:200]
