"""What the package promises to everyone who imports it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import askhouse.knowledge as package

MODULES = sorted(Path(package.__file__ or "").parent.glob("*.py"))
# What could print, reach out, tell the time or read the environment.
FORBIDDEN = {"os", "sys", "socket", "ssl", "urllib", "http", "time", "subprocess", "logging"}
CALLS = {"print", "input", "open", "now", "today", "utcnow", "getenv"}
# Its command prints the page; `path.open` reads the files of the folder one asked for.
# What writes a file does so by a new one beside it that takes its place.
ALLOWED = {"reference.py": {"sys"}, "folders.py": {"open"}, "replacing.py": {"open", "os"}}


def test_the_public_names_are_these() -> None:
    """
    The package offers loading and its problems, and nothing by accident.
    """
    assert sorted(package.__all__) == [
        "Library",
        "LoadedHouse",
        "Problem",
        "Severity",
        "listing",
        "load_house",
        "load_houses",
    ]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_no_module_prints_reaches_out_or_tells_the_time(path: Path) -> None:
    """
    Loading depends on the files alone: no network, no clock, no environment, no output.
    """
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name.partition(".")[0] for name in node.names} & FORBIDDEN
        elif isinstance(node, ast.ImportFrom):
            found |= {(node.module or "").partition(".")[0]} & FORBIDDEN
        elif isinstance(node, ast.Call):
            called = node.func
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            found |= {name} & CALLS

    assert found <= ALLOWED.get(path.name, set())


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_modules_know_only_values_errors_and_each_other(path: Path) -> None:
    """
    Imports of the project go one way: to values and errors, and within the package.
    """
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("askhouse"):
            assert node.module in ("askhouse.values", "askhouse.errors") or str(
                node.module
            ).startswith("askhouse.knowledge.")
