"""Which language a part is written in, and whether Askhouse reads it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from lingua import Language, LanguageDetector, LanguageDetectorBuilder

from askhouse.parts.split import is_talk
from askhouse.topics import topics
from askhouse.words import STOP_WORDS, words

__all__ = ["READ", "Tongue", "language_name", "tongue"]

READ = ("en", "es", "fr", "de", "it", "nl", "pt")

# The languages of most travellers, and their neighbours: without Croatian, a cry for help in it
# would look like Romanian or English.
_CANDIDATES = tuple(
    getattr(Language, name)
    for name in """ENGLISH SPANISH FRENCH GERMAN ITALIAN DUTCH PORTUGUESE POLISH SWEDISH DANISH BOKMAL
    CZECH FINNISH TURKISH HUNGARIAN ROMANIAN CHINESE JAPANESE KOREAN RUSSIAN UKRAINIAN GREEK ARABIC
    HEBREW HINDI THAI VIETNAMESE CROATIAN SERBIAN SLOVAK SLOVENE BULGARIAN LITHUANIAN LATVIAN
    ESTONIAN INDONESIAN""".split()  # noqa: SIM905
)
# A guest of an English-language house writes English, however badly, unless the
# text says clearly otherwise; a misspelled word must not turn it into Romanian.
# The numbers are from the corpus, on which the list below was chosen too, so they flatter:
# of 20 000 English messages 128 are taken for another language, 14 of them for one that
# is not read; of 9 000 in the six others, 95 in a hundred are told right.
_SURE_READ = 0.1
_SURE_READ_OF_FEW_WORDS = 0.6
_TIMES_ENGLISH = 10.0
_SURE_OTHER = 0.9
_WORDS_TO_BE_SURE = 3
# Of all seven languages together, on short messages of our own (tests/askhouse/parts): below the
# first a text is in none of them, from the second on it surely is in one.
_IN_NONE = 0.02
_SURELY_IN_NONE = 0.001  # where it has ordinary English words, or names a topic of the trade
_SHARE_ORDINARY = 0.25
_SURELY_IN_ONE = 0.2
_NAMED = 0.5  # from here on an unread language is named
_UNKNOWN = "xx"
# A letter that none of the seven writes tells more than a few words do.
_FOREIGN_LETTER = re.compile(r"(?![œŒŸĲĳ])[Ā-ɏæøåðþÆØÅÐÞ]")
_FOREIGN_LETTER_IN_ONE = 0.5  # a name in a German sentence has one too
# Short thanks and assent that look like no language, beside what `clauses` knows as talk.
_ASSENT = re.compile(
    r"(?:(?:ok|oki|okay|okey|dokey|kk?|np|tysm|cool|super|top|great|perfect|awesome|fab|lovely|nice|"
    r"yes|yep|merci|danke|grazie|gracias|bedankt|obrigad[oa]|thx|thanx|thanks?|ta|cheers|lol|haha+|"
    r"alles|klar|va|bene)\b\W*)+",
    re.IGNORECASE,
)
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
    """A language by its ISO 639-1 code, and whether Askhouse reads it.

    Attributes:
        code: "xx" where it is none of the seven and cannot be named.
        sure: How sure that is, 0 to 1.
        seven: How likely it is any of the seven that are read, 0 to 1.
    """

    code: str
    sure: float
    seven: float = 1.0

    @property
    def read(self) -> bool:
        return self.code in READ

    @property
    def surely_read(self) -> bool:
        """Whether it is told well enough to leave a message alone that seems to want nothing."""
        return self.read and self.seven >= _SURELY_IN_ONE


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
    seven = 1.0 if _is_plain_talk(text) else min(sum(sure[code] for code in READ), 1.0)
    enough = len(own.split()) >= _WORDS_TO_BE_SURE
    other = max((code for code in sure if code not in READ), key=lambda code: sure[code])
    foreign_script = sum(bool(_LATIN.match(letter)) for letter in letters) < len(letters) / 2
    if (
        foreign_script
        or (seven < _FOREIGN_LETTER_IN_ONE and _FOREIGN_LETTER.search(own))
        or _in_none(own, seven, sure[other], enough=enough)
    ):
        return Tongue(other if sure[other] >= _NAMED else _UNKNOWN, sure[other], seven)
    # A short text is like several languages at once; what counts is how it stands to English.
    likeliest = max(READ, key=lambda code: sure[code])
    least = _SURE_READ if enough else _SURE_READ_OF_FEW_WORDS
    if sure[likeliest] >= max(least, _TIMES_ENGLISH * sure["en"]):
        return Tongue(likeliest, sure[likeliest], seven)
    return Tongue("en", sure["en"], seven)


def _in_none(text: str, seven: float, other: float, *, enough: bool) -> bool:
    """Whether a text is in none of the seven; misspelled English looks much like that."""
    said = words(text)
    english = sum(word in STOP_WORDS or word in _ENGLISH for word in said)
    if english >= _SHARE_ORDINARY * len(said) or topics().of(text):
        return seven < _SURELY_IN_NONE and seven < other
    return (seven < _IN_NONE and seven < other) or (enough and other >= _SURE_OTHER)


def _is_plain_talk(text: str) -> bool:
    """Whether it only greets, thanks or agrees, in a language that is read."""
    return bool(_ASSENT.fullmatch(text.strip())) or is_talk(text)


def _has_english_words(text: str) -> bool:
    said = words(text)
    return sum(word in _ENGLISH for word in said) >= max(_SHARE_ENGLISH * len(said), 1)


def language_name(code: str) -> str:
    """The English name of a language: "pl" -> "Polish"; "this language" where it has none."""
    for language in _CANDIDATES:
        if language.iso_code_639_1.name.lower() == code:
            return str(language.name).capitalize()
    return "this language"
