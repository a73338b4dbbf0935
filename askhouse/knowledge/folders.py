"""Which files make a house: one file, or a folder with `house.yaml`, `facts/` and `notes/`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from askhouse.knowledge.problems import Problem
from askhouse.knowledge.written import MAX_FILE_BYTES, decode

__all__ = ["HouseFiles", "find_houses"]

_YAML = (".yaml", ".yml")
_MARKDOWN = (".md",)


@dataclass(frozen=True, slots=True)
class HouseFiles:
    """The files of one house; `root` is the folder to which their names are relative."""

    root: Path
    main: Path
    facts: tuple[Path, ...] = ()
    notes: tuple[Path, ...] = ()

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
        if path.name in ("house.yaml", "house.yml"):
            return [_in_folder(path.parent, path.parent, path)], []
        return [HouseFiles(path.parent, path)], []
    if not path.is_dir():
        return [], [_file_problem(path.name, "There is no such file or folder.", _MEND_PLACE)]
    main = _main_file(path)
    if main is not None:
        return [_in_folder(path, path, main)], []
    houses: list[HouseFiles] = []
    problems: list[Problem] = []
    for entry in _visible(path):
        if entry.is_dir():
            main = _main_file(entry)
            if main is not None:
                houses.append(_in_folder(path, entry, main))
            elif any(_visible(entry)):
                mend = "Add a house.yaml, or move the folder to another place."
                file = _name(path, entry)
                problems.append(_file_problem(file, "The folder has no house.yaml.", mend))
        elif entry.suffix in _YAML:
            houses.append(HouseFiles(path, entry))
    if not houses and not problems:
        problems.append(_file_problem(path.name, "No house is in this folder.", _MEND_PLACE))
    return houses, problems


_MEND_PLACE = "Name the folder of your houses, such as knowledge/houses."


def _file_problem(file: str, what: str, mend: str) -> Problem:
    return Problem(file=file, line=1, field="", what=what, mend=mend)


def _main_file(folder: Path) -> Path | None:
    names = (folder / f"house{suffix}" for suffix in _YAML)
    return next((path for path in names if path.is_file()), None)


def _in_folder(root: Path, folder: Path, main: Path) -> HouseFiles:
    return HouseFiles(
        root,
        main,
        facts=tuple(_files(folder / "facts", _YAML)),
        notes=tuple(_files(folder / "notes", _MARKDOWN)),
    )


def _files(folder: Path, suffixes: tuple[str, ...]) -> Iterator[Path]:
    if folder.is_dir():
        for entry in _visible(folder):
            if entry.is_file() and entry.suffix in suffixes:
                yield entry


def _visible(folder: Path) -> list[Path]:
    """What lies in a folder, by name, without hidden files."""
    return sorted(entry for entry in folder.iterdir() if not entry.name.startswith("."))


def _name(root: Path, path: Path) -> str:
    return path.relative_to(root).as_posix()
