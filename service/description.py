"""What the description of the interface says beside the routes and the shapes: its problems."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import FastAPI
from pydantic.json_schema import models_json_schema

from service.problem_details import MEDIA_TYPE
from service.problem_types import NOT_READY, TOO_MANY_REQUESTS, ProblemType
from service.schema import ProblemDetails

__all__ = ["SUMMARY", "DescribedApp", "told"]

SUMMARY = """\
Answers the messages of guests from what the host has written about the house, and from nothing
else. Every answer names the facts it rests on; what no fact answers goes to the host.

**Who writes.** `verified` is the caller's word that the sender is a guest of the house, inside the
stay. Without it, no code and no password is in any answer.

**Errors** are problem details (RFC 9457); `GET /problems` explains each kind.
"""

_REF = "#/components/schemas/{model}"


class DescribedApp(FastAPI):
    """An application whose description knows the shape of its problems.

    Left alone, the framework describes only what is sent as `application/json`.
    """

    def openapi(self) -> dict[str, Any]:
        if self.openapi_schema is None:
            content = super().openapi()
            _, shapes = models_json_schema([(ProblemDetails, "serialization")], ref_template=_REF)
            content["components"]["schemas"] |= shapes["$defs"]
        assert self.openapi_schema is not None
        return self.openapi_schema


def told(*kinds: ProblemType) -> dict[int | str, dict[str, Any]]:
    """The problems that a route may answer with, for its description."""
    statuses = sorted({kind.status for kind in kinds})
    return {
        status: _told_of([kind for kind in kinds if kind.status == status]) for status in statuses
    }


def _told_of(kinds: list[ProblemType]) -> dict[str, Any]:
    described: dict[str, Any] = {
        "description": " ".join(f"{kind.title} (`{kind.path}`)." for kind in kinds),
        "content": {
            MEDIA_TYPE: {
                "schema": {"$ref": _REF.format(model=ProblemDetails.__name__)},
                "examples": {kind.name: {"value": _example(kind)} for kind in kinds},
            }
        },
    }
    if {TOO_MANY_REQUESTS, NOT_READY} & set(kinds):
        described["headers"] = {
            "Retry-After": {
                "description": "Seconds to wait.",
                "schema": {"type": "integer", "minimum": 1},
            }
        }
    return described


def _example(kind: ProblemType) -> Mapping[str, object]:
    return {
        "type": kind.path,
        "title": kind.title,
        "status": kind.status,
        "detail": kind.mend,
        "instance": "urn:uuid:6f2c1a52-8d0e-4d5b-9a75-3a1f6f1f0b11",
    }
