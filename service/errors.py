"""Errors of the service that a caller or an operator mends; each says how."""

from __future__ import annotations

from askhouse.errors import AskhouseError

__all__ = ["BackupError", "GapError", "GuestError"]


class BackupError(AskhouseError):
    """A backup cannot be made, or cannot be used; the operator mends it."""


class GapError(AskhouseError):
    """What was asked for cannot be done with these gaps; the caller mends it."""


class GuestError(AskhouseError):
    """Nobody in particular can be meant; the operator mends it."""
