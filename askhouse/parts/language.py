"""Which language a part is written in, and whether Askhouse reads it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from lingua import Language, LanguageDetector, LanguageDetectorBuilder

__all__ = ["READ", "Tongue", "language_name", "tongue"]

READ = ("en", "es", "fr", "de", "it", "nl", "pt")

# The languages of most travellers; the more there are, the less sure a short text is.
_CANDIDATES = tuple(
    getattr(Language, name)
    for name in """ENGLISH SPANISH FRENCH GERMAN ITALIAN DUTCH PORTUGUESE POLISH SWEDISH DANISH BOKMAL
    CZECH FINNISH TURKISH HUNGARIAN ROMANIAN CHINESE JAPANESE KOREAN RUSSIAN UKRAINIAN GREEK ARABIC
    HEBREW HINDI THAI VIETNAMESE""".split()  # noqa: SIM905
)
# A guest of an English-language house writes English, however badly, unless the
# text says clearly otherwise; a misspelled word must not turn it into Romanian.
_SURE_READ = 0.6
_SURE_OTHER = 0.9
_WORDS_TO_BE_SURE = 3
_LETTER = re.compile(r"[^\W\d_]")
_LATIN = re.compile(r"[A-Za-zÀ-ɏ]")


@dataclass(frozen=True, slots=True)
class Tongue:
    """A language by its ISO 639-1 code, how sure (0 to 1), and whether Askhouse reads it."""

    code: str
    sure: float

    @property
    def read(self) -> bool:
        return self.code in READ


@lru_cache(maxsize=1)
def _detector() -> LanguageDetector:
    return LanguageDetectorBuilder.from_languages(*_CANDIDATES).with_low_accuracy_mode().build()


def tongue(text: str) -> Tongue:
    """The language of a text; English where it cannot be told."""
    letters = _LETTER.findall(text)
    if not letters:
        return Tongue("en", 0.0)
    values = _detector().compute_language_confidence_values(text)
    sure = {value.language.iso_code_639_1.name.lower(): value.value for value in values}
    best = max(sure, key=lambda code: sure[code])
    if best == "en":
        return Tongue("en", sure["en"])
    foreign_script = sum(bool(_LATIN.match(letter)) for letter in letters) < len(letters) / 2
    words = len(text.split())
    if foreign_script and best not in READ:
        return Tongue(best, sure[best])
    if best in READ:
        clear = sure[best] >= _SURE_READ and sure["en"] < sure[best] / 3
    else:
        clear = sure[best] >= _SURE_OTHER and words >= _WORDS_TO_BE_SURE
    return Tongue(best, sure[best]) if clear else Tongue("en", sure["en"])


def language_name(code: str) -> str:
    """The English name of a language: "pl" -> "Polish"."""
    for language in _CANDIDATES:
        if language.iso_code_639_1.name.lower() == code:
            return str(language.name).capitalize()
    return code
