"""Texts that a person reads, held against files that a person has agreed to."""

from __future__ import annotations

import difflib
from pathlib import Path

FOLDER = Path(__file__).parent


def same_as_gold(text: str, name: str) -> None:
    """Fails with a diff where the text is not that of the gold file.

    The text is then left beside it as `<name>.new`, to be read and, where it is right, renamed.
    """
    gold = FOLDER / name
    agreed = gold.read_text(encoding="utf-8") if gold.exists() else ""
    if text == agreed:
        return
    (FOLDER / f"{name}.new").write_text(text, encoding="utf-8")
    diff = difflib.unified_diff(
        agreed.splitlines(), text.splitlines(), name, f"{name}.new", lineterm=""
    )
    raise AssertionError("\n".join(["The text is not the agreed one:", *diff]))
