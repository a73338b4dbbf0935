"""The assistant opens and closes with the service, and answers several clients at once."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest

from service.app import create_app
from service.settings import ServiceSettings
from tests.service.serving import send, serving, wait_until_ready
from tests.service.test_problem_details import assert_is_problem

MESSAGES = (
    "How do I turn on the oven?",
    "where do the bins go, and on which day?",
    "the shower is cold, what can we do",
    "Is there a hair dryer?",
    "We arrive around six. Is there parking for two cars, and where is the trailer?",
    "generators running, heating warnings, washing machines: where is all that explained?",
    "Thanks so much, all good!",
    "how do we light the stove and where is the wood?",
)


def _ask(client: httpx.Client, message: str) -> object:
    response = client.post("/v1/replies", json={"house": "orchard-barn", "text": message})
    assert response.status_code == 200
    return response.json()


@pytest.fixture
def hasty_threads() -> Iterator[None]:
    """Lets threads take turns five hundred times as often, so that what they share shows."""
    usual_s = sys.getswitchinterval()
    sys.setswitchinterval(usual_s / 500)
    yield
    sys.setswitchinterval(usual_s)


@pytest.mark.usefixtures("hasty_threads")
def test_replies_do_not_depend_on_who_else_asks(client: httpx.Client) -> None:
    """
    Sixteen clients at once get, to the letter, the replies that each would get alone.
    """
    alone = {message: _ask(client, message) for message in MESSAGES}
    crowd = MESSAGES * 8

    with ThreadPoolExecutor(16) as clients:
        together = list(clients.map(lambda message: _ask(client, message), crowd))

    assert together == [alone[message] for message in crowd]


def test_health_answers_while_messages_are_worked_on(client: httpx.Client) -> None:
    """
    The event loop stays free: health is told in milliseconds while eight clients ask.
    """
    times_ms = []
    with ThreadPoolExecutor(8) as clients:
        asked = [clients.submit(_ask, client, message) for message in MESSAGES * 4]
        while not all(reply.done() for reply in asked):
            started = time.perf_counter()
            assert client.get("/health/ready").status_code == 200
            times_ms.append((time.perf_counter() - started) * 1000)

    assert len(times_ms) >= 5
    # The median, far above what is measured (`python -m service.speed`) and far below what
    # one waiting message takes: the machine that runs this test may have other work.
    assert sorted(times_ms)[len(times_ms) // 2] < 100


def test_nothing_is_asked_before_the_houses_are_open(settings: ServiceSettings) -> None:
    """
    Until the houses are open the service lives, is not ready, and says when to come back.
    """
    app = create_app(settings)
    asked = {"house": "orchard-barn", "text": "Where is the oven?"}

    assert send(app, "GET", "/health/live").json() == {"status": "live"}
    for response in (
        send(app, "GET", "/health/ready"),
        send(app, "GET", "/v1/houses"),
        send(app, "POST", "/v1/replies", json=asked),
    ):
        assert_is_problem(response, 503, "/problems#not-ready")
        assert int(response.headers["Retry-After"]) >= 1


def test_service_opens_again_after_it_was_closed(settings: ServiceSettings, url: str) -> None:
    """
    A second lifespan of the same application opens the houses anew.
    """
    app = create_app(settings)
    for _ in range(2):
        with serving(app) as again:
            wait_until_ready(again)
        assert_is_problem(send(app, "GET", "/health/ready"), 503, "/problems#not-ready")


def test_houses_that_cannot_be_opened_are_told(settings: ServiceSettings, tmp_path: Path) -> None:
    """
    Without a house the service lives, since it passes messages on, but is never ready; the caller
    learns no path.
    """
    nowhere = tmp_path / "nowhere"
    nowhere.mkdir()
    with serving(create_app(settings.model_copy(update={"knowledge": nowhere}))) as url:
        until = time.monotonic() + 10
        while "not-ready" in httpx.get(f"{url}/health/ready").text:
            assert time.monotonic() < until
            time.sleep(0.05)
        assert httpx.get(f"{url}/health/live").status_code == 200
        for path in ("/health/ready", "/v1/houses"):
            response = httpx.get(url + path)
            assert_is_problem(response, 503, "/problems#not-set-up")
            assert "nowhere" not in response.text


def test_service_can_be_closed_while_it_opens(settings: ServiceSettings, tmp_path: Path) -> None:
    """
    Embedding all facts takes a minute; closing does not wait for it.
    """
    unmade = settings.model_copy(update={"index": tmp_path / "index.npz"})
    with serving(create_app(unmade)):
        started = time.monotonic()

    assert time.monotonic() - started < 20
    assert not unmade.index_file.exists()


def test_importing_opens_nothing() -> None:
    """
    Importing the application reads no model, configures no logging and needs no environment.
    """
    code = (
        "import logging, sys, service.app\n"
        "assert not logging.getLogger().handlers\n"
        "assert 'onnxruntime' not in sys.modules\n"
        "assert 'torch' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
