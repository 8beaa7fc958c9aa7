"""Compiles the kernel as one program: what an entry calls is optimised with it, once, and nothing else is.

As it comes, numba optimises every function together with all that it calls and makes machine code of it, so that
the innermost ones are done over and over for callers that Python never calls. Here the inner functions are only
lowered (most of their operations by `lowering`); an entry gathers them. Meanwhile `haste` leaves out what numba does
for programs of every sort. Together that is less than a third of the time.
It leans on the inside of numba, so it is used with the versions that it was tested with (TRIED) and no other; the
plain way is slower and gives the same code.
"""

# mypy: disable-error-code="no-untyped-call, misc"

from __future__ import annotations

import inspect
from types import ModuleType
from typing import Any

from numba import _dynfunc  # type: ignore[attr-defined]
from numba.core import ir, typed_passes, types, untyped_passes
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompilerBase, DefaultPassBuilder
from numba.core.compiler_machinery import FunctionPass, register_pass
from numba.core.runtime import rtsys  # type: ignore[attr-defined]
from numba.core.typed_passes import NativeLowering

from simbot.physics import ready
from simbot.physics.compiled import cache_folder
from simbot.physics.haste import in_haste, without_matrices
from simbot.physics.lowering import KernelLower, plain

UNUSED = (
    untyped_passes.WithLifting,
    untyped_passes.InlineClosureLikes,
    untyped_passes.RewriteDynamicRaises,
    untyped_passes.MakeFunctionToJitFunction,
    untyped_passes.InlineInlinables,
    untyped_passes.FindLiterallyCalls,
    untyped_passes.LiteralUnroll,
    untyped_passes.LiteralPropagationSubPipelinePass,
    typed_passes.DumpParforDiagnostics,
    typed_passes.InlineOverloads,
)
KINDS = {"float": types.float64, "int": types.int64, "bool": types.boolean}


class Unlinked(JITCodeLibrary):
    """The code of an inner function as it was lowered: neither optimised nor turned into machine code."""

    def add_llvm_module(self, ll_module: Any) -> None:
        self._final_module = ll_module  # the only one

    def finalize(self) -> None:
        self._finalized = True


class Whole(JITCodeLibrary):
    """The code of an entry with all that it calls, directly or not: optimised once, as one program.

    Nobody else calls what it calls, so that arguments and answers which nobody needs are dropped: a fifth of the time.
    """

    def finalize(self) -> None:
        found: dict[int, Any] = {}
        waiting = list(self._linking_libraries)
        while waiting:
            library = waiting.pop()
            if id(library) not in found:
                found[id(library)] = library
                waiting += library._linking_libraries
        self._linking_libraries = list(found.values())
        self._own = {each.name for each in self._final_module.functions if not each.is_declaration}
        super().finalize()

    def _optimize_final_module(self) -> None:
        """All passes once: a round of cheap ones before them is for counted references, of which there are none."""
        for each in self._final_module.functions:
            if not each.is_declaration and each.name not in self._own:
                each.linkage = "internal"
        passes, builder = self._codegen._module_pass_manager()
        passes.run(self._final_module, builder)


@register_pass(mutates_CFG=False, analysis_only=False)
class FoldConstants(FunctionPass):
    """A number that a module holds (`layout.SPEED`) is that number, and no look into the module."""

    _name = "simbot_fold_constants"

    def __init__(self) -> None:
        super().__init__()

    def run_pass(self, state: Any) -> bool:
        for block in state.func_ir.blocks.values():
            fold(block, state.func_ir._definitions)
        return True


def fold(block: ir.Block, definitions: Any) -> None:
    modules: dict[str, Any] = {}
    folded = set()
    for step in block.find_insts(ir.Assign):
        value = step.value
        if isinstance(value, ir.Global) and isinstance(value.value, ModuleType):
            if step.target.name.startswith("$"):  # loaded for the next step alone, not kept under a name
                modules[step.target.name] = value.value
        elif isinstance(value, ir.Expr) and value.op == "getattr" and value.value.name in modules:
            number = getattr(modules[value.value.name], value.attr)
            if isinstance(number, (int, float)):
                step.value = ir.Const(number, value.loc, use_literal_type=False)
                definitions[step.target.name] = [step.value]
                folded.add(value.value.name)
    block.body = [
        step for step in block.body if not (isinstance(step, ir.Assign) and step.target.name in folded)
    ]


@register_pass(mutates_CFG=True, analysis_only=False)
class LowerInner(NativeLowering):
    _name = "simbot_lower_inner"
    lowering_class = KernelLower

    def run_pass(self, state: Any) -> bool:
        state.flags.no_compile = True
        state.library = library = Unlinked(state.targetctx.codegen(), state.func_id.func_qualname)
        super().run_pass(state)
        lowered = state["cr"]
        module, name = lowered.fndesc.lookup_module(), lowered.fndesc.qualname
        handle = _dynfunc.make_function(
            module, name, "called by compiled code only", 0, lowered.env, (library,)
        )
        state.targetctx.insert_user_function(handle, lowered.fndesc, [library])
        state["cr"] = lowered._replace(cfunc=handle)
        return True


@register_pass(mutates_CFG=True, analysis_only=False)
class LowerEntry(NativeLowering):
    _name = "simbot_lower_entry"
    lowering_class = KernelLower

    def run_pass(self, state: Any) -> bool:
        state.library = Whole(state.targetctx.codegen(), state.func_id.func_qualname)
        state.library.enable_object_caching()
        done = bool(super().run_pass(state))
        keep_ready(state)
        return done


def keep_ready(state: Any) -> None:
    """Keep an entry's machine code for `ready`, where it was compiled for the arguments that its signature says."""
    function = state.func_id.func
    words = inspect.get_annotations(function)
    said = [words.get(each, "") for each in inspect.signature(function).parameters]
    fits = (
        plain(kind) if word == "Array" else kind == KINDS.get(word)
        for word, kind in zip(said, state.args, strict=True)
    )
    name = ready.name_of(function)
    if name not in ready.ENTRIES or not all(fits):
        return
    module, lowered = state.library._final_module, state["cr"].fndesc
    needs = [
        each.name
        for each in (*module.functions, *module.global_variables)
        if each.is_declaration and not each.name.startswith("llvm.")
    ]
    ready.keep(
        cache_folder(),
        name,
        state.library._get_compiled_object(),
        lowered.llvm_cpython_wrapper_name,
        lowered.env_name,
        needs,
    )


class InnerCompiler(CompilerBase):
    """The usual passes less those for closures and lists of types, with a last one of its own."""

    lowering: type[NativeLowering] = LowerInner
    unused: tuple[Any, ...] = (
        *UNUSED,
        typed_passes.IRLegalization,
    )  # which says where what is counted is let go of

    def __init__(self, typing: Any, target: Any, *others: Any) -> None:
        """Numba's tables are up to date: the entry has just seen to that."""
        typing.refresh = target.refresh = lambda: None
        try:
            super().__init__(typing, target, *others)
        finally:
            del typing.refresh, target.refresh

    def define_pipelines(self) -> list[Any]:
        passes = DefaultPassBuilder.define_nopython_pipeline(self.state)
        kept = [(step, why) for step, why in passes.passes if step not in self.unused]
        passes.passes = [(self.lowering if step is NativeLowering else step, why) for step, why in kept]
        passes.add_pass_after(FoldConstants, untyped_passes.IRProcessing)
        passes._finalized = False
        passes.finalize()
        passes._runPass = lambda index, step, state: step.run_pass(state)  # unwatched
        return [passes]


class EntryCompiler(InnerCompiler):
    lowering = LowerEntry
    unused = UNUSED

    def __init__(self, *given: Any) -> None:
        with without_matrices():
            CompilerBase.__init__(self, *given)

    def _compile_core(self) -> Any:
        with in_haste():
            return super()._compile_core()


def reload_lightly(dispatcher: Any) -> Any:
    """Machine code comes from the cache without the tables by which numba compiles, which take a while."""
    cache = dispatcher._cache

    def load_overload(signature: Any, target: Any) -> Any:
        rtsys.initialize(target)  # code that makes arrays asks it for memory
        with cache._guard_against_spurious_io_errors():
            return cache._load_overload(signature, target)

    cache.load_overload = load_overload
    return dispatcher
