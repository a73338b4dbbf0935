"""A draft made a fact: its names filled in, its sections put together.

The last step for a single fact. What goes wrong here goes wrong in a text, so
a problem says which name is meant only where the text cannot hold a secret.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from askhouse.knowledge.drafts import Draft
from askhouse.knowledge.fill import fill, names_in
from askhouse.knowledge.house_values import HouseValues
from askhouse.knowledge.near import did_you_mean
from askhouse.knowledge.notes import note_text, sections_of
from askhouse.knowledge.problems import Problem, Severity
from askhouse.knowledge.schema import FactFile
from askhouse.knowledge.sensitive import looks_sensitive, names_secret
from askhouse.knowledge.written import Place, Written
from askhouse.values import Fact, Section, Source

__all__ = ["Filler", "finish"]


@dataclass(slots=True)
class Filler:
    """Fills names into the texts of one file and gathers what goes wrong.

    Attributes:
        secret: The texts may hold a secret, so that no name from them is shown.
    """

    written: Written
    values: HouseValues
    problems: list[Problem]
    secret: bool = False

    def fill(self, text: str, place: Place, line: int | None = None) -> str:
        """The text with its names filled in; an unknown name is a problem at the place."""
        filling = fill(text, self.values.words)
        for name in filling.unknown:
            if not self.values.is_broken(name):
                self._unknown(name, place, line)
        if filling.alone:
            self.problems.append(
                self.written.problem(
                    place,
                    _sentence(place, "has a brace that stands alone."),
                    "Write it twice ({{ or }}) to show it, or put a value's name between two.",
                    line=line,
                )
            )
        return filling.text

    def _unknown(self, name: str, place: Place, line: int | None) -> None:
        shown = bool(names_in(f"{{{name}}}")) and not self.secret
        which = f"{{{name}}}" if shown else "a name in braces"
        hint = did_you_mean(name, {*self.values.words, *self.values.broken})
        self.problems.append(
            self.written.problem(
                place,
                _sentence(place, f"has {which}, and no value is called that."),
                f"{hint}Write it under `values` in the house file, or double the braces.",
                line=self._line(place, name, line),
            )
        )

    def _line(self, place: Place, name: str, line: int | None) -> int:
        words = f"{{{name}}}"
        if line is None:
            return self.written.line_of(place, words)
        for number, row in enumerate(self.written.text.split("\n")[line - 1 :], line):
            if words in row:
                return number
        return line


def _sentence(place: Place, what: str) -> str:
    return what if place else f"The note {what}"


def finish(draft: Draft, values: HouseValues) -> tuple[Fact, list[Problem]]:
    """The fact, and the problems of its texts (with errors among them, it must not be used)."""
    head, at = draft.head, draft.at
    own_text = head.text if isinstance(head, FactFile) else note_text(draft.blocks)
    looks = looks_sensitive(own_text, *head.cautions, head.caution or "") or names_secret(
        head.title or "", *head.asks
    )
    filler = Filler(draft.written, values, [], secret=head.sensitive or looks)
    cautions = tuple(
        filler.fill(text, (*at, "cautions", number)) for number, text in enumerate(head.cautions)
    )
    if head.caution is not None:
        cautions += (filler.fill(head.caution, (*at, "caution")),)
    if isinstance(head, FactFile):
        text = filler.fill(head.text, (*at, "text"))
        sections: tuple[Section, ...] = ()
    else:
        blocks = [replace(b, text=filler.fill(b.text, (), b.line)) for b in draft.blocks]
        text, sections = note_text(blocks), sections_of(blocks)
    title = _title(draft.id) if head.title is None else filler.fill(head.title, (*at, "title"))
    fact = Fact(
        id=draft.id,
        topic=head.topic,
        title=title,
        text=text,
        asks=tuple(filler.fill(ask, (*at, "asks", n)) for n, ask in enumerate(head.asks)),
        sections=sections,
        cautions=cautions,
        sensitive=head.sensitive,
        emergency_help=head.emergency_help,
        place=head.place,
        verified_on=head.verified_on,
        season=None if head.season is None else head.season.season(),
        related=tuple(head.related),
        media=None if head.media is None else head.media.media(),
        source=Source(draft.written.file, draft.written.line(at)),
    )
    return fact, [*filler.problems, *_warnings(draft, looks)]


def _title(fact_id: str) -> str:
    """`front-door-lock` → `Front door lock`."""
    return re.sub("-+", " ", fact_id).capitalize()


def _warnings(draft: Draft, looks: bool) -> list[Problem]:
    # `sensitive: false` in the file is an answer; only silence is asked about.
    if not looks or "sensitive" in draft.head.model_fields_set:
        return []
    place = (*draft.at, "text") if isinstance(draft.head, FactFile) else ()
    return [
        draft.written.problem(
            place,
            _sentence(place, "seems to say a code or password to every guest."),
            "Add `sensitive: true`, so that only a verified guest gets it; or write "
            "`sensitive: false` if everyone may know.",
            severity=Severity.WARNING,
        )
    ]
