"""The check of the installation tells faults from notes, and each with a remedy."""

from pathlib import Path

from service import doctor
from service.doctor import LIBRARIES, Check, check_library, check_memory, check_python, check_writing, print_checks


def test_what_is_installed_is_found():
    assert check_python().ok
    assert all(check_library(d, m).ok for d, m in LIBRARIES.items())


def test_every_dependency_of_the_package_is_checked():
    import re
    import tomllib

    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"]
    assert {re.split(r"[<>=]", d)[0] for d in project["dependencies"]} == set(LIBRARIES)


def test_a_missing_library_is_a_fault_with_a_remedy():
    check = check_library("no-such-thing", "no_such_thing")
    assert check.ok is False and "does not load" in check.found and check.remedy


def test_a_damaged_model_is_a_fault(monkeypatch):
    import vision.inference

    def broken(*_):
        raise RuntimeError("the model is torn")

    monkeypatch.setattr(vision.inference, "load_model", broken)
    check = doctor.check_model()
    assert check.ok is False and "torn" in check.found and check.remedy


def test_little_memory_is_a_note(monkeypatch):
    monkeypatch.setattr(doctor, "_memory_mb", lambda: 100.0)
    assert check_memory().ok is None
    monkeypatch.setattr(doctor, "_memory_mb", lambda: 4000.0)
    assert check_memory().ok is True


def test_a_folder_that_is_not_there_is_a_fault(tmp_path):
    assert check_writing(tmp_path).ok
    assert check_writing(tmp_path / "gone").ok is False


def test_exit_status_and_words(capsys):
    assert print_checks([Check("A", True, "1.0"), Check("B", None, "odd", "Mind it.")]) == 0
    assert "All is in place." in capsys.readouterr().out
    assert print_checks([Check("A", False, "gone", "Mend it.")]) == 1
    out = capsys.readouterr().out
    assert "FAULT" in out and "Mend it." in out and "1 fault to mend." in out
