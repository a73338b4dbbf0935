"""Who may import whom, and that importing does nothing but import."""

from __future__ import annotations

import ast
import importlib
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
ENGINE = ROOT / "askhouse"

# A station may import what stands in an earlier row, and its own folder; nothing else.
ROWS: tuple[tuple[str, ...], ...] = (
    ("values", "errors", "words", "packaged"),
    ("settings", "topics"),
    ("encoder", "knowledge", "parts"),
    ("kinds",),
    ("triage", "search"),
    ("decision",),
    ("answer",),
    ("assistant", "gaps"),
    ("build",),
    ("measure",),
    ("training",),
    ("commands",),
    ("__main__",),
)
ROW_OF = {name: place for place, row in enumerate(ROWS) for name in row}
FREE = {"__init__"}  # the public names, gathered from anywhere


def modules(folder: Path = ENGINE) -> list[Path]:
    """Every module of the engine."""
    return sorted(path for path in folder.rglob("*.py") if "__pycache__" not in path.parts)


def unit(path: Path) -> str:
    """The station that a module belongs to: `askhouse/search/views.py` -> `search`."""
    return path.relative_to(ENGINE).parts[0].removesuffix(".py")


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(path: Path) -> Iterator[str]:
    """The full names of all that a module imports, wherever in it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide the way of a message"
            assert node.module is not None
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def stations(path: Path) -> set[str]:
    """The stations that a module imports from, its own left out."""
    named = {name.split(".")[1] for name in imports(path) if name.startswith("askhouse.")}
    return (named & {unit(other) for other in modules()}) - {unit(path)}


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_imports_go_one_way(path: Path) -> None:
    """
    Values know nobody; a station knows values and earlier stations, never a later one.
    """
    own = unit(path)
    if own in FREE:
        return
    assert own in ROW_OF, f"give {own} its row in the table above"

    later = {other for other in stations(path) if ROW_OF.get(other, -1) >= ROW_OF[own]}

    assert later == set(), f"{own} must not know {', '.join(sorted(later))}"


def test_triage_does_not_know_search() -> None:
    """
    Harm is read before any search, on its own, so that nothing found can quieten an alarm.
    """
    assert not any("search" in stations(path) for path in modules(ENGINE / "triage"))
    assert not any("triage" in stations(path) for path in modules(ENGINE / "search"))


def test_the_engine_does_not_know_the_service() -> None:
    """
    The service knows the engine; the engine names the service at most as a string.
    """
    for path in modules():
        assert not [name for name in imports(path) if name.split(".")[0] == "service"], path


# The engine works without web, database, network and a clock of its own.
OUTSIDE = frozenset(
    (
        *("fastapi", "starlette", "sqlalchemy", "alembic", "sqlite3", "httpx", "requests"),
        *("aiohttp", "urllib3", "socket", "ssl", "smtplib", "http.client", "http.server"),
        "urllib.request",
    )
)
AT_THE_EDGE = {"commands", "training"}


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_no_web_database_or_network(path: Path) -> None:
    """
    No station of the engine imports what reaches out.
    """
    if unit(path) in AT_THE_EDGE:
        return
    assert not {name for name in imports(path) if name in OUTSIDE or name.split(".")[0] in OUTSIDE}


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_no_clock(path: Path) -> None:
    """
    No station asks what time it is; the day comes with the message.
    """
    if unit(path) in AT_THE_EDGE | {"measure"}:
        return
    asked = {"now", "utcnow", "today", "time", "monotonic", "perf_counter", "localtime"}
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            owner = ast.unparse(node.func.value)
            clock = owner in ("time", "dt.datetime", "datetime.datetime", "dt.date", "datetime")
            assert not (clock and node.func.attr in asked), f"{path}:{node.lineno}"


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_public_names_exist(path: Path) -> None:
    """
    What `__all__` lists is there.
    """
    if unit(path) in ("__main__", "training"):
        return
    module = importlib.import_module(name_of(path))

    assert [name for name in getattr(module, "__all__", ()) if not hasattr(module, name)] == []


@pytest.mark.parametrize(
    "path", [p for p in (ENGINE, ROOT / "tests", ROOT / "service") if p.is_dir()], ids=str
)
def test_every_folder_is_a_package(path: Path) -> None:
    """
    Each folder with a module has an `__init__.py`, since `tests/askhouse` would otherwise be
    found in place of `askhouse`.
    """
    folders = {module.parent for module in path.rglob("*.py") if "__pycache__" not in module.parts}

    assert [str(f) for f in folders if not (f / "__init__.py").exists()] == []


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_every_module_says_what_it_is_for(path: Path) -> None:
    """
    A module opens with a sentence on what it is for.
    """
    assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))


PROBE = """
import builtins, importlib, io, json, os, sys

ENGINE = sys.argv[1]
names = json.loads(sys.argv[2])
seen = []

def caller(libraries):
    # Who is at work: the nearest frame that is not Python's own, and no library's where a library
    # may act for us. Behind the import machinery it is the library that is being imported.
    frame = sys._getframe(2)
    while frame is not None:
        name = frame.f_code.co_filename
        if name.startswith("<frozen importlib"):
            return None
        if "/site-packages/" in name and not libraries:
            return None
        if not name.startswith("<") and "/lib/python" not in name:
            return name
        frame = frame.f_back
    return None

def hook(event, arguments):
    if event in ("open", "socket.connect", "socket.getaddrinfo", "subprocess.Popen"):
        if str(arguments[0]).endswith(("entry_points.txt", ".zip")):
            return  # pydantic looks for its plugins when the first model is made
        who = caller(libraries=True)
        if who is not None and who.startswith(ENGINE):
            seen.append([event, who, str(arguments[0])])

class Watched(type(os.environ)):
    def __getitem__(self, key):
        who = caller(libraries=False)
        if who is not None and who.startswith(ENGINE):
            seen.append(["environment", who, str(key)])
        return super().__getitem__(key)

os.environ.__class__ = Watched
sys.addaudithook(hook)
for name in names:
    importlib.import_module(name)
print(json.dumps({"seen": seen, "modules": sorted(sys.modules)}))
"""


def imported(*names: str) -> dict[str, list[list[str]]]:
    """What happened while the modules were imported in a fresh interpreter."""
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", PROBE, str(ENGINE), json.dumps(names)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found: dict[str, list[list[str]]] = json.loads(done.stdout.splitlines()[-1])
    return found


def test_importing_reads_nothing() -> None:
    """
    Importing every module of the engine opens no file, reads no environment, and calls nobody.
    """
    names = [name_of(p) for p in modules() if unit(p) not in ("__main__", "training")]

    assert imported(*names)["seen"] == []


def test_the_probe_would_see(tmp_path: Path) -> None:
    """
    The check above is no empty one: a module that opens a file and reads a variable is caught.
    """
    probe = tmp_path / "reads.py"
    probe.write_text("import os, pathlib\nos.environ['HOME']\npathlib.Path(__file__).read_text()\n")
    code = f"import sys; sys.path.insert(0, {str(tmp_path)!r})\n" + PROBE
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path), '["reads"]'],
        capture_output=True,
        text=True,
        check=True,
    )

    seen = json.loads(done.stdout)["seen"]
    assert [event for event, _, _ in seen] == ["environment", "open"]


def test_the_command_line_starts_light() -> None:
    """
    `askhouse --help` must not wait for a model: the commands import nothing heavy.
    """
    loaded = set(map(str, imported("askhouse.commands")["modules"]))

    heavy = "torch sentence_transformers transformers onnxruntime faiss sklearn lingua fastapi"
    assert loaded & set(heavy.split()) == set()


def test_no_module_is_long() -> None:
    """
    One idea a module: none has more than 400 lines.
    """
    long = {name_of(p): len(p.read_text(encoding="utf-8").splitlines()) for p in modules()}

    assert {name: lines for name, lines in long.items() if lines > 400} == {}
