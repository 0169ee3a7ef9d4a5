"""Print tables of vision.registry as Markdown: python -m make.words FACES CORES ... (all tables of sentences without names)."""

from __future__ import annotations

import sys

from vision import registry

NOT_SENTENCES = {"SUBSTRATE_OF", "FACE_WORDS", "CORE_WORDS"}


def tables() -> list[str]:
    """Names of the registry's tables of sentences."""
    return [n for n, v in vars(registry).items() if n.isupper() and hasattr(v, "items") and n not in NOT_SENTENCES]


def table(name: str) -> str:
    """One table as Markdown."""
    rows = []
    for key, told in getattr(registry, name).items():
        if isinstance(told, str):
            rows.append(f"| `{key}` | {told} |")
        else:  # a table of tables
            rows += [f"| `{key}` `{inner}` | {sentence} |" for inner, sentence in told.items()]
    return "\n".join(["| key | meaning |", "|---|---|", *rows])


if __name__ == "__main__":
    names = sys.argv[1:]
    print("\n\n".join([table(n) for n in names] if names else [f"{n.lower()}:\n\n{table(n)}" for n in tables()]))
