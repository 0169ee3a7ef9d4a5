"""The set-up script on machines that lack something, played with stand-ins for python3, apt-get and id."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from tests.house.tree import ROOT

NEEDED = ("sh", "dirname", "sha256sum", "cut", "cat", "grep", "rm", "mkdir", "cp", "chmod", "touch")

# A stand-in interpreter: knows the questions of the script. FACTS/<word> existing means yes.
PYTHON = """#!/bin/sh
echo "python $*" >>"$FACTS/log"
case "$*" in
    *-venv*version_info*) echo python3.11-venv ;;
    *version_info*) [ -e "$FACTS/new" ] ;;
    *ensurepip*) [ -e "$FACTS/venv" ] ;;
    "-m venv "*) mkdir -p "$3/bin"; cp "$0" "$3/bin/python" ;;
    *require-hashes*) [ ! -e "$FACTS/offline" ] ;;
esac
"""
APT = """#!/bin/sh
echo "apt-get $*" >>"$FACTS/log"
case "$*" in
    *install*-venv*) touch "$FACTS/venv"; cp "$FACTS/spare" "$BIN/python3"; chmod +x "$BIN/python3" ;;
esac
"""


class Machine:
    """A made-up machine: a checkout with only what the script reads, and a PATH with only stand-ins."""

    def __init__(self, folder: Path, *, user: int = 0) -> None:
        self.bin, self.facts, self.checkout = folder / "bin", folder / "facts", folder / "checkout"
        for f in (self.bin, self.facts, self.checkout / "make", self.checkout / "requirements"):
            f.mkdir(parents=True)
        for tool in NEEDED:
            (self.bin / tool).symlink_to(str(shutil.which(tool)))
        self.tool("id", f"#!/bin/sh\necho {user}\n")
        (self.facts / "spare").write_text(PYTHON)
        self.has("new")
        shutil.copy(ROOT / "make/environment.sh", self.checkout / "make")
        for f in ("base.lock", "dev.lock"):
            (self.checkout / "requirements" / f).write_text(f)
        (self.checkout / "pyproject.toml").write_text("x")

    def tool(self, name: str, text: str) -> None:
        path = self.bin / name
        path.write_text(text)
        path.chmod(path.stat().st_mode | stat.S_IXUSR)

    def has(self, *facts: str) -> None:
        for fact in facts:
            (self.facts / fact).touch()

    def set_up(self, want: str = "base", **extra: str) -> subprocess.CompletedProcess[str]:
        env = {"PATH": str(self.bin), "FACTS": str(self.facts), "BIN": str(self.bin), **extra}
        (self.facts / "log").write_text("")
        return subprocess.run(
            ["sh", "make/environment.sh", want], cwd=self.checkout, env=env, capture_output=True, text=True, timeout=30
        )

    def log(self) -> list[str]:
        return (self.facts / "log").read_text().splitlines()

    def installed(self) -> list[str]:
        return [line.split(" -r ")[1] for line in self.log() if " -r " in line]


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    m = Machine(tmp_path)
    m.tool("python3", PYTHON)
    m.has("venv")
    return m


def test_first_run_installs_and_second_does_nothing(machine):
    first = machine.set_up()
    assert first.returncode == 0 and machine.installed() == ["requirements/base.lock"]
    assert any("--editable ." in line and "--no-build-isolation" in line for line in machine.log())
    second = machine.set_up()
    assert second.returncode == 0 and machine.log() == [] and second.stderr == ""


def test_the_dev_environment_serves_the_base_too(machine):
    machine.set_up("dev")
    assert machine.installed() == ["requirements/dev.lock"]
    machine.set_up("base")
    assert machine.log() == []


def test_the_base_environment_does_not_serve_dev(machine):
    machine.set_up("base")
    machine.set_up("dev")
    assert machine.installed() == ["requirements/dev.lock"]


@pytest.mark.parametrize("changed", ["requirements/base.lock", "pyproject.toml"])
def test_a_changed_file_sets_up_again(machine, changed):
    machine.set_up()
    (machine.checkout / changed).write_text("changed")
    machine.set_up()
    assert machine.installed() == ["requirements/base.lock"]


def test_a_moved_checkout_gets_an_environment_of_its_own(machine, tmp_path):
    machine.set_up()
    old, machine.checkout = machine.checkout, tmp_path / "elsewhere"
    shutil.move(old, machine.checkout)
    run = machine.set_up()
    assert run.returncode == 0 and "making it anew" in run.stderr
    assert any(line.startswith("python -m venv") for line in machine.log())


def test_no_python_and_not_root_names_the_packages(tmp_path):
    m = Machine(tmp_path, user=1000)
    m.tool("apt-get", APT)
    run = m.set_up()
    assert run.returncode == 1 and m.log() == []
    assert "no Python 3.11 or newer" in run.stderr and "apt-get install python3 python3-venv" in run.stderr
    assert not (m.checkout / ".venv").exists()


def test_no_python_as_root_installs_it(tmp_path):
    m = Machine(tmp_path)
    m.tool("apt-get", APT)
    run = m.set_up()
    assert run.returncode == 0, run.stderr
    assert any("install" in line and line.endswith("python3 python3-venv") for line in m.log())
    assert m.installed() == ["requirements/base.lock"]


def test_an_old_python_does_not_count(tmp_path):
    m = Machine(tmp_path, user=1000)
    m.tool("python3", PYTHON)
    m.has("venv")
    (m.facts / "new").unlink()
    run = m.set_up()
    assert run.returncode == 1 and "no Python 3.11 or newer" in run.stderr


def test_a_chosen_python_that_is_missing_is_named(machine):
    run = machine.set_up(PYTHON="python3.99")
    assert run.returncode == 1 and "PYTHON=python3.99" in run.stderr


def test_missing_venv_package_and_not_root(tmp_path):
    m = Machine(tmp_path, user=1000)
    m.tool("python3", PYTHON)
    run = m.set_up()
    assert run.returncode == 1 and "apt-get install python3.11-venv" in run.stderr


def test_missing_venv_package_as_root_is_installed(tmp_path):
    m = Machine(tmp_path)
    m.tool("python3", PYTHON)
    m.tool("apt-get", APT)
    run = m.set_up()
    assert run.returncode == 0, run.stderr
    assert any(line.endswith("python3.11-venv") for line in m.log())


def test_a_failed_install_is_not_taken_for_ready(machine):
    machine.has("offline")
    run = machine.set_up()
    assert run.returncode == 1 and "could not be installed" in run.stderr
    (machine.facts / "offline").unlink()
    assert machine.set_up().returncode == 0 and machine.installed() == ["requirements/base.lock"]


def test_a_wrong_word_is_refused(machine):
    run = machine.set_up("everything")
    assert run.returncode == 2 and "base|dev" in run.stderr and os.listdir(machine.checkout / "make") == ["environment.sh"]
