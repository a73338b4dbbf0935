"""What the commands share: consoles, exit codes, and one way to build the assistant."""

from __future__ import annotations

import os
import re
import sys
import traceback
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console

from askhouse.errors import AskhouseError, KnowledgeError
from askhouse.knowledge.load import Library, load_houses
from askhouse.settings import Settings, read_settings

if TYPE_CHECKING:
    from askhouse.assistant import Assistant

__all__ = [
    "EXIT_GAP",
    "EXIT_HOST",
    "EXIT_OK",
    "EXIT_OURS",
    "EXIT_PROBLEMS",
    "EXIT_USAGE",
    "JsonOption",
    "KnowledgeOption",
    "ModelOption",
    "err",
    "knowledge_folder",
    "load_library",
    "open_assistant",
    "out",
    "print_json",
    "read_library",
    "run",
    "settings_for",
]

EXIT_OK = 0  # done; for ask: every part is answered, or asks for nothing
EXIT_PROBLEMS = 1  # check found errors in the files
EXIT_USAGE = 2  # the command, the message or a setting is wrong
EXIT_GAP = 3  # ask: at least one part is a gap
EXIT_HOST = 4  # ask: at least one part must go to the host
EXIT_OURS = 70  # a fault of Askhouse (sysexits.h: EX_SOFTWARE)

# Without emoji, since "the code is a:key:b" would be printed with a picture in it.
out = Console(emoji=False)
err = Console(stderr=True, emoji=False)

JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON instead.")]
KnowledgeOption = Annotated[
    Path | None, typer.Option("--knowledge", "-k", help="Folder with the houses, or one house.")
]
ModelOption = Annotated[
    str | None, typer.Option("--model", help="plain, or a sentence-transformers name or folder.")
]


def run(app: typer.Typer) -> None:
    """Runs the command line; an error that is foreseen is one line, not a trace."""
    try:
        app()
    except AskhouseError as error:
        _complain(str(error))
        sys.exit(EXIT_PROBLEMS if isinstance(error, KnowledgeError) else EXIT_USAGE)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(EXIT_OK)
    except OSError as error:
        _complain(f"{error.filename or 'a file'}: {error.strerror or error}")
        sys.exit(EXIT_USAGE)
    except Exception:
        # Nobody foresaw it, so the trace is what helps; the exit code says that it is ours.
        traceback.print_exc()
        sys.exit(EXIT_OURS)


def _complain(line: str) -> None:
    err.print(f"askhouse: {line}", style="red", markup=False, highlight=False, soft_wrap=True)


def print_json(content: Any) -> None:
    """Prints JSON on standard output, nothing else."""
    import json

    sys.stdout.write(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False) + "\n")


def settings_for(knowledge: Path | None, model: str | None) -> Settings:
    """The settings of the environment, with what the command line says on top."""
    given = {"knowledge": knowledge, "model": model}
    return read_settings().model_copy(update={k: v for k, v in given.items() if v is not None})


def knowledge_folder(knowledge: Path | None) -> Path:
    """The folder of the houses; an error if there is none."""
    folder = settings_for(knowledge, None).knowledge
    if not folder.exists():
        raise KnowledgeError(
            f"there is no folder {folder}: give one with --knowledge, or set ASKHOUSE_KNOWLEDGE"
        )
    return folder


def read_library(folder: Path) -> Library:
    """The houses of a folder; problems are told in one line, `askhouse check` has them all."""
    library = load_houses(folder)
    if library.errors:
        err.print(
            f"{len(library.errors)} errors in {folder}: some houses are left out; "
            f"see them with: askhouse check --knowledge {folder}",
            style="yellow",
            markup=False,
            highlight=False,
            soft_wrap=True,
        )
    if not library.houses:
        raise KnowledgeError(f"no house can be used in {folder}: see `askhouse check`")
    return library


def load_library(settings: Settings) -> Library:
    """The houses of the settings."""
    return read_library(knowledge_folder(settings.knowledge))


def open_assistant(knowledge: Path | None, model: str | None, house: str = "-") -> Assistant:
    """The assistant for one house, or for all with "-"; tells what takes long.

    Only the house asked about is read and searched, so that a first answer comes fast.
    """
    from askhouse.build import Told, build_assistant

    settings = settings_for(knowledge, model)
    folder = knowledge_folder(settings.knowledge)
    library = read_library(_only(folder, house))
    told = Told(line=lambda line: err.print(line, markup=False, highlight=False, soft_wrap=True))
    with err.status("") as status:
        told = Told(
            line=told.line,
            progress=lambda slug, done, total: status.update(
                f"embedding {slug}: {done} of {total}"
            ),
        )
        return build_assistant(
            library, settings.index_file, settings.model, told, settings.calibration_file
        )


def _only(folder: Path, house: str) -> Path:
    # A slug, and nothing that leads out of the folder.
    if re.fullmatch("[a-z0-9][a-z0-9-]*", house):
        for path in (folder / house, folder / f"{house}.yaml"):
            if path.exists():
                return path
    return folder
