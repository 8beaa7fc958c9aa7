"""Entries of the kernel from the cache, as functions that Python calls, without loading numba.

Loading numba takes longer than a run's simulation. What the machine code of an entry needs of it is three of its
libraries in C; the rest is linked by llvmlite. So an entry's machine code is kept besides (`keep`), with what it takes
to link it, and all entries are linked together (`load`) or none: where anything is missing or does not fit, numba
loads them as ever. Done where it was tried and nowhere else.
"""

# mypy: disable-error-code="no-untyped-call, import-untyped"

from __future__ import annotations

import builtins
import ctypes
import hashlib
import json
import os
import platform
import sys
from collections.abc import Callable
from contextlib import suppress
from importlib.machinery import PathFinder
from importlib.util import find_spec, module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType
from typing import Any

ENTRIES = (
    "stepper.advance",
    "record.inside_since",
    "record.first_time",
    "record.touched_at",
    "record.state_at",
    "record.lagged_square",
    "stroke.stroke_time",
)
TRIED = sys.platform == "linux" and platform.machine() == "x86_64" and sys.implementation.name == "cpython"


def name_of(function: Callable[..., Any]) -> str:
    return f"{function.__module__.rpartition('.')[2]}.{function.__name__}"


class Misfit(Exception):
    """The machine code cannot be linked here."""


def keep(folder: Path, name: str, code: bytes, wrapper: str, environment: str, needs: list[str]) -> None:
    """Keep the machine code of an entry.

    Parameters
    ----------
    name : str
        Module and function, as in ENTRIES.
    wrapper, environment : str
        Symbols of the function that takes Python's arguments, and of the place where numba's settings are put.
    needs : list of str
        Symbols that it calls and does not hold.
    """
    head = {
        "sum": hashlib.sha256(code).hexdigest(),
        "wrapper": wrapper,
        "environment": environment,
        "needs": needs,
        "processor": processor(),
    }
    with suppress(OSError):  # an unwritable cache costs time, never an answer
        part = folder / f"{name}.{os.getpid()}"  # whole or not there, whoever else reads or writes it
        part.write_bytes(json.dumps(head).encode() + b"\n" + code)
        os.replace(part, folder / f"{name}.machine")


def complete(folder: Path) -> bool:
    return all((folder / f"{name}.machine").exists() for name in ENTRIES)


def load(folder: Path) -> dict[str, Callable[..., Any]]:
    """All entries, or none."""
    if not TRIED or any(key.startswith("NUMBA_") for key in os.environ):
        return {}
    try:
        kept = [(name, *_read(folder / f"{name}.machine")) for name in ENTRIES]
        parts = _tell_symbols()
        return {name: _linked(name, head, code, parts) for name, head, code in kept}
    except (OSError, ValueError, LookupError, AttributeError, ImportError, RuntimeError, Misfit):
        return {}


def processor() -> str:
    """What the machine code was made for."""
    import llvmlite.binding as llvm

    return f"{llvm.get_host_cpu_name()} {llvm.get_host_cpu_features().flatten()}"


def _read(path: Path) -> tuple[dict[str, Any], bytes]:
    text, _, code = path.read_bytes().partition(b"\n")
    head = json.loads(text)
    if head["sum"] != hashlib.sha256(code).hexdigest() or head["processor"] != processor():
        raise Misfit(str(path))
    return head, code


def _part(name: str) -> ModuleType:
    """A library in C from inside numba, without numba."""
    whole = find_spec("numba")
    *inside, last = name.split(".")
    places = whole.submodule_search_locations if whole else None
    found = PathFinder.find_spec(last, [str(Path(place, *inside)) for place in places or ()])
    spec = spec_from_file_location(f"numba.{name}", found.origin) if found else None
    if not (spec and spec.loader):
        raise Misfit(name)
    part = module_from_spec(spec)
    spec.loader.exec_module(part)
    return part


def _tell_symbols() -> Any:
    """Tell the linker where what the machine code calls is to be found; returns what makes functions of it."""
    import llvmlite.binding as llvm

    functions, helpers, memory = _part("_dynfunc"), _part("_helperlib"), _part("core.runtime._nrt_python")
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    for name, place in helpers.c_helpers.items():
        llvm.add_symbol(f"numba_{name}", place)
    for name, place in memory.c_helpers.items():
        llvm.add_symbol(name if name.startswith("_") else f"NRT_{name}", place)
    for name, each in vars(builtins).items():
        if isinstance(each, type) and issubclass(each, BaseException):
            llvm.add_symbol(f"PyExc_{name}", id(each))
    llvm.add_symbol("_Py_NoneStruct", id(None))
    memory.memsys_use_cpython_allocator()
    return functions


def _linked(name: str, head: dict[str, Any], code: bytes, functions: Any) -> Callable[..., Any]:
    import llvmlite.binding as llvm

    machine = llvm.Target.from_default_triple().create_target_machine(
        reloc="static", codemodel="jitdefault", jit=True
    )
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), machine)
    missing = [symbol for symbol in head["needs"] if not llvm.address_of_symbol(symbol)]
    if missing:
        raise Misfit(", ".join(missing))
    engine.add_object_file(llvm.ObjectFileRef.from_data(code))
    engine.finalize_object()
    start, settings = (engine.get_global_value_address(head[key]) for key in ("wrapper", "environment"))
    if not (start and settings):
        raise Misfit(name)
    environment = functions.Environment({"__name__": name})
    ctypes.c_void_p.from_address(settings).value = id(environment)
    module, _, function = name.rpartition(".")
    return functions.make_function(  # type: ignore[no-any-return]
        ModuleType(f"simbot.physics.{module}"),
        function,
        "machine code",
        start,
        environment,
        (engine, environment),
    )
