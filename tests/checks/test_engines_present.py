"""An engine that is missing skips a check for a user, and fails it in the full check."""

from __future__ import annotations

from collections.abc import Callable

import pytest


def test_missing_engine_is_skipped_for_a_user(
    need_engine: Callable[[str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="no_such_engine"):
        need_engine("no_such_engine")


def test_missing_engine_fails_the_full_check(
    need_engine: Callable[[str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="no_such_engine"):
        need_engine("no_such_engine")
