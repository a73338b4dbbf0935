"""What a killed service would read again at each start, read once: imported by the process that
the services are forked from, so that they spend their short lives at work."""

from __future__ import annotations

import tempfile
from pathlib import Path

from askhouse.answer.phrases import phrases
from askhouse.knowledge.load import load_house
from askhouse.triage.guidance import guidance
from askhouse.triage.wordlist import match
from service.phrases import phrases as own_phrases
from tests.house import SMALL
from tests.standins import make_assistant

__all__ = ["ASSISTANT"]

_house = load_house(SMALL).house
assert _house is not None
ASSISTANT = make_assistant([_house], Path(tempfile.mkdtemp()))
match("warm up", guidance())
phrases()
own_phrases()
