"""A labelled set read, and what is said about a broken one."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from askhouse.errors import KnowledgeError
from askhouse.measure.labelled import read_messages
from askhouse.values import Kind, Outcome

LINE = {
    "id": "m1",
    "property": "ferry-lodge",
    "verified": False,
    "message": "where are the bins, and the lamp is broken",
    "parts": [
        {"outcome": "answer", "facts": ["bins"], "also_ok": ["recycling"]},
        {"outcome": "escalate", "kind": "damage"},
    ],
    "tags": ["two-parts"],
}


def write(folder: Path, *lines: object) -> Path:
    text = "\n".join(line if isinstance(line, str) else json.dumps(line) for line in lines)
    (folder / "messages.jsonl").write_text(text + "\n", encoding="utf-8")
    return folder


def test_a_line_is_a_message_with_its_parts(tmp_path: Path) -> None:
    """
    Empty lines are skipped; what may be cited are the facts and those that are also right.
    """
    (message,) = read_messages(write(tmp_path, LINE, "", "  "))

    assert (message.id, message.house, message.verified) == ("m1", "ferry-lodge", False)
    assert message.allowed == {"bins", "recycling"}
    assert message.has(Outcome.ANSWER)
    assert message.has(Outcome.ESCALATE, Kind.DAMAGE)
    assert not message.has(Outcome.ESCALATE, Kind.SAFETY)
    assert not message.has(Outcome.GAP)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("{not json", r"messages\.jsonl:2: the line: Invalid JSON"),
        ({**LINE, "verified": None}, r"messages\.jsonl:2: verified: .*boolean"),
        ({k: v for k, v in LINE.items() if k != "id"}, r"messages\.jsonl:2: id: Field required"),
        (
            {**LINE, "parts": [{"outcome": "shrug"}]},
            r"messages\.jsonl:2: parts\.0\.outcome: .*'answer'",
        ),
        ({**LINE, "parts": [{"outcome": "gap", "fact": "x"}]}, r"parts\.0\.fact: Extra inputs"),
    ],
)
def test_a_wrong_line_is_named(tmp_path: Path, line: object, said: str) -> None:
    """
    The error says file, line and field.
    """
    with pytest.raises(KnowledgeError, match=said):
        read_messages(write(tmp_path, LINE, line))


def test_a_missing_or_foreign_file_is_named(tmp_path: Path) -> None:
    """
    Without the file, or with one that is no text, the error says what a labelled set holds.
    """
    with pytest.raises(KnowledgeError, match=r"messages\.jsonl cannot be read: a labelled set"):
        read_messages(tmp_path)

    (tmp_path / "messages.jsonl").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(KnowledgeError, match=r"messages\.jsonl cannot be read"):
        read_messages(tmp_path)
