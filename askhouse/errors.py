"""All errors that Askhouse raises on purpose, split by who can mend them.

AskhouseError
├── KnowledgeError        the host: the house files have problems
├── MessageError          the caller: the message cannot be worked on
├── UnknownHouseError     the caller: no such house
├── SettingsError         the operator: a setting is wrong
└── ModelError            the operator: a model file is missing or not the one expected

Every message says what, where and how to mend it. None holds a secret or a
guest's words.
"""

from __future__ import annotations

__all__ = [
    "AskhouseError",
    "KnowledgeError",
    "MessageError",
    "ModelError",
    "SettingsError",
    "UnknownHouseError",
]


class AskhouseError(Exception):
    """The base of all errors that Askhouse raises on purpose."""


class KnowledgeError(AskhouseError):
    """The house files cannot be used as they are; the host mends them."""


class MessageError(AskhouseError):
    """The message cannot be worked on (empty, too long); the caller mends it."""


class UnknownHouseError(AskhouseError):
    """No house of that name is known; the caller mends it."""


class SettingsError(AskhouseError):
    """A setting cannot be used; the operator mends it."""


class ModelError(AskhouseError):
    """A model file is missing, or is not the one expected; the operator mends it."""
