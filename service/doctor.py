"""`grainassay doctor`: is everything in place, and if not, what to do about it."""

from __future__ import annotations

import importlib
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from service.version import PROGRAM

#: Distributions the program runs on: distribution name -> module.
LIBRARIES = {
    "numpy": "numpy", "opencv-python-headless": "cv2", "onnxruntime": "onnxruntime", "pillow": "PIL",
    "pillow-heif": "pillow_heif", "shapely": "shapely", "pydantic": "pydantic", "typer": "typer", "rich": "rich",
    "jinja2": "jinja2", "pint": "pint", "icalendar": "icalendar",
    "sqlalchemy": "sqlalchemy", "alembic": "alembic", "fastapi": "fastapi", "uvicorn": "uvicorn",
    "python-multipart": "python_multipart", "argon2-cffi": "argon2",
}
#: What one large photo needs, and what a few reports take.
NEEDED_MEMORY_MB, NEEDED_DISK_MB = 900, 50
REINSTALL = "Install the program again (make look does all of it), or: pip install --force-reinstall grainassay"


@dataclass(frozen=True)
class Check:
    """One thing looked at. `ok`: True fine, False a fault, None a warning; `remedy` says what to do."""

    name: str
    ok: bool | None
    found: str
    remedy: str = ""


def check_python() -> Check:
    """Python 3.11 or newer."""
    found = ".".join(map(str, sys.version_info[:3]))
    return Check("Python", sys.version_info >= (3, 11), found, "Install Python 3.11 or newer.")


def check_library(distribution: str, module: str) -> Check:
    """The library imports; a broken install fails here rather than in the middle of a photo."""
    try:
        importlib.import_module(module)
    except Exception as err:
        return Check(distribution, False, f"does not load ({type(err).__name__}: {err})", REINSTALL)
    try:
        return Check(distribution, True, metadata.version(distribution))
    except metadata.PackageNotFoundError:
        return Check(distribution, None, "loads, but is not installed as a package", REINSTALL)


def check_heic() -> Check:
    """A tiny HEIC picture goes there and back."""
    import io

    try:
        import pillow_heif
        from PIL import Image

        pillow_heif.register_heif_opener()
        buffer = io.BytesIO()
        Image.new("RGB", (64, 64), (120, 90, 60)).save(buffer, "HEIF")
        buffer.seek(0)
        with Image.open(buffer) as im:
            im.load()
        return Check("HEIC photos", True, "can be read")
    except Exception as err:
        # Writing may be missing from a build that reads well: then only say that it could not be tried.
        reads = "pillow_heif" in sys.modules
        remedy = "Install pillow-heif again, or save photos as JPEG on the phone."
        return Check("HEIC photos", None if reads else False, f"could not be tried ({err})", remedy)


def check_model() -> Check:
    """The packaged model loads and fits the feature schema of this program; its files are whole."""
    try:
        from vision.inference import load_model

        model = load_model()
        info = model.info_for("reference")
    except Exception as err:
        return Check("Model", False, str(err) or type(err).__name__, REINSTALL)
    basis = {"rendered": "renders only", "mixed": f"{info.real_specimens} real specimens, taught with renders too",
             "real": f"{info.real_specimens} real specimens"}[info.basis]
    return Check("Model", True, f"{info.id}, measurements {info.feature_schema}, calibrated on {basis}")


def check_backbone() -> Check:
    """The network for the overall look opens."""
    try:
        import onnxruntime

        import vision

        path = Path(vision.__file__).parent / "models" / "backbone.onnx"
        onnxruntime.InferenceSession(str(path), providers=["CPUExecutionProvider"])
        return Check("Image backbone", True, f"{path.stat().st_size / 2**20:.1f} MB, opens")
    except Exception as err:
        return Check("Image backbone", False, f"does not open ({type(err).__name__})", REINSTALL)


def check_panel_net() -> Check:
    """The network taught on panels opens."""
    try:
        from vision import panel_net

        panel_net.session()
        return Check("Panel net", True, "opens")
    except Exception as err:
        return Check("Panel net", False, f"does not open ({type(err).__name__})", REINSTALL)


def check_panel_finder() -> Check:
    """The head and the net that find panels open."""
    try:
        from vision.panels.learned import shipped_net
        from vision.panels.surface import shipped_head

        shipped_head()
        shipped_net()
        return Check("Panel finder", True, "opens")
    except Exception as err:
        return Check("Panel finder", False, str(err) or type(err).__name__, REINSTALL)


def check_small_models() -> Check:
    """What tells repeats, layouts and roles opens."""
    try:
        from vision.layouts import learned
        from vision.layouts.naming import load_forest
        from vision.parts.role_model import shipped_roles
        from vision.repeats.likelihood import stored

        stored()
        load_forest()
        learned.shipped_net()
        shipped_roles()
        return Check("Repeats, layouts, roles", True, "opens")
    except Exception as err:
        return Check("Repeats, layouts, roles", False, str(err) or type(err).__name__, REINSTALL)


def check_detail_models() -> Check:
    """What reads narrow sides, joints, hardware and damage opens."""
    try:
        from vision.damage.net import shipped_net
        from vision.edges.find_model import load_strip_model
        from vision.edges.naming import load_edge_model
        from vision.edges.net import load_edge_net
        from vision.hardware import net, read
        from vision.joints.chances import stored

        load_edge_model()
        load_edge_net()
        load_strip_model()
        stored()
        read.stored()
        net.session()
        shipped_net()
        return Check("Edges, joints, hardware, damage", True, "opens")
    except Exception as err:
        return Check("Edges, joints, hardware, damage", False, str(err) or type(err).__name__, REINSTALL)


def _memory_mb() -> float | None:
    try:
        for line in Path("/proc/meminfo").read_text("ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return int(line.split()[1]) / 1024
    except (OSError, ValueError, IndexError):
        pass
    return None


def check_memory() -> Check:
    """Enough memory for a large photo."""
    free = _memory_mb()
    if free is None:
        return Check("Memory", None, "free memory cannot be read here", f"A large photo needs about {NEEDED_MEMORY_MB} MB.")
    remedy = f"A large photo needs about {NEEDED_MEMORY_MB} MB: close other programs."
    return Check("Memory", True if free >= NEEDED_MEMORY_MB else None, f"{free:.0f} MB free", remedy)


def check_writing(folder: Path) -> Check:
    """Reports can be written to the current folder."""
    try:
        with tempfile.TemporaryFile(dir=folder) as f:
            f.write(b"x" * 1024)
        free = shutil.disk_usage(folder).free / 2**20
    except OSError as err:
        return Check("Writing here", False, f"{folder}: {err.strerror}", "Go to a folder of your own, or use --out DIR.")
    remedy = f"Make room; a report takes up to {NEEDED_DISK_MB} MB."
    return Check("Writing here", free >= NEEDED_DISK_MB, f"{free:.0f} MB free", remedy)


def check_text() -> Check:
    """The terminal takes the characters of the summary."""
    encoding = (sys.stdout.encoding or "ascii").lower().replace("-", "")
    good = encoding.startswith("utf")
    return Check("Terminal text", True if good else None, sys.stdout.encoding or "unknown", "Set PYTHONIOENCODING=utf-8.")


def examine() -> list[Check]:
    """All checks, in the order of what they build on."""
    out = [check_python(), *(check_library(d, m) for d, m in LIBRARIES.items())]
    further: Sequence[Callable[[], Check]] = (
        check_heic, check_backbone, check_panel_net, check_panel_finder, check_small_models, check_detail_models, check_model,
        check_memory, check_text)
    return [*out, *(check() for check in further), check_writing(Path(os.getcwd()))]


def print_checks(checks: Sequence[Check]) -> int:
    """Print the list; returns the exit status, 1 when anything is at fault."""
    word = {True: "ok     ", None: "note   ", False: "FAULT  "}
    print(PROGRAM)
    for c in checks:
        print(f"{word[c.ok]}{c.name}: {c.found}")
        if c.ok is not True and c.remedy:
            print(f"         {c.remedy}")
    faults = sum(c.ok is False for c in checks)
    print("All is in place." if not faults else f"{faults} fault{'s' if faults > 1 else ''} to mend.")
    return 1 if faults else 0
