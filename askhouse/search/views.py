"""The views of a fact: the short texts under which it can be found.

Guests ask for the second sentence of a fact as often as for the first, and in
their own words; each view leads to the one fact. The secret of a sensitive
fact is in no view, so that neither index nor vectors hold it.
"""

from __future__ import annotations

import re

from askhouse.values import Fact

__all__ = ["views_of", "without_secrets"]

# What follows "code is", "password of the boat Wi-Fi is", "pin:" and the like, up to a mark that
# ends a word ("prickly.pear" goes on); what stands in quotation marks; and any token with a digit
# or in capitals.
_SECRET_AFTER = re.compile(
    r"\b((?:code|password|passphrase|pass|pin|combination|number|word|key)\b"
    r"(?: (?:of|for|to|on)\b[^.:;,\n]{1,60}?)?\s*(?:\b(?:is|are)\b|:|=)\s*)"
    r"(?:(?![.;,](?:\s|$))[^\n])+",
    re.IGNORECASE,
)
_QUOTED = re.compile(r"(?<!\w)['\"‘“„«][^'\"’”“»\n]+['\"’”“»](?!\w)")
_DIGITS_OR_CAPITALS = re.compile(r"\S*\d\S*|\b[A-Z]{3,}\b")
_SENTENCE_END = re.compile(r"(?<=[.!?])\s+(?=\S)|\n+")
_LONG_ENOUGH = 12  # characters; "No." alone is no view of anything, nor is a step's "1."


def without_secrets(text: str) -> str:
    """The text of a sensitive fact without its code: "The code is 4711." -> "The code is …"."""
    text = _SECRET_AFTER.sub(lambda found: f"{found[1]}…", text)
    return _DIGITS_OR_CAPITALS.sub("…", _QUOTED.sub("…", text))


def views_of(fact: Fact) -> tuple[str, ...]:
    """All views of a fact, without repeats; the first is title and text together."""
    text = without_secrets(fact.text) if fact.sensitive else fact.text
    sentences = [s for s in _SENTENCE_END.split(text) if len(s) >= _LONG_ENOUGH]
    views = [f"{fact.title}. {text}", text, fact.title, *fact.asks]
    if len(sentences) > 1:
        views += sentences
    if not fact.sensitive:
        views += [
            f"{fact.title}: {'. '.join(filter(None, (section.heading, section.text)))}"
            for section in fact.sections
            if section.heading or section.text
        ]
        views += [f"{fact.title}: {step}" for section in fact.sections for step in section.steps]
    return tuple(dict.fromkeys(view.strip() for view in views if view.strip()))
