"""A text that looks as if it gives away a code, though it is not marked sensitive.

Only for a warning: what decides who may read a fact is `sensitive: true`
alone. A warning too many costs the host a line; a code too many costs a lock.
"""

from __future__ import annotations

import re

from askhouse.knowledge.fill import names_in

__all__ = ["looks_sensitive"]

_SECRET = r"(?:pass ?word|pass ?code|pass ?phrase|pin|combination|key ?safe|lock ?box|keypad|code)"
# Codes that are no secret: an area's, a machine's, a parcel of text.
_HARMLESS = re.compile(
    r"\b(?:zip|post|postal|area|country|dial(?:ling|ing)?|error|fault|colou?r|dress|qr|bar|"
    r"discount|promo|building|highway) ?-?codes?\b[^.;]*",
    re.IGNORECASE,
)
# Digits within the same sentence after the word, at most 60 characters on; then digits
# before it ("4471 is the code").
_CODE_AFTER = re.compile(rf"\b{_SECRET}s?\b[^.!?\n]{{0,60}}?\b[0-9#*]{{3,10}}\b", re.IGNORECASE)
_CODE_BEFORE = re.compile(rf"\b[0-9]{{3,10}}\b[^.!?\n]{{0,25}}\b{_SECRET}\b", re.IGNORECASE)
# A password is said after "is", "are" or a colon, and is neither a place nor a way of saying it.
_PASSWORD = re.compile(
    r"\bpass ?(?:word|phrase)s?\b(?: for [^.:]{1,40}?)?(?: is|:| =|,)\s+[\"'“‘]?(?!(?:on|in|at|the|"
    r"under|inside|behind|beside|by|not|also|printed|written|taped|stuck|shown|below|above|sent|"
    r"as|case|all|a|an|and|or|ask|please|your|our|you|we|it|same|different|needed|changed|there|"
    r"required)\b)\S{4,}",
    re.IGNORECASE,
)
_VALUE = re.compile(r"password|passcode|passphrase|(?:^|[._])(?:code|pin)(?:$|[._])")


def looks_sensitive(text: str) -> bool:
    """Whether the text seems to say a code or password, or names a value that is one."""
    if any(_VALUE.search(name) for name in names_in(text)):
        return True
    rest = _HARMLESS.sub("", text)
    return any(pattern.search(rest) for pattern in (_CODE_AFTER, _CODE_BEFORE, _PASSWORD))
