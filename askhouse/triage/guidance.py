"""The guidance file read: per hazard the signals, the fixed words, and the published source."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cached_property, lru_cache
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from askhouse.packaged import read_yaml
from askhouse.triage.pattern import Pattern
from askhouse.values import Hazard, Level

__all__ = ["Guidance", "HazardGuidance", "LockoutGuidance", "Signal", "guidance"]


def _joined(pattern: Any) -> Any:
    """One alternative a line is how a pattern can be read; together they are one pattern."""
    return "|".join(pattern) if isinstance(pattern, list) else pattern


Written = Annotated[str, BeforeValidator(_joined)]
# Read as the file is read, so that a pattern that cannot be read is named with its place.
Read = Annotated[Pattern, BeforeValidator(lambda written: Pattern(_joined(written)))]
ByLanguage = Mapping[str, str]


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Signal(_Closed):
    """Words that raise an alarm.

    Attributes:
        pattern: A regular expression, or a list of alternatives, matched anywhere in
            the part as `wordlist.plain` writes it: small letters, no accents.
        name: What was noticed, for the host: "a smell of gas".
        level: How fast.
        sure: Raised even where the message also sounds past or hypothetical.
        doubtful: Often said of other things ("a bang like a gunshot"): not raised where the
            learned heads are sure that nobody is in danger or shut out.
    """

    pattern: Read
    name: str
    level: Level
    sure: bool = False
    doubtful: bool = False


class HazardGuidance(_Closed):
    """One hazard.

    Attributes:
        words: What a guest needs first, by language; `{number}` is the emergency number.
        sources: The published guidance that the words follow.
        signals: What raises it.
        poison_help: Add the country's poison line.
    """

    words: ByLanguage
    sources: tuple[str, ...] = Field(min_length=1)
    signals: tuple[Signal, ...] = ()
    poison_help: bool = False


class LockoutGuidance(_Closed):
    """Words and signals for someone who cannot get in."""

    words: ByLanguage
    call_back: ByLanguage
    signals: tuple[Signal, ...]


class Guidance(_Closed):
    """The whole file.

    Attributes:
        groups: Words that stand for one thing; `<name>` in a pattern is any of them.
        not_now: Patterns that say: past, hypothetical, negated, or an ordinary question.
        still_now: Patterns that say: and yet it is happening; they take `not_now` back.
        hazards: By hazard; every hazard has an entry.
        lockout: The same for a lockout.
        host_alerted: Said after the words, by language.
        soon: Said instead of a hazard's words at level `soon`, where nothing has happened yet;
            `{number}` is the emergency number.
        poison_lines: Telephone numbers by country.
        poison_words: How the number is said, by language; `{number}` is the line's number.
    """

    groups: Mapping[str, Written] = {}
    not_now: tuple[Written, ...]
    still_now: tuple[Written, ...] = ()
    hazards: Mapping[Hazard, HazardGuidance]
    lockout: LockoutGuidance
    host_alerted: ByLanguage
    soon: ByLanguage
    poison_lines: Mapping[str, str]
    poison_words: ByLanguage

    @model_validator(mode="before")
    @classmethod
    def _fill_groups(cls, content: Any) -> Any:
        if not isinstance(content, dict):
            return content
        groups = {name: _joined(words) for name, words in content.get("groups", {}).items()}
        return _filled(content, groups)

    @cached_property
    def not_now_pattern(self) -> Pattern:
        """Any of `not_now`."""
        return _any(self.not_now)

    @cached_property
    def still_now_pattern(self) -> Pattern:
        """Any of `still_now`."""
        return _any(self.still_now)


_GROUP = re.compile(r"<([a-z_]+)>")


def _filled(content: Any, groups: Mapping[str, str]) -> Any:
    """The content with each `<name>` written out.

    Raises:
        ValueError: A pattern names a group that the file does not have.
    """
    if isinstance(content, dict):
        return {key: _filled(value, groups) for key, value in content.items()}
    if isinstance(content, list):
        return [_filled(value, groups) for value in content]
    if not isinstance(content, str):
        return content
    unknown = [name for name in _GROUP.findall(content) if name not in groups]
    if unknown:
        raise ValueError(f"no group is called <{unknown[0]}>; add it under `groups`")
    return _GROUP.sub(lambda found: f"(?:{groups[found[1]]})", content)


def _any(patterns: tuple[str, ...]) -> Pattern:
    # "a^" matches nothing: no pattern must not mean any text.
    return Pattern("|".join(f"(?:{pattern})" for pattern in patterns) or "a^")


@lru_cache(maxsize=1)
def guidance() -> Guidance:
    """The guidance that travels with the package."""
    return Guidance.model_validate(read_yaml("askhouse.triage", "guidance.yaml"))
