"""The signals of the guidance file, matched against a part."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from askhouse.triage.guidance import Guidance, Signal
from askhouse.values import Hazard, Kind, Level

__all__ = ["Match", "match", "plain"]

_FASTEST_FIRST = (Level.EMERGENCY, Level.URGENT, Level.SOON)
# "it's" → "its", as half of all guests write it anyway; but "my wife's" → "my wife s".
_CONTRACTION = re.compile(
    r"'(?=(?:t|re|ve|ll|d|m)\b)"
    r"|\b(it|he|she|that|there|here|what|where|who|how|\w+one|\w+body|nothing)'(?=s\b)"
)
_DRAWN_OUT = re.compile(r"([a-z])\1{2,}")
_BLANKS = re.compile(r"\s+")


@dataclass(frozen=True, slots=True)
class Match:
    """A signal that was found; `hazard` is None for a lockout."""

    kind: Kind
    hazard: Hazard | None
    signal: Signal


def plain(text: str) -> str:
    """The text as the patterns expect it, so that they need not know how someone types.

    Small letters without accents, on one line; English contractions closed
    (`can't` → `cant`), other apostrophes opened (`l'eau` → `l eau`); `HEEELP` → `help`.
    """
    text = text.casefold().replace("’", "'").replace("´", "'").replace("`", "'").replace("œ", "oe")
    decomposed = unicodedata.normalize("NFKD", text)
    # In small letters once more: a mathematical letter decomposes to a plain capital.
    text = "".join(c for c in decomposed if not unicodedata.combining(c)).lower()
    text = _CONTRACTION.sub(lambda found: found[1] or "", text).replace("'", " ")
    return _BLANKS.sub(" ", _DRAWN_OUT.sub(r"\1", text)).strip()


def match(text: str, guidance: Guidance) -> Match | None:
    """The most pressing signal of a part, or None.

    A signal that is not `sure` does not count where the part also says that it
    is past, hypothetical or negated, unless it says that it goes on. Harm goes
    before a lockout.
    """
    text = plain(text)

    def counts(signal: Signal) -> bool:
        # Whether it is past is asked last, since most messages hold no signal at all.
        return signal.pattern.found_in(text) and (signal.sure or not _later(text, guidance))

    found = [
        Match(Kind.SAFETY, hazard, signal)
        for hazard, entry in guidance.hazards.items()
        for signal in entry.signals
        if counts(signal)
    ]
    if found:
        return min(found, key=lambda m: _FASTEST_FIRST.index(m.signal.level))
    for signal in guidance.lockout.signals:
        if counts(signal):
            return Match(Kind.LOCKOUT, None, signal)
    return None


def _later(text: str, guidance: Guidance) -> bool:
    """Whether the part says that it is past, hypothetical or negated, and not that it goes on."""
    return guidance.not_now_pattern.found_in(text) and not guidance.still_now_pattern.found_in(text)
