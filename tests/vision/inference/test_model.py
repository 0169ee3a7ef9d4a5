"""The shipped model: sums of evidence, priors, refusals of foreign and damaged files."""

import json
import math
import shutil
from importlib.resources import files

import numpy as np
import pytest

from vision import measure, registry
from vision.backbone import STATISTICS
from vision.errors import ModelMismatch, UsageError
from vision.features import Feature
from vision.inference import load_model
from vision.inference.model import EXPERTS, TABLES, TARGETS
from vision.looks import LOOKS


@pytest.fixture(scope="module")
def model():
    return load_model()


def panel(seed, missing=0.2):
    """Made-up numbers of a panel: they need not look like wood for sums to hold."""
    rng = np.random.default_rng(seed)
    values = {f.name: (math.nan if rng.random() < missing else float(rng.normal(0, 3))) for f in measure.schema()}
    values["shape_log_short_px"] = 8.0
    return values, {k: np.abs(rng.normal(0, 0.5, STATISTICS)).astype(np.float32) for k in LOOKS}


def posterior(judgement, target):
    kinds = judgement.contributions[target].values()
    logs = {c: judgement.log_prior[target][c] + sum(k[c] for k in kinds) for c in TARGETS[target]}
    top = max(logs.values())
    total = sum(math.exp(v - top) for v in logs.values())
    return {c: math.exp(v - top) / total for c, v in logs.items()}


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("prior", ["reference", "even"])
def test_contributions_and_prior_are_all_there_is(model, seed, prior):
    judgement = model.judge(*panel(seed), prior)
    for target, shown in (("face", judgement.face), ("core", judgement.core), ("view", judgement.view)):
        assert posterior(judgement, target) == pytest.approx(dict(shown), abs=1e-9)
    assert posterior(judgement, "core_visible")["visible"] == pytest.approx(judgement.core_visible, abs=1e-9)


def test_distributions_sum_to_one(model):
    j = model.judge(*panel(1))
    for d in (j.face, j.core, j.view, j.substrate):
        assert sum(d.values()) == pytest.approx(1, abs=1e-9)
    assert set(j.substrate) == set(registry.SUBSTRATES)


@pytest.mark.parametrize("seed", range(4))
def test_another_prior_changes_odds_by_the_ratio_of_priors(model, seed):
    numbers = panel(seed)
    a, b = model.judge(*numbers, "reference"), model.judge(*numbers, "even")
    priors = model.tables["priors"]
    for face in registry.FACES:
        ratio = priors["even"]["face"][face] / priors["reference"]["face"][face]
        base = priors["even"]["face"]["veneer"] / priors["reference"]["face"]["veneer"]
        assert (b.face[face] / b.face["veneer"]) / (a.face[face] / a.face["veneer"]) == pytest.approx(ratio / base, rel=1e-9)
    assert model.sets(a) == model.sets(b)


def test_verdicts_are_valid_and_sets_not_empty(model):
    for seed in range(5):
        j = model.judge(*panel(seed))
        v = model.verdict(j, ("none",), (), ())
        assert v.face_set and v.core_set and v.substrate_set and v.level == model.tables["sets"]["level"]
        assert max(v.face, key=lambda k: v.face[k]) in v.face_set
        faces = {f for (f, _), s in registry.SUBSTRATE_OF.items() if s in v.substrate_set}
        assert faces & set(v.face_set)


def test_everything_missing_still_gives_an_answer(model):
    values, looks = panel(0, missing=1.1)
    assert sum(model.judge(values, looks).face.values()) == pytest.approx(1, abs=1e-9)


def test_info_names_basis_and_priors(model):
    info = model.info
    assert info.feature_schema == measure.feature_schema() and info.real_specimens > 100
    assert info.prior_name == "reference" and model.info_for("even").prior_face["printed"] == pytest.approx(1 / 6)


def test_unknown_prior_names_the_known_ones(model):
    with pytest.raises(UsageError, match=r"reference.*even|even.*reference"):
        model.judge(*panel(0), "victorian")


def test_a_missing_feature_is_an_error(model):
    values, looks = panel(0)
    values.pop(measure.schema()[0].name)
    with pytest.raises(KeyError):
        model.judge(values, looks)


def test_a_model_for_other_features_is_refused():
    other = (*measure.schema(), Feature("new_number", "colour", "1", "Something new."))
    with pytest.raises(ModelMismatch, match="feature schema") as caught:
        load_model(schema=other)
    assert "grainassay teach" in caught.value.remedy


@pytest.fixture
def copy(tmp_path):
    for name in (TABLES, EXPERTS):
        shutil.copy(str(files("vision").joinpath("models", name)), tmp_path / name)
    return tmp_path


def change(folder, edit):
    path = folder / TABLES
    tables = json.loads(path.read_text())
    edit(tables)
    path.write_text(json.dumps(tables))


@pytest.mark.parametrize("edit", [
    lambda t: t.update(format=99), lambda t: t.pop("priors"), lambda t: t["core_table"][0].__setitem__(1, 0.5),
    lambda t: t["targets"]["face"]["weights"].__setitem__(0, -1.0), lambda t: t["targets"]["face"]["weights"].pop(),
    lambda t: t["sets"]["face"].pop("veneer"), lambda t: t["rule"].update(face=7), lambda t: t.update(experts_sha256="0"),
])
def test_damaged_tables_are_refused(copy, edit):
    change(copy, edit)
    with pytest.raises(ModelMismatch):
        load_model(copy)


def test_damaged_missing_or_cut_files_are_refused(copy):
    whole = (copy / EXPERTS).read_bytes()
    (copy / EXPERTS).write_bytes(whole[:-1] + bytes([whole[-1] ^ 1]))
    with pytest.raises(ModelMismatch, match="damaged"):
        load_model(copy)
    (copy / EXPERTS).unlink()
    with pytest.raises(ModelMismatch, match=EXPERTS):
        load_model(copy)
    (copy / EXPERTS).write_bytes(whole)
    (copy / TABLES).write_text((copy / TABLES).read_text()[:300])
    with pytest.raises(ModelMismatch, match="damaged"):
        load_model(copy)
