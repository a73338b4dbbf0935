"""How a running service stands up to several clients at once: `python -m service.speed`.

Each client sends its next message when it has the reply to the last; one more
asks for the service's health all the while. Start the service with
ASKHOUSE_REQUESTS_PER_MINUTE=100000, or the request limit is what is measured.
"""

from __future__ import annotations

import http.client
import itertools
import json
import statistics
import threading
import time
from collections.abc import Sequence
from contextlib import closing
from typing import Annotated
from urllib.parse import urlsplit

import typer

__all__ = ["main"]

MESSAGES = (
    "How do I turn on the oven?",
    "where do the bins go, and on which day?",
    "what is the wifi password",
    "Hi! We arrive around six. Is there parking for two cars, and where is the key safe?",
    "the shower is cold, what can we do",
    "Is there a hair dryer?",
    "when do we have to leave on the last day",
    "Thanks so much, all good!",
    "how do we light the stove and where is the wood? also how warm should it be upstairs",
    "can we check out two hours later",
)


def main(
    url: Annotated[
        str, typer.Argument(help="Where the service listens.")
    ] = "http://127.0.0.1:8321",
    house: Annotated[str, typer.Option(help="The house that is asked about.")] = "orchard-barn",
    seconds: Annotated[
        float, typer.Option(min=1, help="How long each number of clients asks.")
    ] = 10,
    clients: Annotated[list[int] | None, typer.Option(help="Clients at once; repeat.")] = None,
) -> None:
    """Prints replies a second, and the times of replies and of health, in milliseconds."""
    address = urlsplit(url).netloc
    typer.echo("clients  replies/s  median ms  95% ms  health median ms  health 95% ms")
    for count in clients or (1, 4, 16):
        replies, health = _run(address, house, seconds, count)
        typer.echo(
            f"{count:7}  {len(replies) / seconds:9.1f}  {_share(replies, 50):9.1f}  "
            f"{_share(replies, 95):6.1f}  {_share(health, 50):16.1f}  {_share(health, 95):13.1f}"
        )


def _share(times_ms: Sequence[float], percent: int) -> float:
    return statistics.quantiles(times_ms, n=100)[percent - 1]


def _run(address: str, house: str, seconds: float, count: int) -> tuple[list[float], list[float]]:
    until = time.monotonic() + seconds
    replies: list[float] = []
    health: list[float] = []
    threads = [
        threading.Thread(target=_client, args=(address, house, start, until, replies))
        for start in range(count)
    ]
    threads.append(threading.Thread(target=_watcher, args=(address, until, health)))
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return replies, health


def _client(address: str, house: str, start: int, until: float, times_ms: list[float]) -> None:
    with closing(http.client.HTTPConnection(address, timeout=60)) as connection:
        for message in itertools.islice(itertools.cycle(MESSAGES), start, None):
            if time.monotonic() >= until:
                return
            body = json.dumps({"house": house, "text": message})
            times_ms.append(_timed(connection, "POST", "/v1/replies", body))


def _watcher(address: str, until: float, times_ms: list[float]) -> None:
    with closing(http.client.HTTPConnection(address, timeout=60)) as connection:
        while time.monotonic() < until:
            times_ms.append(_timed(connection, "GET", "/health/ready"))
            time.sleep(0.02)


def _timed(
    connection: http.client.HTTPConnection, method: str, path: str, body: str | None = None
) -> float:
    started = time.perf_counter()
    connection.request(method, path, body, {"Content-Type": "application/json"})
    response = connection.getresponse()
    response.read()
    if response.status != http.HTTPStatus.OK:
        raise RuntimeError(f"{method} {path} was answered {response.status}: is the service ready?")
    return (time.perf_counter() - started) * 1000


if __name__ == "__main__":
    typer.run(main)
