"""Words and stems of a text, as search, context and decision count them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

import snowballstemmer

__all__ = ["STOP_WORDS", "WORD", "stems", "stems_of", "words"]

# Words that carry no topic in a guest's question. Common practice, no source.
STOP_WORDS = frozenset(
    """a an the and or but if so to of in on at for from with by as is are was were be been am do
    does did done have has had can could will would shall should may might must i im ive we us our
    you your u ur me my he she it its they them their this that these those there here what whats
    which when where wheres who how hows why hi hello hey please pls plz thanks thank thx ok just
    any some get got go need want know tell say like also not no yes cant dont doesnt isnt wont""".split()  # noqa: SIM905
)
WORD = re.compile(r"[^\W_]+(?:['’][^\W_]+)?")


def words(text: str) -> list[str]:
    """The words of a text in lower case, apostrophes left out ("what's" -> "whats")."""
    return [word.replace("'", "").replace("’", "") for word in WORD.findall(text.lower())]


def stems(text: str) -> list[str]:
    """The stems of the words that carry a topic, in order."""
    return stems_of([word for word in words(text) if word not in STOP_WORDS])


def stems_of(wanted: Sequence[str]) -> list[str]:
    """The stem of each word, in order."""
    return [_stem(word) for word in wanted]


@lru_cache(maxsize=65_536)  # a house's words and the guests'; a word's stem never changes
def _stem(word: str) -> str:
    # A stemmer holds the word it works on, so that threads must not share one: two
    # messages answered at once would get each other's stems. Making one costs a microsecond.
    return str(snowballstemmer.stemmer("english").stemWord(word))
