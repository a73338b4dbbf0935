"""The page of all fields is the schema's, and its examples load."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from pydantic import BaseModel

from askhouse.knowledge.explain import field_names
from askhouse.knowledge.reference import FACTS, GROWN, NOTE, SAID, SMALL, reference
from askhouse.knowledge.schema import FactFile, HouseFile, MediaFile, NoteHead, SeasonFile
from askhouse.knowledge.value_shapes import CollectionFile, HotTubFile, SpanFile
from tests.askhouse.knowledge.files import HEADER, load

ROOT = Path(__file__).parents[3]


def test_generating_the_page_again_changes_nothing() -> None:
    """
    `knowledge/README.md` is what the command prints; run it again after a change of the schema.
    """
    page = (ROOT / "knowledge" / "README.md").read_text(encoding="utf-8")

    assert page == reference()


def test_the_command_prints_the_page() -> None:
    """
    The command named in the page itself prints the page.
    """
    run = subprocess.run(
        [sys.executable, "-m", "askhouse.knowledge.reference"],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
        check=True,
    )

    assert run.stdout == reference()


@pytest.mark.parametrize(
    "model",
    [HouseFile, FactFile, NoteHead, SeasonFile, MediaFile, SpanFile, CollectionFile, HotTubFile],
)
def test_every_field_has_its_line_with_an_example(model: type[BaseModel]) -> None:
    """
    Each field of each model is in the page, described and with an example.
    """
    page = reference()

    for name, info in zip(field_names(model), model.model_fields.values(), strict=True):
        assert info.description
        assert info.examples
        assert f"| `{name}` |" in page
        assert f"| {info.description} | `{name}: {info.examples[0]}` |" in page


def test_the_small_house_of_the_page_loads(tmp_path: Path) -> None:
    """
    The first example is a house without a problem.
    """
    library = load(tmp_path, {"mill-loft.yaml": SMALL})

    assert library.problems == ()
    assert len(library.house("mill-loft").facts) == 2


def test_the_grown_house_of_the_page_loads_and_says_what_the_page_says(tmp_path: Path) -> None:
    """
    Every value of the example reads for a guest as the page's table has it.
    """
    shown = "".join(f'- id: v{n}\n  text: "{name}"\n' for n, (name, _) in enumerate(SAID))
    library = load(
        tmp_path,
        {
            "mill-loft/house.yaml": GROWN,
            "mill-loft/facts/waste.yaml": FACTS,
            "mill-loft/facts/shown.yaml": shown,
            "mill-loft/notes/turn-the-water-off.md": NOTE,
        },
    )
    house = library.house("mill-loft")

    assert library.problems == ()
    assert [house.fact(f"v{n}").text for n in range(len(SAID))] == [words for _, words in SAID]


def test_the_examples_of_a_fact_make_a_fact(tmp_path: Path) -> None:
    """
    All examples of the table put together are one fact that loads.
    """
    rows = [
        f"  {name}: {(info.examples or [''])[0]}" for name, info in FactFile.model_fields.items()
    ]
    facts = "-\n" + "\n".join(rows) + "\n"
    facts += "".join(f"- id: {other}\n  text: A.\n" for other in ("boiler", "water-meter"))

    library = load(tmp_path, {"m/house.yaml": HEADER, "m/facts/x.yaml": facts})

    assert library.problems == ()
    assert library.house("mill-loft").fact("stopcock").related == ("boiler", "water-meter")


def test_one_sentence_stands_on_a_line() -> None:
    """
    Outside tables, lists and code, a line of the page is one whole sentence.
    """
    prose = re.sub(r"```.*?```", "", reference(), flags=re.DOTALL)
    for line in prose.splitlines():
        if line and line[0] not in "#|<-`":
            assert line.endswith((".", ":")), line
