"""Reading --prior and --prior-file: base rates by name, or the user's own, each with a clear refusal."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from pathlib import Path

from vision import registry
from vision.errors import UsageError
from vision.inference.priors import OwnPrior

FORMS = "Write reference, even, or percents of faces as in solid_wood=30,veneer=40,printed=20 (the rest is shared out)."
OWN = "own"
MODELS_OWN = {
    "reference": "The usual ones of the model: what its labelled photos show, half way to an even mix.",
    "even": "Every face equally likely beforehand.",
}
_MOST_NAME = 40
_REST = "faces not named share the rest as in the reference."


def parse_prior(value: str | None, file: Path | None) -> str | OwnPrior | None:
    """A prior's name, the user's own base rates, or None where nothing was asked for.

    Raises
    ------
    UsageError
        for both at once, a text that is no list of shares, an unknown face, one named twice, or a file that cannot be used.
    """
    if value is not None and file is not None:
        raise UsageError("--prior", "base rates are given twice, as a text and as a file.", "Use either --prior or --prior-file.")
    if file is not None:
        return read_prior_file(file)
    if value is None or "=" not in value:
        return value
    return OwnPrior(OWN, shares_of(value), f"Your own, from the command line: {value.strip()}; {_REST}")


def shares_of(text: str) -> dict[str, float]:
    """Face -> number from 'face=number,face=number'; a number may end in %."""
    out: dict[str, float] = {}
    for piece in text.split(","):
        name, equals, number = (part.strip() for part in piece.partition("="))
        if not equals:
            raise UsageError("--prior", f"'{piece.strip()}' is not a face with its share.", FORMS)
        _check_face(name, "--prior")
        if name in out:
            raise UsageError("--prior", f"'{name}' is given twice.", "Give each face one number.")
        try:
            share = float(number.removesuffix("%"))
        except ValueError:
            share = math.nan
        if not math.isfinite(share):
            raise UsageError("--prior", f"'{number}' is not a number.", FORMS)
        out[name] = share
    return out


def _check_face(name: str, option: str) -> None:
    if name in registry.FACES:
        return
    cause = (f"'{name}' is a core; base rates are given for faces, and cores follow from what lies under each face."
             if name in registry.CORES else f"'{name}' is not a face.")
    raise UsageError(option, cause, f"Faces are {', '.join(registry.FACES)}.")


def read_prior_file(path: Path) -> OwnPrior:
    """Base rates from a TOML file: `name` (optional) and a table `faces` with percents.

    Raises
    ------
    UsageError
        for a missing file, broken TOML, unknown keys or wrong shapes.
    """
    where = str(path)
    form = 'Write: name = "spring market" and, below [faces], solid_wood = 30 and so on.'
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except OSError as err:
        raise UsageError(where, f"the base rates cannot be read ({err.strerror or err}).", "Check the name and that you may read "
                         "it.") from err
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as err:
        raise UsageError(where, f"the base rates are broken TOML ({err}).", form) from err
    unknown = sorted(set(data) - {"name", "text", "faces"})
    if unknown:
        raise UsageError(where, f"it has the unknown key '{unknown[0]}'.", form)
    faces = data.get("faces")
    if not isinstance(faces, Mapping) or not faces:
        raise UsageError(where, "it has no table [faces].", form)
    for name, share in faces.items():
        _check_face(name, where)
        if isinstance(share, bool) or not isinstance(share, int | float):
            raise UsageError(where, f"the share of {name} is not a number.", form)
    name, text = (_line(data.get(key, usual), key, where, form) for key, usual in (("name", OWN), ("text", "")))
    if not name or len(name) > _MOST_NAME:
        raise UsageError(where, f"its name is not one of 1 to {_MOST_NAME} letters.", form)
    shares = ", ".join(f"{k}={v:g}" for k, v in faces.items())
    return OwnPrior(name, {k: float(v) for k, v in faces.items()}, f"Your own, from {path.name}: {shares}; {text or _REST}")


def _line(value: object, key: str, where: str, form: str) -> str:
    if not isinstance(value, str) or not all(c.isprintable() for c in value):
        raise UsageError(where, f"its {key} is not one line of text.", form)
    return value.strip()


def stated(prior: str | OwnPrior | None) -> str:
    """A sentence on where base rates come from, for documents and reports."""
    if isinstance(prior, OwnPrior):
        return prior.text
    return MODELS_OWN.get(prior or "reference", "Named in the model.")
