"""One house from its files: header, values, facts and notes, and what holds between them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from askhouse.knowledge.checks import country_name, in_emergency_plan, is_valid_phone
from askhouse.knowledge.drafts import Draft, Drafts, read_facts, read_note
from askhouse.knowledge.explain import explain
from askhouse.knowledge.finish import Filler, finish
from askhouse.knowledge.folders import HouseFiles
from askhouse.knowledge.house_values import HouseValues, read_values
from askhouse.knowledge.near import did_you_mean
from askhouse.knowledge.problems import Problem, Severity, has_error
from askhouse.knowledge.schema import HouseFile
from askhouse.knowledge.sensitive import looks_sensitive
from askhouse.knowledge.written import Written, read_yaml
from askhouse.values import Fact, House, Units

__all__ = ["HouseReading", "read_house"]


@dataclass(frozen=True, slots=True)
class HouseReading:
    """A house as far as it could be read: None where it has an error; its slug and the line."""

    house: House | None
    slug: str | None = None
    slug_line: int = 1


def read_house(files: HouseFiles) -> tuple[HouseReading, list[Problem]]:
    """The house of these files and all their problems."""
    written, problems = _read_main(files)
    problems += files.unread
    if not isinstance(written.values, dict):
        if not has_error(problems):
            problems.append(_no_house(written))
        gathered = _gather(files)
        return HouseReading(None), [*problems, *(p for d in gathered for p in d.problems)]
    header = dict(written.values)
    listed = header.pop("facts", None)
    house, header_problems = _header(header, written)
    country = house.country if house else str(header.get("country", ""))
    values, value_problems = read_values(header.get("values"), house, country, written)
    gathered = _gather(files)
    if listed is not None:
        gathered.insert(0, read_facts(written, listed, ("facts",), None))
    facts, fact_problems = _facts(gathered, values)
    problems += [*header_problems, *value_problems, *fact_problems]
    if not any(drafts.ids for drafts in gathered) and not has_error(problems):
        problems.append(_no_facts(written))
    slug = header.get("slug")
    reading = HouseReading(None, slug if isinstance(slug, str) else None, written.line(("slug",)))
    if house is None:
        return reading, problems
    problems += _doubts(house, written)
    filler = Filler(written, values, problems)
    made = _house(house, facts, filler)
    return HouseReading(made, house.slug, reading.slug_line), problems


def _read_main(files: HouseFiles) -> tuple[Written, list[Problem]]:
    text = files.text(files.main)
    if isinstance(text, Problem):
        return Written(file=files.main_file, text=""), [text]
    return read_yaml(files.main_file, text)


def _header(header: dict[str, Any], written: Written) -> tuple[HouseFile | None, list[Problem]]:
    try:
        return HouseFile.model_validate(header), []
    except ValidationError as error:
        return None, explain(error, HouseFile, written, (), thing="a house")


def _doubts(house: HouseFile, written: Written) -> Iterator[Problem]:
    """What a host should look at again, though it can be right."""
    if not in_emergency_plan(house.emergency_number, house.country):
        country = country_name(house.country)
        yield written.problem(
            ("emergency_number",),
            f"({house.emergency_number}) is not in the phone plan of {country}; only mobile "
            "phones are sure to take it.",
            f"Write the number that every phone in {country} reaches.",
            severity=Severity.WARNING,
        )
    for field in ("greeting", "sign_off"):
        if looks_sensitive(getattr(house, field) or ""):
            yield written.problem(
                (field,),
                "seems to say a code or password, and goes to everyone who writes.",
                "Write it in a fact with `sensitive: true`.",
                severity=Severity.WARNING,
            )
    if house.call_back is not None and not is_valid_phone(house.call_back):
        yield written.problem(
            ("call_back",),
            "is not in use as far as the phone plan tells.",
            "Look whether a digit is wrong.",
            severity=Severity.WARNING,
        )


def _house(house: HouseFile, facts: Sequence[Fact], filler: Filler) -> House:
    def filled(text: str | None, field: str) -> str | None:
        return None if text is None else filler.fill(text, (field,))

    return House(
        slug=house.slug,
        name=house.name,
        kind=house.kind,
        country=house.country,
        timezone=house.timezone,
        units=Units(house.units),
        check_in=house.check_in,
        check_out=house.check_out,
        emergency_number=house.emergency_number,
        call_back=house.call_back,
        greeting=filled(house.greeting, "greeting"),
        sign_off=filled(house.sign_off, "sign_off"),
        facts=tuple(facts),
    )


def _gather(files: HouseFiles) -> list[Drafts]:
    """The facts and notes of the house's folder, a file each, in the order of their names."""
    gathered = []
    for path in files.facts:
        file, text = files.name(path), files.text(path)
        if isinstance(text, Problem):
            gathered.append(Drafts(Written(file=file, text=""), (), (), (text,)))
            continue
        written, syntax = read_yaml(file, text)
        drafts = read_facts(written, written.values, (), path.stem)
        if syntax and written.values is None:
            drafts = Drafts(written, (), (), ())
        elif written.values is None:
            drafts = Drafts(written, (), (), (_empty_file(written),))
        problems = (*syntax, *drafts.problems)
        gathered.append(Drafts(written, drafts.drafts, drafts.ids, problems))
    for path in files.notes:
        file, text = files.name(path), files.text(path)
        if isinstance(text, Problem):
            gathered.append(Drafts(Written(file=file, text=""), (), (), (text,)))
        else:
            gathered.append(read_note(file, text, path.stem))
    return gathered


def _facts(gathered: Sequence[Drafts], values: HouseValues) -> tuple[list[Fact], list[Problem]]:
    problems = [problem for drafts in gathered for problem in drafts.problems]
    problems += _twice(gathered)
    ids = {fact_id for drafts in gathered for fact_id, _ in drafts.ids}
    facts = []
    for draft in (draft for drafts in gathered for draft in drafts.drafts):
        fact, own = finish(draft, values)
        facts.append(fact)
        problems += own
        problems += _unknown_related(draft, ids)
    return facts, problems


def _twice(gathered: Sequence[Drafts]) -> Iterator[Problem]:
    """Ids that stand twice in the house; the later one is the problem and names the first."""
    first: dict[str, str] = {}
    for drafts in gathered:
        for fact_id, place in drafts.ids:
            here = f"{drafts.written.file}:{drafts.written.line(place)}"
            if fact_id in first:
                what = f'"{fact_id}" stands twice; the first is at {first[fact_id]}.'
                sentence = what if place else f"The id {what}"
                yield drafts.written.problem(place, sentence, "Give one of them another id.")
            else:
                first[fact_id] = here


def _unknown_related(draft: Draft, ids: set[str]) -> Iterator[Problem]:
    for number, related in enumerate(draft.head.related):
        if related not in ids:
            hint = did_you_mean(related, ids)
            yield draft.written.problem(
                (*draft.at, "related", number),
                "is the id of no fact or note of this house.",
                f"{hint}Mend the id, or remove it.",
            )


def _no_house(written: Written) -> Problem:
    what = "The file is empty." if written.values is None else "The file is not a house."
    return written.problem((), what, "Begin it with `slug:` and `name:`; see knowledge/README.md.")


def _empty_file(written: Written) -> Problem:
    return written.problem((), "The file is empty.", "Write a list of facts, or delete the file.")


def _no_facts(written: Written) -> Problem:
    return written.problem(
        (),
        "The house has no facts, so that every question is a gap.",
        "Write them under `facts`, or in files of the folder facts/.",
        severity=Severity.WARNING,
    )
