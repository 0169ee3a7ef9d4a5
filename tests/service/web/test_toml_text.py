"""JSON values written as TOML come back the same through the standard library's reader (TOML 1.0)."""

from __future__ import annotations

import tomllib
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.web.toml_text import toml_of
from vision.errors import UsageError

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
PLAIN = TEXT | st.booleans() | st.integers(-(2**63) + 1, 2**63 - 1) | st.floats(allow_nan=False, allow_infinity=False)
VALUES = st.recursive(PLAIN, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4), max_leaves=12)


def plain(value):
    """Days as the texts they were."""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list):
        return [plain(v) for v in value]
    return {k: plain(v) for k, v in value.items()} if isinstance(value, dict) else value


@given(st.dictionaries(TEXT, VALUES, max_size=5))
def test_there_and_back(values):
    try:
        text = toml_of(values, "x")
    except UsageError as err:
        assert "too deep" in err.cause
        return
    assert plain(tomllib.loads(text)) == values


def test_days_are_days_and_nothing_is_left_out():
    assert tomllib.loads(toml_of({"start": "2026-03-02", "no": "2026-02-30", "gone": None, "in": {"a": None}}, "x")) == {
        "start": date(2026, 3, 2), "no": "2026-02-30", "in": {}}  # fmt: skip


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 2**70, "\ud800", b"x", object(), [[[[[[[[[[1]]]]]]]]]]])
def test_what_cannot_be_carried_is_refused(value):
    with pytest.raises(UsageError):
        toml_of({"a": value}, "x")
