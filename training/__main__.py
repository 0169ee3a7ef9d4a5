"""`python -m training --photos DIR [--renders DIR] [--from-tables]`: the same as `grainassay teach`, without the program."""

from __future__ import annotations

import argparse
from pathlib import Path

from training.config_file import load_config
from training.teach import MODELS, make_tables, teach


def main() -> None:
    """Parse the command line and teach."""
    ap = argparse.ArgumentParser(prog="python -m training", description=__doc__)
    ap.add_argument("--photos", type=Path, help="folder with img/ and panels.csv")
    ap.add_argument("--renders", type=Path, help="folder of rendered photos with their truth")
    ap.add_argument("--from-tables", action="store_true", help="teach from the stored tables, measure nothing")
    ap.add_argument("--cache", type=Path, default=Path("build/measured"), help="folder for measured numbers")
    ap.add_argument("--out", type=Path, default=MODELS, help="folder for the model")
    args = ap.parse_args()
    if not args.from_tables:
        if args.photos is None:
            ap.error("give --photos DIR, or --from-tables")
        make_tables(args.photos, args.renders, args.cache, load_config())
    teach(args.out)


if __name__ == "__main__":
    main()
