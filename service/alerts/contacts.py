"""How alerts reach the host: by Apprise, by signed webhook, by e-mail.

Each sender does as those of the lines do; a contact that gets text messages has its line's.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from urllib.parse import urlsplit

import httpx
from apprise import Apprise, AppriseAsset, NotifyFormat, NotifyType

from askhouse.errors import SettingsError
from service.alerts.contact_settings import (
    AppriseContact,
    Contact,
    EmailContact,
    WebhookContact,
)
from service.alerts.mail import EmailSender
from service.alerts.settings import AlertSettings
from service.clock import Clock
from service.lines.sending import Outgoing, Sender, SendError, check_taken
from service.lines.signatures import standard_headers
from service.lines.signing_settings import STANDARD_LEAST_BYTES, standard_key

__all__ = ["AppriseSender", "WebhookSender", "contact_senders"]

_APPRISE_S = 10.0  # below the time after which the outbox takes an urgent delivery for lost


def contact_senders(
    settings: AlertSettings, environ: Mapping[str, str], now: Clock
) -> dict[str, Sender]:
    """The sender of every contact that has one of its own, by the contact's name.

    Raises:
        SettingsError: Variables are not set, or hold what cannot be used; names all.
    """
    senders: dict[str, Sender] = {}
    problems = []
    for name, contact in settings.contacts.items():
        try:
            sender = _sender(contact, settings, environ, now)
        except SettingsError as error:
            problems.append(f"contacts.{name}: {error}")
            continue
        if sender is not None:
            senders[name] = sender
    if problems:
        raise SettingsError("; ".join(problems))
    return senders


def _sender(
    contact: Contact, settings: AlertSettings, environ: Mapping[str, str], now: Clock
) -> Sender | None:
    match contact:
        case AppriseContact():
            return AppriseSender(_read(contact.url_env, environ))
        case WebhookContact():
            return WebhookSender(
                contact.url or _web(contact.url_env, environ),
                _signing_secret(contact.secret_env, environ),
                now,
                timeout_s=contact.timeout_s,
            )
        case EmailContact():
            mail = settings.mail
            assert mail is not None  # AlertSettings asks for it
            password = _read(mail.password_env, environ) if mail.password_env else None
            address = contact.address or _read(contact.address_env, environ)
            if "@" not in address:
                raise SettingsError(f"{contact.address_env} holds no e-mail address")
            return EmailSender(mail, address, password, now)
        case _:
            return None


class AppriseSender:
    """Sends through one URL of the library Apprise.

    Most of its services know no idempotency key: an alert may come twice where the process was
    killed between sending it and noting that. That is the lesser evil.

    Raises:
        SettingsError: It is no URL that Apprise knows.
    """

    def __init__(self, url: str) -> None:
        # Without a path for storage nothing of a service, such as its secrets, is kept on disk.
        asset = AppriseAsset(app_id="Askhouse", app_url="", allow_templates=False)
        self._apprise = Apprise(asset=asset)
        if not self._apprise.add(url):
            raise SettingsError("its variable holds no URL that Apprise can use; see its list")

    def send(self, delivery: Outgoing) -> None:
        """Hands the alert to the service behind the URL.

        Raises:
            SendError: It was not taken. Apprise does not say why, so it may be tried again.
        """
        taken = self._apprise.notify(
            body=delivery.text,
            title=delivery.title,
            notify_type=NotifyType.FAILURE if delivery.emergency else NotifyType.WARNING,
            body_format=NotifyFormat.TEXT,
            timeout=_APPRISE_S,
        )
        if not taken:
            raise SendError("the service behind the contact's Apprise URL took nothing", retry=True)


class WebhookSender:
    """Calls a program of the host's, signed as Standard Webhooks 1.0.0 says.

    The body is `{"type": "alert", "timestamp": …, "data": {"key", "title", "text", "emergency"}}`.
    """

    def __init__(self, url: str, secret: str, now: Clock, *, timeout_s: float = 8) -> None:
        self._url = url
        self._secret = secret
        self._now = now
        # A redirect would carry the alert to an address that nobody set.
        self._client = httpx.Client(timeout=timeout_s, follow_redirects=False)

    def send(self, delivery: Outgoing) -> None:
        """Calls once.

        Raises:
            SendError: It did not take the alert, or did not answer.
        """
        now = self._now()
        data = {
            "key": delivery.key,
            "title": delivery.title,
            "text": delivery.text,
            "emergency": delivery.emergency,
        }
        body = json.dumps({"type": "alert", "timestamp": now.isoformat(), "data": data}).encode()
        headers = {
            "Content-Type": "application/json",
            **standard_headers(self._secret, delivery.key, now, body),
        }
        try:
            response = self._client.post(self._url, content=body, headers=headers)
        except httpx.HTTPError as error:
            raise SendError(
                f"the webhook was not reached, or did not answer ({type(error).__name__})",
                retry=True,
            ) from None
        check_taken(response, now)

    def close(self) -> None:
        """Closes the connections."""
        self._client.close()


def _read(variable: str | None, environ: Mapping[str, str]) -> str:
    assert variable is not None  # the settings' own checks see to it
    value = environ.get(variable, "").strip()
    if not value:
        raise SettingsError(f"{variable} is not set: put what the contact needs into it")
    return value


def _web(variable: str | None, environ: Mapping[str, str]) -> str:
    url = _read(variable, environ)
    if urlsplit(url).scheme not in ("http", "https") or not urlsplit(url).hostname:
        raise SettingsError(f"{variable} holds no web address: write https://HOST/PATH into it")
    return url


def _signing_secret(variable: str, environ: Mapping[str, str]) -> str:
    secret = _read(variable, environ)
    if len(standard_key(secret)) < STANDARD_LEAST_BYTES:
        raise SettingsError(
            f"{variable}: write whsec_ and the base64 of {STANDARD_LEAST_BYTES} random bytes or "
            "more, the same at the receiver"
        )
    return secret
