"""What is written about the house is true of the house."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from importlib.util import find_spec

import pytest

from make import reprint
from tests.house.tree import ROOT, files, texts
from vision import registry

TABLES = {name: value for name, value in vars(registry).items() if name.isupper() and hasattr(value, "items")}
SENTENCES = {name: table for name, table in TABLES.items() if name not in {"SUBSTRATE_OF", "FACE_WORDS", "CORE_WORDS"}}
BLOCKS = reprint.blocks(ROOT)


def guide() -> str:
    return (ROOT / "DEVELOPERS.md").read_text()


def test_every_folder_is_on_the_map():
    folders = {p.parts[0] for p in files() if len(p.parts) > 1}
    missing = sorted(f for f in folders if f"`{f}/`" not in guide())
    assert not missing, f"describe these folders in DEVELOPERS.md: {missing}"


def test_every_room_of_vision_is_on_the_map():
    rooms = {p.parts[1] for p in files() if p.parts[0] == "vision" and len(p.parts) > 2}
    missing = sorted(r for r in rooms if f"`{r}/`" not in guide() and f"`vision/{r}/`" not in guide())
    assert not missing, f"describe these rooms in DEVELOPERS.md: {missing}"


def test_every_make_target_is_explained():
    targets = re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(), re.M)
    missing = [t for t in targets if f"make {t}" not in guide()]
    assert targets and not missing


def test_readme_names_the_two_commands_early():
    top = (ROOT / "README.md").read_text()[:4000]
    assert "make look" in top and "make test" in top


@pytest.mark.parametrize("name", sorted(SENTENCES))
def test_every_key_has_a_sentence(name):
    table = SENTENCES[name]
    if name == "DETAILS":  # a table of tables
        table = {f"{group}_{key}": told for group, inner in table.items() for key, told in inner.items()}
    for key, sentence in table.items():
        assert re.fullmatch(r"[a-z][a-z0-9_]*", key), key
        assert sentence[0].isupper() and sentence.endswith("."), f"{name}[{key!r}]: {sentence!r}"


def test_every_key_is_in_the_contract():
    contract = (ROOT / "docs/contract.md").read_text()
    missing = [f"{name}: {key}" for name, table in SENTENCES.items() for key in table if f"`{key}`" not in contract]
    assert not missing, f"run make figures; not in docs/contract.md: {missing}"


def test_pictures_and_files_that_documents_link_to_exist():
    dead = []
    for path, text in texts(".md"):
        for target in re.findall(r"\]\(([^)#\s]+)", text):
            if "://" not in target and not (ROOT / path.parent / target).exists():
                dead.append(f"{path}: {target}")
    assert not dead


def test_commands_in_documents_exist():
    dead = []
    for path, text in texts(".md"):
        dead += [f"{path}: {m}" for m in re.findall(r"python -m ([a-z_][\w.]*)", text) if not exists(m)]
        scripts = re.findall(r"python ((?:make|tests|benchmarks)/[\w/]+\.py)", text)
        dead += [f"{path}: {f}" for f in scripts if not (ROOT / f).exists()]
    assert not dead


def test_every_option_of_look_is_in_the_contract():
    import typer

    from service.cli import app

    command = typer.main.get_command(app).commands["look"]
    options = {name for p in command.params for name in p.opts if name.startswith("--")}
    contract = (ROOT / "docs/contract.md").read_text()
    assert len(options) >= 5 and not {o for o in options if f"`{o}" not in contract}


def exists(module: str) -> bool:
    try:
        return find_spec(module) is not None
    except ModuleNotFoundError:
        return False


def test_there_are_reprinted_blocks():
    assert any(b.exact for b in BLOCKS)


@pytest.mark.parametrize("block", [b for b in BLOCKS if b.exact], ids=lambda b: f"{b.path.name}:{b.command}")
def test_exact_blocks_are_what_their_command_prints(block):
    command = shlex.split(block.command)
    assert command[0] == "python"
    printed = subprocess.run([sys.executable, *command[1:]], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    assert printed.strip() == block.text.strip(), f"make figures: {block.path} is out of date"


@pytest.mark.parametrize("block", [b for b in BLOCKS if not b.exact], ids=lambda b: f"{b.path.name}:{b.command}")
def test_measured_blocks_name_a_command_that_exists(block):
    command = shlex.split(block.command)
    assert command[:2] == ["python", "-m"] and exists(command[2])
    assert re.search(r"\d", block.text), "a block of figures holds figures"
