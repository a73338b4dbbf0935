"""Services that are killed again and again while messages come in, and a gateway that counts.

The service is the real application with its real models, a process of its own that is killed by
SIGKILL at random moments and started again. The gateway is another, which hands messages over until
they are acknowledged and takes replies by their idempotency key.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import multiprocessing
import random
import shutil
import socket
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from multiprocessing.process import BaseProcess
from pathlib import Path

import httpx
import uvicorn
from sqlalchemy import select

from service.app import create_app
from service.database import Database, open_engine
from service.outbox import OutboxRules
from service.settings import ServiceSettings
from service.situation import Pace
from service.tables import Delivery, Inbound, Thread
from service.worker import WorkerRules
from tests.house import SMALL
from tests.service.lines.samples import PLAIN_SECRET
from tests.service.texting import LINE, LINE_NUMBER

__all__ = ["Outcome", "Plan", "run"]

_OF_A_SENDER = 4  # messages
_ENDLESS = 1_000_000
# A claim must outlive its work, and the test must not wait long for those that the dead leave.
_LEASE_S, _SEND_LEASE_S = 3, 3
_SILENCE_S = 60  # without a new reply, after which none is expected any more


# --- the service, as it is killed ------------------------------------------------------------


def serve(database_url: str, folder: str, port: int) -> None:
    """The application as an operator starts it; runs until it is killed."""
    settings = ServiceSettings(
        knowledge=Path(folder) / "houses",
        index=Path(folder) / "index.npz",
        database=database_url,
        service_file=Path(folder) / "service.yaml",
    )
    app = create_app(
        settings,
        {"LINE_SECRET": PLAIN_SECRET},
        worker_rules=WorkerRules(
            lease_s=_LEASE_S,
            idle_s=0.2,
            pieces_s=1,
            tries=_ENDLESS,  # a message is not to blame for the deaths it has seen
            pace=Pace(replies=_ENDLESS, strangers=_ENDLESS),
        ),
        outbox_rules=OutboxRules(
            at_once=2,
            lease_s=_SEND_LEASE_S,
            urgent_lease_s=_SEND_LEASE_S,
            tries=_ENDLESS,
            urgent_tries=_ENDLESS,
            first_pause_s=0.1,
            most_pause_s=1,
            idle_s=0.2,
        ),
    )
    uvicorn.run(app, host="127.0.0.1", port=port, log_config=None, access_log=False)


def _write_set_up(folder: Path, gateway_url: str) -> None:
    """The house, and the service's file with a line whose gateway is called for each reply."""
    (folder / "houses").mkdir()
    shutil.copy(SMALL, folder / "houses" / "ferry-lodge.yaml")
    piece = {name: f"piece.{name}" for name in ("reference", "number", "of")}
    fields = {"sender": "from", "text": "text", "id": "id", "time": "at", "piece": piece}
    line = {
        "name": LINE,
        "number": LINE_NUMBER,
        "country": "GB",
        "houses": ["ferry-lodge"],
        "inbound": {"format": "json", "fields": fields},
        "signing": {"kind": "parameter", "parameter": "key", "secret_env": "LINE_SECRET"},
        "send": {
            "url": f"{gateway_url}/",
            "json": {"to": "{{ to }}", "text": "{{ text }}"},
            "timeout_s": 2,
        },
    }
    # YAML reads JSON, too.
    (folder / "service.yaml").write_text(json.dumps({"lines": [line]}), encoding="utf-8")


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)


# --- the gateway -----------------------------------------------------------------------------


def take(port: int, seed: int) -> None:
    """A gateway that takes replies by their key; it refuses some, and leaves some unanswered."""
    chance = random.Random(seed)
    taken: dict[str, dict[str, object]] = {}
    lock = threading.Lock()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            with lock:
                luck = chance.random()
                if luck >= 0.05:
                    key = self.headers["Idempotency-Key"]
                    seen = taken.setdefault(key, {**body, "times": 0})
                    seen["times"] = int(str(seen["times"])) + 1
            if luck < 0.05:
                self._answer(503, b"")
            elif luck < 0.10:
                self.close_connection = True  # taken, but nobody hears of it
            else:
                self._answer(200, b"")

        def handle(self) -> None:
            with contextlib.suppress(OSError, ValueError):  # the service was killed in its sentence
                super().handle()

        def do_GET(self) -> None:
            with lock:
                self._answer(200, json.dumps(taken).encode())

        def _answer(self, status: int, body: bytes) -> None:
            self.send_response(status)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            pass

    ThreadingHTTPServer(("127.0.0.1", port), Handler).serve_forever()


# --- the measure -----------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Plan:
    """How much is done to the service.

    Attributes:
        messages: That guests send; more are handed over, since some come twice or in pieces.
        kills: Of services.
        life_s: The longest life of a service between two kills.
        services: Processes on one database.
    """

    messages: int
    kills: int
    services: int
    life_s: float
    seed: int = 1

    @property
    def per_second(self) -> float:
        """Messages that come in: as many as there are, for as long as services are killed."""
        return self.messages / (self.kills * self.life_s / 2 / self.services)


@dataclass(kw_only=True)
class Outcome:
    """What came of it, for each promise what is wrong."""

    messages: int
    kills: int
    handed_over: int
    sent_again: int
    seconds: float
    lost: list[str] = field(default_factory=list)
    answered_twice: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return (
            f"{self.messages} messages in {self.handed_over} requests, {self.kills} kills, "
            f"{self.seconds:.0f} s; the gateway got {self.sent_again} again under the same key; "
            f"lost {len(self.lost)}, answered twice {len(self.answered_twice)}, "
            f"otherwise wrong {len(self.wrong)}"
        )


@dataclass(frozen=True)
class _Request:
    at_s: float
    body: dict[str, object]


def run(database_url: str, plan: Plan) -> Outcome:
    """Sends the messages while killing the services; then waits for the last replies."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([__name__, "tests.service.killing_warm"])
    ports = _free_ports(plan.services + 1)
    gateway_url = f"http://127.0.0.1:{ports[0]}"
    began = time.monotonic()
    with contextlib.ExitStack() as ending:
        folder = Path(ending.enter_context(tempfile.TemporaryDirectory()))
        _write_set_up(folder, gateway_url)
        gateway = context.Process(target=take, args=(ports[0], plan.seed), daemon=True)
        gateway.start()
        ending.callback(_kill, gateway)

        def start(port: int) -> BaseProcess:
            process = context.Process(
                target=serve, args=(database_url, str(folder), port), daemon=True
            )
            process.start()
            return process

        services = {port: start(port) for port in ports[1:]}
        ending.callback(_kill_all, services)
        sent, requests = _requests(plan)
        handing = threading.Thread(target=_hand_over, args=(requests, ports[1:], plan.seed))
        handing.start()
        chance = random.Random(plan.seed)
        kills = 0
        while kills < plan.kills:
            # At times before it has come up, at times in the middle of its work.
            time.sleep(chance.uniform(0.05, plan.life_s) / plan.services)
            port = chance.choice(ports[1:])
            _kill(services[port])
            kills += 1
            services[port] = start(port)
        handing.join()
        taken = _wait_for_replies(gateway_url, len(sent))
    outcome = Outcome(
        messages=plan.messages,
        kills=kills,
        handed_over=len(requests),
        sent_again=sum(int(str(reply["times"])) - 1 for reply in taken.values()),
        seconds=time.monotonic() - began,
    )
    _judge(database_url, sent, taken, outcome)
    return outcome


def _requests(plan: Plan) -> tuple[Counter[tuple[str, str]], list[_Request]]:
    """Each message as (sender, text), and every request that brings one, in its order."""
    chance = random.Random(plan.seed)
    sent: Counter[tuple[str, str]] = Counter()
    requests: list[_Request] = []
    start = _now()
    for number in range(plan.messages):
        at_s = number / plan.per_second
        sender = f"+4477009{number // _OF_A_SENDER:05}"
        words = "I smell gas" if chance.random() < 0.05 else "where are the bins"
        text = f"{words}, number {number}"
        sent[sender, text] += 1
        bodies: list[dict[str, object]] = [{"text": text, "id": f"m{number}"}]
        kind = chance.random()
        # Danger comes whole: its first piece would not wait, and be a message by itself.
        if kind < 0.10 and words != "I smell gas":
            cut = chance.randrange(1, len(text))
            bodies = [
                {"text": piece, "id": f"m{number}-{place}", "piece": _piece(number, place)}
                for place, piece in ((1, text[:cut]), (2, text[cut:]))
            ]
        elif 0.10 <= kind < 0.15:
            bodies.append({"text": text, "id": f"m{number}-tapped-twice"})
        again = [body for body in bodies if chance.random() < 0.2]
        for body in bodies + again:
            whole = {"from": sender, "at": (start + dt.timedelta(seconds=at_s)).isoformat()}
            requests.append(_Request(at_s + chance.uniform(0, 2), {**whole, **body}))
    return sent, sorted(requests, key=lambda request: request.at_s)


def _piece(number: int, place: int) -> dict[str, object]:
    return {"reference": f"r{number}", "number": place, "of": 2}


def _hand_over(requests: Sequence[_Request], ports: Sequence[int], seed: int) -> None:
    """Hands each over at its time, again and again until it is acknowledged."""
    waiting = iter(requests)
    lock = threading.Lock()
    began = time.monotonic()

    def one_after_another(number: int) -> None:
        chance = random.Random(f"{seed} {number}")
        with httpx.Client(timeout=3, trust_env=False) as client:
            while True:
                with lock:
                    request = next(waiting, None)
                if request is None:
                    return
                time.sleep(max(0.0, began + request.at_s - time.monotonic()))
                while not _acknowledged(client, chance.choice(ports), request.body):
                    time.sleep(chance.uniform(0.02, 0.2))

    threads = [threading.Thread(target=one_after_another, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def _acknowledged(client: httpx.Client, port: int, body: dict[str, object]) -> bool:
    try:
        url = f"http://127.0.0.1:{port}/lines/{LINE}"
        return client.post(url, params={"key": PLAIN_SECRET}, json=body).is_success
    except httpx.HTTPError:
        return False


def _wait_for_replies(gateway_url: str, expected: int) -> dict[str, dict[str, object]]:
    """All that the gateway took, once there is as much as expected, or no more comes.

    However slow the machine is, what is still coming is not lost.
    """
    came, until = 0, time.monotonic() + _SILENCE_S
    while True:
        taken: dict[str, dict[str, object]] = httpx.get(gateway_url, trust_env=False).json()
        if len(taken) > came:
            came, until = len(taken), time.monotonic() + _SILENCE_S
        if len(taken) >= expected or time.monotonic() >= until:
            time.sleep(2 * _SEND_LEASE_S)  # whatever would come too much comes now
            return httpx.get(gateway_url, trust_env=False).json()  # type: ignore[no-any-return]
        time.sleep(0.2)


def _judge(
    database_url: str,
    sent: Counter[tuple[str, str]],
    taken: dict[str, dict[str, object]],
    outcome: Outcome,
) -> None:
    """Compares what guests sent, what is stored, and what the gateway took."""
    database = Database(open_engine(database_url))
    with database.reading() as session:
        rows = session.execute(
            select(Inbound.id, Inbound.text, Inbound.state, Thread.sender).join(
                Thread, Thread.id == Inbound.thread_id
            )
        ).all()
        states = Counter(session.scalars(select(Delivery.state)))
    database.close()
    stored = Counter((row.sender, row.text) for row in rows)
    by_message = Counter(key.partition("@")[0] for key in taken)
    expected = {f"reply:{row.id}": row for row in rows}
    outcome.lost += [f"never stored: {message}" for message in sent - stored]
    outcome.lost += [f"no reply: {expected[key]}" for key in expected if not by_message[key]]
    outcome.answered_twice += [f"stored twice: {message}" for message in stored - sent]
    outcome.answered_twice += [f"two keys: {key}" for key, n in by_message.items() if n > 1]
    outcome.wrong += [f"reply to nothing: {key}" for key in by_message if key not in expected]
    outcome.wrong += [f"not answered: {row}" for row in rows if row.state != "answered"]
    for key, reply in taken.items():
        row = expected.get(key.partition("@")[0])
        danger = row is not None and row.text.startswith("I smell gas")
        said = str(reply["text"])
        fits = said.startswith("Please leave") if danger else said.startswith("The bins")
        if row is not None and (reply["to"] != row.sender or not fits):
            outcome.wrong.append(f"another's reply: {row} {reply}")
    if set(states) - {"sent"}:
        outcome.wrong.append(f"deliveries: {dict(states)}")


def _free_ports(number: int) -> list[int]:
    with contextlib.ExitStack() as held:
        sockets = [held.enter_context(socket.socket()) for _ in range(number)]
        for one in sockets:
            one.bind(("127.0.0.1", 0))
        return [one.getsockname()[1] for one in sockets]


def _kill_all(services: dict[int, BaseProcess]) -> None:
    for process in services.values():
        _kill(process)


def _kill(process: BaseProcess) -> None:
    process.kill()
    process.join()
