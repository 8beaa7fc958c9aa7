"""The kernel's most common operations, put down as the instructions they are.

Elements of arrays of floats, and arithmetic and comparisons of two floats or two integers, make up most of the
kernel. Numba looks each of them up in its tables and takes every array apart anew; what comes out is the same. Used
with the versions of numba that it was tested with, and for nothing else than the kernel (see `one_program`).
"""

# mypy: disable-error-code="no-untyped-call, misc"

from __future__ import annotations

import operator
from typing import Any

from numba.core import cgutils, ir, types
from numba.core.lowering import Lower

DATA, SHAPE = 4, 5  # where an array has them
FLOATS = {
    operator.add: "fadd",
    operator.sub: "fsub",
    operator.mul: "fmul",
    operator.truediv: "fdiv",
}
INTEGERS = {operator.add: "add", operator.sub: "sub", operator.mul: "mul"}
COMPARISONS = {
    operator.lt: "<",
    operator.le: "<=",
    operator.gt: ">",
    operator.ge: ">=",
    operator.eq: "==",
    operator.ne: "!=",
}


def plain(kind: Any) -> bool:
    """An array of floats, one element after the other."""
    return (
        isinstance(kind, types.Array)
        and kind.dtype == types.float64
        and kind.layout == "C"
        and kind.aligned
        and 1 <= kind.ndim <= 2
    )


def two_integers(kind: Any) -> bool:
    if not isinstance(kind, types.BaseTuple) or len(kind) != 2:
        return False
    return all(isinstance(each, types.Integer) for each in kind.types)  # type: ignore[attr-defined]


class KernelLower(Lower):
    def alloca_lltype(self, name: Any, kind: Any, datamodel: Any = None) -> Any:
        return cgutils.alloca_once(self.builder, kind, name=name)

    def storevar(self, value: Any, name: Any, argidx: Any = None) -> None:
        """What a variable held is overwritten: no reference is counted that would have to be let go of."""
        self._alloca_var(name, self.typeof(name))
        if name in self._singly_assigned_vars:
            self._blk_local_varmap[name] = value
        else:
            self.builder.store(value, self.getvar(name))

    def lower_assign(self, kind: Any, step: Any) -> Any:
        expression = step.value
        if isinstance(expression, ir.Expr):
            done = None
            if expression.op in ("binop", "inplace_binop"):
                done = self.arithmetic(kind, expression)
            elif expression.op in ("getitem", "static_getitem"):
                index = expression.index if expression.op == "getitem" else expression.index_var
                place = self.element(expression.value, index) if kind == types.float64 else None
                done = None if place is None else self.builder.load(place)
            if done is not None:
                return done
        return super().lower_assign(kind, step)

    def lower_inst(self, step: Any) -> Any:
        if isinstance(step, (ir.SetItem, ir.StaticSetItem)):
            place = self.element(step.target, step.index if isinstance(step, ir.SetItem) else step.index_var)
            if place is not None:
                value = self.loadvar(step.value.name)
                value = self.context.cast(self.builder, value, self.typeof(step.value.name), types.float64)
                return self.builder.store(value, place)
        return super().lower_inst(step)

    def element(self, array: Any, index: Any) -> Any:
        """Pointer to an element of an array of floats; None for anything else."""
        kind: Any = self.typeof(array.name)
        at: Any = None if index is None else self.typeof(index.name)
        if not plain(kind):
            return None
        if kind.ndim == 1 and isinstance(at, types.Integer):
            places = [self.whole(self.loadvar(index.name), at)]
        elif kind.ndim == 2 and two_integers(at):
            both = self.loadvar(index.name)
            places = [self.whole(self.builder.extract_value(both, k), at.types[k]) for k in (0, 1)]
        else:
            return None
        whole = self.loadvar(array.name)
        place = places[0]
        if kind.ndim == 2:
            columns = self.builder.extract_value(whole, (SHAPE, 1))
            place = self.builder.add(self.builder.mul(place, columns), places[1])
        return self.builder.gep(self.builder.extract_value(whole, DATA), [place])

    def whole(self, value: Any, kind: Any) -> Any:
        return self.context.cast(self.builder, value, kind, types.intp if kind.signed else types.uintp)

    def arithmetic(self, result: Any, expression: Any) -> Any:
        """The one instruction that an operation on two floats or two integers is; None for anything else."""
        function = expression.fn if expression.op == "binop" else expression.immutable_fn
        signature = self.fndesc.calltypes[expression]
        kinds = [types.unliteral(kind) for kind in signature.args]
        known = {types.float64: FLOATS, types.int64: INTEGERS}.get(kinds[0])
        if known is None or kinds[0] != kinds[1] or signature.return_type != result:
            return None
        if function not in known and function not in COMPARISONS:
            return None
        left, right = (
            self.context.cast(self.builder, self.loadvar(each.name), self.typeof(each.name), kinds[0])
            for each in (expression.lhs, expression.rhs)
        )
        if function in known:
            return getattr(self.builder, known[function])(left, right) if result == kinds[0] else None
        if result != types.boolean:
            return None
        sign = COMPARISONS[function]
        if known is INTEGERS:
            return self.builder.icmp_signed(sign, left, right)
        compare = self.builder.fcmp_unordered if sign == "!=" else self.builder.fcmp_ordered
        return compare(sign, left, right)
