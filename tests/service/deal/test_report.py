"""A judged deal in words and as JSON: the same numbers, and never a promise."""

import json
from pathlib import Path

from typer.testing import CliRunner

from service.cli import app
from service.deal.report import ESTIMATE

SAMPLE = Path(__file__).resolve().parents[3] / "docs" / "deal.toml"


def told(path, *more):
    done = CliRunner().invoke(app, ["deal", str(path), *more])
    assert done.exit_code == 0, done.output
    return done.output


def with_asked(tmp_path, price):
    path = tmp_path / "deal.toml"
    path.write_text(SAMPLE.read_text().replace("asked = 60", f"asked = {price}"))
    return path


def test_text_and_document_agree():
    text, found = told(SAMPLE), json.loads(told(SAMPLE, "--json"))
    assert f"chance of a loss after your hours: {found['chance_of_loss']:.0%}" in text
    assert f"above {found['break_even_offer']:.0f} EUR" in text and ESTIMATE in text and found["caution"] == ESTIMATE
    assert found["checks"] == sorted(found["checks"], key=lambda c: -c["worth"])


def test_too_dear_is_left_and_a_gift_is_taken(tmp_path):
    assert "leave it, on average" in told(with_asked(tmp_path, 900))
    assert "worth it on average" in told(with_asked(tmp_path, 0))


def test_a_check_is_named_only_where_it_is_worth_its_minutes(tmp_path):
    dear = told(with_asked(tmp_path, 900))
    assert "None of the checks you list is worth its minutes" in dear and "Before paying" not in dear


def test_what_loses_even_as_a_gift_is_said_so(tmp_path):
    path = tmp_path / "deal.toml"
    path.write_text(SAMPLE.read_text().replace("rate = 18", "rate = 500"))
    assert "Not even as a gift" in told(path)
