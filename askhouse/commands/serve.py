"""askhouse serve: the engine behind HTTP."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from askhouse.commands.shared import KnowledgeOption, ModelOption, settings_for

__all__ = ["serve"]


def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=1, max=65535)] = 8321,
    knowledge: KnowledgeOption = None,
    model: ModelOption = None,
) -> None:
    """Serve the HTTP interface; its description is at /openapi.json."""
    import uvicorn

    settings = settings_for(knowledge, model)
    # The server imports the application by name, so settings travel by the environment.
    os.environ["ASKHOUSE_KNOWLEDGE"] = str(settings.knowledge)
    os.environ["ASKHOUSE_MODEL"] = settings.model
    os.environ.setdefault("ASKHOUSE_BASE_URL", f"http://{host}:{port}")
    uvicorn.run("service.app:from_environment", factory=True, host=host, port=port)
