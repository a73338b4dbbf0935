"""The signals of the guidance file, matched against a part."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from askhouse.triage.guidance import Guidance, Signal
from askhouse.values import Hazard, Kind

__all__ = ["Match", "goes_on", "match", "plain"]

# "it's" → "its", as half of all guests write it anyway; but "my wife's" → "my wife s".
_CONTRACTION = re.compile(
    r"'(?=(?:t|re|ve|ll|d|m)\b)"
    r"|\b(it|he|she|that|there|here|what|where|who|how|\w+one|\w+body|nothing)'(?=s\b)"
)
_DRAWN_OUT = re.compile(r"([a-z])\1{2,}")
_BLANKS = re.compile(r"\s+")
# Cries in scripts that the patterns do not hold, without accents; whole words, where a script
# has gaps between them.
_CRIES = {
    "fire": r"\b(?:пожар|пожежа|φωτια|πυρκαγια|حريق)\b|[着著起失]火了|火事(?:た|てす)?",
    "help": r"\b(?:помогите|спасите|на помощь|допоможіть|рятуите|упомоћ|у помоћ|βοηθεια|النجدة"
    r"|ساعدوني)\b|救命啊?|助けて(?:くたさい)?|🆘",
}
_CRY = re.compile("|".join(f"(?P<{word}>{cries})" for word, cries in _CRIES.items()))


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
    A cry for help or of fire in another script is put in English (`🆘` → `help`).
    """
    text = text.casefold().replace("’", "'").replace("´", "'").replace("`", "'").replace("œ", "oe")
    decomposed = unicodedata.normalize("NFKD", text)
    # In small letters once more: a mathematical letter decomposes to a plain capital.
    text = "".join(c for c in decomposed if not unicodedata.combining(c)).lower()
    if not text.isascii():
        text = _cries_in_english(text)
    text = _CONTRACTION.sub(lambda found: found[1] or "", text).replace("'", " ")
    return _BLANKS.sub(" ", _DRAWN_OUT.sub(r"\1", text)).strip()


def _cries_in_english(text: str) -> str:
    # A picture of fire is praise as often as not; beside a call for help it is a fire.
    if "🆘" in text:
        text = text.replace("🔥", " fire ")
    return _CRY.sub(lambda found: f" {found.lastgroup} ", text)


def match(text: str, guidance: Guidance, *, harmless: bool = False) -> Match | None:
    """The most pressing signal of a part, or None.

    A signal that is not `sure` does not count where the part also says that it
    is past, hypothetical or negated, unless it says that it goes on. Harm goes
    before a lockout.

    Args:
        text: The part.
        guidance: Signals.
        harmless: The learned heads are sure that nobody is in danger or shut out; doubtful
            signals do not count.
    """
    text = plain(text)

    def counts(signal: Signal) -> bool:
        if signal.doubtful and harmless:
            return False
        # Whether it is past is asked last, since most messages hold no signal at all.
        return signal.pattern.found_in(text) and (signal.sure or not _later(text, guidance))

    found = [
        Match(Kind.SAFETY, hazard, signal)
        for hazard, entry in guidance.hazards.items()
        for signal in entry.signals
        if counts(signal)
    ]
    if found:
        return min(found, key=lambda m: m.signal.level.slowness)
    for signal in guidance.lockout.signals:
        if counts(signal):
            return Match(Kind.LOCKOUT, None, signal)
    return None


def goes_on(text: str, guidance: Guidance) -> bool:
    """Whether a text says that something is still so, or worse."""
    return guidance.still_now_pattern.found_in(plain(text))


def _later(text: str, guidance: Guidance) -> bool:
    """Whether the part says that it is past, hypothetical or negated, and not that it goes on."""
    return guidance.not_now_pattern.found_in(text) and not guidance.still_now_pattern.found_in(text)
