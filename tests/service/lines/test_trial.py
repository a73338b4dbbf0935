"""A line tried out against a real service: what is wrong is named, with its mend."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from service.lines.settings import LineSettings
from service.lines.trial import TEXT, Finding, round_trip
from service.samples.gateway import SampleGateway
from tests.service.lines.conftest import Served
from tests.service.lines.samples import (
    GUEST,
    PLAIN_SECRET,
    SIGNINGS,
    STANDARD_SECRET,
    MemoryInbox,
    make_line,
    signed_line,
)

ENVIRON = {"SECRET": STANDARD_SECRET}


@pytest.fixture
def gateway() -> Iterator[SampleGateway]:
    with SampleGateway("tok", port=0) as gateway:
        yield gateway


def tried(line: LineSettings, url: str, **options: Any) -> dict[str, Finding]:
    environ = options.pop("environ", ENVIRON)
    findings = round_trip(line, environ, url, sender=GUEST, wait_s=1, **options)
    assert all(finding.good != bool(finding.mend) for finding in findings)
    return {finding.what: finding for finding in findings}


def bad(findings: dict[str, Finding]) -> list[str]:
    return [what for what, finding in findings.items() if not finding.good]


@pytest.mark.parametrize("signing", SIGNINGS)
def test_line_that_replies_in_its_response(served: Served, signing: str) -> None:
    """
    Where all is well every finding is good, whichever way the gateway signs.
    """
    line, secret = signed_line(signing, respond={}, send=None)
    inbox = MemoryInbox()
    with served(line, {"SECRET": secret}, inbox) as client:
        findings = tried(line, str(client.base_url), environ={"SECRET": secret})

    assert bad(findings) == []
    assert findings["reply in the response"].said == "came, 1 segment(s)"
    assert [arrived.text for arrived in inbox.arrived] == [TEXT]


def test_line_that_sends(served: Served, gateway: SampleGateway) -> None:
    """
    Where replies go out by a call, its outcome is asked for by the gateway's id.
    """
    line = make_line(send={"url": gateway.url})
    inbox = MemoryInbox()
    with served(line, ENVIRON, inbox) as client:
        url = str(client.base_url)
        sent = tried(line, url, outcome=lambda gateway_id: "sent")
        failed = tried(line, url, outcome=lambda gateway_id: "the other side answered 401")
        late = tried(line, url, outcome=lambda gateway_id: None)
        unwatched = tried(line, url)

    what = "reply by a call to the gateway"
    assert bad(sent) == bad(unwatched) == []
    assert bad(failed) == bad(late) == [what]
    assert failed[what].said == "the other side answered 401"
    assert late[what].said == "none within 1 s"
    assert gateway.sent == {}  # trying the address sends nothing there


def test_missing_secrets(gateway: SampleGateway) -> None:
    """
    Unset variables are named, both ways, before anything is called.
    """
    line = make_line(send={"url": gateway.url, "secrets": {"t": "LINE_TOKEN"}})
    findings = tried(line, "http://127.0.0.1:1", environ={})

    assert bad(findings) == ["inbound secret", "secrets to send with"]
    assert findings["inbound secret"].said == "SECRET is not set"
    assert findings["secrets to send with"].said == "LINE_TOKEN is not set"


def test_service_runs_with_another_secret(served: Served) -> None:
    """
    A secret that differs from the service's is the first thing to look at, by its variable.
    """
    line, secret = signed_line("hex", respond={}, send=None)
    with served(line, {"SECRET": secret}, MemoryInbox()) as client:
        findings = tried(line, str(client.base_url), environ={"SECRET": PLAIN_SECRET[::-1]})

    assert bad(findings) == ["signed message"]
    assert "the same SECRET" in findings["signed message"].mend


def test_service_runs_with_other_fields(served: Served) -> None:
    """
    Fields that the service finds missing are told as it tells them.
    """
    line, secret = signed_line("hex", respond={}, send=None)
    fields = {"sender": "data.from", "text": "text"}
    other = make_line(signing=SIGNINGS["hex"][0], inbound={"fields": fields})
    with served(other, {"SECRET": secret}, MemoryInbox()) as client:
        findings = tried(line, str(client.base_url), environ={"SECRET": secret})

    assert bad(findings) == ["signed message"]
    assert findings["signed message"].said == "could not be read: #/data/from is missing"


def test_service_runs_with_another_method(served: Served) -> None:
    """
    A line that the service knows with another method is told, too.
    """
    line, secret = signed_line("parameter", respond={}, send=None)
    other, _ = signed_line("hex")
    with served(other, {"SECRET": secret}, MemoryInbox()) as client:
        findings = tried(line, str(client.base_url), environ={"SECRET": secret})

    assert "signed message" in bad(findings)
    assert findings["signed message"].said == "the line takes another method"


def test_reply_does_not_come(served: Served) -> None:
    """
    A reply that is late, or empty, is told with what to do.
    """
    line, secret = signed_line("hex", respond={"wait_s": 0.2}, send=None)
    for reply, said in ((None, "none within 0.2 s"), ("", "the response is empty")):
        with served(line, {"SECRET": secret}, MemoryInbox(reply)) as client:
            findings = tried(line, str(client.base_url), environ={"SECRET": secret})
        assert bad(findings) == ["reply in the response"]
        assert findings["reply in the response"].said == said


def test_nobody_is_there() -> None:
    """
    Neither service nor gateway answers: both are told.
    """
    line = make_line(send={"url": "http://127.0.0.1:1/send"})
    findings = tried(line, "http://127.0.0.1:2")

    assert bad(findings) == ["gateway's address", "the service"]
    assert "http://127.0.0.1:1 does not answer" in findings["gateway's address"].said


def test_no_finding_holds_a_secret(served: Served) -> None:
    """
    What is printed holds neither secret nor reply.
    """
    line, secret = signed_line("path", respond={}, send=None)
    with served(line, {"SECRET": secret}, MemoryInbox("the code is 4471")) as client:
        findings = tried(line, str(client.base_url), environ={"SECRET": secret})

    assert "way of signing" in findings
    assert secret not in repr(findings)
    assert "4471" not in repr(findings)
