"""The words that steer a line: opt out and in, help, the rest of a reply.

Only a whole message is such a word, in any case, with or without accents and punctuation at its
ends: "STOP." is one, "stop the alarm" is not.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

__all__ = ["Keyword", "keyword", "offer"]


class Keyword(StrEnum):
    """What a whole message can ask of the line itself."""

    STOP = "stop"
    START = "start"
    HELP = "help"
    MORE = "more"


_WORDS: Mapping[Keyword, tuple[str, ...]] = MappingProxyType(
    {
        Keyword.STOP: (
            # 47 CFR 64.1200(a)(10), as amended by FCC 24-24 (89 FR 15756): these revoke consent.
            *("stop", "quit", "end", "revoke", "opt out", "cancel", "unsubscribe"),
            # The same rule takes any reasonable wording; these leave no doubt. The choice of
            # them is common practice, no source.
            *("stopall", "stop all", "stop please", "please stop", "stop it", "optout"),
            *("stop texting me", "stop messaging me", "unsubscribe me"),
            # In other languages: common practice, no source. Words that also mean calling off a
            # booking ("cancelar", "annuler", "stornieren") are left to the host.
            *("baja", "parar", "alto", "no mas"),  # es
            *("arret", "arreter", "desabonner"),  # fr
            *("stopp", "abmelden", "abbestellen"),  # de
            *("disiscrivimi", "cancellami", "cancella iscrizione"),  # it
            *("afmelden", "stoppen", "uitschrijven"),  # nl
            *("sair", "remover", "pare"),  # pt
        ),
        Keyword.START: (
            "start",
            *("unstop", "restart", "subscribe"),  # common practice, no source
            # In other languages: common practice, no source.
            *("alta", "iniciar", "debut", "reprendre", "anmelden", "iscrivimi", "aanmelden"),
        ),
        Keyword.HELP: (
            # CTIA, Short Code Monitoring Handbook 1.7 (2017): HELP is answered with name, contact
            # and how to stop. INFO beside it: common practice, no source.
            *("help", "info"),
            # In other languages: common practice, no source.
            *("ayuda", "aide", "hilfe", "aiuto", "hulp", "ajuda"),
        ),
        # Our own word for the rest of a long reply; in other languages the one that `offer` names.
        Keyword.MORE: ("more", "mas", "suite", "mehr", "altro", "meer", "mais"),
    }
)
_MEANING = MappingProxyType({word: kind for kind, words in _WORDS.items() for word in words})

_LONGEST = 100  # characters; a longer message is no single word, whatever stands around it
_CALM = re.compile(r"""[\w\s.,?"'“”]+""")

# Every character is in the GSM alphabet, so that an offer never makes a reply cost more.
_OFFERS = MappingProxyType(
    {
        "en": "Reply MORE for the rest.",
        "es": "Responda MAS para leer el resto.",
        "fr": "Répondez SUITE pour lire la suite.",
        "de": "Antworten Sie MEHR für den Rest.",
        "it": "Risponda ALTRO per il resto.",
        "nl": "Antwoord MEER voor de rest.",
        "pt": "Responda MAIS para ler o resto.",
    }
)


def keyword(text: str, *, opted_out: bool = False) -> Keyword | None:
    """What a whole message asks of the line, or None for one that somebody must read.

    Args:
        opted_out: Whether the sender gets nothing at present. Only then is a bare YES a START
            (common practice, no source): from everyone else it answers a question.
    """
    if len(text) > _LONGEST:
        return None
    word = _bare(text)
    meaning = _MEANING.get(word)
    if meaning is Keyword.HELP and not _CALM.fullmatch(text):
        return None  # "help!" may be a cry rather than a question about the line: triage reads it
    if meaning is None and opted_out and word == "yes":
        return Keyword.START
    return meaning


def offer(language: str) -> str:
    """The sentence that offers the rest of a reply; English where there is none in the language."""
    return _OFFERS.get(language, _OFFERS["en"])


def _bare(text: str) -> str:
    """Lower case, no accents, single spaces, no punctuation at either end."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    letters = "".join(" " if c.isspace() else c for c in apart if not unicodedata.combining(c))
    start, end = 0, len(letters)
    while start < end and not letters[start].isalnum():
        start += 1
    while end > start and not letters[end - 1].isalnum():
        end -= 1
    return " ".join(letters[start:end].split())
