"""What can keep an alert from being taken, answered or closed; each says how to mend it."""

from __future__ import annotations

__all__ = ["AlertError", "AlertOverError", "NotWritableError", "UnknownAlertError"]


class AlertError(Exception):
    """The base of these; none repeats a number or a guest's words."""


class UnknownAlertError(AlertError):
    """There is no alert of that id, or none that the caller may see."""

    def __init__(self, alert_id: int) -> None:
        self.alert_id = alert_id
        super().__init__(f"there is no alert {alert_id}: list them to see the ids")


class AlertOverError(AlertError):
    """The alert is closed."""

    def __init__(self, alert_id: int) -> None:
        super().__init__(f"alert {alert_id} is closed: write to the guest in the thread")


class NotWritableError(AlertError):
    """Nothing can be sent to the guest; says why."""
