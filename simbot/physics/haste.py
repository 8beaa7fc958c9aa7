"""What numba does for programs of every sort and the kernel has no use for, left out while the kernel is compiled.

The kernel's sources know numbers, arrays of floats and functions of them: nothing is caught and nothing raised, no
closures, no generators, no counted references. What comes out is the same machine code, sooner. It leans on the
inside of numba, so it is used with the versions that it was tested with, and put back for whatever else is compiled.
"""

# mypy: disable-error-code="no-untyped-call, misc, attr-defined"

from __future__ import annotations

import dis
import gc
import importlib.util
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from typing import Any

from numba.core import (
    bytecode,
    byteflow,
    errors,
    event,
    interpreter,
    ir,
    lowering,
    postproc,
    ssa,
    typeinfer,
    types,
)
from numba.core.transforms import canonicalize_cfg
from numba.core.types.functions import BaseFunction
from numba.np import arrayobj, linalg


def instructions_alone(plain: Callable[..., Any]) -> Any:
    """Python 3.11 counts the space of its inline caches as instructions, which do nothing: two of three."""

    def unpack(code: bytes) -> Iterator[tuple[Any, ...]]:
        held = None
        for offset, operation, argument, end in plain(code):
            if held and operation == dis.opmap.get("CACHE"):
                held = (*held[:3], end)
                continue
            if held:
                yield held
            held = (offset, operation, argument, end)
        if held:
            yield held

    return unpack


def no_handlers(plain: Callable[..., Any]) -> Any:
    """Whether an instruction is inside a `try` is asked only where there is one."""

    def step(self: Any, runner: Any, state: Any) -> Any:
        if self._bytecode.exception_entries:
            return plain(self, runner, state)
        return state.advance_pc()

    return step


def no_with(plain: Callable[..., Any]) -> Any:
    """`with` needs handlers too."""
    return lambda code: plain(code) if code.func_id.code.co_exceptiontable else code


NO_VARIABLES = frozenset((ir.Loc, ir.Const, ir.Global, ir.FreeVar, ir.Arg, str, int, float, bool, type(None)))


def variables(self: Any, among: Any) -> list[Any]:
    """The variables of a step; most of what it holds is of a kind that has none."""
    found: list[Any] = []
    for each in among.values() if isinstance(among, dict) else among:
        kind = type(each)
        if kind is ir.Var:
            found.append(each)
        elif kind in NO_VARIABLES:
            continue
        elif isinstance(each, ir.Inst):
            found += each.list_vars()
        elif isinstance(each, (list, tuple, dict)):
            found += variables(self, each)
    return found


def lifetimes_when_asked(plain: Callable[..., Any]) -> Any:
    """When a variable dies matters where what it holds is let go of, which an inner function never does."""

    def run(self: Any, emit_dels: bool = False, extend_lifetimes: bool = False) -> None:
        if emit_dels:
            plain(self, emit_dels, extend_lifetimes)
            return
        self.func_ir.blocks = canonicalize_cfg(self.func_ir.blocks)
        self.func_ir.variable_lifetime = postproc.VariableLifetime(self.func_ir.blocks)
        self.func_ir.generator_info = None

    return run


class Within:
    """What an error happened in, put together if there is one."""

    def __init__(self, words: str, *values: Any, **named: Any) -> None:
        self.said = words, values, named

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: Any, error: Any, trace: Any) -> None:
        if isinstance(error, errors.NumbaError):
            words, values, named = self.said
            error.add_context(words.format(*values, **named))


def looked_up_once(plain: Callable[..., Any]) -> Any:
    """The types of a call of numba's own functions, once for each kind of arguments."""
    known: dict[tuple[int, Any], tuple[Any, Any]] = {}

    def call_type(self: Any, context: Any, args: Any, words: Any) -> Any:
        if words:
            return plain(self, context, args, words)
        key = (id(self), args)
        if key not in known:
            known[key] = (plain(self, context, args, words), self)
        return known[key][0]

    return call_type


def as_it_is(context: Any, builder: Any, kind: Any, index: Any, size: Any) -> Any:
    """An index: numba asks of each whether it counts from the end, which none here does, a third of the code."""
    return context.cast(builder, index, kind, types.intp if kind.signed else types.uintp)


def nothing(*given: Any, **named: Any) -> None:
    pass


class Quiet:
    """Of hundreds of thousands of remarks for numba's developers."""

    debug = staticmethod(nothing)


def no_warnings(*given: Any, **named: Any) -> Any:
    return nullcontext()


ALTERED: tuple[tuple[Any, str, Callable[[Any], Any]], ...] = (
    (bytecode, "_unpack_opargs", instructions_alone),
    (byteflow.Flow, "_run_handle_exception", no_handlers),
    (interpreter, "peep_hole_delete_with_exit", no_with),
    (byteflow, "_logger", lambda plain: Quiet),
    (ssa, "_logger", lambda plain: Quiet),
    (ir.Inst, "_rec_list_vars", lambda plain: variables),
    (postproc.PostProcessor, "run", lifetimes_when_asked),
    (typeinfer, "new_error_context", lambda plain: Within),
    (lowering, "new_error_context", lambda plain: Within),
    (errors, "new_error_context", lambda plain: Within),
    (errors.WarningsFixer, "catch_warnings", lambda plain: no_warnings),
    (event, "start_event", lambda plain: nothing),
    (event, "end_event", lambda plain: nothing),
    (BaseFunction, "get_call_type", looked_up_once),
    (arrayobj, "fix_integer_index", lambda plain: as_it_is),
)


@contextmanager
def in_haste() -> Iterator[None]:
    """All of that, and no garbage collected meanwhile."""
    kept = [(owner, name, getattr(owner, name)) for owner, name, _ in ALTERED]
    collecting = gc.isenabled()
    gc.disable()
    try:
        for (owner, name, how), (*_, plain) in zip(ALTERED, kept, strict=True):
            setattr(owner, name, how(plain))
        yield
    finally:
        for owner, name, plain in kept:
            setattr(owner, name, plain)
        if collecting:
            gc.enable()


@contextmanager
def without_matrices() -> Iterator[None]:
    """Numba's tables are made without loading scipy to see whether it is there; whoever needs it loads it then."""

    def found() -> None:
        if importlib.util.find_spec("scipy") is None:
            raise ImportError("no scipy")

    plain, linalg.ensure_blas = linalg.ensure_blas, found
    try:
        yield
    finally:
        linalg.ensure_blas = plain
