"""Rules that hold for every file: size, words that have no place here, pictures, size of the models."""

from __future__ import annotations

import re

from tests.house.tree import ROOT, files, texts

LONGEST = 400
CODE_AND_PROSE = (".py", ".sh", ".md", ".toml", ".html", ".js", ".css", ".j2", ".txt")
PICTURES = {".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif", ".gif", ".bmp"}
PICTURE_HOMES = {"sample_images", "docs"}
MODELS_LIMIT = 25_000_000

# Written in pieces so that this file does not contain what it forbids.
_DOT = re.escape(".")
_HOSTS = [("pypi", "org"), ("python" + "hosted", "org"), ("npmjs", "org"), ("npmjs", "com"), ("deb", "debian"), ("crates", "io")]
_HOMES = "|".join(["wor" + "k", "ro" + "ot", "ho" + "me", "Us" + "ers"])
FORBIDDEN = {
    "a package registry's host": re.compile("|".join(_DOT.join(parts) for parts in _HOSTS)),
    "a path of one machine": re.compile(rf"(?<![\w.])/(?:{_HOMES})/\w"),
    "a folder of temporary files": re.compile(r"(?<![\w.])/t" + r"mp\b"),
}


def test_no_file_is_too_long():
    written = {"docs/accuracy.md", "docs/measured.md"}  # reports that commands write
    long = {str(p): n for p, text in texts(*CODE_AND_PROSE) if (n := text.count("\n")) > LONGEST and str(p) not in written}
    assert not long, f"split these files (at most {LONGEST} lines): {long}"


def test_every_python_file_says_what_it_is_for():
    silent = [str(p) for p, text in texts(".py") if text.strip() and not text.lstrip().startswith(('"""', 'r"""'))]
    assert not silent, f"a docstring should open these files: {silent}"


def test_no_file_names_a_host_or_a_machine():
    bad = [
        f"{path}:{number}: {what}: {line.strip()[:100]}"
        for path, text in texts()
        for number, line in enumerate(text.splitlines(), 1)
        for what, pattern in FORBIDDEN.items()
        if pattern.search(line)
    ]
    assert not bad, "\n".join(bad)


def test_forbidden_patterns_do_catch():
    host, machine, temporary = FORBIDDEN.values()
    assert host.search("https://py" + "pi.org/simple") and not host.search("pypi_org")
    assert machine.search("open('/ho" + "me/someone/x')") and not machine.search("see service/wo" + "rk/list")
    assert temporary.search("cd /t" + "mp") and not temporary.search("tmp_path / 'x'")


def test_pictures_lie_only_where_they_are_meant_to():
    stray = [str(p) for p in files() if p.suffix.lower() in PICTURES and p.parts[0] not in PICTURE_HOMES]
    assert not stray, f"tests make their own pictures; others belong to {sorted(PICTURE_HOMES)}: {stray}"


def test_models_in_the_package_stay_small():
    models = [p for p in files() if p.parts[:2] == ("vision", "models")]
    total = sum((ROOT / p).stat().st_size for p in models)
    assert models and total <= MODELS_LIMIT, f"{total} bytes in vision/models"


def test_foreign_weights_carry_their_notice():
    notice = (ROOT / "vision/models/NOTICE").read_text()
    assert "Apache" in notice and "efficientnet" in notice.lower()


def test_no_model_needs_code_to_load():
    unsafe = [str(p) for p in files() if p.suffix in {".pkl", ".pickle", ".joblib", ".pt", ".pth"}]
    assert not unsafe, f"models are ONNX or JSON: {unsafe}"
