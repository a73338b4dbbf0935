"""What a killed service would read again at each start, read once: imported by the process that
the services are forked from, so that they spend their short lives at work. Models are opened by
each, since their threads do not outlive a fork."""

from __future__ import annotations

import onnxruntime  # noqa: F401 (takes most of a second)
import tokenizers  # noqa: F401

from askhouse.answer.phrases import phrases
from askhouse.build import known_words
from askhouse.topics import topics
from askhouse.triage.guidance import guidance
from askhouse.triage.wordlist import match
from service import app  # noqa: F401
from service.phrases import phrases as own_phrases

match("warm up", guidance())
topics()
known_words()
phrases()
own_phrases()
