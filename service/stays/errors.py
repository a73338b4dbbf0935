"""The one error of stays: everything that is wrong with what was given, at once."""

from __future__ import annotations

from collections.abc import Iterable

from askhouse.knowledge.problems import Problem, in_order, listing

__all__ = ["StayError", "UnknownStayError"]


class StayError(Exception):
    """What was given cannot be made stays of; nothing was stored.

    Each problem has a file (the request, for one that came over HTTP), a line, a field and how
    to mend it. None repeats a guest's name or number.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = in_order(problems)
        super().__init__(listing(self.problems))


class UnknownStayError(Exception):
    """There is no stay of that id, or none that the caller may see."""

    def __init__(self, stay_id: int) -> None:
        self.stay_id = stay_id
        super().__init__(f"there is no stay {stay_id}: list them to see the ids")
