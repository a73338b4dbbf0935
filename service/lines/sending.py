"""Sending out: what every channel takes, how it says that it failed, and a line's way to do it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from http import HTTPStatus
from typing import Protocol

import httpx

from service.lines.arrived import WITHHELD
from service.lines.settings import LineSettings, SendSettings, SuccessSettings, pointer
from service.lines.signatures import standard_headers
from service.lines.signing_settings import read_secret
from service.lines.templates import fill, fill_all, fill_url

__all__ = ["LineSender", "Outgoing", "SendError", "Sender", "check_taken"]

# Worth another try: RFC 9110, 15.5.9 and RFC 8470, 5.2, beside every 5xx. A 409 says that another
# try with the same key is still being worked on (common practice, no source).
_LATER = frozenset(
    (
        HTTPStatus.REQUEST_TIMEOUT,
        HTTPStatus.CONFLICT,
        HTTPStatus.TOO_EARLY,
        HTTPStatus.TOO_MANY_REQUESTS,
    )
)
_LONGEST_WAIT_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Outgoing:
    """One thing to be sent, once.

    Attributes:
        key: The idempotency key: the same at every try, so that the other side can drop doubles.
        to: A guest's number in E.164; empty where the channel knows whom it reaches.
        text: What is said, already fitted.
        title: For channels that have one; a text message has none.
        emergency: Where the channel knows degrees, it takes its loudest.
    """

    key: str
    to: str
    text: str
    title: str = ""
    emergency: bool = False


class SendError(Exception):
    """A delivery was not taken. Its words hold no number, no text and no secret.

    Attributes:
        retry: Whether the same delivery may be taken later.
        retry_after_s: Seconds the other side asks for, if it says so.
    """

    def __init__(self, reason: str, *, retry: bool, retry_after_s: float | None = None) -> None:
        super().__init__(reason)
        self.retry = retry
        self.retry_after_s = retry_after_s


class Sender(Protocol):
    """A channel: a line, an e-mail account, a webhook."""

    def send(self, delivery: Outgoing) -> None:
        """Hands the delivery over; returns once it was taken.

        Raises:
            SendError: It was not taken, or nobody can tell whether it was.
        """


class LineSender:
    """Sends by calling the gateway's own address as the line's settings say.

    Args:
        environ: Where the secrets are that the settings name.
        now: The time, UTC; for signatures and for a Retry-After that is a date.

    Raises:
        SettingsError: A secret is not set.
    """

    def __init__(
        self,
        settings: LineSettings,
        environ: Mapping[str, str],
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self._number = settings.number
        self._send = settings.send
        self._now = now
        send = settings.send
        self._secrets = {
            name: read_secret(variable, environ)
            for name, variable in (send.secrets if send else {}).items()
        }
        self._signing = send and send.signing and read_secret(send.signing.secret_env, environ)
        auth = None
        if send and send.basic:
            auth = httpx.BasicAuth(send.basic.user, read_secret(send.basic.secret_env, environ))
        # A redirect would carry a guest's number and text to an address that nobody set.
        self._client = httpx.Client(
            auth=auth, timeout=send.timeout_s if send else None, follow_redirects=False
        )

    def send(self, delivery: Outgoing) -> None:
        """Calls the gateway once.

        Raises:
            SendError: It did not take the delivery, or did not answer.
        """
        if self._send is None:
            raise SendError(
                "the line has no way to send: it can only reply in the response to the gateway; "
                "add send to its settings",
                retry=False,
            )
        if delivery.to in ("", WITHHELD):
            raise SendError("the sender hides the number: nothing can be sent there", retry=False)
        request = self._request(self._send, delivery)
        try:
            response = self._client.send(request)
        except httpx.HTTPError as error:
            raise SendError(
                f"the gateway was not reached, or did not answer ({type(error).__name__})",
                retry=True,
            ) from error
        check_taken(response, self._now(), self._send.success)

    def close(self) -> None:
        """Closes the connections."""
        self._client.close()

    def _request(self, send: SendSettings, delivery: Outgoing) -> httpx.Request:
        values: dict[str, object] = {
            "to": delivery.to,
            "to_digits": delivery.to.removeprefix("+"),
            "number": self._number,
            "number_digits": self._number.removeprefix("+"),
            "text": delivery.text,
            "key": delivery.key,
            "secrets": self._secrets,
        }
        headers = {name: fill(template, values) for name, template in send.headers.items()}
        if send.key_header is not None:
            headers[send.key_header] = delivery.key
        content: bytes | None = None
        if send.json_body is not None:
            # Signed as it is sent, so written here and not by the client.
            content = json.dumps(fill_all(send.json_body, values)).encode()
            headers.setdefault("Content-Type", "application/json")
        form = fill_all(send.form, values) if send.form is not None else None
        url = httpx.URL(fill_url(send.url, values))
        if send.query:
            url = url.copy_merge_params(fill_all(send.query, values))
        request = self._client.build_request(
            send.method, url, headers=headers, content=content, data=form
        )
        if self._signing:
            body = request.read()
            request.headers.update(standard_headers(self._signing, delivery.key, self._now(), body))
        return request


_ANY_2XX = SuccessSettings()


def check_taken(
    response: httpx.Response, now: datetime, success: SuccessSettings = _ANY_2XX
) -> None:
    """Returns where the answer says that the delivery was taken.

    Raises:
        SendError: It says otherwise; another try may be of use after a time, or never.
    """
    status = response.status_code
    said = f"the other side answered {status}"
    if status in success.statuses or (not success.statuses and response.is_success):
        if success.field is not None and not _field_says_so(response, success):
            raise SendError(f"{said}, but its field {success.field} tells no success", retry=True)
        return
    if status in _LATER or response.is_server_error:
        raise SendError(said, retry=True, retry_after_s=_retry_after_s(response, now))
    if response.is_redirect:
        said += ", a redirect, which is not followed: set url to where it leads"
    elif status in (HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN):
        said += ": compare the secret that is sent with the other side's"
    raise SendError(said, retry=False)


def _field_says_so(response: httpx.Response, success: SuccessSettings) -> bool:
    assert success.field is not None
    try:
        found = pointer(success.field).resolve(response.json(), None)
    except (ValueError, TypeError, RecursionError):
        return False
    # 1 and True are equal to Python, not to a gateway.
    return any(found == value and type(found) is type(value) for value in success.values)


def _retry_after_s(response: httpx.Response, now: datetime) -> float | None:
    """Seconds or an HTTP-date (RFC 9110, 10.2.3); at most a day."""
    value = response.headers.get("Retry-After", "").strip()
    if value.isascii() and value.isdecimal():
        return min(float(value[:9]), _LONGEST_WAIT_S)
    try:
        at = parsedate_to_datetime(value)
    except ValueError:
        return None
    if at.tzinfo is None:
        at = at.replace(tzinfo=UTC)
    return min(max((at - now).total_seconds(), 0.0), _LONGEST_WAIT_S)
