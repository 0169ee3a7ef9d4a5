"""`grainassay market`: the base rates of the user's own market, from photos that nobody has labelled."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from service import session
from service.files import CannotWrite
from service.look import EXIT_NOTHING, EXIT_SOME_REFUSED, Outcome, Request, look
from service.words import class_words

if TYPE_CHECKING:
    from vision.inference.priors import Estimate

NAME = "own market"


def toml_of(found: Estimate) -> str:
    """A file for --prior-file that says what it rests on."""
    rows = "\n".join(f"{face} = {100 * share:.3f}  # +- {100 * found.error[face]:.1f}" for face, share in found.face.items())
    text = f"estimated from {found.panels} panels on {found.photos} unlabelled photos by shift correction"
    return f'name = "{NAME}"\ntext = "{text}"\n\n# Percent of panels; +- is a standard error.\n[faces]\n{rows}\n'


def lines_of(found: Estimate, reference: dict[str, float]) -> list[str]:
    """What is printed: every face with its share, standard error and the model's own."""
    head = f"{found.panels} panels on {found.photos} photos: share, standard error by bootstrap over photos, usual share."
    rows = [f"  {class_words(face):<22}{100 * share:6.1f} %  +- {100 * found.error[face]:4.1f}   ({100 * reference[face]:.1f} %)"
            for face, share in found.face.items()]
    option = ",".join(f"{face}={100 * share:.3g}" for face, share in found.face.items())
    return [head, *rows,
            "It holds where faces look as in the photos the model learned from and only their shares differ. Faults of the model",
            "itself are not in the standard errors and may well be the larger part (measured on labelled photos by python -m",
            "training.market_check): take it as a lean, not as a count. It counts panels that the program finds, not pieces.",
            f"Use it with: --prior {option}"]


def run(photos: tuple[str, ...], *, out: Path | None, model: Path | None) -> int:
    """Assess each photo by itself under the reference prior, estimate, print, write; returns the exit status.

    Raises
    ------
    UsageError
        for too few panels or photos.
    """
    from vision.inference.priors import estimate

    engine = session.make_engine()
    faces: list[dict[str, float]] = []
    on: list[str] = []
    reference: dict[str, float] = {}
    refused = 0
    seen: set[str] = set()
    for n, file in enumerate(photos):
        outcome: Outcome = look(Request((file,), model=model, prior="reference", details=False), engine)
        reference = dict(outcome.assessment.model.prior_face)
        for r in outcome.refused:
            refused += 1
            sys.stderr.write(f"grainassay: {r.file}: {r.cause}\n  {r.remedy}\n")
        for photo in outcome.assessment.photos:
            if photo.photo.sha256 in seen:  # the same picture twice would count twice
                continue
            seen.add(photo.photo.sha256)
            panels = [p for p in photo.panels if p.view == "face"]
            faces += [dict(p.verdict.face) for p in panels]
            on += [file] * len(panels)
        if sys.stderr.isatty():
            sys.stderr.write(f"{n + 1} of {len(photos)} photos, {len(faces)} panels\n")
    if refused == len(photos):
        return EXIT_NOTHING
    found = estimate(faces, on, reference)
    print("\n".join(lines_of(found, reference)))
    if out is not None:
        try:
            out.write_text(toml_of(found), encoding="utf-8")
        except OSError as err:
            raise CannotWrite(str(out), f"the base rates cannot be written ({err.strerror or err}).",
                              "Name a file in a folder that you may write to.") from err
        print(f"Written: {out}")
    return EXIT_SOME_REFUSED if refused else 0
