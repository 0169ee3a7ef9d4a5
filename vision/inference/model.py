"""The shipped classifier: experts in ONNX, tables in JSON, both tied to the feature schema of this program."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from vision import registry
from vision.assessment import ModelInfo
from vision.errors import ModelMismatch, UsageError
from vision.features import Feature, vector
from vision.inference import evidence, joint, located, sets
from vision.inference.decide import Case, Rule, reason_to_wait
from vision.types import Problem, Verdict

if TYPE_CHECKING:
    import onnxruntime

FORMAT = 1
TABLES, EXPERTS = "classifier.json", "experts.onnx"
KINDS = tuple(registry.FINDING_KINDS)
VISIBLE = ("visible", "hidden")
TARGETS: dict[str, tuple[str, ...]] = {
    "face": joint.FACES, "core": joint.CORES, "view": ("face", "edge", "end", "joint"), "core_visible": VISIBLE,
}
_REMEDY = "Reinstall grainassay, or write the model again with: grainassay teach --from-tables"
_REMEASURE = "Reinstall grainassay, or teach a model for it with: grainassay teach --photos DIR"
Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Judgement:
    """What the classifier makes of one panel.

    `face`, `core`, `view`, `substrate`: distributions under the named prior; `core_visible`: probability. `contributions`:
    target ('face', 'core', 'view', 'core_visible') -> finding kind -> class -> nats; with `log_prior` (target -> class)
    they add up to the log posterior but for a constant. `unlikeness` 0..1: share of panels of unseen authors that are
    nearer to what was taught. `reference`: face, core and substrate under the reference prior, which the sets are drawn from.
    """

    prior: str
    face: Mapping[str, float]
    core: Mapping[str, float]
    view: Mapping[str, float]
    substrate: Mapping[str, float]
    core_visible: float
    contributions: Mapping[str, Mapping[str, Mapping[str, float]]]
    log_prior: Mapping[str, Mapping[str, float]]
    unlikeness: float
    short_px: float
    reference: Mapping[str, Mapping[str, float]]


@dataclass(frozen=True, eq=False)
class Model:
    """A loaded classifier; see `load_model`. `schema`: the features it reads, in order; `tables`: the checked JSON."""

    schema: tuple[Feature, ...]
    tables: Mapping[str, Any]
    experts: bytes

    @cached_property
    def session(self) -> onnxruntime.InferenceSession:
        """The experts, loaded on first use."""
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        options.log_severity_level = 3
        return onnxruntime.InferenceSession(self.experts, options, providers=["CPUExecutionProvider"])

    @property
    def info(self) -> ModelInfo:
        """What the JSON contract says about the model, under the reference prior."""
        return self.info_for("reference")

    def info_for(self, prior: str) -> ModelInfo:
        """As `info`, naming another prior."""
        face = self._prior(prior)["face"]
        core = np.array([face[f] for f in joint.FACES]) @ np.asarray(self.tables["core_table"])
        t = self.tables
        return ModelInfo(t["id"], t["feature_schema"], t["basis"], t["real_specimens"], prior, face,
                         dict(zip(joint.CORES, core.tolist(), strict=True)))

    def _prior(self, name: str) -> Mapping[str, Mapping[str, float]]:
        if name not in self.tables["priors"]:
            known = ", ".join(self.tables["priors"])
            raise UsageError(f"prior {name!r}", "the model has no such prior.", f"Known are: {known}.")
        found: Mapping[str, Mapping[str, float]] = self.tables["priors"][name]
        return found

    def _log_prior(self, name: str, target: str) -> Array:
        prior = self._prior(name)[target]
        return np.log(np.array([prior[c] for c in TARGETS[target]]))

    def expert_outputs(
        self, values: Mapping[str, float], looks: Mapping[str, NDArray[np.float32]]
    ) -> tuple[dict[str, Array], float]:
        """Per target (experts, classes) log probabilities, and the distance to what was taught."""
        names = self.tables["looks"]["names"]
        feed = {"values": vector(values, self.schema)[None]}
        feed |= {f"look_{n}": np.asarray(looks[n], dtype=np.float32)[None] for n in names}
        outputs = [*TARGETS, "distance"]
        found = dict(zip(outputs, self.session.run(outputs, feed), strict=True))
        return {t: found[t][0].astype(np.float64) for t in TARGETS}, float(found["distance"][0])

    def judge(
        self, values: Mapping[str, float], looks: Mapping[str, NDArray[np.float32]], prior: str = "reference"
    ) -> Judgement:
        """Judge one panel from its feature values and looks (see `vision.measure.PanelMeasure`).

        Raises
        ------
        KeyError
            if a feature or a look is missing.
        UsageError
            if the model has no prior of that name.
        """
        outputs, distance = self.expert_outputs(values, looks)
        keep = float(evidence.trust(distance, self.tables["distance"]["limit"]))
        by_kind = {}
        for target, log_probs in outputs.items():
            row = self.tables["targets"][target]
            found = keep * evidence.terms(log_probs, np.asarray(row["weights"], dtype=np.float64))
            by_kind[target] = evidence.by_kind(found, row["experts"], self.tables["kinds"], KINDS)
        for kind, found in located.face_terms(values).items():
            by_kind["face"][KINDS.index(kind)] += found
        log_prior = {t: self._log_prior(prior, t) for t in ("face", "view", "core_visible")}
        chances = {t: joint.normalise(log_prior[t] + by_kind[t].sum(axis=0)) for t in ("view", "core_visible")}
        visible = float(chances["core_visible"][0])
        table = joint.log_table(np.asarray(self.tables["core_table"]))
        core_kinds = by_kind["core"] * joint.shown(visible)
        weights = joint.joint_log(log_prior["face"], table, by_kind["face"].sum(axis=0), core_kinds.sum(axis=0))
        face, core = joint.margins(weights)
        face_shares, core_shares = joint.shares(log_prior["face"], table, by_kind["face"], core_kinds)
        shares = {**by_kind, "face": face_shares, "core": core_shares}
        log_prior["core"] = joint.log_sum(joint.joint_log(log_prior["face"], table, np.zeros(6), np.zeros(4)), -2)
        reference = weights + (self._log_prior("reference", "face") - log_prior["face"])[:, None]
        ref_face, ref_core = joint.margins(reference)
        return Judgement(
            prior=prior,
            face=_named(joint.FACES, face), core=_named(joint.CORES, core), view=_named(TARGETS["view"], chances["view"]),
            substrate=_named(joint.SUBSTRATES, joint.substrates(weights)), core_visible=visible,
            contributions={
                t: {k: _named(TARGETS[t], row) for k, row in zip(KINDS, shares[t], strict=True) if np.any(row)} for t in TARGETS
            },
            log_prior={t: _named(TARGETS[t], v) for t, v in log_prior.items()},
            unlikeness=evidence.unlikeness(distance, self.tables["distance"]["quantiles"]),
            short_px=float(2.0 ** values["shape_log_short_px"]) if "shape_log_short_px" in values else float("inf"),
            reference={"face": _named(joint.FACES, ref_face), "core": _named(joint.CORES, ref_core),
                       "substrate": _named(joint.SUBSTRATES, joint.substrates(reference))},
        )

    def sets(self, judgement: Judgement) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
        """(face_set, core_set, substrate_set) of a judgement at the model's level."""
        limits, seen = self.tables["sets"], judgement.reference
        face_set = sets.chosen(seen["face"], limits["face"])
        core_set = sets.chosen(seen["core"], limits["core"])
        allowed = dict.fromkeys(registry.SUBSTRATES, False)
        for (face, core), name in registry.SUBSTRATE_OF.items():
            allowed[name] |= face in face_set and (core in core_set or name == "not_wood")
        return face_set, core_set, sets.substrates_within(seen["substrate"], limits["substrate"], allowed)

    def verdict(
        self, judgement: Judgement, cues: Sequence[str], problems: Sequence[Problem], finding_ids: Sequence[str]
    ) -> Verdict:
        """The verdict that a judgement supports, "cannot tell" included."""
        face_set, core_set, substrate_set = self.sets(judgement)
        view = max(judgement.view, key=lambda k: judgement.view[k])
        case = Case(view, judgement.face, judgement.core, judgement.core_visible, face_set, core_set,
                    judgement.unlikeness, judgement.short_px)
        reason = reason_to_wait(case, Rule(**self.tables["rule"]), problems)
        return Verdict(
            face=judgement.face, core=judgement.core, core_visible=judgement.core_visible, substrate=judgement.substrate,
            face_set=face_set, core_set=core_set, substrate_set=substrate_set, level=float(self.tables["sets"]["level"]),
            undecided=reason is not None, reason=reason, cues=tuple(cues), findings=tuple(finding_ids),
        )


def _named(names: Sequence[str], values: Array) -> dict[str, float]:
    return dict(zip(names, (float(v) for v in values), strict=True))


def load_model(directory: str | Path | None = None, *, schema: tuple[Feature, ...] | None = None) -> Model:
    """Load and check the classifier in `directory` (default: the one in the package).

    Raises
    ------
    ModelMismatch
        if a file is missing or damaged, or was made for other features than this program measures.
    """
    from vision import measure
    from vision.features import schema_hash

    features = measure.schema() if schema is None else schema
    folder = Path(directory) if directory is not None else Path(str(files("vision").joinpath("models")))
    try:
        text, experts = (folder / TABLES).read_text(encoding="utf-8"), (folder / EXPERTS).read_bytes()
    except OSError as err:
        raise ModelMismatch(f"model in {folder}", f"{Path(str(err.filename)).name} cannot be read.", _REMEDY) from err
    tables = _checked(text, experts, folder)
    expected = schema_hash(features, measure.SCHEMA_VERSION)
    if tables["feature_schema"] != expected:
        cause = f"it was taught on feature schema {tables['feature_schema']}, this program measures {expected}."
        raise ModelMismatch(f"model {tables['id']}", cause, _REMEASURE)
    return Model(features, tables, experts)


def _checked(text: str, experts: bytes, folder: Path) -> Mapping[str, Any]:
    """The tables, once they are known to be whole and to belong to the experts."""
    damaged = ModelMismatch(f"model in {folder}", "a file is damaged.", _REMEDY)
    try:
        tables = json.loads(text)
        if tables["format"] != FORMAT:
            raise ModelMismatch(f"model in {folder}", f"its format {tables['format']} is not {FORMAT}.", _REMEDY)
        if tables["experts_sha256"] != hashlib.sha256(experts).hexdigest():
            raise damaged
        joint.log_table(np.asarray(tables["core_table"], dtype=np.float64))
        Rule(**tables["rule"])
        for target, classes in TARGETS.items():
            row = tables["targets"][target]
            whole = len(row["experts"]) == len(row["weights"]) and min(row["weights"], default=0) >= 0
            if tuple(row["classes"]) != classes or not whole or not set(row["experts"]) <= set(tables["kinds"]):
                raise damaged
        if not set(tables["kinds"].values()) <= set(KINDS) or "reference" not in tables["priors"]:
            raise damaged
        for key, names in (("face", registry.FACES), ("core", registry.CORES), ("substrate", registry.SUBSTRATES)):
            if set(tables["sets"][key]) != set(names):
                raise damaged
    except (json.JSONDecodeError, KeyError, TypeError, ValueError) as err:
        raise damaged from err
    return dict(tables)
