"""Ways to a service under test: over a socket of this machine, or straight to the application."""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import httpx
import uvicorn
from fastapi import FastAPI

OPENING_S = 180  # all facts of two houses are embedded when the tests run for the first time


@contextmanager
def serving(app: FastAPI) -> Iterator[str]:
    """Serves the application on a free port of the loopback; gives its URL."""
    listening = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_config=None, access_log=False))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        host, port = listening.getsockname()
        yield f"http://{host}:{port}"
    finally:
        server.should_exit = True
        thread.join()
        listening.close()


def wait_until_ready(url: str) -> None:
    """Returns once the service is ready; fails at once where it never will be."""
    until = time.monotonic() + OPENING_S
    while True:
        response = httpx.get(f"{url}/health/ready")
        if response.status_code == httpx.codes.OK:
            return
        problem = response.json()
        assert problem["type"] == "/problems#not-ready", problem
        assert time.monotonic() < until, "the houses take too long to open"
        time.sleep(0.1)


def send(app: FastAPI, method: str, path: str, **request: Any) -> httpx.Response:
    """One request straight to an application whose houses are not open."""

    async def _send() -> httpx.Response:
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(app), base_url="http://127.0.0.1"
        ) as client:
            return await client.request(method, path, **request)

    return asyncio.run(_send())
