"""A file replaced as a whole, so that a kill leaves the old one or the new one."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from askhouse.errors import SettingsError
from askhouse.knowledge.standing import Draft

__all__ = ["FileChangedError", "alone", "replace_file"]

_WAIT_S = 10.0


class FileChangedError(Exception):
    """The file is not as it was read, or another process is at work on the files."""


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """No other process of ours changes the files meanwhile.

    Raises:
        FileChangedError: Another one does, for longer than ten seconds.
        SettingsError: The folder cannot be written to.
    """
    # Beside the index, in a hidden folder that the loader does not read.
    place = (folder if folder.is_dir() else folder.parent) / ".askhouse"
    try:
        place.mkdir(exist_ok=True)
        lock = FileLock(place / "write.lock", timeout=_WAIT_S)
        lock.acquire()
    except Timeout as error:
        raise FileChangedError from error
    except OSError as error:
        raise _not_writable(folder, error) from error
    try:
        yield
    finally:
        lock.release()


def replace_file(draft: Draft) -> None:
    """Writes a draft in place of its file, or removes the file.

    Raises:
        FileChangedError: The file is not as it was when the draft was made of it.
        SettingsError: The folder cannot be written to.
    """
    path = draft.path.resolve()  # a link stays a link
    try:
        _unchanged(path, draft)
        if draft.after is None:
            path.unlink()
        else:
            _write(path, draft.after.encode())
        _flush_folder(path.parent)
    except OSError as error:
        raise _not_writable(draft.path, error) from error


def _unchanged(path: Path, draft: Draft) -> None:
    now = path.read_bytes() if path.exists() else None
    if now != (None if draft.before is None else draft.before.encode()):
        raise FileChangedError


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(path.stat().st_mode & 0o777 if path.exists() else 0o644)
        Path(name).replace(path)
    finally:
        Path(name).unlink(missing_ok=True)


def _flush_folder(folder: Path) -> None:
    # The new name is safe only once the folder is. Windows opens no folders, and needs no flush.
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _not_writable(path: Path, error: OSError) -> SettingsError:
    return SettingsError(
        f"{path} cannot be written ({error.strerror}): let the service write there"
    )
