"""House files → House values; never stops at the first problem.

The way of a house, before any message: files are read (`written.py`), held
against their shape (`schema.py`), the typed values are read
(`house_values.py`), facts and notes are gathered (`drafts.py`) and their
texts filled in (`finish.py`). A house with an error is left out; the others
load all the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from askhouse.errors import UnknownHouseError
from askhouse.knowledge.folders import HouseFiles, find_houses
from askhouse.knowledge.house import read_house
from askhouse.knowledge.near import did_you_mean
from askhouse.knowledge.problems import Problem, Severity, has_error, in_order
from askhouse.values import House

__all__ = ["Library", "LoadedHouse", "load_house", "load_houses"]


@dataclass(frozen=True, slots=True)
class LoadedHouse:
    """One house, or None where it has an error, and all its problems in order."""

    house: House | None
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class Library:
    """All houses of a folder that can be used, by slug, and all problems in order."""

    houses: Mapping[str, House]
    problems: tuple[Problem, ...]

    @property
    def errors(self) -> tuple[Problem, ...]:
        """The problems for which a house was left out."""
        return tuple(p for p in self.problems if p.severity is Severity.ERROR)

    def house(self, slug: str) -> House:
        """The house of that slug.

        Raises:
            UnknownHouseError: There is none, or it has problems.
        """
        if slug not in self.houses:
            hint = did_you_mean(slug, self.houses)
            raise UnknownHouseError(
                f'No house is called "{slug}". {hint}'
                "If its files are there, `python -m askhouse check` tells what is wrong with them."
            )
        return self.houses[slug]


def load_houses(folder: Path) -> Library:
    """All houses below a folder; the path may also be one house, as a folder or a file.

    Never raises for what is in the files. Sources and problems name files relative to the
    folder given, with `/` on every system.
    """
    found, problems = find_houses(folder)
    read = [(files, *read_house(files)) for files in found]
    slugs: dict[str, list[tuple[HouseFiles, int]]] = {}
    for files, reading, _ in read:
        if reading.slug is not None:
            slugs.setdefault(reading.slug, []).append((files, reading.slug_line))
    houses: dict[str, House] = {}
    for files, reading, alone in read:
        own = [*alone, *_twice(files, reading.slug, slugs)]
        problems += own
        if reading.house is not None and not has_error(own):
            houses[reading.house.slug] = reading.house
    return Library(houses, in_order(problems))


def load_house(path: Path) -> LoadedHouse:
    """The one house of a path: a folder with `house.yaml`, or a file."""
    library = load_houses(path)
    houses = list(library.houses.values())
    if len(houses) == 1:
        return LoadedHouse(houses[0], library.problems)
    several = [_several(path, len(houses))] if houses else []
    return LoadedHouse(None, in_order([*library.problems, *several]))


def _several(path: Path, count: int) -> Problem:
    what = f"The folder holds {count} houses, and one is wanted."
    mend = "Name the folder or the file of the house."
    return Problem(file=path.name, line=1, field="", what=what, mend=mend)


def _twice(
    files: HouseFiles, slug: str | None, slugs: Mapping[str, list[tuple[HouseFiles, int]]]
) -> list[Problem]:
    """The problem that another house has this slug; both have it, since either may be wrong."""
    places = slugs.get(slug or "", [])
    own_line = next((line for other, line in places if other is files), 1)
    others = [f"{other.main_file}:{line}" for other, line in places if other is not files]
    if not others:
        return []
    return [
        Problem(
            file=files.main_file,
            line=own_line,
            field="slug",
            what=f'"{slug}" is also the slug of {", ".join(others)}.',
            mend="Give one of the houses another slug.",
        )
    ]
