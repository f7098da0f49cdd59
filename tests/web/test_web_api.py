"""The whole API by its own schema: no fault of the server, and every answer as documented."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import response_schema_conformance, status_code_conformance
from starlette.testclient import TestClient

from tickover.web.app import create_app
from tickover.web.site import Site

CHECKS: list[Any] = [not_a_server_error, status_code_conformance, response_schema_conformance]


@pytest.fixture(scope="module")
def schema(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The schema over a record that holds one job."""
    folder: Path = tmp_path_factory.mktemp("shop")
    app = create_app(Site(store=folder / "jobs.db"))
    http = TestClient(app)
    http.post("/api/jobs", json={"year": 2009})
    http.post("/api/jobs/1/cause", json={})  # what is worked out once is worked out now, and not inside a time limit
    http.post("/api/jobs/1/reading", files={"log": ("x.csv", b"a,b")})
    return schemathesis.openapi.from_asgi("/api/openapi.json", app)


def asked(operation: Any, examples: int, fixed: bool) -> None:
    """Ask one address in many ways; most of those for a job mean the one that there is."""

    @settings(max_examples=examples, deadline=None, derandomize=fixed, database=None, phases=(Phase.generate,),
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(case=operation.as_strategy())
    def ask(case: Any) -> None:
        job = (case.path_parameters or {}).get("job")
        if isinstance(job, int) and job > 3:
            case.path_parameters["job"] = 1
        case.call_and_validate(checks=CHECKS)

    ask()


def swept(schema: Any, examples: int, fixed: bool) -> list[str]:
    """What every address got wrong, one line an address."""
    wrong = []
    for result in schema.get_all_operations():
        operation = result.ok()
        try:
            asked(operation, examples, fixed)
        except (Exception, BaseExceptionGroup) as why:
            wrong.append(f"{operation.label}: {why!r}"[:600])
    return wrong


def test_every_address_answers_as_documented(schema: Any) -> None:
    assert swept(schema, 2, fixed=True) == []


@pytest.mark.soak
def test_every_address_answers_as_documented_at_length(schema: Any) -> None:
    assert swept(schema, 150, fixed=False) == []


def test_every_form_has_a_twin(schema: Any) -> None:
    paths = set(schema.raw_schema["paths"])
    twins = {"arrive", "reading", "set-up", "cause", "drive/plan", "drive/check", "ready", "hand-over"}
    assert {f"/api/jobs/{{job}}/{name}" for name in twins} <= paths
    assert all(path.startswith("/api/") for path in paths)
