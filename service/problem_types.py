"""The kinds of problems, as a table: what each is called, its status, and how to mend it.

`GET /problems` shows the table; `ERROR_TYPES` says which kind an error of Askhouse is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from askhouse.errors import (
    AskhouseError,
    KnowledgeError,
    MessageError,
    ModelError,
    SettingsError,
    UnknownHouseError,
)
from askhouse.knowledge.write import EditConflictError, EditRefusedError
from service.errors import BackupError, GapError, GuestError

__all__ = [
    "ALERT_OVER",
    "BODY_TOO_LARGE",
    "ERROR_TYPES",
    "INTERNAL",
    "INVALID_REQUEST",
    "MESSAGE",
    "NOT_ALLOWED",
    "NOT_READY",
    "NOT_SET_UP",
    "NOT_SIGNED",
    "PROBLEM_TYPES",
    "REPLY_PENDING",
    "SPEAKING",
    "TOKEN_NEEDED",
    "TOO_MANY_REQUESTS",
    "UNKNOWN_ALERT",
    "UNKNOWN_HOUSE",
    "UNKNOWN_STAY",
    "ProblemType",
]


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A kind of problem.

    Attributes:
        name: Last part of its `type`.
        status: The HTTP status that goes with it.
        title: The same few words each time.
        mend: What to do about it; the detail where an occurrence has nothing to add.
    """

    name: str
    status: int
    title: str
    mend: str

    @property
    def path(self) -> str:
        """The `type` member; a full path, as RFC 9457, 3.1.1, advises for relative references."""
        return f"/problems#{self.name}"


INVALID_REQUEST = ProblemType(
    "invalid-request",
    422,
    "The request is not as described",
    "Mend what `errors` names; the description of the interface is at /openapi.json.",
)
MESSAGE = ProblemType(
    "message",
    422,
    "The message cannot be worked on",
    "Send what the guest wrote: some readable text of at most 10000 characters.",
)
UNKNOWN_HOUSE = ProblemType(
    "unknown-house",
    404,
    "No such house",
    "Use a slug that GET /v1/houses names.",
)
BODY_TOO_LARGE = ProblemType(
    "body-too-large",
    413,
    "The request's body is too large",
    "Send one message, with the end of its thread only.",
)
TOO_MANY_REQUESTS = ProblemType(
    "too-many-requests",
    429,
    "Too many requests",
    "Wait for as many seconds as the header Retry-After says.",
)
NOT_READY = ProblemType(
    "not-ready",
    503,
    "The houses are not open yet",
    "Ask again in a few seconds; GET /health/ready tells when.",
)
NOT_SET_UP = ProblemType(
    "not-set-up",
    503,
    "The service is not set up rightly",
    "The operator finds the reason in the log.",
)
NOT_SIGNED = ProblemType(
    "not-signed",
    401,
    "The request is not the gateway's own",
    "Name a line of the settings and sign as it says; `askhouse line-test` tells what is wrong.",
)
REPLY_PENDING = ProblemType(
    "reply-pending",
    503,
    "The message is stored, its reply is not ready",
    "Send the same message again after as many seconds as the header Retry-After says.",
)
UNKNOWN_STAY = ProblemType(
    "unknown-stay",
    404,
    "No such stay",
    "Use an id that GET /v1/stays names.",
)
UNKNOWN_ALERT = ProblemType(
    "unknown-alert",
    404,
    "No such alert",
    "Use an id that GET /v1/alerts names.",
)
ALERT_OVER = ProblemType(
    "alert-over",
    409,
    "The alert cannot be answered",
    "It is closed, or nothing can be sent to the guest; `detail` says which.",
)
TOKEN_NEEDED = ProblemType(
    "token-needed",
    401,
    "A token is needed",
    "Send the header `Authorization: Bearer` with a token that is not revoked; an owner makes one "
    "on the page People.",
)
NOT_ALLOWED = ProblemType(
    "not-allowed",
    403,
    "The token is not good for this",
    "Use a token with the scope that the interface's description names, and for this house.",
)
INTERNAL = ProblemType(
    "internal",
    500,
    "A fault of the service",
    "Nothing is wrong with the request; the log holds the fault under the id in `instance`.",
)

PROBLEM_TYPES: Mapping[str, ProblemType] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            INVALID_REQUEST,
            MESSAGE,
            UNKNOWN_HOUSE,
            BODY_TOO_LARGE,
            TOO_MANY_REQUESTS,
            NOT_READY,
            NOT_SET_UP,
            NOT_SIGNED,
            REPLY_PENDING,
            TOKEN_NEEDED,
            NOT_ALLOWED,
            UNKNOWN_STAY,
            UNKNOWN_ALERT,
            ALERT_OVER,
            INTERNAL,
        )
    }
)

ERROR_TYPES: Mapping[type[AskhouseError], ProblemType] = MappingProxyType(
    {
        AskhouseError: INTERNAL,
        # The pages and the commands mend these; none of the routes of programs raises them.
        BackupError: INTERNAL,
        EditConflictError: INTERNAL,
        EditRefusedError: INTERNAL,
        GapError: INTERNAL,
        GuestError: INTERNAL,
        KnowledgeError: NOT_SET_UP,
        MessageError: MESSAGE,
        ModelError: NOT_SET_UP,
        SettingsError: NOT_SET_UP,
        UnknownHouseError: UNKNOWN_HOUSE,
    }
)
# Errors of these kinds speak for themselves: their words are meant for the caller, while
# those of the others name files and settings.
SPEAKING = (MESSAGE, UNKNOWN_HOUSE)
