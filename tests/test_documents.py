"""That the pages are true: commands, settings, outcomes, errors, examples and links.

CI runs README.md's shell commands as they stand there (`.ci/run`); here they are read.
"""

from __future__ import annotations

import ast
import json
import re
import shlex
import subprocess
import tomllib
from pathlib import Path
from typing import get_args

import pytest
import typer
from click import Command
from pydantic import BaseModel
from typer.testing import CliRunner

from askhouse.commands import app, shared
from askhouse.decision.calibration import Calibration
from askhouse.encoder import MODELS
from askhouse.knowledge.load import LoadedHouse, load_house, load_houses
from askhouse.parts.language import READ, language_name
from askhouse.values import Kind, Outcome
from service.access.tokens import Scope
from service.alerts import contact_settings
from service.alerts.checks import check_alerts
from service.alerts.planned_settings import PlannedMessage
from service.alerts.settings import GeneralAlerts, QuietHours, Rung
from service.app import create_app
from service.commands import add_to
from service.gaps.digest_settings import DigestSettings
from service.lines import settings as lines
from service.lines import signing_settings as signing
from service.problem_types import PROBLEM_TYPES
from service.service_file import ServiceFile, read_service_file
from service.settings import ServiceSettings
from service.stays.settings import FactRelease, FeedSettings, StayRules
from tests.conftest import DEMO_HOUSES

ROOT = Path(__file__).parent.parent
PAGES = (
    *("README.md", "DEVELOPERS.md", "service/README.md", "knowledge/README.md"),
    *("knowledge/corpus/README.md", "knowledge/gap-groups/README.md"),
    "knowledge/languages/README.md",
)
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
FIRST = 'ask orchard-barn "How do I turn on the oven, and when do we have to leave?"'


def all_commands(of: typer.Typer) -> dict[str, Command]:
    """The commands by the words that call them, those of a group as `stays add`."""
    found: dict[str, Command] = {}
    for name, command in typer.main.get_command(of).commands.items():  # type: ignore[attr-defined]
        inner = getattr(command, "commands", None)
        found |= {f"{name} {one}": c for one, c in inner.items()} if inner else {name: command}
    return found


of_the_service = typer.Typer()
add_to(of_the_service)
COMMANDS = all_commands(app) | all_commands(of_the_service)


def blocks(page: str, language: str) -> list[str]:
    """The fenced blocks of a language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```$", page, re.MULTILINE | re.DOTALL)


def rows(page: str) -> dict[str, str]:
    """The rows of all tables, by their first cell."""
    found = re.findall(r"^\| (.+?) \| (.+) \|$", page, re.MULTILINE)
    return {first.strip("`"): rest for first, rest in found}


def tables() -> list[tuple[str, str]]:
    """The rows of the tables of commands."""
    return [row for row in rows(README).items() if row[0].startswith("askhouse ")]


def calls() -> list[list[str]]:
    """The arguments of each `askhouse` in the shell commands, as the shell would split them."""
    text = re.sub(r"\$\(date [^)]*\)", "2026-11-24", "\n".join(blocks(README, "sh")))
    commands = text.replace("\\\n", " ").splitlines()
    found = [re.search(r"\.venv/bin/askhouse (.*?)(?: \|\| .*| &)?$", one) for one in commands]
    return [shlex.split(call[1]) for call in found if call]


def named_command(words: list[str]) -> str:
    """The command that such words begin with."""
    return " ".join(words[:2]) if " ".join(words[:2]) in COMMANDS else words[0]


# ---------------------------------------------------------------- Commands


def test_ci_runs_the_commands_as_they_stand() -> None:
    """
    `.ci/readme` prints every shell block of README.md, and `.ci/run` runs what it prints.
    """
    printed = subprocess.run([ROOT / ".ci" / "readme"], capture_output=True, text=True, check=True)

    assert printed.stdout == "".join(blocks(README, "sh"))
    run = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert re.findall(r"^step .* readme '?([\w,$]+)", run, re.MULTILINE) == ["1p", "2p", "3,$p"]
    # No other line is a chain, at whose links `set -e` would not stop.
    assert "&&" not in "".join(blocks(README, "sh")[2:])


def test_two_commands_stand_first() -> None:
    """
    On a fresh machine one command gives a first answer, and one passes the tests; each makes its
    environment with the versions of `.ci/constraints.txt`.
    """
    first, second = (block.strip() for block in blocks(README, "sh")[:2])

    environment = "python -m venv .venv && .venv/bin/pip install -c .ci/constraints.txt"
    assert first == f"{environment} . && .venv/bin/askhouse {FIRST}"
    assert second == f"{environment} -e '.[dev]' && .ci/test"


@pytest.mark.parametrize("arguments", calls(), ids=" ".join)
def test_commands_can_be_parsed(arguments: list[str]) -> None:
    """
    Every `askhouse` in a shell block is a command with arguments and options that it has.
    """
    name = named_command(arguments)

    COMMANDS[name].make_context(name, arguments[len(name.split()) :])


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_its_line(name: str) -> None:
    """
    The table of commands names each command, with all its options.
    """
    (line,) = (rest for first, rest in tables() if named_command(first.split()[1:]) == name)

    for parameter in COMMANDS[name].params:
        if parameter.param_type_name == "option":
            forms = (*parameter.opts, *parameter.secondary_opts)
            assert any(f"`{form}`" in line for form in forms), forms


def test_no_command_is_made_up() -> None:
    """
    The table names no command that does not exist.
    """
    named = [named_command(first.split()[1:]) for first, _ in tables()]

    assert sorted(named) == sorted(COMMANDS)


# ---------------------------------------------------------------- Tables


@pytest.mark.parametrize("name", ServiceSettings.model_fields)
def test_every_setting_has_its_line(name: str) -> None:
    """
    The table of settings names each variable with its default.
    """
    default = ServiceSettings.model_fields[name].default

    shown = f"`{default}`" if default not in (None, "") else "none"
    assert rows(README)[f"ASKHOUSE_{name.upper()}"].startswith(f"{shown} | ")


def test_no_setting_is_made_up() -> None:
    """
    Every variable that a page names exists.
    """
    named = {
        name for page in (README, DEVELOPERS) for name in re.findall(r"ASKHOUSE_[A-Z_]+", page)
    }

    known = {f"ASKHOUSE_{name.upper()}" for name in ServiceSettings.model_fields}
    of_tests = {name for name in named if name.startswith("ASKHOUSE_TEST_")}
    assert named - {"ASKHOUSE_"} - of_tests == known
    tests = "".join(p.read_text(encoding="utf-8") for p in (ROOT / "tests").rglob("*.py"))
    assert [name for name in of_tests if f'"{name}"' not in tests] == []


@pytest.mark.parametrize("word", [*Outcome, *Kind])
def test_every_outcome_and_kind_has_its_line(word: str) -> None:
    """
    What `ask` says about a part is explained.
    """
    assert str(word) in rows(README)


def test_every_exit_code_has_its_line() -> None:
    """
    The table of exit codes is that of the commands, in order.
    """
    codes = sorted(value for name, value in vars(shared).items() if name.startswith("EXIT_"))

    assert [first for first in rows(README) if first.isdigit()] == list(map(str, codes))


def test_every_problem_has_its_line() -> None:
    """
    Each kind of problem that the service answers with stands there with its status.
    """
    table = rows(README)

    for name, kind in PROBLEM_TYPES.items():
        assert table[name].startswith(f"{kind.status} | ")


def test_every_route_has_its_line() -> None:
    """
    The table of routes is that of the service.
    """
    paths = create_app(ServiceSettings(knowledge=DEMO_HOUSES)).openapi()["paths"]
    routes = {f"{method.upper()} {path}" for path, methods in paths.items() for method in methods}

    assert {first for first in rows(README) if re.match("(GET|POST|PUT) /", first)} == routes


def test_no_scope_is_made_up() -> None:
    """
    The table of scopes names none that a token cannot have.
    """
    (table,) = re.findall(r"^\| scope \|.*\n\|[-|]*\n((?:\|.*\n)*)", README, re.MULTILINE)

    named = re.findall(r"^\| `(\w+)`", table, re.MULTILINE)
    assert named
    assert set(named) <= set(Scope)


def test_the_languages_are_those_that_are_read() -> None:
    """
    The first paragraph names the languages.
    """
    names = [language_name(code) for code in READ]

    first = README.split("\n## ")[0]
    assert all(name in first for name in names)


def test_the_stated_risk_is_the_models() -> None:
    """
    README.md promises what the shipped threshold was chosen for.
    """
    promise = Calibration.read(MODELS / "decision-trained.json").promise

    share, sure = f"{100 * promise.risk:g}", f"{100 * promise.confidence:g}"
    assert f"at most {share} in 100 got a wrong reply, with {sure} % confidence" in README


# Section of service/README.md -> the models whose fields it explains.
SECTIONS: dict[str, tuple[type[BaseModel], ...]] = {
    "The service's file": (ServiceFile,),
    "A line": (lines.LineSettings,),
    "Inbound": (lines.InboundSettings, lines.FieldNames, lines.PieceFields),
    "Signing": (signing.HmacSigning, signing.BasicSigning, signing.ParameterSigning),
    "Send": (lines.SendSettings, lines.SuccessSettings),
    "Respond": (lines.RespondSettings,),
    "A contact": get_args(get_args(contact_settings.Contact)[0]),
    "Mail": (contact_settings.MailSettings,),
    "Alerts": (GeneralAlerts, Rung, QuietHours),
    "The digest": (DigestSettings,),
    "A house": (StayRules, FactRelease),
    "A feed": (FeedSettings,),
    "A planned message": (PlannedMessage,),
}


@pytest.mark.parametrize("section", SECTIONS)
def test_every_field_of_the_services_file_has_its_line(section: str) -> None:
    """
    service/README.md explains each field in its section, and the rows name no other.
    """
    page = (ROOT / "service" / "README.md").read_text(encoding="utf-8")
    text = re.split(r"^#", page.split(f"# {section}\n")[1], maxsplit=1, flags=re.MULTILINE)[0]
    models = SECTIONS[section]
    fields = {f.alias or name for model in models for name, f in model.model_fields.items()}

    assert {name for name in fields if f"`{name}`" not in text} <= {"kind"}
    if section not in ("Signing", "A contact"):  # whose rows are kinds and channels
        assert set(re.findall(r"^\| `(\w+)`", text, re.MULTILINE)) <= fields | {"planned"}


@pytest.mark.parametrize("kind", ["lines", "contacts"])
def test_every_kind_of_the_services_file_has_its_line(kind: str) -> None:
    """
    service/README.md has a row for each way of signing and each channel.
    """
    page = (ROOT / "service" / "README.md").read_text(encoding="utf-8")
    union = signing.SigningSettings if kind == "lines" else contact_settings.Contact
    field = "kind" if kind == "lines" else "channel"

    for model in get_args(get_args(union)[0]):
        (name,) = get_args(model.model_fields[field].annotation)
        assert f"\n| `{name}` | " in page


# ---------------------------------------------------------------- Examples


def ask(*arguments: str) -> tuple[int, list[dict[str, object]]]:
    """Exit code and parts of `askhouse ask --json`."""
    result = CliRunner().invoke(app, ["ask", *arguments, "--json"])
    return result.exit_code, json.loads(result.stdout)["parts"]


def cited(parts: list[dict[str, object]]) -> list[str]:
    """The facts that the parts cite, in order, as the table shows them: `[id] file:line`."""
    found = [fact for part in parts for fact in part["facts"]]  # type: ignore[attr-defined]
    return [f"[{fact['id']}] {fact['written']}" for fact in found]


def test_the_first_answer_is_the_one_shown(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """
    The example's draft is what the command says today, and cites the facts shown at their lines.
    """
    shown = blocks(README, "text")[0]
    draft = " ".join(re.findall(r"^│ (.*?) *│$", shown, re.MULTILINE))
    table = " ".join(shown.split("╯\n")[1].split())
    monkeypatch.setenv("ASKHOUSE_INDEX", str(tmp_path / "index.npz"))

    code, parts = ask(*shlex.split(FIRST)[1:], "-k", str(DEMO_HOUSES))

    assert code == 0
    assert [part["outcome"] for part in parts] == ["answer", "answer"]
    assert [fact.split("]")[0] for fact in cited(parts)] == ["[oven", "[check-out-time"]
    for part in parts:
        assert str(part["reply"]) in " ".join(draft.split())
    for fact in cited(parts):
        name, written = fact.split()
        assert name in table
        assert written in table


def brook_cottage() -> str:
    """The smallest house of README.md."""
    (text,) = re.findall(r"<<'END'\n(.*?)^END$", README, re.MULTILINE | re.DOTALL)
    return text


def loaded(path: Path, text: str) -> LoadedHouse:
    path.write_text(text, encoding="utf-8")
    return load_house(path)


def test_the_smallest_house_answers(tmp_path: Path) -> None:
    """
    The house that README.md writes has no problem, and its facts answer the two questions there;
    the password goes to nobody who is not verified.
    """
    assert loaded(tmp_path / "brook-cottage.yaml", brook_cottage()).problems == ()

    folder = ("--knowledge", str(tmp_path))
    questions = [call[2] for call in calls() if call[:2] == ["ask", "brook-cottage"]]
    assert len(questions) == 2
    _, parking = ask("brook-cottage", questions[0], *folder)
    _, password = ask("brook-cottage", questions[1], "--verified", *folder)
    code, stranger = ask("brook-cottage", questions[1], *folder)

    assert cited(parking)[0].startswith("[parking]")
    assert cited(password)[0].startswith("[wifi-password]")
    assert (code, cited(stranger)) == (shared.EXIT_HOST, [])


def test_the_growing_house_loads(tmp_path: Path) -> None:
    """
    What is added in README.md fits the house that it is added to.
    """
    header = brook_cottage().split("facts:\n")[0]
    added, _ = blocks(README, "yaml")

    house = loaded(tmp_path / "brook-cottage.yaml", header + added)

    assert house.problems == ()
    assert house.house is not None
    assert "from 22:00 to 07:30" in house.house.fact("quiet").text


def test_the_sample_gateway_prints_the_reply_shown() -> None:
    """
    What README.md shows of the quick start is what the house answers to the question there.
    """
    (asked,) = re.findall(r'service\.samples\.gateway "(.*stopcock.*)"', README)
    shown = blocks(README, "text")[1]

    _, (part,) = ask("orchard-barn", asked, "--short", "-k", str(DEMO_HOUSES))

    assert str(part["reply"]) in shown


def test_the_services_file_can_be_used(tmp_path: Path) -> None:
    """
    The example of a service's file is read without a complaint; its line, contacts, ladder and
    planned messages fit each other and the demo house.
    """
    path = tmp_path / "service.yaml"
    path.write_text(blocks(README, "yaml")[1], encoding="utf-8")

    file = read_service_file(path)
    houses = {s: h for s, h in load_houses(DEMO_HOUSES).houses.items() if s in file.houses}
    check_alerts(file.alert_settings(), houses, {one.name: one for one in file.lines}, file.rules)

    assert list(houses) == ["orchard-barn"]
    house = file.houses["orchard-barn"]
    assert [message.name for message in house.planned] == ["how-to-get-in", "leaving"]
    assert all(houses["orchard-barn"].fact(fact).sensitive for fact in house.release_facts)


# ---------------------------------------------------------------- Form


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    """
    A link to a file leads to one that is there; a link to a heading, to one of the same page.
    """
    path = ROOT / page
    text = path.read_text(encoding="utf-8")
    headings = {
        re.sub(r"[^\w -]", "", heading).strip().lower().replace(" ", "-")
        for heading in re.findall(r"^#+ (.*)$", text, re.MULTILINE)
    }

    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        file, _, anchor = target.partition("#")
        if "://" in target:
            continue
        assert (path.parent / file).exists(), target
        assert not anchor or file or anchor in headings, target


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_named_files_exist(page: str) -> None:
    """
    A path of the project in a page is a file or folder that is there.
    """
    text = (ROOT / page).read_text(encoding="utf-8")
    named = re.findall(r"`((?:\.ci|askhouse|service|tests|knowledge)/[\w./-]*)`", text)

    assert named
    assert [path for path in named if not (ROOT / path).exists()] == []


def test_named_modules_exist() -> None:
    """
    `python -m` in a page, or in a docstring, names a module that is there.
    """
    texts = [README, DEVELOPERS]
    for package in ("askhouse", "service"):
        texts += [p.read_text(encoding="utf-8") for p in (ROOT / package).rglob("*.py")]
    named = {
        name
        for text in texts
        for name in re.findall(r"python -m ((?:askhouse|service)[\w.]*\w)", text)
    }

    files = {name: ROOT / name.replace(".", "/") for name in named}
    assert [n for n, f in files.items() if not (f.is_dir() or f.with_suffix(".py").exists())] == []


def test_every_station_is_on_the_way() -> None:
    """
    DEVELOPERS.md names every folder of the engine.
    """
    folders = {path.parent.name for path in (ROOT / "askhouse").glob("*/__init__.py")}

    assert [name for name in sorted(folders) if f"askhouse/{name}/" not in DEVELOPERS] == []


def test_every_station_of_the_service_is_on_the_way() -> None:
    """
    DEVELOPERS.md names every folder of the service, and every module beside them.
    """
    service = ROOT / "service"
    names = [f"service/{path.parent.name}/" for path in service.glob("*/__init__.py")]
    modules = [path.stem for path in service.glob("*.py") if path.stem != "__init__"]

    assert [name for name in sorted(names) if f"`{name}`" not in DEVELOPERS] == []
    forms = ("`{}.py`", "`service/{}.py`", "`service.{}`")
    told = [name for name in modules if any(form.format(name) in DEVELOPERS for form in forms)]
    assert sorted(set(modules) - set(told)) == []


def test_who_may_import_whom_is_the_tested_order() -> None:
    """
    The line in DEVELOPERS.md is the table of `tests/test_layout.py`.
    """
    tree = ast.parse((ROOT / "tests" / "test_layout.py").read_text(encoding="utf-8"))
    (table,) = (
        ast.literal_eval(node.value)
        for node in tree.body
        if isinstance(node, ast.AnnAssign) and ast.unparse(node.target) == "ROWS" and node.value
    )
    there = [
        [
            name
            for name in row
            if (ROOT / "askhouse" / name).exists() or (ROOT / "askhouse" / f"{name}.py").exists()
        ]
        for row in table
    ]

    (line,) = re.findall(r"^`values`.* ← .*$", DEVELOPERS, re.MULTILINE)
    said = [re.findall(r"`(\w+)`", row) for row in line.split(" ← ")]
    assert said == [row for row in there if row != ["__main__"]]


def test_the_changes_stand_last() -> None:
    """
    README.md ends with what changed, the unreleased first.
    """
    sections = re.findall(r"^## (.*)$", README, re.MULTILINE)
    changes = README.split("\n## Changes\n")[1]

    assert sections[-1] == "Changes"
    assert re.findall(r"^### (.*)$", changes, re.MULTILINE)[0] == "Unreleased"


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_one_sentence_a_line(page: str) -> None:
    """
    Outside of blocks and tables a line holds one sentence, so that a change shows as one.
    """
    text = re.sub(r"^```.*?^```$", "", (ROOT / page).read_text(encoding="utf-8"), flags=re.M | re.S)
    prose = [line for line in text.splitlines() if line[:1] not in ("|", "#")]

    assert [line for line in prose if re.search(r"[a-z`)][.!?] [A-Z`]", line)] == []


def test_every_version_is_pinned() -> None:
    """
    `.ci/constraints.txt` has one exact version a line, and every dependency that is named here.
    """
    lines = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pinned = [re.fullmatch(r"([\w.-]+)==[\w.]+", line) for line in lines if line[:1] != "#"]
    names = {_plain(found[1]) for found in pinned if found}

    assert all(pinned)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["dev"]]
    assert {_plain(re.split(r"[<>=~! \[]", one)[0]) for one in wanted} - names == set()


def _plain(name: str) -> str:
    """A package's name as all its spellings become (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name.lower())
