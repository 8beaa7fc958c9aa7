"""The way the kernel is compiled: inner functions alone are no code, and what is altered meanwhile is put back."""

from __future__ import annotations

import gc
import re
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numba
import numpy as np
import pytest

from simbot.physics import layout as L
from simbot.physics import with_numba
from simbot.physics.with_numba import entry, inner

TRIED = pytest.mark.skipif(not with_numba.one_program, reason="another numba than was tried")


def altered() -> list[Any]:
    from simbot.physics import haste

    return [getattr(owner, name) for owner, name, _ in haste.ALTERED]


@inner
def doubled(x: float) -> Any:
    return 2.0 * x


@inner
def doubled_and_one(x: float) -> Any:
    return doubled(x) + 1.0


def _whole(values: Any) -> Any:
    total = 0.0
    for i in range(len(values)):
        total += doubled_and_one(values[i])
    return total


@TRIED
def test_an_entry_takes_along_what_it_calls_through_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path))  # compiled here, not found in a cache
    plain = altered()
    whole = entry(_whole)
    assert whole(np.array([1.0, 2.5, -4.0])) == 2.0
    assert altered() == plain and gc.isenabled()
    (found,) = doubled_and_one.overloads.values()  # type: ignore[attr-defined]
    (called,) = doubled.overloads.values()  # type: ignore[attr-defined]
    module = found.library._get_module_for_linking()
    assert module.get_function(called.fndesc.llvm_func_name).is_declaration, "its own code holds no other's"


@inner
def kinds_of_numbers(x: float, n: int) -> Any:
    layout = L
    even = n % 2 == 0 and n - 1 < 3 * n
    return (x / 4.0 if even else -x) + layout.ORDER * n + L.LOG_T - n // 2


def _sum_of_elements(table: Any, line: Any, k: int) -> Any:
    for i in range(len(line)):
        line[i] += kinds_of_numbers(table[i, k] * 2, i)
        table[k, i] = line[i] if table[k, 0] != table[k, 1] else i
    return line[k] - table[k, -k + 1], 0.0 / (table[0, 0] - table[0, 0]) <= 1.0


@TRIED
def test_arithmetic_and_elements_are_those_of_python(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path))
    table, line = np.arange(9.0).reshape(3, 3) / 7.0, np.array([0.5, -3.0, 1e-3])
    again = table.copy(), line.copy()
    with np.errstate(invalid="ignore"), monkeypatch.context() as patch:
        patch.setitem(globals(), "kinds_of_numbers", kinds_of_numbers.py_func)  # type: ignore[attr-defined]
        right = _sum_of_elements(*again, 1)
    assert entry(_sum_of_elements)(table, line, 1) == right
    assert np.array_equal(table, again[0]) and np.array_equal(line, again[1])


@TRIED
def test_a_mistake_in_an_entry_puts_everything_back() -> None:
    plain = altered()

    @entry
    def wrong(values: Any) -> Any:
        return values + "text"

    with pytest.raises(Exception, match="No implementation"):
        wrong(np.zeros(2))
    assert altered() == plain and gc.isenabled()


def machine_code() -> list[str]:
    """The instructions of an entry with an inner function, both compiled here, without the names, which count up."""

    @inner
    def turned(values: Any, i: int) -> Any:
        top = max(values[i], 0.5)
        while top > 1.0:
            top /= 2.0
            if top == 1.25:
                return -top, i
        return min(top, 1.0 + i), i + 1

    def entered(values: Any, n: int) -> Any:
        total, i = 0.0, 0
        for _ in range(n):
            part, i = turned(values, i)
            if part > 0.0 and i < int(values[0]) ** 2:
                total += part
            else:
                values[0] = total
        return total, i

    whole = entry(entered)
    whole.compile("(float64[::1], int64)")  # type: ignore[attr-defined]
    (text,) = whole.inspect_asm().values()  # type: ignore[attr-defined]
    lines = re.sub(r"_ZN[\w$.]+", "", text).splitlines()
    return [line for line in lines if re.match(r"\s+[a-z]", line)]


@TRIED
def test_what_is_left_out_changes_no_instruction(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from simbot.physics import haste

    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path))
    hasty = machine_code()
    kept = [each for each in haste.ALTERED if each[1] == "fix_integer_index"]  # which does
    monkeypatch.setattr(haste, "ALTERED", kept)
    assert len(hasty) > 100 and hasty == machine_code()


def test_what_others_compile_counts_from_the_end() -> None:
    """Whoever uses numba in the same process has indices below 0, after a kernel entry was compiled too."""

    @numba.njit
    def last(values: Any) -> Any:
        try:
            return values[-1]
        except Exception:
            return 0.0

    assert entry(_whole)(np.array([1.0])) == 3.0
    assert last(np.array([1.0, 2.0, 3.0])) == 3.0


def test_the_version_that_is_tested_is_tried() -> None:
    assert version("numba").startswith(with_numba.TRIED)
