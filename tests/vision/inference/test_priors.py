"""Base rates of one's own: shares completed and refused, odds moved by Bayes, and a shift of base rates found again."""

import math

import numpy as np
import pytest

from tests.vision.inference.test_model import panel
from vision import registry
from vision.errors import UsageError
from vision.inference import load_model
from vision.inference.priors import LEAST, OwnPrior, completed, estimate, likeliest_rates, shifted, with_prior

FACES = tuple(registry.FACES)
REFERENCE = dict(zip(FACES, (0.3, 0.25, 0.1, 0.15, 0.08, 0.12), strict=True))


@pytest.fixture(scope="module")
def model():
    return load_model()


def test_the_rest_is_shared_as_in_the_reference():
    made = completed({"solid_wood": 30, "veneer": 40}, REFERENCE)
    assert sum(made.values()) == pytest.approx(1, abs=1e-12)
    assert (made["solid_wood"], made["veneer"]) == pytest.approx((0.3, 0.4))
    rest = [f for f in FACES if f not in ("solid_wood", "veneer")]
    ratios = [made[f] / REFERENCE[f] for f in rest]
    assert ratios == pytest.approx([0.3 / 0.45] * 4)


def test_parts_will_do_where_all_are_named():
    assert completed(dict(zip(FACES, (6, 2, 1, 1, 1, 1), strict=True)), REFERENCE)["solid_wood"] == pytest.approx(0.5)


@pytest.mark.parametrize(("given", "words"), [
    ({}, "no face"), ({"oak": 30.0}, "oak"), ({"veneer": -3.0}, "no share"), ({"veneer": math.nan}, "no share"),
    ({"solid_wood": 60.0, "veneer": 40.0}, "leaves nothing"), ({"solid_wood": 0.3, "veneer": 0.4}, "percents"),
    ({"solid_wood": 70.0, "veneer": 90.0}, "leaves nothing"), ({"printed": 0.0, "veneer": 50.0}, "ruled out"),
    (dict.fromkeys(FACES, 0.0), "all shares are 0"), ({**dict.fromkeys(FACES, 100.0), "printed": 0.0}, "ruled out"),
])
def test_shares_that_make_no_sense_are_refused_with_a_remedy(given, words):
    with pytest.raises(UsageError, match=words) as caught:
        completed(given, REFERENCE)
    assert caught.value.remedy.endswith(".")


@pytest.mark.parametrize("seed", range(3))
def test_posterior_odds_change_by_the_prior_odds_ratio_exactly(model, seed):
    own = with_prior(model, OwnPrior("own", {"solid_wood": 5, "printed": 70}, "t"))
    before, after = own.judge(*panel(seed)), own.judge(*panel(seed), "own")
    start, end = own.info_for("reference").prior_face, own.info_for("own").prior_face
    for a in FACES:
        moved = (after.face[a] / after.face["veneer"]) / (before.face[a] / before.face["veneer"])
        assert moved == pytest.approx((end[a] / end["veneer"]) / (start[a] / start["veneer"]), rel=1e-9)
    # Evidence is what it was; so are the sets, which are drawn from the reference.
    assert after.contributions["view"] == before.contributions["view"] and own.sets(after) == own.sets(before)
    assert own.judge(*panel(seed)).face == model.judge(*panel(seed)).face and "own" not in model.tables["priors"]


def test_a_name_of_the_model_cannot_be_taken(model):
    with pytest.raises(UsageError, match="already"):
        with_prior(model, OwnPrior("even", {"veneer": 50}, "t"))


def market(n, rates, seed, spread=1.6):
    """What a classifier that is exactly right under REFERENCE says of a made-up market's panels; classes are bells in a plane."""
    rng = np.random.default_rng(seed)
    middle = spread * np.stack([np.cos(np.arange(6) * math.pi / 3), np.sin(np.arange(6) * math.pi / 3)], axis=1)
    x = middle[rng.choice(6, n, p=rates)] + rng.normal(0, 1, (n, 2))
    start = np.array([REFERENCE[f] for f in FACES])
    p = start * np.exp(-0.5 * ((x[:, None] - middle) ** 2).sum(axis=2))
    return p / p.sum(axis=1, keepdims=True), start


SHIFTED = np.array([0.05, 0.15, 0.55, 0.1, 0.1, 0.05])


def test_a_known_shift_is_found_again_and_plain_averages_are_biased():
    found, naive = [], []
    for seed in range(6):
        p, start = market(1500, SHIFTED, seed)
        found.append(likeliest_rates(p, start, start_panels=0.0))
        naive.append(p.mean(axis=0))
    error = np.std(found, axis=0, ddof=1) / np.sqrt(6)
    assert (np.abs(np.mean(found, axis=0) - SHIFTED) < 4 * error + 0.005).all()
    assert np.abs(np.mean(naive, axis=0) - SHIFTED)[2] > 0.1 > 5 * np.abs(np.mean(found, axis=0) - SHIFTED)[2]


def test_without_a_shift_the_start_is_kept():
    p, start = market(4000, np.array([REFERENCE[f] for f in FACES]), 9)
    assert np.abs(likeliest_rates(p, start) - start).max() < 0.035


def test_few_panels_lean_on_the_start_and_many_do_not():
    p, start = market(3000, SHIFTED, 5)
    alone, few, many = (likeliest_rates(p[:n], start, start_panels=s)[2] for n, s in ((40, 0.0), (40, 30.0), (3000, 30.0)))
    assert start[2] < few < alone - 0.1 and abs(many - SHIFTED[2]) < 0.04


def test_it_is_the_maximum_of_the_likelihood():
    """No small step along the simplex does better than where expectation and maximisation stop."""
    p, start = market(300, SHIFTED, 3)
    best = likeliest_rates(p, start, start_panels=0.0)

    def likelihood(rates):
        return np.log((p / start * rates).sum(axis=1)).sum()

    rng = np.random.default_rng(0)
    for _ in range(50):
        other = 0.98 * best + 0.02 * rng.dirichlet(np.ones(6))
        assert likelihood(other) <= likelihood(best) + 1e-6


def test_shifting_there_and_back_is_nothing():
    p, start = market(50, SHIFTED, 1)
    assert shifted(shifted(p, start, SHIFTED), SHIFTED, start) == pytest.approx(p, abs=1e-12)


def test_the_standard_error_is_that_of_repeated_markets():
    """Stated by bootstrap on one market, against the spread over markets drawn anew; four panels a photo, all of one face."""
    p, start = market(200, SHIFTED, 0)
    photos = [f"photo{i}" for i in range(200)]
    said = estimate([dict(zip(FACES, r, strict=True)) for r in p], photos, REFERENCE, rounds=60).error["printed"]
    true = np.std([likeliest_rates(market(200, SHIFTED, 100 + s)[0], start)[2] for s in range(40)], ddof=1)
    assert 0.6 < said / true < 1.6
    alike = [dict(zip(FACES, r, strict=True)) for r in np.repeat(p, 4, axis=0)]
    grouped = estimate(alike, np.repeat(photos, 4).tolist(), REFERENCE, rounds=60).error["printed"]
    assert grouped == pytest.approx(said, rel=0.35)  # four likenesses of one panel are no more panels


@pytest.mark.parametrize(("panels", "photos"), [(29, 29), (40, 9), (0, 0)])
def test_too_few_panels_are_refused(panels, photos):
    p, _ = market(max(1, panels), SHIFTED, 0)
    rows = [dict(zip(FACES, r, strict=True)) for r in p[:panels]]
    with pytest.raises(UsageError, match="too few") as caught:
        estimate(rows, [str(i % max(1, photos)) for i in range(panels)], REFERENCE)
    assert "30 panels" in caught.value.remedy


def test_what_comes_out_can_be_given_back():
    p, _ = market(200, np.array([0.5, 0.5, 0, 0, 0, 0]), 0, spread=6)
    found = estimate([dict(zip(FACES, r, strict=True)) for r in p], [str(i) for i in range(200)], REFERENCE, rounds=5)
    assert min(found.face.values()) > LEAST
    assert completed({k: 100 * v for k, v in found.face.items()}, REFERENCE) == pytest.approx(dict(found.face))
