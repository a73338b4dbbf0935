"""E-mail over real SMTP: encryption, sign-in, what the mail holds, how failures are told."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import trustme

from service.alerts.contact_settings import MailSettings
from service.alerts.mail import EmailSender
from service.lines.sending import Outgoing, SendError
from tests.service.alerts.receiving import Mailbox, mail_server
from tests.service.alerts.staging import NOON

PASSWORD = Mailbox().password
TOLD = Outgoing(
    key="alert:12:0:1:sam-mail@20260612T120000",
    to="",
    text="EMERGENCY: someone may be in danger\n<b>größe</b> & smoke\n"
    "Take it: https://stay.example.org/take/abc?by=sam-mail",
    title="EMERGENCY:\nsomeone may be in danger, Ferry Lodge",
    emergency=True,
)


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    """Who signs the mail server's certificate."""
    return trustme.CA()


@pytest.fixture(scope="module")
def ca_file(authority: trustme.CA, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The authority's own certificate."""
    path = tmp_path_factory.mktemp("mail") / "ca.pem"
    authority.cert_pem.write_to_path(path)
    return path


@pytest.fixture
def box(authority: trustme.CA) -> Iterator[Mailbox]:
    """A mail server that wants STARTTLS and a password."""
    with mail_server(authority) as server:
        yield server


def mailer(box: Mailbox, ca_file: Path, password: str = PASSWORD, **more: Any) -> EmailSender:
    given: dict[str, Any] = {
        "host": "localhost",
        "port": box.port,
        "security": "starttls",
        "user": box.user,
        "password_env": "MAIL_PASSWORD",
        "sender": "alerts@example.org",
        "ca_file": str(ca_file),
        **more,
    }
    return EmailSender(MailSettings(**given), "sam@example.org", password, lambda: NOON)


def test_an_alert_by_mail(box: Mailbox, ca_file: Path) -> None:
    """It goes out encrypted and signed in, as text and as HTML, and nothing in it is markup."""
    mailer(box, ca_file).send(TOLD)

    (mail,) = box.mails
    assert box.over_tls == [True]
    assert (mail["From"], mail["To"]) == ("alerts@example.org", "sam@example.org")
    assert mail["Subject"] == "EMERGENCY: someone may be in danger, Ferry Lodge"
    assert mail["Date"].datetime == NOON
    assert mail["Importance"] == "high"
    assert mail["Auto-Submitted"] == "auto-generated"
    text, html = mail.get_body(("plain",)), mail.get_body(("html",))
    assert text is not None
    assert html is not None
    assert text.get_content().splitlines() == TOLD.text.splitlines()
    page = html.get_content()
    assert "&lt;b&gt;größe&lt;/b&gt; &amp; smoke" in page
    assert '<a href="https://stay.example.org/take/abc?by=sam-mail">' in page


def test_a_mail_that_is_sent_again_has_the_same_id(box: Mailbox, ca_file: Path) -> None:
    """A mailbox can tell that the second is the first; another alert has another id."""
    sender = mailer(box, ca_file)

    for key in (TOLD.key, TOLD.key, "alert:13:0:1:sam-mail"):
        sender.send(Outgoing(key=key, to="", text="Someone.", title="Someone"))

    first, again, other = (mail["Message-ID"] for mail in box.mails)
    assert first == again != other
    assert "Importance" not in box.mails[0]


def test_a_server_on_the_same_machine_without_password(authority: trustme.CA) -> None:
    """Where the operator says so, a mail goes out in the clear, without signing in."""
    with mail_server(authority, tls=False, sign_in=False) as box:
        settings = MailSettings(
            host="127.0.0.1", port=box.port, security="none", sender="alerts@example.org"
        )
        EmailSender(settings, "sam@example.org", None, lambda: NOON).send(TOLD)

        assert box.over_tls == [False]


@pytest.mark.parametrize(
    ("refusal", "retry"),
    [
        # RFC 5321, 4.2.1: 4yz is for now, 5yz for good.
        ({"refuse_recipient": "450 4.2.0 greylisted"}, True),
        ({"refuse_recipient": "550 5.1.1 no such mailbox sam@example.org"}, False),
        ({"refuse_mail": "451 4.3.0 try later"}, True),
        ({"refuse_mail": "554 5.7.1 refused: someone may be in danger"}, False),
    ],
)
def test_what_the_server_refuses(
    box: Mailbox, ca_file: Path, refusal: dict[str, str], retry: bool
) -> None:
    """What may pass is tried again; the error repeats neither address nor text."""
    for name, value in refusal.items():
        setattr(box, name, value)

    with pytest.raises(SendError) as raised:
        mailer(box, ca_file).send(TOLD)

    assert raised.value.retry is retry
    assert "sam@" not in str(raised.value)
    assert "danger" not in str(raised.value)
    assert raised.value.__cause__ is None  # its words quote the server's


def test_a_wrong_password(box: Mailbox, ca_file: Path) -> None:
    """It is not tried again, since a second try would not do better; it says what to compare."""
    with pytest.raises(SendError, match=r"535: compare mail\.user and the password") as raised:
        mailer(box, ca_file, password="another-lantern").send(TOLD)

    assert not raised.value.retry
    assert "another-lantern" not in str(raised.value)


def test_a_certificate_for_another_name(authority: trustme.CA, ca_file: Path) -> None:
    """The password goes to nobody but the named server."""
    with mail_server(authority, name="other.example.org") as box:
        with pytest.raises(SendError, match="certificate is not trusted") as raised:
            mailer(box, ca_file).send(TOLD)

        assert not raised.value.retry
        assert box.mails == []


def test_no_encryption_where_it_is_asked_for(authority: trustme.CA, ca_file: Path) -> None:
    """A server that does not offer STARTTLS gets neither the password nor the mail."""
    with mail_server(authority, tls=False) as box:
        with pytest.raises(SendError, match="does not offer") as raised:
            mailer(box, ca_file).send(TOLD)

        assert not raised.value.retry
        assert box.mails == []


def test_a_server_that_is_not_there(authority: trustme.CA, ca_file: Path) -> None:
    """Nobody listens: a later try may reach someone."""
    with mail_server(authority) as gone:
        pass

    with pytest.raises(SendError, match="was not reached") as raised:
        mailer(gone, ca_file).send(TOLD)

    assert raised.value.retry
