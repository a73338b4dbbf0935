"""Backup and restore: the database and the houses' files in one archive.

Not in it are the index, which is made again from the houses, and the settings with their secrets,
which stand elsewhere for a reason. The archive holds guests' words and door codes: its file is for
its owner alone, and where it goes from there is for them to protect.
"""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
from pathlib import Path

from sqlalchemy import make_url

from service.database import Database
from service.errors import BackupError
from service.privacy.archive import HOUSES, Manifest, pack, unpack, written_whole
from service.privacy.snapshots import Counted, check, is_empty, put_back, snapshot
from service.privacy.trail import Head

__all__ = ["back_up", "restore"]

_DATABASE = {"sqlite": "database.sqlite", "postgresql": "database.pgdump"}
_ENDING = ".askhouse.zip"


def back_up(
    database: Database, knowledge: Path, target: Path, now: dt.datetime
) -> tuple[Path, Manifest]:
    """Makes a backup while the service goes on; where it lies, and what is in it.

    Args:
        knowledge: The folder of the houses, or the file of one.
        target: A file; in a folder it gets a name of its own, by the time.

    Raises:
        BackupError: The database is damaged, or a program that is needed is missing or fails.
        OSError: A file cannot be read or written.
    """
    if target.is_dir():
        target /= f"{now:%Y%m%dT%H%M%SZ}{_ENDING}"
    kind = database.engine.dialect.name
    with (
        written_whole(target) as part,
        tempfile.TemporaryDirectory(dir=target.parent, prefix=".backup-") as folder,
    ):
        saved = Path(folder) / _DATABASE[kind]
        counted = snapshot(database.engine, saved)
        about = {
            "made_at": now.isoformat(),
            "kind": kind,
            "shape": counted.shape,
            "rows": counted.rows,
            "trail_lines": counted.trail.lines,
            "trail_hash": counted.trail.hash,
        }
        manifest = pack(part, {_DATABASE[kind]: saved, **_houses(knowledge)}, about)
    return target, manifest


def restore(source: Path, url: str, knowledge: Path, *, force: bool = False) -> Manifest:
    """Puts a backup's database and houses in place of what is there.

    Everything is unpacked and held against its hash before anything is replaced.

    Args:
        url: Of a database of the same kind as the saved one.
        knowledge: The folder that the houses' files go to.
        force: Whether to replace a database or houses that are there; they are gone then.

    Raises:
        BackupError: The backup cannot be used, something would be overwritten, or the service
            still runs.
        OSError: A file cannot be read or written.
    """
    kind = make_url(url).get_backend_name()
    if not force:
        _refuse_overwriting(url, knowledge)
    knowledge.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=knowledge.parent, prefix=".restore-") as folder:
        unpacked = Path(folder)
        manifest = unpack(source, unpacked)
        if manifest.kind != kind or _DATABASE[kind] not in manifest.files:
            raise BackupError(
                f"{source} holds a {manifest.kind} database, and the URL names a {kind} one: "
                "restore it into one of its own kind"
            )
        put_back(url, unpacked / _DATABASE[kind], manifest.rows)
        _replace_houses(unpacked / HOUSES, knowledge, unpacked / "before")
    trail = Head(manifest.trail_lines, manifest.trail_hash)
    check(url, Counted(manifest.shape, dict(manifest.rows), trail))
    return manifest


def _houses(knowledge: Path) -> dict[str, Path]:
    """The houses' files by their names in the archive."""
    if knowledge.is_file():
        return {f"{HOUSES}{knowledge.name}": knowledge}
    files = sorted(path for path in knowledge.rglob("*") if path.is_file() and not _is_index(path))
    return {f"{HOUSES}{path.relative_to(knowledge).as_posix()}": path for path in files}


def _is_index(path: Path) -> bool:
    return path.parent.name == ".askhouse" and path.suffix == ".npz"


def _refuse_overwriting(url: str, knowledge: Path) -> None:
    there = []
    if not is_empty(url):
        there.append("the database")
    if knowledge.exists() and (knowledge.is_file() or any(knowledge.iterdir())):
        there.append(f"the houses in {knowledge}")
    if there:
        raise BackupError(
            f"{' and '.join(there)} would be overwritten: restore elsewhere, or use --force"
        )


def _replace_houses(houses: Path, knowledge: Path, aside: Path) -> None:
    houses.mkdir(exist_ok=True)
    if knowledge.exists():
        knowledge.replace(aside)  # it goes with the temporary folder, once the new one is there
    shutil.move(houses, knowledge)
