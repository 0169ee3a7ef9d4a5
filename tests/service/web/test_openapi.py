"""The API against its own description: whatever is sent, nothing fails inside, and answers are as described."""

from __future__ import annotations

import warnings
from contextlib import suppress

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable

schemathesis = pytest.importorskip("schemathesis", reason="schemathesis is not installed")

from service.store import Store  # noqa: E402
from service.web.app import create_app  # noqa: E402
from service.web.settings import WebSettings  # noqa: E402
from service.web.worker import Worker  # noqa: E402
from tests.service.chest import ChestEngine, chest_photo  # noqa: E402
from tests.service.store.store_made import LIMITS  # noqa: E402

PATIENT = {"deadline": None, "suppress_health_check": list(HealthCheck), "derandomize": True, "database": None}
CHECKS = [schemathesis.checks.not_a_server_error, schemathesis.checks.response_schema_conformance,
          schemathesis.checks.content_type_conformance]  # fmt: skip


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    """A service with one assessed piece: its app and the ids that lead somewhere."""
    folder = tmp_path_factory.mktemp("api")
    with Store(folder / "kept", limits=LIMITS) as store:
        piece = store.pieces.create("Chest").id
        photo = store.photos.add(piece, chest_photo(folder / "a.jpg").read_bytes()).id
        job = store.jobs.add(piece, "assess", {}).id
        Worker(store, ChestEngine()).one()
        paper = store.papers.latest(piece, "assessment")
        assert paper is not None
        app = create_app(store, None, WebSettings(names=("testserver",)))
        yield app, {"piece": piece, "photo": photo, "job": job, "paper": paper.id, "part": "top"}


@pytest.mark.parametrize("mode", ["POSITIVE", "NEGATIVE"])
def test_nothing_fails_inside(known, mode):
    """Sense and nonsense to every operation. Most cases go to things that are there, so that more than 404 is seen; deleting is
    left to those that are not."""
    app, ids = known
    schema = schemathesis.openapi.from_asgi("/api/v1/openapi.json", app)
    seen: dict[str, set[int]] = {}
    for found in schema.get_all_operations():
        operation = found.ok()
        if mode == "NEGATIVE" and operation.method.upper() not in ("POST", "PUT", "PATCH"):
            continue

        @settings(max_examples=6, **PATIENT)
        @given(case=operation.as_strategy(generation_mode=schemathesis.GenerationMode[mode]), there=st.integers(0, 3))
        def hold(case, there):
            if there and case.method != "DELETE":
                case.path_parameters = {k: ids.get(k, v) for k, v in (case.path_parameters or {}).items()}
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                answer = case.call()
            case.validate_response(answer, checks=CHECKS)
            seen.setdefault(case.operation.label, set()).add(answer.status_code)
            if answer.status_code >= 400:
                assert set(answer.json()["error"]) == {"subject", "cause", "remedy"}

        with suppress(*([Unsatisfiable] if mode == "NEGATIVE" else [])):  # some take nothing that could be wrong
            hold()
    assert len(seen) > 12, "next to nothing could be sent"
    if mode == "POSITIVE":
        served = {k for k, codes in seen.items() if min(codes) < 400}
        assert len(served) > len(seen) / 2, f"too few were really asked: {sorted(set(seen) - served)}"


def test_everything_is_described(known):
    description = known[0].openapi()
    assert description["openapi"].startswith("3.") and description["info"]["description"]
    for path, methods in description["paths"].items():
        assert path.startswith("/api/v1/")
        for operation in methods.values():
            assert operation["summary"] and operation["description"] and operation["tags"], path
            assert {"404", "422", "503"} <= set(operation["responses"]), path
    for name, model in description["components"]["schemas"].items():
        assert model.get("description") or name.startswith(("Body_", "HTTPValidation", "Validation")), name
