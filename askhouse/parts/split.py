"""A message -> its clauses, in the guest's order.

Guests put several things into one message, with or without punctuation. Each
clause is an ask (it wants something), a statement (it tells something) or talk
(greeting, thanks); `join` makes parts of them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

__all__ = [
    "MAX_PARTS",
    "Clause",
    "ClauseKind",
    "at_most",
    "clauses",
    "is_talk",
    "joined_asks",
    "only_opens",
    "without_joiner",
]

MAX_PARTS = 12  # a message with more is a list to read, not to answer by machine


class ClauseKind(Enum):
    """What a clause does."""

    ASK = "ask"
    STATEMENT = "statement"
    TALK = "talk"


@dataclass(frozen=True, slots=True)
class Clause:
    """A piece of the message that says one thing."""

    text: str
    kind: ClauseKind


# How a question opens, in the languages that are answered. A guest's question
# seldom carries its question mark, so the opening words must do.
_WH = r"(?:what|whats|wat|waht|where|wheres|were|when|whens|which|who|whos|whose|why|how|hows|hw)"
_AUX = (
    r"(?:is|are|was|can|could|cud|do|does|did|will|would|may|might|shall|should|must|has|have|"
    r"isnt|arent|cant|dont|doesnt|wont|any|anywhere|anything|anyone|any chance)"
)
_WHO = (
    r"(?:there|it|the|this|that|these|those|we|i|you|u|ya|yous|yall|y'all|they|he|she|my|our|your|"
    r"any|anyone|anywhere|somewhere|someone|a|an|one|all|guests|kids|dogs|pets)"
)
_FOREIGN = (
    r"(?:¿|dónde|donde|cómo|como (?:se|funciona|puedo|hago|faço)|cuándo|cuando|qué|cuál|cuántos?|hay|"
    r"se puede|podemos|puedo|tienen|tenéis|où|comment|quand|quel(?:le)?s?|combien|est-ce|peut-on|"
    r"y a-t-il|il y a|avez-vous|vous avez|wo|wie|wann|welche[rsn]?|was|gibt es|gibts|habt ihr|haben sie|"
    r"können wir|kann man|kann ich|dürfen wir|darf|dove|come|quando|quale|quali|quanto|c'è|ci sono|"
    r"avete|possiamo|posso|si può|waar|hoe|wanneer|welke?|wat|is er|zijn er|hebben jullie|mogen we|"
    r"kunnen we|kan ik|mag|onde|quando|qual|quais|tem|há|podemos|posso|pode-se)"
)
_ASK_OPENING = re.compile(
    rf"^(?:(?:so|ok|okay|right|well|oh|hi|hey|hello|and|also|but|plus|then|or|um|uh|erm|just|"
    rf"first|second|secondly|firstly|lastly|finally|one more|quick q|btw|ps|p\.s\.|anyway|again|y|et|"
    rf"und|e|en|ou|ook|auch|también|aussi|anche|também)[\s,:.-]+){{0,6}}"
    rf"(?:{_WH}\b|{_AUX}\s+{_WHO}\b|any\b|anywhere\b|(?:is|are)\s+\w+\s+(?:ok|allowed|included|free)\b|"
    rf"{_FOREIGN}\b)",
    re.IGNORECASE,
)
_ASK_INSIDE = re.compile(
    r"\b(?:can (?:you|u|we|i)|could (?:you|u|we|i|someone|somebody)|would (?:you|it be)|do (?:you|u|we)|"
    r"is it (?:ok|possible|allowed|fine)|is there|are there|where (?:is|are|do|can|the)|"
    r"how (?:do|does|can|to|long|much|many|far)|what (?:time|day|is|are|do)|whats the|wheres the|"
    r"wondering (?:if|whether|about|where|how|what)|want(?:ed)? to (?:know|ask)|tell me|let (?:me|us) know|"
    r"any (?:chance|idea|way)|need to know|please (?:send|bring|can|could)|remind me|"
    r"(?:ok|fine|allowed|possible) (?:to|if|for))\b",
    re.IGNORECASE,
)
# Each word is taken whole and never given back (`(?>…)`, `++`): with a plain `+`, two dozen x's and
# a q take minutes, since every way of cutting the x's is tried. So longer forms stand first.
_TALK = re.compile(
    r"^(?>(?:hi+|hiya|hey+|hello+|helo|dear|good (?:morning|afternoon|evening|day)|morning|evening|"
    r"afternoon|howdy|hola|buenas(?: tardes| noches)?|buenos d[ií]as|bonjour|bonsoir|salut|hallo|"
    r"guten (?:tag|morgen|abend)|moin|ciao|salve|buongiorno|buonasera|goede(?:morgen|middag|navond)|"
    r"hoi|olá|oi|bom dia|boa (?:tarde|noite)|thank u|thanks?(?: you)?(?: so much| again| very much|"
    r" a lot| in advance)?|thx|ta|tks|cheers|many thanks|ty|merci(?: beaucoup)?|gracias|muchas gracias|"
    r"danke(?: schön)?|vielen dank|grazie(?: mille)?|bedankt|dank je(?: wel)?|dankjewel|obrigad[oa]|"
    r"sorry(?: to bother you)?(?: so late)?|hope (?:you'?re|you are|all is) well|x+|lol|haha+|"
    r"quick (?:q|question|one)|(?:two|2|three|3|a (?:few|couple of)) (?:quick |daft )?"
    r"(?:things|questions|qs)|there|all|everyone|again|mate|guys|team|folks|love|please|pls)"
    r"(?!\w)[\s,.!:;-]*)++$",
    re.IGNORECASE,
)
# "full stop" and "question mark" come from dictation, unless a guest points at one on a display.
_SENTENCE_END = re.compile(
    r"(?<![\d][.])(?:(?<=[.!?…])|(?<=[.!?…][)\"'»”])|(?<=[.!?…][)\"'»”]{2}))\s+(?=\S)|(?<=[?!])(?=[A-Za-zÀ-ÿ¿])|\n+|"
    r"(?<!\bthe)(?<!\bthis)(?<!\bthat)(?<!\ba)\s+(?:full stop|question mark)\s+",
    re.IGNORECASE,
)
# Where a sentence may change its subject: a joiner, and behind it a question's opening.
_JOINER = re.compile(
    r"(?:\s*[,;&+]\s*|\s+-+\s+|\s+)(?:and also|and then|and|also|plus|oh and|but also|as well as|&|y|et|"
    r"und|e|en|ook|et aussi|y también|und auch)\s+(?=\S)|\s*[,;]\s+(?=\S)|\s+(?=also\b)",
    re.IGNORECASE,
)
# The same with a stop before it. Of 87 such messages of knowledge/unseen 84 have several parts.
_JOINING = r"(?:and|also|plus|und|auch|et|aussi|y|e|en|ook|&)"
_JOINED_ASK = re.compile(
    rf"(?<=[.?!,;])\s+({_JOINING}),?\s+(?:{_WH}|{_AUX}|{_FOREIGN})\b", re.IGNORECASE
)
_OPENING = rf"(?:{_JOINING}|{_WH}|{_AUX}|{_FOREIGN})"
_OPENS = re.compile(rf"{_OPENING}(?:\s+{_OPENING})*", re.IGNORECASE)
_ABBREVIATION = re.compile(
    r"(?:\b(?:mr|mrs|ms|dr|st|no|nr|approx|e\.g|i\.e|etc|a\.m|p\.m)\.)$", re.I
)


def at_most(parts: Sequence[str]) -> tuple[str, ...]:
    """The parts, at most `MAX_PARTS`: the last holds all that would be too many."""
    if len(parts) <= MAX_PARTS:
        return tuple(parts)
    return (*parts[: MAX_PARTS - 1], " ".join(parts[MAX_PARTS - 1 :]))


# What joins a part to the one before, unless it points back: "and the password?" stays whole.
_LEADING = re.compile(
    r"^(?:[,;&+-]\s*)*(?:(?:and also|and then|and|also|plus|oh and|but also|y también|y|et aussi|et|"
    r"und auch|und|en ook|en|e também|e|ook|auch|anche|aussi|también|também)\b[\s,]*)*"
    r"(?=\S)(?!(?:the|that|this|those|these|one|it|them|el|los|las|le|les|das|der|die|il|i|de|het|os|"
    r"as)\b)",
    re.IGNORECASE,
)


def without_joiner(piece: str) -> str:
    """A part without the "and" that joined it to the one before, where it can stand alone."""
    return _LEADING.sub("", piece) or piece


def joined_asks(text: str) -> tuple[int, ...]:
    """Characters at which a question begins that a stop and a joiner part from what is before."""
    return tuple(found.start(1) for found in _JOINED_ASK.finditer(text))


def only_opens(text: str) -> bool:
    """Whether words only join or open a question, and ask nothing by themselves ("and what")."""
    return _OPENS.fullmatch(text) is not None


def clauses(text: str) -> tuple[Clause, ...]:
    """The clauses of a cleaned message, in order, with what each does."""
    found: list[Clause] = []
    for sentence in _sentences(text):
        for piece in _pieces(sentence):
            found.append(Clause(piece, _kind(piece)))
    return tuple(found)


def is_talk(text: str) -> bool:
    """Whether a text only greets or thanks."""
    return all(clause.kind is ClauseKind.TALK for clause in clauses(text))


def _sentences(text: str) -> list[str]:
    sentences: list[str] = []
    for raw in _SENTENCE_END.split(text):
        piece = raw.strip()
        if not piece:
            continue
        if sentences and _ABBREVIATION.search(sentences[-1]):
            sentences[-1] += " " + piece
        else:
            sentences.append(piece)
    return sentences


def _pieces(sentence: str) -> list[str]:
    """Cuts a sentence where a joiner is followed by the opening of another question."""
    pieces: list[str] = []
    start = 0
    for joiner in _JOINER.finditer(sentence):
        before, after = sentence[start : joiner.start()], sentence[joiner.end() :]
        if len(before.split()) < 2 and not before.rstrip().endswith("?"):
            continue
        if _ASK_OPENING.match(after) and _kind(before) is not ClauseKind.TALK:
            pieces.append(before.strip())
            start = joiner.end()
    pieces.append(sentence[start:].strip())
    return [piece for piece in pieces if piece]


def _kind(clause: str) -> ClauseKind:
    if _TALK.match(clause):
        return ClauseKind.TALK
    if clause.rstrip(" )\"'x😀🙏").endswith("?") or _ASK_OPENING.match(clause):
        return ClauseKind.ASK
    if _ASK_INSIDE.search(clause):
        return ClauseKind.ASK
    return ClauseKind.STATEMENT
