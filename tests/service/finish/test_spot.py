"""Spot tests of old finishes against what their sources say, in their order, and what they never say."""

import itertools
import json
from importlib.resources import files

import pytest
from typer.testing import CliRunner

from service.cli import app
from service.finish.spot import CANNOT_SAY, NOT_LOOKED, concluded, read, rules
from service.plan.types import OLD_FINISHES
from service.rulebook import BrokenRules, parse
from vision.errors import UsageError
from vision.registry import FACES

TEXT = files("service").joinpath("rules/old_finish.toml").read_text(encoding="utf-8")


def say(**answers):
    return concluded(answers)


@pytest.mark.parametrize(("answers", "finish"), [
    # A woodworking magazine: alcohol dissolves shellac. A general reference page: "if the finish liquefies, it's shellac".
    ({"mineral_spirits": "nothing", "alcohol": "dissolves"}, "shellac"),
    # The magazine: lacquer thinner, sticky or dissolved: lacquer or water-based (rarely used before the 1990s).
    ({"mineral_spirits": "nothing", "alcohol": "nothing", "lacquer_thinner": "dissolves"}, "lacquer_or_waterborne"),
    # The magazine: none of them: a reactive finish (varnish, polyurethane, conversion).
    ({"mineral_spirits": "nothing", "alcohol": "nothing", "lacquer_thinner": "nothing"}, "reactive"),
    # The general page: alcohol softens, and no more: a blend of shellac and lacquer.
    ({"mineral_spirits": "nothing", "alcohol": "softens", "lacquer_thinner": "dissolves"}, "lacquer_or_waterborne"),
])
def test_what_the_sources_say(answers, finish):
    found = concluded(answers)
    assert found.finish == finish and found.following is None
    assert ("blend" in " ".join(found.notes)) == (answers["alcohol"] == "softens")


def test_wax_is_cleaned_off_first():
    """The magazine: mineral spirits lift wax: clean first."""
    found = say(mineral_spirits="wax_lifts")
    assert found.wax is True and "clean it off before" in found.notes[0] and found.following.key == "alcohol"


def test_the_order_is_mildest_first():
    assert [t.key for t in rules().tests] == ["mineral_spirits", "alcohol", "lacquer_thinner"]
    assert say().following.key == "mineral_spirits"


def test_a_strong_solvent_alone_concludes_nothing():
    """Lacquer thinner takes shellac too: without the alcohol its answer tells nothing."""
    assert not say(lacquer_thinner="dissolves").told
    assert not say(alcohol=CANNOT_SAY, lacquer_thinner="dissolves").told
    assert not say(alcohol=NOT_LOOKED, lacquer_thinner="nothing").told


def test_over_all_answers_it_ends_and_never_speaks_of_the_material():
    choices = [[None, CANNOT_SAY, *(a.key for a in t.answers)] for t in rules().tests]
    for combination in itertools.product(*choices):
        answers = {t.key: a for t, a in zip(rules().tests, combination, strict=True) if a is not None}
        found = concluded(answers)
        assert found.finish in OLD_FINISHES and found.finish not in FACES
        assert found.told or found.following is not None or len(answers) == 3


@pytest.mark.parametrize("bad", [{"acid": "yes"}, {"alcohol": "fizzes"}])
def test_what_is_not_known_is_refused(bad):
    with pytest.raises(UsageError):
        concluded(bad)


@pytest.mark.parametrize(("old", "new", "says"), [
    ('means = "shellac"', 'means = "amber"', "unknown product or finish"), ('letter = "w"', 'letter = "n"', "one each"),
    ("seconds = 60\n", "", "is missing"),
])
def test_a_file_that_does_not_hold_is_refused(old, new, says):
    with pytest.raises(BrokenRules, match=says):
        read(parse("old_finish.toml", TEXT.replace(old, new, 1)))


def test_the_command_says_cautions_first_and_what_it_cannot_tell():
    text = CliRunner().invoke(app, ["finish", "--say", "mineral_spirits=nothing", "--say", "alcohol=dissolves"]).output
    assert text.startswith("For clear finishes.") and "One drop on a cotton swab" in text and "The old finish: shellac." in text
    assert "never what the part is made of" in text
    found = json.loads(CliRunner().invoke(app, ["finish", "--json"]).output)
    assert found["told"] is False and found["next"]["key"] == "mineral_spirits"


def test_what_alcohol_softens_is_not_called_a_finish_that_nothing_touches():
    """The magazine: reactive is what none of the three touches."""
    found = say(mineral_spirits="nothing", alcohol="softens", lacquer_thinner="nothing")
    assert not found.told and "Varnish" not in " ".join(found.notes)
