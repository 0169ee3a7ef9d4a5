"""The program from the outside: exit status, what goes to which stream, files written."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from service import session
from service.cli import app
from service.contract import Document
from tests.service.chest import ChestEngine, chest_photo

ROOT = Path(__file__).parents[2]
#: Runs the program with the stand-in engine, which here also litters standard output from Python and from below it.
WITH_STAND_IN = """
import os, sys
from service import session
from service.cli import main
from tests.service.chest import ChestEngine
class Noisy(ChestEngine):
    def assess(self, photos, **kw):
        print("noise from python")
        os.write(1, b"noise from native code\\n")
        return super().assess(photos, **kw)
session.make_engine = Noisy
sys.argv[0] = "grainassay"
main()
"""


def program(*args, cwd, code=WITH_STAND_IN):
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"}
    command = [sys.executable, "-c", code, *map(str, args)]
    return subprocess.run(command, cwd=cwd, capture_output=True, text=True, env=env, timeout=120)


@pytest.fixture()
def place(tmp_path):
    chest_photo(tmp_path / "chest.jpg")
    chest_photo(tmp_path / "other.jpg", 1)
    (tmp_path / "bad.jpg").write_bytes(b"not a picture")
    return tmp_path


@pytest.fixture()
def inside(place, monkeypatch):
    """Quick way in: same process, stand-in engine, current folder set."""
    monkeypatch.chdir(place)
    monkeypatch.setattr(session, "make_engine", ChestEngine)
    return lambda *args: CliRunner().invoke(app, list(args))


def test_json_is_the_only_thing_on_stdout(place):
    done = program("look", "chest.jpg", "other.jpg", "--json", cwd=place)
    assert done.returncode == 0, done.stderr
    doc = Document.model_validate(json.loads(done.stdout))
    assert done.stdout.count("\n") == 1
    assert [p.file for p in doc.photos] == ["chest.jpg", "other.jpg"]
    assert "noise from python" in done.stderr and "noise from native code" in done.stderr
    assert sorted(p.name for p in place.iterdir()) == ["bad.jpg", "chest.jpg", "other.jpg"]


def test_a_photo_that_cannot_be_used_gives_3(place):
    done = program("look", "bad.jpg", "chest.jpg", "--json", cwd=place)
    doc = json.loads(done.stdout)
    assert done.returncode == 3
    assert [p["file"] for p in doc["photos"]] == ["chest.jpg"]
    assert doc["refused"][0]["file"] == "bad.jpg" and doc["refused"][0]["remedy"]
    assert "bad.jpg" in done.stderr and "Traceback" not in done.stderr


def test_nothing_usable_gives_4_and_still_a_document(place):
    done = program("look", "bad.jpg", "gone.jpg", "--json", cwd=place)
    doc = Document.model_validate(json.loads(done.stdout))
    assert (done.returncode, doc.photos, len(doc.refused)) == (4, [], 2)


@pytest.mark.parametrize("args", [
    ["look"], ["look", "chest.jpg", "--at", "x"], ["look", "chest.jpg", "--at", "5000,1"], ["look", "chest.jpg", "--no-such"],
    ["look", "chest.jpg", "other.jpg", "--at", "5,5"], ["look", "chest.jpg", "--outlines", "gone.json"], ["glance"],
])
def test_a_request_that_makes_no_sense_gives_2_and_no_document(place, args):
    done = program(*args, "--json", cwd=place) if args[0] == "look" else program(*args, cwd=place)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr and "Traceback" not in done.stderr


def test_summary_and_files(place):
    done = program("look", "chest.jpg", cwd=place)
    assert done.returncode == 0, done.stderr
    folder = place / "grainassay-out" / "chest"
    assert sorted(p.name for p in folder.iterdir()) == ["assessment.json", "p1-evidence.jpg", "report.html"]
    for name in ("report.html", "assessment.json", "p1-evidence.jpg"):
        assert name in done.stdout
    assert "What could cost you" in done.stdout and "noise" not in done.stdout


def test_a_reader_that_goes_away_costs_no_files(place):
    """As in `| head`: the summary has nowhere to go, the report is still written."""
    gone, end = os.pipe()
    os.close(gone)
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"}
    done = subprocess.run([sys.executable, "-c", WITH_STAND_IN, "look", "chest.jpg", "--out", "headless"], cwd=place, stdout=end,
                          stderr=subprocess.PIPE, text=True, env=env, timeout=120)
    os.close(end)
    assert "Traceback" not in done.stderr
    assert (place / "headless" / "report.html").exists(), done.stderr


def test_json_with_out_writes_the_same_document(place):
    done = program("look", "chest.jpg", "--json", "--out", "here", cwd=place)
    assert done.returncode == 0
    assert (place / "here" / "assessment.json").read_text() == done.stdout


def test_a_folder_that_cannot_be_written_is_one_clear_error_before_the_work(place):
    done = program("look", "chest.jpg", "--json", "--out", "bad.jpg", cwd=place)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith("grainassay: bad.jpg: a file of that name stands in the way.")


def test_a_disk_that_fills_up_costs_no_answer(place):
    full = WITH_STAND_IN.replace("main()\n", """
from service import output
def fsync(fd):
    raise OSError(28, "No space left on device")
output.os.fsync = fsync
main()
""")
    done = program("look", "chest.jpg", "--json", "--out", "here", cwd=place, code=full)
    assert done.returncode == 1
    assert Document.model_validate(json.loads(done.stdout)).parts
    assert "the disk is full" in done.stderr and "Traceback" not in done.stderr
    assert list((place / "here").iterdir()) == []


def test_outlines_and_scale_reach_the_engine(inside):
    Path("o.json").write_text(json.dumps({"chest.jpg": [{"id": "top", "points": [[0, 0], [99, 0], [99, 99]]}]}))
    done = inside("look", "chest.jpg", "other.jpg", "--json", "--outlines", "o.json", "--at", "other.jpg=5,6",
                  "--scale", "chest.jpg=points:0,0,300,400=1000")
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout)["photos"][0]["mm_per_px"] == pytest.approx(2.0)


def test_schema_needs_no_photo(inside):
    done = inside("look", "--schema")
    assert done.exit_code == 0 and json.loads(done.stdout)["title"] == "Document"


def test_help_tells_the_exit_codes(inside):
    done = inside("look", "--help")
    assert done.exit_code == 0 and "nothing could be used" in " ".join(done.stdout.split())


def test_start_up_is_light(place):
    """Help must not wait for image libraries or the network run-time."""
    code = "import sys, service.cli; print([m for m in ('cv2', 'onnxruntime', 'pydantic', 'jinja2', 'PIL') if m in sys.modules])"
    assert program(cwd=place, code=code).stdout.strip() == "[]"
