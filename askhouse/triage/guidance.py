"""The guidance file read: per hazard the signals, the fixed words, and the published source."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field
from ruamel.yaml import YAML

from askhouse.values import Hazard, Level

__all__ = ["Guidance", "HazardGuidance", "Signal", "guidance"]


def _is_pattern(pattern: str) -> str:
    re.compile(pattern, re.IGNORECASE)
    return pattern


Pattern = Annotated[str, AfterValidator(_is_pattern)]
ByLanguage = Mapping[str, str]


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Signal(_Closed):
    """Words that raise an alarm.

    Attributes:
        pattern: A regular expression, matched anywhere in the part, case ignored.
        name: What was noticed, for the host: "a smell of gas".
        level: How fast.
        sure: Raised even where the message also sounds past or hypothetical.
    """

    pattern: Pattern
    name: str
    level: Level
    sure: bool = False


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
        not_now: Patterns that say: past, hypothetical, negated, or an ordinary question.
        hazards: By hazard; every hazard has an entry.
        lockout: The same for a lockout.
        host_alerted: Said after the words, by language.
        poison_lines: Telephone numbers by country.
        poison_words: How the number is said, by language; `{number}` is the line's number.
    """

    not_now: tuple[Pattern, ...]
    hazards: Mapping[Hazard, HazardGuidance]
    lockout: LockoutGuidance
    host_alerted: ByLanguage
    poison_lines: Mapping[str, str]
    poison_words: ByLanguage

    @property
    def not_now_pattern(self) -> re.Pattern[str]:
        return _compiled("|".join(f"(?:{pattern})" for pattern in self.not_now))


@lru_cache(maxsize=512)
def _compiled(pattern: str) -> re.Pattern[str]:
    return re.compile(pattern, re.IGNORECASE)


def compiled(signal: Signal) -> re.Pattern[str]:
    """The signal's pattern, compiled once."""
    return _compiled(signal.pattern)


@lru_cache(maxsize=1)
def guidance() -> Guidance:
    """The guidance that travels with the package."""
    text = (files("askhouse.triage") / "guidance.yaml").read_text(encoding="utf-8")
    return Guidance.model_validate(YAML(typ="safe", pure=True).load(text))
