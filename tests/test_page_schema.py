"""The page's interface held against a description of it (OpenAPI 3.0) by schemathesis: no request, well or ill formed,
makes the server fail or answer otherwise than described.

Where schemathesis is not installed this is skipped with that reason; tests/test_page_fuzz.py does without it.
"""

from __future__ import annotations

import importlib.util
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import browser
import pytest
from hypothesis import HealthCheck, Phase, settings
from page_reader import photo

from rigging.page.app import make_app
from rigging.page.desk import Desk
from rigging.page.gate import Gate

MISSING = importlib.util.find_spec("schemathesis") is None
WHY = "the page's interface is not fuzzed by its description: the package schemathesis is missing (pip install -e '.[dev]')"
if MISSING:
    pytest.skip(WHY, allow_module_level=True)

import schemathesis  # noqa: E402 - only where it is there
from schemathesis.checks import not_a_server_error  # noqa: E402
from schemathesis.specs.openapi.checks import (  # noqa: E402
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
ERROR = {
    "description": "turned away",
    "content": {
        "application/json": {
            "schema": {"type": "object", "required": ["error"], "properties": {"error": {"type": "string"}}}
        }
    },
}
JPEG = {
    "200": {"description": "a picture", "content": {"image/jpeg": {"schema": {"type": "string", "format": "binary"}}}}
}
PATIENCE_S = 600.0
"""Only ends what would hang for ever: how fast a machine is, loaded or not, decides nothing here, seconds."""
STATION = {"type": "string", "enum": ["R1", "R2", "L6"]}
THING = {"type": "string", "enum": ["locked and clamped", "washout", "level on the root"]}
ONCE = {"type": "string", "pattern": "^[0-9a-z]{8,32}$"}
POINT = {"type": "array", "minItems": 2, "maxItems": 2, "items": {"type": "number", "minimum": 0, "maximum": 5000}}


def body(**properties: Any) -> dict[str, Any]:
    schema = {"type": "object", "additionalProperties": False, "required": list(properties), "properties": properties}
    return {"required": True, "content": {"application/json": {"schema": schema}}}


def answers(*codes: int, ok: dict[str, Any] | None = None) -> dict[str, Any]:
    done = ok or {"200": {"description": "done", "content": {"application/json": {"schema": {"type": "object"}}}}}
    return {**done, **{str(code): ERROR for code in codes}}


IDENT = {"name": "ident", "in": "path", "required": True, "schema": {"type": "string", "pattern": "^[0-9a-f]{16}$"}}
TAKEN = {
    code: {
        "description": "taken",
        "content": {
            "application/json": {
                "schema": {
                    "type": "object",
                    "required": ["id", "new"],
                    "properties": {"id": {"type": "string"}, "new": {"type": "boolean"}},
                }
            }
        },
    }
    for code in ("200", "201")
}
WRONG = (400, 404, 405, 408, 413, 415, 422)


def described() -> dict[str, Any]:
    def post(request: dict[str, Any]) -> dict[str, Any]:
        return {"post": {"requestBody": request, "responses": answers(*WRONG)}}

    octets = {
        "required": True,
        "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
    }
    return {
        "openapi": "3.0.3",
        "info": {"title": "the bench", "version": "1"},
        "paths": {
            "/api/state": {"get": {"responses": answers(*WRONG)}},
            "/api/photos": {"post": {"requestBody": octets, "responses": answers(*WRONG, ok=TAKEN)}},
            "/api/photos/{ident}/overlay": {"get": {"parameters": [IDENT], "responses": answers(*WRONG, ok=JPEG)}},
            "/api/photos/{ident}/picture": {"get": {"parameters": [IDENT], "responses": answers(*WRONG, ok=JPEG)}},
            "/api/photos/{ident}/hint": {
                "post": {
                    "parameters": [IDENT],
                    "responses": answers(*WRONG),
                    "requestBody": body(
                        role={"type": "string", "enum": ["chord", "spar", "plumb", "level"]}, a=POINT, b=POINT
                    ),
                }
            },
            "/api/photos/{ident}/display": {"post": {"parameters": [IDENT], "responses": answers(*WRONG)}},
            "/api/display": {"post": {"requestBody": octets, "responses": answers(*WRONG)}},
            "/api/photos/{ident}/unhint": {"post": {"parameters": [IDENT], "responses": answers(*WRONG)}},
            "/api/gauge": post(
                body(
                    id=ONCE,
                    station=STATION,
                    line={"type": "string", "enum": ["chord", "spar"]},
                    shown_deg={"type": "number"},
                )
            ),
            "/api/moved": post(body(id=ONCE, station=STATION)),
            "/api/glue": post(body(id=ONCE, now={"type": "boolean"})),
            "/api/step": post(body(id=ONCE, name=THING, value={"type": "number", "nullable": True})),
            "/api/undo": post(body(id=ONCE)),
            "/api/keep": post(body(note={"type": "string", "maxLength": 300})),
            "/api/enter": {"post": {"requestBody": body(code={"type": "string"}), "responses": answers(403, *WRONG)}},
        },
    }


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    home = tmp_path_factory.mktemp("schema")
    for name in ("trainer.toml", "gauge.csv"):
        shutil.copy(SAMPLE / name, home / name)
    desk = Desk(home / "trainer.toml", reader="page_reader:read_photo", drawer="page_reader:draw", workers=1)
    desk.bench.add(photo(3))
    desk.start()
    with browser.served(lambda host: make_app(desk, Gate(False), frozenset({host}))) as host:
        yield f"http://{host}"
    desk.close()


SCHEMA = schemathesis.openapi.from_dict(described())


@SCHEMA.parametrize()
@settings(
    max_examples=20,
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_no_request_makes_the_server_fail_or_answer_otherwise_than_described(case: Any, server: str):
    """Well and ill formed requests alike (schemathesis draws both)."""
    answer = case.call(base_url=server, timeout=PATIENCE_S)
    case.validate_response(
        answer,
        checks=[not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance],
    )
