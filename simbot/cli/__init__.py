"""The commands. Thin: read arguments, call the stages in their order, print, choose the exit status.

Exit status: 0 fine, 1 a fault of simbot, 2 the user's mistake, 3 findings that --strict minds,
130 stopped with Ctrl-C, or told to end (SIGTERM). Results go to stdout, progress, remarks and errors to stderr.
Everything heavy is imported where it is used, so that help and errors come at once. One module a command; `options`
and `shared` hold what several of them take and do.
"""

from __future__ import annotations

import errno
import gc
import io
import os
import signal
import sys
import traceback
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated

import typer

from simbot import __version__
from simbot.cli.shared import FINE, OUR_FAULT, STOPPED, USERS_MISTAKE, Stopped, complain
from simbot.scenario.errors import SimbotError

COMMANDS = (  # in the order of the help; each is a function in the module of its name
    "start",
    "check",
    "run",
    "move",
    "tune",
    "match",
    "compare",
    "worth",
    "sweep",
    "fit",
    "report",
    "figures",
    "notebook",
    "kinds",
    "schema",
)


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"simbot {__version__}")
        raise typer.Exit


SELDOM = 200_000, 20, 20  # modules and models that stay are not looked through over and over


def _simbot(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version.", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    pass


def _app(given: Sequence[str]) -> typer.Typer:
    """The command that is called; all of them only for the help and for a slip, since each takes its time to make."""
    app = typer.Typer(
        name="simbot",
        help="How long a competition robot's moves really take, and what a timer that is too short breaks.",
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
    )
    app.callback()(_simbot)
    for name in given[:1] if given[0] in COMMANDS else COMMANDS:
        app.command()(getattr(import_module(f"simbot.cli.{name}"), name))
    return app


def main(arguments: Sequence[str] | None = None) -> None:
    """Entry point: run a command and leave with its exit status, never with a traceback."""
    gc.set_threshold(*SELDOM)
    os.environ.setdefault(
        "PYDANTIC_DISABLE_PLUGINS", "__all__"
    )  # looking for some reads every package's metadata
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # of small matrices threads only wait for one another
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding="utf-8", errors="replace")
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by who started it
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 - it lives as long as we do
    signal.signal(signal.SIGTERM, _told_to_end)
    code = status(arguments)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever presses Ctrl-C again is leaving already
    gc.freeze()  # nothing that is left has to be looked through once more on the way out
    sys.exit(code)


def _told_to_end(number: int, frame: object) -> None:
    """As Ctrl-C; once, since some send it to a process and then to its whole group."""
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    raise KeyboardInterrupt


def status(arguments: Sequence[str] | None = None) -> int:
    """Run a command and return its exit status."""
    given = list(sys.argv[1:] if arguments is None else arguments) or ["--help"]
    try:
        code = _app(given)(given, prog_name="simbot", standalone_mode=False)
        sys.stdout.flush()
    except SimbotError as error:
        complain(str(error))
        return USERS_MISTAKE
    except typer.TyperException as error:
        complain(error.format_message())
        return error.exit_code
    except Stopped:
        return STOPPED
    except (KeyboardInterrupt, typer.Abort):
        code = STOPPED
    except (BrokenPipeError, SystemExit):  # whoever read our output has heard enough
        return _closed_pipe()
    except OSError as error:
        return _disk(error)
    except Exception as error:
        return _our_fault(error)
    if code == STOPPED:
        complain("stopped")
    return code if isinstance(code, int) else FINE


def _closed_pipe() -> int:
    """Let the interpreter's last flush go nowhere, so that it says nothing either."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return FINE


def _disk(error: OSError) -> int:
    """A disk that is full, a folder that may not be written: the user's to mend; else ours."""
    if error.errno not in (errno.EACCES, errno.EPERM, errno.ENOSPC, errno.EROFS, errno.EDQUOT, errno.EISDIR):
        return _our_fault(error)
    complain(f"{error.filename or 'the output'}: cannot be written: {error.strerror}")
    if error.filename is None:
        _closed_pipe()
    return USERS_MISTAKE


def _our_fault(error: Exception) -> int:
    if os.environ.get("SIMBOT_DEBUG"):
        traceback.print_exception(error)
    what = " ".join(str(error).split())[:200]
    version = ".".join(map(str, sys.version_info[:3]))
    complain(
        f"a fault of simbot, not yours: {type(error).__name__}: {what} "
        f"(simbot {__version__}, Python {version}, {sys.platform}). Please report "
        "this line with your files; SIMBOT_DEBUG=1 adds where it happened."
    )
    return OUR_FAULT
