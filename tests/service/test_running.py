"""The whole service: a message in, a reply out, files watched, and a set-up that is told of."""

from __future__ import annotations

import contextlib
import datetime as dt
import shutil
import time
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest
from sqlalchemy import select

from service.app import create_app
from service.database import Database, open_engine
from service.gaps.digest_settings import WEEKDAYS
from service.gaps.sending_digest import digest_key, week_before
from service.migrations import migrate
from service.service_file import read_service_file
from service.settings import ServiceSettings
from service.tables import Delivery, Escalation, Inbound
from tests.service.conftest import DEMO_HOUSES
from tests.service.gaps.asking import asked
from tests.service.lines.samples import PLAIN_SECRET
from tests.service.serving import send, serving, wait_until_ready
from tests.service.test_problem_details import assert_is_problem

HOUSE = "orchard-barn"
LINE_SECRET = PLAIN_SECRET
SECRETS = {"LINE_SECRET": LINE_SECRET}
LINES = f"""
lines:
  - name: village
    number: "+442079460900"
    country: GB
    houses: [{HOUSE}]
    inbound: {{methods: GET, format: query, fields: {{sender: from, text: text}}}}
    signing: {{kind: parameter, parameter: key, secret_env: LINE_SECRET}}
    respond: {{}}
"""


@pytest.fixture
def own(settings: ServiceSettings, tmp_path: Path) -> ServiceSettings:
    """One house, a copy that a test may change, with a database of its own."""
    houses = tmp_path / "houses"
    shutil.copytree(DEMO_HOUSES / HOUSE, houses / HOUSE)
    return settings.model_copy(
        update={"knowledge": houses, "database": f"sqlite:///{tmp_path / 'service.db'}"}
    )


def _until(holds: Callable[[], bool], within_s: float = 30) -> bool:
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        if holds():
            return True
        time.sleep(0.1)
    return False


def _texted(client: httpx.Client, text: str) -> httpx.Response:
    message = {"from": "+442079460018", "text": text, "key": LINE_SECRET}
    return client.get("/lines/village", params=message)


def test_a_set_up_that_alerts_nobody_is_never_ready(own: ServiceSettings, tmp_path: Path) -> None:
    """
    What can only be seen with the houses open is seen: the service says so instead of silence. A
    gateway is told to try again, and what it brought is kept all the same.
    """
    file = tmp_path / "service.yaml"
    file.write_text(
        LINES + "contacts:\n  anna: {channel: line, line: nowhere, number: '+442079460001'}\n"
        "alerts:\n  ladder: [{contacts: [anna]}]\n",
        encoding="utf-8",
    )
    app = create_app(own.model_copy(update={"service_file": file}), SECRETS)

    with serving(app) as url, httpx.Client(base_url=url) as client:
        assert _until(lambda: client.get("/health/live").status_code == 503)
        assert client.get("/health/ready").json()["type"] == "/problems#not-set-up"
        refused = _texted(client, "where are the bins")

    assert_is_problem(refused, 503, "/problems#not-set-up")
    assert int(refused.headers["Retry-After"]) > 0
    with (
        contextlib.closing(Database(open_engine(own.database_url))) as database,
        database.reading() as session,
    ):
        assert list(session.scalars(select(Inbound.text))) == ["where are the bins"]


def test_without_a_house_the_host_is_woken(own: ServiceSettings, tmp_path: Path) -> None:
    """
    Where no house can be opened the host hears of it, and of every message, danger as danger, until
    the files are mended; then guests are answered.
    """
    away = own.knowledge.rename(tmp_path / "away")
    own.knowledge.mkdir()
    file = tmp_path / "service.yaml"
    file.write_text(
        LINES + "contacts: {anna: {channel: email, address: anna@example.org}}\n"
        "mail: {host: 127.0.0.1, port: 1, security: none, sender: askhouse@example.org}\n"
        "alerts: {ladder: [{contacts: [anna]}]}\n",
        encoding="utf-8",
    )
    app = create_app(own.model_copy(update={"service_file": file}), SECRETS)

    def raised() -> set[tuple[str, str]]:
        told = select(Escalation.kind, Escalation.level).join(Delivery)
        with app.state.database.reading() as session:
            return {(kind, level) for kind, level in session.execute(told)}

    with serving(app) as url, httpx.Client(base_url=url, timeout=60) as client:
        assert client.get("/health/live").status_code == 200
        assert _until(lambda: raised() == {("houses", "urgent")})
        assert client.get("/health/ready").json()["type"] == "/problems#not-set-up"
        assert _texted(client, "where are the bins").status_code == 200
        assert "passed it on to the host" in _texted(client, "I smell gas").text
        assert _until(lambda: {("unread", "soon"), ("unread", "emergency")} < raised())
        away.joinpath(HOUSE).rename(own.knowledge / HOUSE)

        assert _until(lambda: client.get("/health/ready").status_code == 200, 60)
        assert "left knob" in _texted(client, "How do I turn on the oven?").text


def test_houses_are_read_anew_when_their_files_change(own: ServiceSettings) -> None:
    """
    Whoever changes them, an editor too: the new words are what the next guest reads.
    """
    facts = own.knowledge / HOUSE / "facts" / "kitchen.yaml"
    asked = {"house": HOUSE, "text": "How do I turn on the oven?"}
    with serving(create_app(own, {})) as url, httpx.Client(base_url=url, timeout=30) as client:
        wait_until_ready(url)
        before = client.post("/v1/replies", json=asked).json()["full"]
        assert "left knob to the fan" in before
        text = facts.read_text(encoding="utf-8")
        facts.write_text(text.replace("left knob to the fan", "blue knob to the fan"), "utf-8")

        assert _until(lambda: "blue knob" in client.post("/v1/replies", json=asked).json()["full"])


def test_a_slip_in_a_file_leaves_the_house_as_it_was(own: ServiceSettings) -> None:
    """
    The host saves half a sentence at night: guests are answered from what was there before.
    """
    house = own.knowledge / HOUSE / "house.yaml"
    asked = {"house": HOUSE, "text": "How do I turn on the oven?"}
    app = create_app(own, {})
    with serving(app) as url, httpx.Client(base_url=url, timeout=30) as client:
        wait_until_ready(url)
        before = app.state.answering.assistant()
        house.write_text("name: [broken", encoding="utf-8")

        assert _until(lambda: app.state.answering.assistant() is not before)
        assert "left knob" in client.post("/v1/replies", json=asked).json()["full"]


def test_the_weeks_gaps_are_sent(own: ServiceSettings, tmp_path: Path) -> None:
    """
    With a section `digest` the last week's is queued, with a link to where the service is reached.
    """
    now = dt.datetime.now(dt.UTC)
    far_off = WEEKDAYS[(now.weekday() + 3) % 7]  # no week ends while the test runs
    file = tmp_path / "service.yaml"
    file.write_text(
        "contacts: {anna: {channel: email, address: anna@example.org}}\n"
        "mail: {host: 127.0.0.1, port: 1, security: none, sender: askhouse@example.org}\n"
        "alerts: {base_url: 'https://stay.example.org', ladder: [{contacts: [anna]}]}\n"
        f"digest: {{contacts: [anna], timezone: Europe/London, weekday: {far_off}}}\n",
        encoding="utf-8",
    )
    digest = read_service_file(file).digest
    assert digest is not None
    week = week_before(digest, now)
    with contextlib.closing(Database(open_engine(own.database_url))) as database:
        migrate(database.engine)
        with database.writing() as session:
            asked(session, "Is there a harpsichord?", house=HOUSE, at=week.start)
        app = create_app(own.model_copy(update={"service_file": file}), {})

        def texts() -> list[str]:
            key = digest_key(week, "anna")
            with database.reading() as session:
                return list(session.scalars(select(Delivery.text).where(Delivery.key == key)))

        with serving(app) as url:
            wait_until_ready(url)
            assert _until(lambda: bool(texts()), 60)
        assert "harpsichord" in texts()[0]
        assert "https://stay.example.org/gaps" in texts()[0]


@pytest.mark.parametrize(
    ("base_url", "alerts", "status"),
    [
        ("http://127.0.0.1:8321", "{}", 503),  # let in; the houses are not open
        ("http://localhost:8321", "{}", 503),
        ("http://[::1]:8321", "{}", 503),
        ("https://stay.example.org", "{}", 401),
        ("http://127.0.0.1:8321", "{base_url: 'https://stay.example.org'}", 401),
    ],
)
def test_behind_a_proxy_everyone_needs_a_token(
    own: ServiceSettings, tmp_path: Path, base_url: str, alerts: str, status: int
) -> None:
    """
    A proxy on this machine may ask for 127.0.0.1 and say nothing of where a request came from:
    once the service is reached at another address, no request is taken for this machine's.
    """
    file = tmp_path / "service.yaml"
    file.write_text(f"alerts: {alerts}\n", encoding="utf-8")
    app = create_app(own.model_copy(update={"service_file": file, "base_url": base_url}), {})
    asked = {"house": HOUSE, "text": "what is the wifi password", "verified": True}

    assert send(app, "POST", "/v1/replies", json=asked).status_code == status


def test_another_machine_needs_a_token(url: str) -> None:
    """
    What a proxy passes on comes from elsewhere: no draft without a token of the scope `ask`.
    """
    asked = {"house": HOUSE, "text": "what is the wifi password", "verified": True}

    response = httpx.post(
        f"{url}/v1/replies", json=asked, headers={"X-Forwarded-For": "203.0.113.9"}
    )

    assert response.status_code == 401
    assert response.json()["type"] == "/problems#token-needed"
