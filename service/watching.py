"""Whether the houses' files changed, whoever changed them: a page, an editor, another process."""

from __future__ import annotations

from pathlib import Path

from service.answering import Answering, Stage

__all__ = ["Watching"]

Written = frozenset[tuple[str, int, int]]


class Watching:
    """Has the houses read anew when their files are not as they were."""

    def __init__(self, answering: Answering, folder: Path) -> None:
        self._answering = answering
        self._folder = folder
        self._seen = _written(folder)

    def step(self) -> bool:
        """Looks once; whether the houses were read anew."""
        if self._answering.stage not in (Stage.OPEN, Stage.HELD):
            return False
        found = _written(self._folder)
        if found == self._seen:
            return False
        self._seen = found
        self._answering.reopen()
        return True


def _written(folder: Path) -> Written:
    """Name, time and size of every file of the houses; what begins with a dot is ours."""
    paths = [folder] if folder.is_file() else folder.rglob("*")
    found = set()
    for path in paths:
        if any(part.startswith(".") for part in path.relative_to(folder).parts):
            continue
        try:
            state = path.stat()
        except FileNotFoundError:  # written anew this very moment: seen the next time
            continue
        if not path.is_dir():
            found.add((str(path), state.st_mtime_ns, state.st_size))
    return frozenset(found)
