"""`knowledge/README.md`, generated from the schema, so that it is never behind it.

`python -m askhouse.knowledge.reference` prints it; a test checks that
generating it again changes nothing and that every example in it loads.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator

from pydantic import BaseModel

from askhouse.knowledge.rules import UNDERSTOOD
from askhouse.knowledge.schema import (
    FactFile,
    HouseFile,
    MediaFile,
    NoteHead,
    SeasonFile,
)
from askhouse.knowledge.value_shapes import CollectionFile, HotTubFile, SpanFile

__all__ = ["FACTS", "GROWN", "NOTE", "SAID", "SMALL", "reference"]

SMALL = """\
slug: mill-loft
name: Mill Loft
kind: loft over a water mill
country: GB
timezone: Europe/London
units: metric
check_in: "16:00"
check_out: "10:00"
emergency_number: "999"
facts:
  - id: wifi-name
    topic: wifi
    text: "The network is called MillLoft."
  - id: wifi-password
    topic: wifi
    sensitive: true
    text: "The Wi-Fi password is on the card in the green drawer: sluice-and-wheel."
"""

GROWN = """\
slug: mill-loft
name: Mill Loft
kind: loft over a water mill
country: GB
timezone: Europe/London
units: metric
check_in: "16:00"
check_out: "10:00"
emergency_number: "999"
call_back: "020 7946 0123"
greeting: Hello from the mill,
sign_off: Ada and Tom
values:
  quiet_hours: {from: "22:00", to: "07:30"}
  wifi_name: MillLoft
  last_bus: "23:10"
  opened_on: 2026-03-14
  hot_water_tank: 180 litre
  collections:
    general:
      what: general rubbish
      rule: "DTSTART:20260106\\nRRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=TU"
  hot_tub:
    volume: 400 US gallon
    heater: 5.5 kW
    set_point: 102 degF
"""

FACTS = """\
- id: bins
  title: Bin day
  text: "General rubbish is collected {collections.general}. Put the bin at the lane before seven."
  asks:
    - when do the bins go out
  verified_on: 2026-03-14
- id: hot-tub
  topic: outside
  text: "The tub takes {hot_tub.heat_up} to reach {hot_tub.set_point}."
  caution: "No children under five in the tub, and no alcohol before or in it."
  related: [bins]
"""

NOTE = """\
---
title: Turn the water off
topic: water
emergency_help: true
cautions:
  - The pipe beside the stopcock is hot.
---
Do this when a pipe leaks, and then ring us.

## Under the kitchen sink

1. Take the blue bucket out.
2. Turn the brass tap to the right until it stops.
"""

# Every value of GROWN with what it says; a test compares the second column with the loader.
SAID = (
    ("{quiet_hours}", "22:00 to 07:30"),
    ("{wifi_name}", "MillLoft"),
    ("{last_bus}", "23:10"),
    ("{opened_on}", "14 March 2026"),
    ("{hot_water_tank}", "180 L (48 US gal)"),
    ("{collections.general}", "every second Tuesday (counting from 6 January 2026)"),
    ("{collections.general.what}", "general rubbish"),
    ("{hot_tub.volume}", "400 US gal (1,514 L)"),
    ("{hot_tub.heater}", "5.5 kW"),
    ("{hot_tub.set_point}", "102 °F (39 °C)"),
    ("{hot_tub.heat_up}", "about 7 and a half hours from 60 °F (16 °C)"),
    ("{check_in}", "16:00"),
    ("{check_out}", "10:00"),
    ("{emergency_number}", "999"),
    ("{call_back}", "+44 20 7946 0123"),
    ("{name}", "Mill Loft"),
)


def reference() -> str:
    """The whole page."""
    return "\n".join(_page()) + "\n"


def _page() -> Iterator[str]:
    yield "# House files"
    yield ""
    yield "<!-- Generated: python -m askhouse.knowledge.reference > knowledge/README.md -->"
    yield ""
    yield "What a host knows, in files that a host can read and write."
    yield "Guests are answered from these files and from nothing else."
    yield "`python -m askhouse check` tells all that is wrong in them, with file and line."
    yield ""
    yield "## The smallest house"
    yield ""
    yield "One file, `houses/mill-loft.yaml`:"
    yield from _code("yaml", SMALL)
    yield "## A house that has grown"
    yield ""
    yield "A folder, `houses/mill-loft/`:"
    yield ""
    yield "- `house.yaml`: the house itself and its values; it may hold facts as well."
    yield "- `facts/*.yaml`: lists of facts; the file's name is the topic of facts without one."
    yield "- `notes/*.md`: how-to notes; the file's name is the note's id."
    yield ""
    yield "`house.yaml`:"
    yield from _code("yaml", GROWN)
    yield "`facts/waste.yaml`:"
    yield from _code("yaml", FACTS)
    yield "`notes/turn-the-water-off.md`:"
    yield from _code("markdown", NOTE)
    yield from _fields("The house", HouseFile, after=_facts_line())
    yield from _fields("A fact", FactFile)
    yield from _fields("A note", NoteHead)
    yield from _note_body()
    yield from _fields("A season", SeasonFile)
    yield from _fields("A picture or film", MediaFile)
    yield from _values()
    yield from _writing()


def _facts_line() -> str:
    return "| `facts` | no | The facts of the house, a list. | see below |"


def _fields(heading: str, model: type[BaseModel], after: str = "") -> Iterator[str]:
    yield f"## {heading}"
    yield ""
    yield _sentence(model)
    yield from _table(model)
    if after:
        yield after
    yield ""


def _sentence(model: type[BaseModel]) -> str:
    return (model.__doc__ or "").split("\n")[0]


def _table(model: type[BaseModel]) -> Iterator[str]:
    """The fields of a model, those that must be there first."""
    yield ""
    yield "| field | must be there | what it is | example |"
    yield "|---|---|---|---|"
    infos = sorted(model.model_fields.items(), key=lambda item: not item[1].is_required())
    for name, info in infos:
        field = info.alias or name
        must = "yes" if info.is_required() else "no"
        example = f"{field}: {(info.examples or ['...'])[0]}"
        yield f"| `{field}` | {must} | {info.description} | `{example}` |"


def _note_body() -> Iterator[str]:
    yield "Below the front matter stand paragraphs, `## headings` and numbered steps (`1.`)."
    yield "Guests get them as plain text in this order."
    yield "A remark that guests do not get is written `<!-- like this -->`."
    yield ""


def _values() -> Iterator[str]:
    yield "## Values"
    yield ""
    yield "What is written once under `values` can be named in braces in every text."
    yield "A brace that is meant as one is written twice: `{{` or `}}`."
    yield "The values of the example above say:"
    yield ""
    yield "| in a text | what the guest reads |"
    yield "|---|---|"
    yield from (f"| `{name}` | {words} |" for name, words in SAID)
    yield ""
    yield "The same hours in a house in the US read `10:00 PM to 7:30 AM`."
    yield "A text that is only a time, a date or a number with a unit is said as in the country."
    yield "Every other text stays as it is."
    yield "Values can be grouped under a name, as `collections` does."
    yield ""
    for heading, model in (
        ("Hours", SpanFile),
        ("Recurring days", CollectionFile),
        ("A hot tub: `hot_tub`", HotTubFile),
    ):
        yield f"### {heading}"
        yield ""
        yield _sentence(model)
        yield from _table(model)
        yield ""
    yield f"The rules that can be said in words: {UNDERSTOOD}."
    yield ""


def _writing() -> Iterator[str]:
    yield "## Writing YAML without surprises"
    yield ""
    yield "- Put every text in double quotes: a colon or a # in it then does no harm."
    yield "- Indent with spaces; YAML reads no tabs."
    yield "- Numbers and codes keep their characters, also `000` and `0123`."
    yield "- Mark every code and password `sensitive: true`; only a verified guest gets it."
    yield "- A field that is not in these tables is a problem, so that a slip is not overlooked."


def _code(language: str, text: str) -> Iterator[str]:
    yield ""
    yield f"```{language}"
    yield re.sub(r"\n$", "", text)
    yield "```"
    yield ""


if __name__ == "__main__":
    sys.stdout.write(reference())
