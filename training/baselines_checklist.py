"""The usual checklist for telling solid wood from veneer and print, as a baseline: fixed odds for each rule, nothing learnt.

Common practice, no source: heavy furniture is solid, dear furniture is solid, dovetails mean solid, a line at the edge means
a sheet was glued on, carving means solid. A rule is answered only from what is visible in the photo at hand; weight and
price never are. The odds are ours, set once by what the rule claims and never fitted.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training import calibration
from training.config_file import Config
from training.experts import Array
from training.fit import Answers, judging_use
from training.heldout import HeldOut
from training.stacking import author_folds
from training.tables import Table
from vision.inference.joint import CORES, FACES, SUBSTRATES
from vision.inference.model import TARGETS

YES, NO, HIDDEN = 1, 0, -1


@dataclass(frozen=True)
class Rule:
    """A question and its odds. `solid`: times likelier that the answer is yes on solid wood than on veneer or print; `silent`:
    odds of the answer no in the same terms (1 says nothing); the other faces lie half way, on the geometric mean."""

    name: str
    question: str
    solid: float
    silent: float = 1.0


RULES = (
    Rule("heavy", "Is it heavy?", 3.0, 1 / 3),
    Rule("price", "Is it dear?", 2.0, 1 / 2),
    Rule("dovetails", "Are there dovetails?", 3.0),
    Rule("line", "Is there a line or a layer at the edge?", 1 / 5, 5.0),
    Rule("carved", "Is there carved or turned detail?", 3.0),
)
NAMES = tuple(r.name for r in RULES)
#: Values of the collection's column `edge` that show a line or a layer, and those that show wood going through.
LINE, THROUGH = {"plies", "banding", "lipping", "particles", "fibre"}, {"end_grain"}
GLUED_ON = {"print_band", "veneer_band", "plain_band", "lipping"}
_WORDS = {"dovetails": re.compile(r"dovetail"), "carved": re.compile(r"\bcarv|\bturned"),
          "line": re.compile(r"seam line|line at edge|dark line at the"),
          "through": re.compile(r"(roll|run)\w*\W+(over|through|into)")}
#: A narrow side thinner than this many px in a render is taken as not seen.
SEEN_PX = 8.0


def of_photo(row: dict[str, str]) -> NDArray[np.int8]:
    """(rules,) answers for a row of panels.csv: from its columns `edge`, `evidence` and `notes`, which say what is in view."""
    text = f"{row.get('evidence', '')} {row.get('notes', '')}".lower()
    out = np.full(len(RULES), HIDDEN, np.int8)
    for name in ("dovetails", "carved"):
        if _WORDS[name].search(text):
            out[NAMES.index(name)] = YES
    if row.get("edge") in LINE or _WORDS["line"].search(text):
        out[NAMES.index("line")] = YES
    elif row.get("edge") in THROUGH or row["view"] == "end" or _WORDS["through"].search(text):
        out[NAMES.index("line")] = NO
    return out


def of_render(panel: dict, panels: list[dict]) -> NDArray[np.int8]:
    """(rules,) answers for a panel of a render's truth; `panels`: all of the photo, among them narrow sides of its part."""
    out = np.full(len(RULES), HIDDEN, np.int8)
    joint = panel.get("joint")
    if isinstance(joint, dict) and joint.get("kind") == "dovetail":
        out[NAMES.index("dovetails")] = YES
    for side in panels:
        narrow = side["part"] == panel["part"] and side["view"] != "face" and side["width_px"] >= SEEN_PX
        if not narrow or side.get("edging") == "painted":
            continue
        layered = side.get("edging") in GLUED_ON or (side.get("edging") == "raw" and side.get("core") != "lumber")
        out[NAMES.index("line")] = max(out[NAMES.index("line")], YES if layered else NO)
    return out


def likelihoods(answers: NDArray[np.int8]) -> Array:
    """(n, faces) likelihood of the answers (n, rules) under each face."""
    log = np.zeros((len(answers), len(FACES)))
    solid, sheet = FACES.index("solid_wood"), [FACES.index(f) for f in ("veneer", "printed")]
    for k, rule in enumerate(RULES):
        said = np.where(answers[:, k] == YES, np.log(rule.solid), np.where(answers[:, k] == NO, np.log(rule.silent), 0.0))
        log[:, solid] += said / 2
        log[:, sheet] -= said[:, None] / 2
    return np.exp(log)


def _smallest_sets(p: Array, level: float) -> NDArray[np.bool_]:
    """(n, classes): the fewest classes whose probabilities reach `level`."""
    order = np.argsort(-p, axis=1, kind="stable")
    before = np.cumsum(np.take_along_axis(p, order, axis=1), axis=1) - np.take_along_axis(p, order, axis=1)
    out = np.zeros(p.shape, bool)
    np.put_along_axis(out, order, before < level, axis=1)
    return out


def judged(answers: NDArray[np.int8], prior: Array, core_table: Array, config: Config) -> HeldOut:
    """What the checklist says of n panels: `prior` (n, faces) or (faces,) before any rule. It is not asked about cores and
    views: those answers hold what the prior says, and "face"."""
    p = np.broadcast_to(prior, (len(answers), len(FACES))) * likelihoods(answers)
    p = p / p.sum(axis=1, keepdims=True)
    core = p @ core_table
    view = np.zeros((len(p), len(TARGETS["view"])))
    view[:, TARGETS["view"].index("face")] = 1.0
    sets = _smallest_sets(p, config.level)
    decided = p.max(axis=1) >= config.right_when_decided
    nothing = np.zeros(len(p))
    return HeldOut(Answers(p, core, view, nothing + 0.5, np.zeros((len(p), len(SUBSTRATES))), nothing), sets,
                   np.ones((len(p), len(CORES)), bool), decided)


def held_out(real: Table, tested: Table, answers: NDArray[np.int8], config: Config) -> HeldOut:
    """Answers to all rows of `tested` (the real table itself or rendered ones), with the classifier's own kind of prior: the
    faces of authors left out do not count in it."""
    prior = np.zeros((len(tested), len(FACES)))
    tests = author_folds(tested.author, tested.face, config.outer_folds, config.seed + 1)
    known = author_folds(real.author, real.face, config.outer_folds, config.seed + 1)
    for test, left_out in zip(tests, known, strict=True):
        kept = real.rows(~left_out)
        w = calibration.specimen_weight(kept.weight.astype(np.float64), kept.specimen, judging_use(kept, "face"))
        prior[test] = calibration.hedged(calibration.mix(np.where(w > 0, kept.face, -1), w, len(FACES)), config.prior_power)
    return judged(answers, prior, calibration.core_table(real.face, real.core, real.shared_weight), config)
