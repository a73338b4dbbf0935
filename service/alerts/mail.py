"""E-mail: an alert as text and as HTML, handed to the account's server (RFC 6409, RFC 5321)."""

from __future__ import annotations

import datetime as dt
import hashlib
import html
import re
import smtplib
import ssl
from collections.abc import Callable
from email.message import EmailMessage
from email.utils import format_datetime

from service.alerts.contact_settings import MailSettings
from service.lines.sending import Outgoing, SendError

__all__ = ["EmailSender"]

_URL = re.compile(r"https?://[^\s<>\"]+")
_FIRST_PERMANENT = 500  # RFC 5321, 4.2.1: 4yz may be tried again, 5yz may not


class EmailSender:
    """Sends to one mailbox.

    Args:
        password: Of the account; None where the server asks for none.
        now: The time, UTC, for the header Date.
    """

    def __init__(
        self,
        settings: MailSettings,
        address: str,
        password: str | None,
        now: Callable[[], dt.datetime],
    ) -> None:
        self._settings = settings
        self._address = address
        self._password = password
        self._now = now
        self._tls = ssl.create_default_context(cafile=settings.ca_file)

    def send(self, delivery: Outgoing) -> None:
        """Hands the mail to the server.

        Raises:
            SendError: It did not take it, or was not reached.
        """
        message = self._message(delivery)
        try:
            with self._connected() as server:
                server.send_message(message)
        except smtplib.SMTPRecipientsRefused as error:
            codes = [code for code, _ in error.recipients.values()]
            raise _refused("the mailbox", max(codes)) from None
        except smtplib.SMTPAuthenticationError as error:
            raise SendError(
                f"the mail server answered {error.smtp_code}: compare mail.user and the password",
                retry=error.smtp_code < _FIRST_PERMANENT,
            ) from None
        except smtplib.SMTPResponseException as error:
            raise _refused("the mail", error.smtp_code) from None
        except smtplib.SMTPNotSupportedError:
            raise SendError(
                "the mail server does not offer what mail.security and mail.user ask for",
                retry=False,
            ) from None
        except ssl.SSLCertVerificationError:
            raise SendError(
                "the mail server's certificate is not trusted: set mail.host to the name it is "
                "for, or mail.ca_file",
                retry=False,
            ) from None
        except (OSError, smtplib.SMTPException) as error:
            raise SendError(
                f"the mail server was not reached, or broke off ({type(error).__name__})",
                retry=True,
            ) from None

    def _connected(self) -> smtplib.SMTP:
        mail = self._settings
        server: smtplib.SMTP
        if mail.security == "tls":
            server = smtplib.SMTP_SSL(
                mail.host, mail.port, timeout=mail.timeout_s, context=self._tls
            )
        else:
            server = smtplib.SMTP(mail.host, mail.port, timeout=mail.timeout_s)
        try:
            if mail.security == "starttls":
                server.starttls(context=self._tls)
            if mail.user is not None and self._password is not None:
                server.login(mail.user, self._password)
        except BaseException:
            server.close()
            raise
        return server

    def _message(self, delivery: Outgoing) -> EmailMessage:
        message = EmailMessage()
        message["From"] = self._settings.sender
        message["To"] = self._address
        message["Subject"] = " ".join((delivery.title or delivery.text).split())[:200]
        message["Date"] = format_datetime(self._now())
        # The same at every try, so that a mailbox can drop doubles.
        name = hashlib.sha256(delivery.key.encode()).hexdigest()[:32]
        message["Message-ID"] = f"<{name}@{self._settings.sender.rpartition('@')[2]}>"
        message["Auto-Submitted"] = "auto-generated"  # RFC 3834, 5: no holiday answers to it
        if delivery.emergency:
            message["Importance"] = "high"  # RFC 2156, 5.3.4
        message.set_content(delivery.text)
        message.add_alternative(_as_html(delivery.text), subtype="html")
        return message


def _as_html(text: str) -> str:
    first, *others = text.split("\n")
    lines = [f"<p><strong>{_linked(first)}</strong></p>"]
    lines += [f"<p>{_linked(line)}</p>" for line in others if line]
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><body style="font:1.1rem/1.5 '
        f'sans-serif;max-width:36em">{"".join(lines)}</body></html>'
    )


def _linked(line: str) -> str:
    """The line escaped, its web addresses to be tapped."""
    parts, end = [], 0
    for match in _URL.finditer(line):
        address = html.escape(match.group())
        parts += [html.escape(line[end : match.start()]), f'<a href="{address}">{address}</a>']
        end = match.end()
    return "".join([*parts, html.escape(line[end:])])


def _refused(what: str, code: int) -> SendError:
    return SendError(
        f"the mail server answered {code}: it does not take {what}", retry=code < _FIRST_PERMANENT
    )
