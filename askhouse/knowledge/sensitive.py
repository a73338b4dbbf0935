"""A text that looks as if it gives away a code, though it is not marked sensitive.

Only for a warning: what decides who may read a fact is `sensitive: true`
alone. A warning too many costs the host a line; a code too many costs a lock.
"""

from __future__ import annotations

import re

from askhouse.knowledge.fill import names_in

__all__ = ["looks_sensitive", "names_secret"]

# A code as it is said, with three to eight digits: 4471, C5580, 52A7, 7-1-8, C 5 0 8. More are
# a phone number, and with a unit behind it is a measure.
_CODE = (
    r"(?<![\w:.,-])(?<![0-9] )(?:[A-Z][ -]?)?(?=[0-9](?:[ -]?[A-Z]?[0-9]){2})"
    r"[0-9](?:[ -]?[0-9A-Z#*]){2,7}(?![\w:]|[.,-][0-9]| ?[0-9]| ?%)"
    r"(?! ?(?:cm|mm|m|km|kg|g|ml|l|ft|am|pm|metres?|meters?|yards?|feet|inches|minutes?|hours?|"
    r"steps|degrees|litres?|euros?|dollars|pounds)\b)"
)
_LOCK = (
    r"(?:pass ?code|pin|combination|key ?(?:safe|box)|lock ?box|key ?pad|pad ?lock|"
    r"(?:number|combination|code) lock|codes?)"
)
# What has a code that is no secret, and what has a number beside a lock that is none.
_HARMLESS = re.compile(
    r"\b(?:zip|post|postal|area|country|dial(?:ling|ing)?|error|fault|colou?r|dress|qr|bar|"
    r"discount|promo|building|highway) ?-?codes?\b[^.;]*",
    re.IGNORECASE,
)
# In one sentence: the code at most 60 characters after the lock, or 30 before it.
_AFTER = re.compile(rf"\b(?i:{_LOCK})\b[^.!?\n]{{0,60}}?{_CODE}")
_BEFORE = re.compile(rf"{_CODE}[^.!?\n]{{0,30}}\b(?i:{_LOCK})\b")
_OPENS = re.compile(rf"\b(?i:opens? with|enter|type in|punch in)\b[^.!?\n]{{0,15}}?{_CODE}")
# A password is said after "is" or a colon, and is neither a place nor a way of saying it.
_PASSWORD = re.compile(
    r"\bpass ?(?:word|phrase)s?\b(?: (?:for|of) [^.:]{1,40}?)?(?: is|:| =|,)\s+[\"'\u201c\u2018]?"
    r"(?!(?:on|in|at|the|under|inside|behind|beside|by|not|also|printed|written|taped|stuck|shown|"
    r"below|above|sent|as|case|all|a|an|and|or|ask|please|your|our|you|we|it|same|different|"
    r"needed|changed|there|required)\b)\S{4,}",
    re.IGNORECASE,
)
_EMERGENCY = re.compile(r"\b(?i:dial|call|ring) [0-9]{3}\b")
_SECRET_NAME = re.compile(r"password|passcode|passphrase|(?:^|[._])(?:code|pin)(?:$|[._])")


def looks_sensitive(*texts: str) -> bool:
    """Whether a text seems to say a code or password, or names a value that is one."""
    return names_secret(*texts) or any(_says_code(text) for text in texts)


def names_secret(*texts: str) -> bool:
    """Whether a text names a value that is a code or password, such as `{wifi_password}`."""
    return any(_SECRET_NAME.search(name) for text in texts for name in names_in(text))


def _says_code(text: str) -> bool:
    rest = _EMERGENCY.sub("", _HARMLESS.sub("", text))
    return any(pattern.search(rest) for pattern in (_AFTER, _BEFORE, _OPENS, _PASSWORD))
