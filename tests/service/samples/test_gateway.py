"""The sample gateway: takes calls once by key, and plays a guest's message to the service."""

from __future__ import annotations

from pathlib import Path

import httpx
import pytest
from typer import Typer
from typer.testing import CliRunner

from service.lines.arrived import Arrived
from service.lines.open_lines import Receipt
from service.lines.sending import LineSender, Outgoing, SendError
from service.samples import gateway as sample_gateway
from service.samples.gateway import SampleGateway, read_sample
from tests.service.lines.conftest import Served
from tests.service.lines.samples import PLAIN_SECRET, STANDARD_SECRET, MemoryInbox

SAMPLES = Path(sample_gateway.__file__).parent
ENVIRON = {
    "QUAY_LINE_SECRET": STANDARD_SECRET,
    "QUAY_LINE_TOKEN": "tok-1",
    "LANE_LINE_SECRET": PLAIN_SECRET,
}


def test_each_key_counts_once() -> None:
    """
    A call that comes again under its key is taken, counted, and sent to the guest once.
    """
    with SampleGateway("tok", port=0, refuse=1) as gateway, httpx.Client() as client:
        headers = {"Authorization": "Bearer tok", "Idempotency-Key": "k1"}
        statuses = [
            client.post(gateway.url, json={"to": "+1", "text": text}, headers=headers).status_code
            for text in ("first", "second", "third")
        ]
        assert gateway.wait_for(1, 1)
        assert not gateway.wait_for(2, 0.05)

    assert statuses == [503, 202, 202]
    assert gateway.tries == {"k1": 3}
    assert gateway.sent == {"k1": ("+1", "second")}


def test_strangers_and_odd_calls_are_refused() -> None:
    """
    Without the token, at another path, or without a text, nothing is taken.
    """
    with SampleGateway("tok", port=0) as gateway, httpx.Client() as client:
        known = {"Authorization": "Bearer tok"}
        statuses = [
            client.post(gateway.url, json={"to": "+1", "text": "x"}).status_code,
            client.post(gateway.url + "s", json={}, headers=known).status_code,
            client.post(gateway.url, json={"to": "+1"}, headers=known).status_code,
            client.post(gateway.url, content=b"{", headers=known).status_code,
        ]

    assert statuses == [401, 404, 400, 400]
    assert not gateway.sent


def test_sample_line_sends_to_the_sample_gateway() -> None:
    """
    The sample's send settings and the sample gateway fit together.
    """
    line = read_sample(SAMPLES / "post-json-signed.yaml")
    assert line.send is not None
    with SampleGateway("tok-1", port=0, refuse=1) as gateway:
        here = line.send.model_copy(update={"url": gateway.url})
        sender = LineSender(line.model_copy(update={"send": here}), ENVIRON)
        delivery = Outgoing(key="k", to="+442079460333", text="Under the sink.")
        with pytest.raises(SendError) as raised:
            sender.send(delivery)
        sender.send(delivery)
        sender.close()

    assert raised.value.retry
    assert raised.value.retry_after_s == 1
    assert gateway.sent == {"k": ("+442079460333", "Under the sink.")}


class EchoInbox(MemoryInbox):
    """Sends a reply out as soon as a message is in, as the service's worker would."""

    def __init__(self, sender: LineSender) -> None:
        super().__init__()
        self._sender = sender

    def receive(self, arrived: Arrived) -> Receipt:
        receipt = super().receive(arrived)
        key = f"reply-{receipt.message_id}"
        self._sender.send(Outgoing(key=key, to=arrived.sender, text="Under the sink."))
        return receipt


@pytest.fixture
def port() -> int:
    """A port that is free now."""
    with SampleGateway("x", port=0) as gateway:
        found = httpx.URL(gateway.url).port
    assert found is not None
    return found


def invoke(*arguments: str) -> tuple[int, str]:
    app = Typer()
    app.command()(sample_gateway.main)
    result = CliRunner().invoke(app, list(arguments), env=ENVIRON)
    return result.exit_code, result.output


def test_round_trip_by_a_call(served: Served, port: int) -> None:
    """
    One command hands a signed message over and prints the reply that was sent for it.
    """
    line = read_sample(SAMPLES / "post-json-signed.yaml")
    assert line.send is not None
    here = line.send.model_copy(update={"url": f"http://127.0.0.1:{port}/send"})
    sender = LineSender(line.model_copy(update={"send": here}), ENVIRON)
    inbox = EchoInbox(sender)
    with served(line, ENVIRON, inbox) as client:
        code, output = invoke(
            "Where is the stopcock?", "--service", str(client.base_url), "--port", str(port)
        )
    sender.close()

    assert code == 0, output
    assert "handed over: 200" in output
    assert "to +442079460333, key reply-1, 1 time(s): Under the sink." in output
    assert [arrived.text for arrived in inbox.arrived] == ["Where is the stopcock?"]


def test_round_trip_in_the_response(served: Served) -> None:
    """
    The same for the line that replies in its response.
    """
    path = SAMPLES / "get-plain-reply.yaml"
    with served(read_sample(path), ENVIRON, MemoryInbox()) as client:
        code, output = invoke(
            "Where is the stopcock?", "--service", str(client.base_url), "--settings", str(path)
        )

    assert (code, output.strip()) == (0, "200 Under the sink.")


def test_new_secret_can_be_used() -> None:
    """
    A secret that is printed is one that a line takes.
    """
    from service.lines.signing_settings import read_signing_secret

    _, output = invoke("--new-secret")
    line = read_sample(SAMPLES / "post-json-signed.yaml")

    assert read_signing_secret(line.signing, {"QUAY_LINE_SECRET": output}) == output.strip()
