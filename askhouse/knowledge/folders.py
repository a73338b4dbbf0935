"""Which files make a house: one file, or a folder with `house.yaml`, `facts/` and `notes/`.

What lies there and is not read is told, since a host who put it there thinks
that guests are answered from it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from askhouse.knowledge.near import did_you_mean
from askhouse.knowledge.problems import Problem, Severity
from askhouse.knowledge.written import MAX_FILE_BYTES, decode

__all__ = ["HouseFiles", "find_houses"]

_YAML = (".yaml", ".yml")
_MARKDOWN = (".md",)
_READ = {"facts": _YAML, "notes": _MARKDOWN}
_MEND_PLACE = "Name the folder of your houses, such as knowledge/houses."


@dataclass(frozen=True, slots=True)
class HouseFiles:
    """The files of one house; `root` is the folder to which their names are relative.

    `unread` holds the problems of files that lie in the house's folder and are not read.
    """

    root: Path
    main: Path
    facts: tuple[Path, ...] = ()
    notes: tuple[Path, ...] = ()
    unread: tuple[Problem, ...] = ()

    @property
    def main_file(self) -> str:
        """The main file's name as the host knows it."""
        return self.name(self.main)

    def name(self, path: Path) -> str:
        """A file's name as the host knows it."""
        return _name(self.root, path)

    def text(self, path: Path) -> str | Problem:
        """What is in a file, or why it cannot be read."""
        file = self.name(path)
        try:
            with path.open("rb") as opened:
                content = opened.read(MAX_FILE_BYTES + 1)
        except OSError:
            return _file_problem(file, "The file cannot be read.", "Check who may read it.")
        return decode(file, content)


def find_houses(path: Path) -> tuple[list[HouseFiles], list[Problem]]:
    """The houses at a path, by name, and the folders that hold none."""
    if path.is_file():
        if path.stem == "house":
            return [_in_folder(path.parent.parent, path.parent, path)], []
        return [HouseFiles(path.parent, path)], []
    if not path.is_dir():
        return [], [_file_problem(path.name, "There is no such file or folder.", _MEND_PLACE)]
    main = _main_file(path)
    if main is not None:
        # Named from the folder above, so that a fact has one address, asked alone or with others.
        return [_in_folder(path.parent, path, main)], []
    return _in_library(path)


def _in_library(root: Path) -> tuple[list[HouseFiles], list[Problem]]:
    houses: list[HouseFiles] = []
    problems: list[Problem] = []
    for entry in _visible(root):
        if entry.is_dir():
            main = _main_file(entry)
            if main is not None:
                houses.append(_in_folder(root, entry, main))
            elif _visible(entry):
                mend = "Add a house.yaml, or move the folder to another place."
                file = _name(root, entry)
                problems.append(_file_problem(file, "The folder has no house.yaml.", mend))
        elif entry.suffix in _YAML and entry.is_file():
            houses.append(HouseFiles(root, entry))
    if not houses and not problems:
        problems.append(_file_problem(root.name, "No house is in this folder.", _MEND_PLACE))
    return houses, problems


def _in_folder(root: Path, folder: Path, main: Path) -> HouseFiles:
    return HouseFiles(
        root,
        main,
        facts=tuple(_read_files(folder, "facts")),
        notes=tuple(_read_files(folder, "notes")),
        unread=tuple(_unread(root, folder, main)),
    )


def _main_file(folder: Path) -> Path | None:
    names = (folder / f"house{suffix}" for suffix in _YAML)
    return next((path for path in names if path.is_file()), None)


def _read_files(folder: Path, name: str) -> Iterator[Path]:
    for entry in _visible(folder / name):
        if entry.is_file() and entry.suffix in _READ[name]:
            yield entry


def _unread(root: Path, folder: Path, main: Path) -> Iterator[Problem]:
    for name, suffixes in _READ.items():
        read = set(_read_files(folder, name))
        for entry in _visible(folder / name):
            if entry not in read:
                mend = f"Files of {name}/ end in {' or '.join(suffixes)}; move or rename it."
                yield _unread_problem(_name(root, entry), mend)
    for entry in _visible(folder):
        if entry.is_dir() and entry.name not in _READ:
            hint = did_you_mean(entry.name, _READ)
            mend = f"{hint}Facts are in facts/, notes in notes/."
            yield _unread_problem(_name(root, entry), mend)
        elif entry != main and entry.suffix in _YAML:
            yield _unread_problem(_name(root, entry), "Move it to facts/ if it holds facts.")


def _unread_problem(file: str, mend: str) -> Problem:
    what = "This is not read."
    return Problem(file=file, line=1, field="", what=what, mend=mend, severity=Severity.WARNING)


def _file_problem(file: str, what: str, mend: str) -> Problem:
    return Problem(file=file, line=1, field="", what=what, mend=mend)


def _visible(folder: Path) -> list[Path]:
    """What lies in a folder, by name, without hidden files; nothing where it cannot be opened."""
    try:
        return sorted(entry for entry in folder.iterdir() if not entry.name.startswith("."))
    except OSError:
        return []


def _name(root: Path, path: Path) -> str:
    return path.relative_to(root).as_posix()
