"""The lock files: pinned, hashed, naming no host, in step with each other and with pyproject.toml."""

from __future__ import annotations

import re
import tomllib

import pytest

from tests.house.tree import ROOT

LOCKS = ("base", "dev")
PIN = re.compile(r"^(?P<name>[a-z0-9][a-z0-9._-]*)==(?P<version>[^ ;\\]+)(?P<marker> ;[^\\]*)? \\$")
HASH = re.compile(r"^    --hash=sha256:[0-9a-f]{64}( \\)?$")


def lines(lock: str) -> list[str]:
    return [x for x in (ROOT / f"requirements/{lock}.lock").read_text().splitlines() if x and not x.startswith("#")]


def pins(lock: str) -> dict[str, str]:
    return {m["name"]: m["version"] for line in lines(lock) if (m := PIN.match(line))}


def wanted(*extras: str) -> set[str]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    rows = list(project["dependencies"])
    for extra in extras:
        rows += project["optional-dependencies"][extra]
    return {re.match(r"[A-Za-z0-9._-]+", row)[0].lower().replace("_", "-") for row in rows}  # type: ignore[index]


@pytest.mark.parametrize("lock", LOCKS)
def test_every_line_is_a_pin_or_a_hash(lock):
    strange = [x for x in lines(lock) if not PIN.match(x) and not HASH.match(x)]
    assert not strange, f"hosts, paths, options or unpinned requirements: {strange[:5]}"


@pytest.mark.parametrize("lock", LOCKS)
def test_every_pin_has_a_hash(lock):
    rows = lines(lock)
    bare = [row for row, after in zip(rows, [*rows[1:], ""], strict=True) if PIN.match(row) and not HASH.match(after)]
    assert not bare


def test_both_locks_pin_the_same_versions():
    base, dev = pins("base"), pins("dev")
    assert base and {n: dev.get(n) for n in base} == base


def test_locks_cover_pyproject():
    assert wanted() <= set(pins("base"))
    assert wanted("training", "scenes", "dev") <= set(pins("dev"))


def test_the_program_itself_stays_light():
    heavy = {"torch", "scipy", "scikit-learn", "scikit-image", "pandas", "matplotlib", "mitsuba", "sympy", "onnx", "skl2onnx"}
    assert not heavy & set(pins("base"))
