"""A backup's file: a ZIP with a manifest that holds the SHA-256 of everything else in it."""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from service.errors import BackupError

__all__ = [
    "HOUSES",
    "Manifest",
    "pack",
    "read_manifest",
    "unpack",
    "written_whole",
]

_MANIFEST = "manifest.json"
HOUSES = "houses/"
_FORM = 1
_CHUNK = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a backup holds.

    Attributes:
        made_at: ISO 8601, UTC.
        kind: sqlite or postgresql.
        shape: The database's, as its migrations name it.
        rows: Of each table.
        trail_lines: How far the trail reached, and the hash of its last line.
        files: SHA-256 of each file of the archive, by its name there.
        form: Of the archive itself.
    """

    made_at: str
    kind: str
    shape: str
    rows: Mapping[str, int]
    trail_lines: int
    trail_hash: str
    files: Mapping[str, str]
    form: int = _FORM


@contextmanager
def written_whole(target: Path) -> Iterator[Path]:
    """A path to write to, for its owner alone; it becomes the target once all is written.

    Until then whatever was at the target stays, also where the power goes.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f".{target.name}.part")
    part.unlink(missing_ok=True)
    os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    try:
        yield part
        with part.open("rb") as file:
            os.fsync(file.fileno())
        part.replace(target)
        folder = os.open(target.parent, os.O_RDONLY)
        os.fsync(folder)
        os.close(folder)
    finally:
        part.unlink(missing_ok=True)


def pack(path: Path, files: Mapping[str, Path], about: Mapping[str, Any]) -> Manifest:
    """Writes the archive: these files under their names, and the manifest as the last."""
    hashes = {}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
        for name, file in files.items():
            hashed = hashlib.sha256()
            with file.open("rb") as read, archive.open(name, "w", force_zip64=True) as write:
                while chunk := read.read(_CHUNK):
                    hashed.update(chunk)
                    write.write(chunk)
            hashes[name] = hashed.hexdigest()
        manifest = Manifest(**about, files=hashes)
        archive.writestr(_MANIFEST, json.dumps(asdict(manifest), indent=2))
    return manifest


def unpack(path: Path, folder: Path) -> Manifest:
    """Writes the archive's files into an empty folder, each checked against its hash.

    Raises:
        BackupError: It is no backup, or damaged, or made by a later version.
    """
    with _opened(path) as archive:
        manifest = _manifest(archive, path)
        for name, expected in manifest.files.items():
            if _unpacked(archive, name, folder / _inside(name, path)) != expected:
                raise _damaged(path, name)
    return manifest


def read_manifest(path: Path) -> Manifest:
    """What a backup holds.

    Raises:
        BackupError: It is no backup, or damaged, or made by a later version.
    """
    with _opened(path) as archive:
        return _manifest(archive, path)


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(path) as archive:
            yield archive
    except (zipfile.BadZipFile, zlib.error, KeyError, EOFError) as error:
        raise _damaged(path, "it") from error


def _manifest(archive: zipfile.ZipFile, path: Path) -> Manifest:
    try:
        manifest = Manifest(**json.loads(archive.read(_MANIFEST)))
    except (ValueError, TypeError) as error:
        raise _damaged(path, _MANIFEST) from error
    if manifest.form != _FORM:
        raise BackupError(f"{path} was made by a later version of Askhouse: use that one")
    return manifest


def _inside(name: str, path: Path) -> PurePosixPath:
    """The name as a path that stays inside the folder it is written to."""
    inside = PurePosixPath(name)
    if inside.is_absolute() or ".." in inside.parts or "\\" in name:
        raise _damaged(path, "a name in it")
    return inside


def _unpacked(archive: zipfile.ZipFile, name: str, target: Path) -> str:
    target.parent.mkdir(parents=True, exist_ok=True)
    hashed = hashlib.sha256()
    with archive.open(name) as read, target.open("wb") as write:
        while chunk := read.read(_CHUNK):
            hashed.update(chunk)
            write.write(chunk)
    return hashed.hexdigest()


def _damaged(path: Path, what: str) -> BackupError:
    return BackupError(
        f"{path}: {what} is damaged, or was changed since the backup was made: use another backup"
    )
