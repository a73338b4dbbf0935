"""How problems are told, one and many."""

from __future__ import annotations

from pathlib import Path

from askhouse.knowledge.problems import Problem, Severity, has_error, listing
from tests.askhouse.knowledge.files import HEADER, load
from tests.gold.compare import same_as_gold

STOPCOCK = Problem(
    file="orchard-barn/facts/water.yaml",
    line=14,
    field="facts[3].text",
    what="is empty.",
    mend='Write the sentence a guest should read, or remove the fact "stopcock".',
)


def make_problem(*, file: str = "a.yaml", line: int = 1, severity: Severity) -> Problem:
    return Problem(
        file=file, line=line, field="", what="It is wrong.", mend="Mend it.", severity=severity
    )


def test_a_problem_names_file_line_field_and_how_to_mend_it() -> None:
    """
    A problem prints as an editor's link with a sentence, and the mending indented below it.
    """
    assert str(STOPCOCK) == (
        "orchard-barn/facts/water.yaml:14: facts[3].text is empty.\n"
        '  Write the sentence a guest should read, or remove the fact "stopcock".'
    )


def test_a_warning_says_that_it_is_one() -> None:
    """
    Only a warning carries its severity, since an error is what one expects.
    """
    warning = make_problem(severity=Severity.WARNING)

    assert str(warning) == "a.yaml:1: warning: It is wrong.\n  Mend it."


def test_a_list_is_in_the_order_of_files_and_lines_and_counts() -> None:
    """
    A list goes through the files from top to bottom, tells nothing twice, and ends with counts.
    """
    problems = [
        make_problem(file="b.yaml", line=2, severity=Severity.ERROR),
        make_problem(file="b.yaml", line=10, severity=Severity.WARNING),
        make_problem(file="a.yaml", line=7, severity=Severity.ERROR),
        make_problem(file="b.yaml", line=2, severity=Severity.ERROR),
    ]

    told = listing(problems).splitlines()

    assert [line.split(" ")[0] for line in told[::2]] == [
        "a.yaml:7:",
        "b.yaml:2:",
        "b.yaml:10:",
        "2",
    ]
    assert told[-1] == "2 errors and 1 warning."


def test_no_problems_are_an_empty_list() -> None:
    """
    Where nothing is wrong, nothing is printed.
    """
    assert listing([]) == ""


def test_the_folder_is_put_before_each_file() -> None:
    """
    The listing can name files as the host sees them from where the command was called.
    """
    told = listing([STOPCOCK], "knowledge/houses/")

    assert told.startswith("knowledge/houses/orchard-barn/facts/water.yaml:14: ")


def test_only_an_error_leaves_a_house_out() -> None:
    """
    A list of warnings holds no error; one error is enough.
    """
    warning = make_problem(severity=Severity.WARNING)

    assert not has_error([warning])
    assert has_error([warning, STOPCOCK])


def test_a_whole_listing_reads_as_agreed(tmp_path: Path) -> None:
    """
    A house with slips of many kinds is told in one list, word for word as in the gold file.
    """
    library = load(
        tmp_path,
        {
            "mill-loft/house.yaml": HEADER.replace("country: GB", "country: UK").replace(
                "Europe/London", "London"
            )
            + "greetng: Hello\nvalues:\n  quiet_hours: {from: '22:00', too: '07:00'}\n"
            "  hot_tub: {volume: 400 US gallon, heater: 5.5 kW, set_point: 105 degF}\n",
            "mill-loft/facts/water.yaml": "- id: stopcock\n  text: ''\n"
            "- id: boiler\n  text: Quiet from {quiet_hour}\n  related: [stopcok]\n"
            "- id: tank\n  text: Ring bell #12 now\n  sensitve: true\n"
            "- id: stopcock\n  text: It is under the sink.\n",
            "mill-loft/facts/doors.yaml": "- id: porch\n  text: The porch code is 4471.\n",
            "mill-loft/facts/tab.yaml": "- id: a\n\ttext: b\n",
            "mill-loft/notes/light-the-stove.md": "---\ntitle: Light the stove\n---\n"
            "Say {nothing}.\n",
        },
    )

    same_as_gold(listing(library.problems), "problems.txt")
