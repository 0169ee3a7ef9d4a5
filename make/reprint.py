"""Figure blocks in the documents: what a command prints stands in the text, and the command can print it again.

    <!-- exact: python -m make.words FACES -->      the same on every machine; a test compares it
    <!-- measured: python -m benchmarks.install_weight -->  differs by machine; written anew on request
    ...
    <!-- end -->

    python -m make.reprint           list the blocks
    python -m make.reprint --write   run every command and write its output into the documents
    python -m make.reprint --write --exact   the same for exact blocks only (quick)
"""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

BLOCK = re.compile(r"^<!-- (exact|measured): ([^\n]+?) -->\n(.*?)\n?^<!-- end -->$", re.S | re.M)


@dataclass(frozen=True)
class Block:
    """One block: document, command, whether its output is the same everywhere, and the text that stands there."""

    path: Path
    command: str
    exact: bool
    text: str


def documents(root: Path) -> list[Path]:
    """README.md, DEVELOPERS.md and docs/*.md where they exist."""
    return [p for p in (root / "README.md", root / "DEVELOPERS.md", *sorted((root / "docs").glob("*.md"))) if p.exists()]


def blocks(root: Path) -> list[Block]:
    """All blocks of all documents, in order."""
    return [
        Block(path, command, kind == "exact", text)
        for path in documents(root)
        for kind, command, text in BLOCK.findall(path.read_text())
    ]


def printed(root: Path, command: str) -> str:
    """What `command` prints, run with this interpreter from the checkout's top."""
    words = shlex.split(command)
    if words[0] != "python":
        raise ValueError(f"a block's command starts with python: {command}")
    run = subprocess.run([sys.executable, *words[1:]], cwd=root, check=True, stdout=subprocess.PIPE, text=True)
    return run.stdout.strip("\n")


def write(root: Path, *, exact_only: bool = False) -> None:
    """Run the commands and write their output into the documents."""
    for path in documents(root):
        text = path.read_text()

        def renewed(match: re.Match[str]) -> str:
            kind, command, _ = match.groups()
            if exact_only and kind != "exact":
                return match[0]
            print(command, file=sys.stderr)
            return f"<!-- {kind}: {command} -->\n{printed(root, command)}\n<!-- end -->"

        path.write_text(BLOCK.sub(renewed, text))


if __name__ == "__main__":
    here = Path(__file__).resolve().parents[1]
    if "--write" in sys.argv:
        write(here, exact_only="--exact" in sys.argv)
    else:
        for block in blocks(here):
            print(block.path.relative_to(here), "exact   " if block.exact else "measured", block.command)
