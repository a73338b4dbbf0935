"""Files for the tests of loading: a small house that is right, and how to write more."""

from __future__ import annotations

from pathlib import Path

from askhouse.knowledge import Library, load_houses

HEADER = """\
slug: mill-loft
name: Mill Loft
kind: loft over a water mill
country: GB
timezone: Europe/London
units: metric
check_in: "16:00"
check_out: "10:00"
emergency_number: "999"
"""

SECRET = "sluice-and-wheel-4471"

FACTS = f"""\
facts:
  - id: stopcock
    topic: water
    text: "The stopcock is under the sink."
  - id: wifi-password
    topic: wifi
    sensitive: true
    text: "The password is {SECRET}."
"""

HOUSE = HEADER + FACTS


def write(folder: Path, files: dict[str, str | bytes]) -> Path:
    """Writes files below a folder, by their names relative to it; gives the folder."""
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return folder


def load(folder: Path, files: dict[str, str | bytes]) -> Library:
    """Writes the files and loads the folder."""
    return load_houses(write(folder, files))


def heads(library: Library) -> list[str]:
    """Each problem's first line, which says where and what."""
    return [str(problem).split("\n")[0] for problem in library.problems]
