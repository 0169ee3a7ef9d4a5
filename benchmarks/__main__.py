"""All benchmarks, one table: python -m benchmarks [NAME ...], names as in NAMES."""

from __future__ import annotations

import sys
from importlib import import_module

from benchmarks.rows import Row, table

NAMES = ("whole_photo", "grain_field", "repeat_cost", "joint_ends", "install_weight")


def main(names: list[str]) -> int:
    """Run the named benchmarks (all of them without a name); 1 when a target is missed."""
    rows: list[Row] = []
    for name in names or NAMES:
        print(f"running {name} ...", file=sys.stderr)
        rows += import_module(f"benchmarks.{name}").rows()
    print(table(rows))
    return int(any(r.met is False for r in rows))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
