"""Walls that the import contracts in pyproject.toml cannot draw: allowed libraries, one resize, no way to a network."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator

from tests.house.tree import texts

RUNTIME = ("vision", "service")
ROOMS = {"vision", "service", "training"}
LIBRARIES = {"numpy", "cv2", "onnxruntime", "PIL", "pillow_heif", "shapely", "pydantic", "typer", "rich", "jinja2", "pint",
             "icalendar", "sqlalchemy", "alembic", "fastapi", "starlette", "anyio", "uvicorn", "argon2",
             "markupsafe"}
NETWORK = {"socket", "ssl", "urllib.request", "http.client", "ftplib", "smtplib", "asyncio.streams", "xmlrpc"}
UNSAFE = {"pickle", "marshal", "shelve", "joblib", "dill"}


def imports(text: str) -> Iterator[str]:
    """Dotted names that a module imports anywhere, also inside functions."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def runtime_imports() -> list[tuple[str, str]]:
    return [(str(p), name) for p, text in texts(".py") if p.parts[0] in RUNTIME for name in imports(text)]


def test_runtime_imports_only_base_libraries():
    allowed = LIBRARIES | ROOMS | set(sys.stdlib_module_names)
    foreign = sorted({(p, n) for p, n in runtime_imports() if n.split(".")[0] not in allowed})
    assert not foreign


def test_runtime_opens_no_connection():
    """Photos go nowhere: nothing that the program imports by itself can make a connection."""
    found = [(p, n) for p, n in runtime_imports() if n in NETWORK or n.split(".")[0] in NETWORK]
    assert not found


def test_runtime_loads_nothing_that_runs_code():
    found = [(p, n) for p, n in runtime_imports() if n.split(".")[0] in UNSAFE]
    assert not found


def resizes(text: str) -> list[int]:
    """Lines that call an image library's own resize; picking nearest labels or mask pixels is none."""
    lines = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            owner, name = node.func.value, node.func.attr
            of_cv2 = isinstance(owner, ast.Name) and owner.id == "cv2" and name in {"resize", "pyrDown", "pyrUp"}
            of_pil = isinstance(owner, ast.Name) and owner.id in {"image", "img", "im"} and name in {"resize", "thumbnail"}
            picks = any(k.arg == "interpolation" and ast.unparse(k.value) == "cv2.INTER_NEAREST" for k in node.keywords)
            if (of_cv2 and not picks) or of_pil:
                lines.append(node.lineno)
    return lines


def test_there_is_one_resize():
    found = [
        f"{p}:{line}"
        for p, text in texts(".py")
        if p.parts[0] in ROOMS and str(p) != "vision/resize.py"
        for line in resizes(text)
    ]
    assert not found, "use vision.resize.resize, so that processing looks the same everywhere"


def test_the_wall_checks_see_what_they_should():
    source = "def f():\n    import socket\n    from urllib import request\n    return cv2.resize(x, (1, 1))\n"
    assert {"socket", "urllib.request"} <= set(imports(source))
    assert resizes(source) == [4]
