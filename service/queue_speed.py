"""How fast stored messages become replies: `python -m service.queue_speed`.

A whole service (HTTP in, SQLite, the shipped model, calls to a gateway) runs in a process of its
own, and so does an endpoint that only embeds what it is sent. This process is the gateway: it
hands messages over, and notes when each reply comes. Times run from the acknowledgement of a
message until the gateway has its reply, in milliseconds.
"""

from __future__ import annotations

import contextlib
import http.client
import itertools
import json
import multiprocessing
import os
import random
import socket
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer
import uvicorn
from fastapi import Body, FastAPI

from askhouse.build import build_assistant
from askhouse.encoder import open_encoder
from askhouse.knowledge.load import load_houses
from service.bell import Bell
from service.clock import utc_now
from service.database import Database, open_engine
from service.lines.arrived import Arrived
from service.lines.sending import LineSender
from service.lines.settings import LineSettings
from service.migrations import migrate
from service.outbox import Outbox
from service.reception import Reception
from service.situation import Pace, Place
from service.speed import MESSAGES
from service.worker import Worker, WorkerRules

__all__ = ["main"]

_EMERGENCIES = ("I smell gas in the kitchen", "there is smoke coming out of the oven, what now")
_CLIENTS = 8
_SHARE = 0.7  # of the most it can do: what it is asked to sustain
_ENDLESS = 10**9


def main(
    knowledge: Annotated[Path, typer.Option(help="Folder of houses.")] = Path("knowledge/houses"),
    house: Annotated[str, typer.Option(help="The house that is asked about.")] = "orchard-barn",
    seconds: Annotated[float, typer.Option(min=1, help="Of each measure.")] = 20,
    index: Annotated[Path | None, typer.Option(help="Index file; made anew if left out.")] = None,
) -> None:
    """Prints the most that is answered, times at a sustained rate, and times in a flood."""
    with tempfile.TemporaryDirectory() as folder:
        index = index or Path(folder) / "index.npz"
        build_assistant(load_houses(knowledge), index)  # so that the services open at once
        with _running(_embed) as port:
            embedded = _as_many_as_possible(port, seconds / 2)
        typer.echo(f"an endpoint that only embeds: {embedded:.1f} requests/s")
        with _gateway() as gateway:
            base = (str(knowledge), str(index), house, gateway.port)
            with _running(_serve, f"{folder}/a.db", *base, _ENDLESS) as port:
                most = _most(port, gateway, seconds)
                typer.echo(
                    f"the service at most: {most:.1f} messages/s, "
                    f"{most / embedded:.2f} of what only embeds"
                )
                rate = most * _SHARE
                times = _sustained(port, gateway, rate, seconds)
                typer.echo(f"sustained, {rate:.1f} messages/s: {_told(times)}")
            # The flood meets the limits that stand in the settings.
            with _running(_serve, f"{folder}/b.db", *base, Pace().strangers) as port:
                times, arrived = _in_flood(port, gateway, rate * 10, seconds)
                typer.echo(
                    f"emergencies while {arrived:.0f} messages/s come in "
                    f"(asked for {rate * 10:.0f}): {_told(times)}"
                )


def _told(times_ms: Sequence[float]) -> str:
    p50, p99 = np.percentile(times_ms, [50, 99])
    return f"p50 {p50:.0f} ms, p99 {p99:.0f} ms, of {len(times_ms)}"


# --- the two services ------------------------------------------------------------------------


def _embed(port: int) -> None:
    encoder = open_encoder("trained")
    app = FastAPI()

    @app.post("/")
    def embed(text: Annotated[str, Body(embed=True)]) -> dict[str, int]:
        (encoded,) = encoder.encode_words([text])
        return {"size": len(encoded.vector)}

    _run(app, port)


def _serve(
    port: int, database_file: str, knowledge: str, index: str, house: str, gateway: int, most: int
) -> None:
    assistant = build_assistant(load_houses(Path(knowledge)), Path(index))
    line = LineSettings.model_validate(
        {
            "name": "measured",
            "number": "+442079460900",
            "country": "GB",
            "houses": [house],
            "inbound": {"fields": {"sender": "from", "text": "text"}},
            "signing": {"kind": "standard-webhooks", "secret_env": "NO_SECRET"},
            "send": {
                "url": f"http://127.0.0.1:{gateway}/",
                "json": {"to": "{{ to }}", "text": "{{ text }}"},
            },
        }
    )
    engine = open_engine(f"sqlite:///{database_file}")
    migrate(engine)
    database = Database(engine)
    place = Place(lines={line.name: line}, rules={}, assistant=lambda: assistant)
    incoming, outgoing = Bell(), Bell()
    pace = (
        Pace(strangers=most)
        if most < _ENDLESS
        else Pace(replies=_ENDLESS, read=_ENDLESS, strangers=_ENDLESS)
    )
    worker = Worker(
        database,
        place,
        utc_now,
        incoming=incoming,
        outgoing=outgoing,
        rules=WorkerRules(pace=pace),
    )
    sender = LineSender(line, os.environ)
    outbox = Outbox(database, lambda channel, target: sender, utc_now, bell=outgoing)
    reception = Reception(database, utc_now, incoming)
    app = FastAPI()

    @app.post("/")
    def receive(
        sender: Annotated[str, Body()], text: Annotated[str, Body()], id: Annotated[str, Body()]
    ) -> None:
        reception.receive(
            Arrived(
                line=line.name,
                sender=sender,
                to=line.number,
                text=text,
                gateway_id=id,
                received_at=utc_now(),
            )
        )

    worker.start()
    outbox.start()
    _run(app, port)


def _run(app: FastAPI, port: int) -> None:
    uvicorn.run(app, host="127.0.0.1", port=port, log_config=None, access_log=False)


@contextlib.contextmanager
def _running(program: Any, *arguments: object) -> Iterator[int]:
    """Runs a program in a process of its own; gives its port once it answers."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
    context = multiprocessing.get_context("spawn")
    process = context.Process(target=program, args=(port, *arguments), daemon=True)
    process.start()
    try:
        until = time.monotonic() + 120
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
                break
            except OSError:
                if time.monotonic() > until or not process.is_alive():
                    raise
                time.sleep(0.05)
        yield port
    finally:
        process.terminate()
        process.join()


# --- the gateway -----------------------------------------------------------------------------


class _Gateway:
    """Notes when the reply to each sender came; every message has a sender of its own."""

    def __init__(self) -> None:
        self.port = 0
        self.replied_at: dict[str, float] = {}
        self._numbers = itertools.count()

    def number(self) -> str:
        """A sender that nobody was before."""
        return f"+4477{next(self._numbers):08}"


@contextlib.contextmanager
def _gateway() -> Iterator[_Gateway]:
    gateway = _Gateway()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            gateway.replied_at[body["to"]] = time.monotonic()
            self.send_response(200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Writes nothing down."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    gateway.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield gateway
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


# --- the measures ----------------------------------------------------------------------------


def _post(connection: http.client.HTTPConnection, body: dict[str, str]) -> None:
    connection.request("POST", "/", json.dumps(body), {"Content-Type": "application/json"})
    response = connection.getresponse()
    response.read()
    if response.status != http.HTTPStatus.OK:
        raise RuntimeError(f"a message was answered {response.status}")


def _as_many_as_possible(port: int, seconds: float) -> float:
    """Requests a second that the embedding endpoint answers to a few clients at once."""
    counts = [0] * _CLIENTS
    until = time.monotonic() + seconds

    def ask(number: int) -> None:
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port)) as connection:
            while time.monotonic() < until:
                _post(connection, {"text": MESSAGES[counts[number] % len(MESSAGES)]})
                counts[number] += 1

    _together([lambda number=number: ask(number) for number in range(_CLIENTS)])
    return sum(counts) / seconds


def _most(port: int, gateway: _Gateway, seconds: float) -> float:
    """Replies a second while there is always more to answer."""
    _sustained(port, gateway, 5, 2)  # what the first messages load, the others find loaded
    sent = _Sending(port, gateway)
    before = len(gateway.replied_at)
    until = time.monotonic() + seconds
    number = itertools.count()

    def send() -> None:
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port)) as connection:
            while time.monotonic() < until:
                if len(sent.at) - (len(gateway.replied_at) - before) > 4 * _CLIENTS:
                    time.sleep(0.005)
                    continue
                sent.send(connection, MESSAGES[next(number) % len(MESSAGES)])

    _together([send] * _CLIENTS)
    replies = len(gateway.replied_at) - before
    sent.wait()
    return replies / seconds


def _sustained(port: int, gateway: _Gateway, rate: float, seconds: float) -> list[float]:
    """Times of messages that come in at random moments, so many a second."""
    sent = _Sending(port, gateway)
    _at_rate(sent, port, rate, seconds, MESSAGES)
    sent.wait()
    return sent.times_ms()


def _in_flood(
    port: int, gateway: _Gateway, rate: float, seconds: float
) -> tuple[list[float], float]:
    """Times of emergencies while others flood the line, and how many a second came of these."""
    flood, danger = _Sending(port, gateway), _Sending(port, gateway)
    _at_rate(_Sending(port, gateway), port, 5, 2, MESSAGES)
    _together(
        [
            lambda: _at_rate(flood, port, rate, seconds, MESSAGES),
            lambda: _at_rate(danger, port, 5, seconds, _EMERGENCIES),
        ]
    )
    danger.wait()
    return danger.times_ms(), len(flood.at) / seconds


class _Sending:
    """Messages handed over, each with the moment in which it was acknowledged."""

    def __init__(self, port: int, gateway: _Gateway) -> None:
        self._gateway = gateway
        self.at: dict[str, float] = {}

    def send(self, connection: http.client.HTTPConnection, text: str) -> None:
        sender = self._gateway.number()
        _post(connection, {"sender": sender, "text": text, "id": sender})
        self.at[sender] = time.monotonic()

    def wait(self) -> None:
        """Waits until all have their replies."""
        until = time.monotonic() + 60
        while not self.at.keys() <= self._gateway.replied_at.keys():
            if time.monotonic() > until:
                raise RuntimeError("replies are missing: is the service at work?")
            time.sleep(0.05)

    def times_ms(self) -> list[float]:
        replied_at = self._gateway.replied_at
        return [max(replied_at[sender] - at, 0) * 1000 for sender, at in self.at.items()]


def _at_rate(sent: _Sending, port: int, rate: float, seconds: float, texts: Sequence[str]) -> None:
    """Hands messages over at the moments of a Poisson process, from as many clients as it takes."""
    chance = random.Random(1)
    moments, at = [], 0.0
    while (at := at + chance.expovariate(rate)) < seconds:
        moments.append(at)
    began = time.monotonic()
    waiting = iter(enumerate(moments))
    lock = threading.Lock()

    def send() -> None:
        with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port)) as connection:
            while True:
                with lock:
                    number, moment = next(waiting, (None, 0.0))
                if number is None or time.monotonic() - began > seconds:
                    return
                time.sleep(max(0.0, began + moment - time.monotonic()))
                sent.send(connection, texts[number % len(texts)])

    _together([send] * (2 * _CLIENTS))


def _together(tasks: Sequence[Any]) -> None:
    threads = [threading.Thread(target=task) for task in tasks]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


if __name__ == "__main__":
    typer.run(main)
