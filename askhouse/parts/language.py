"""Which language a part is written in, and whether Askhouse reads it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from lingua import Language, LanguageDetector, LanguageDetectorBuilder

from askhouse.words import words

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
# The numbers are from the corpus, on which the list below was chosen too, so they flatter:
# of 20 737 English messages 120 are taken for another language, 21 of them for one that
# is not read; of 8 930 in the six others, 93 in a hundred are told right.
_SURE_READ = 0.1
_SURE_READ_OF_FEW_WORDS = 0.6
_TIMES_ENGLISH = 10.0
_SURE_OTHER = 0.9
_WORDS_TO_BE_SURE = 3
# Words that none of the other languages writes alike; one in seven of them is English.
_ENGLISH = frozenset(
    """the are there theres what whats which where wheres when how hows does did you your yours our
    its and with could would should that thats this these those have has havent got any ive weve
    dont doesnt didnt wont isnt cant it can too still who off my yes been from""".split()  # noqa: SIM905
)
_SHARE_ENGLISH = 0.15
# Words of every house and language, which say nothing about it.
_EVERYWHERE = re.compile(r"\b(?:wi-?fi|pass?word|internet|parking|check-?(?:in|out)|tv)\b", re.I)
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
    own = _EVERYWHERE.sub(" ", text)
    letters = _LETTER.findall(own)
    if not letters:
        return Tongue("en", 0.0)
    if _has_english_words(own):  # most messages: the detector need not even be loaded
        return Tongue("en", 1.0)
    values = _detector().compute_language_confidence_values(own)
    sure = {value.language.iso_code_639_1.name.lower(): value.value for value in values}
    best = max(sure, key=lambda code: sure[code])
    if best == "en":
        return Tongue("en", sure["en"])
    foreign_script = sum(bool(_LATIN.match(letter)) for letter in letters) < len(letters) / 2
    enough = len(own.split()) >= _WORDS_TO_BE_SURE
    if best not in READ and (foreign_script or (enough and sure[best] >= _SURE_OTHER)):
        return Tongue(best, sure[best])
    # A short text is like several languages at once; what counts is how it stands to English.
    likeliest = max(READ, key=lambda code: sure[code])
    least = _SURE_READ if enough else _SURE_READ_OF_FEW_WORDS
    if sure[likeliest] >= max(least, _TIMES_ENGLISH * sure["en"]):
        return Tongue(likeliest, sure[likeliest])
    return Tongue("en", sure["en"])


def _has_english_words(text: str) -> bool:
    said = words(text)
    return sum(word in _ENGLISH for word in said) >= max(_SHARE_ENGLISH * len(said), 1)


def language_name(code: str) -> str:
    """The English name of a language: "pl" -> "Polish"."""
    for language in _CANDIDATES:
        if language.iso_code_639_1.name.lower() == code:
            return str(language.name).capitalize()
    return code
