"""The settings: read from the environment, checked at the start."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from askhouse.errors import KnowledgeError, SettingsError
from service.app import from_environment
from service.settings import ServiceSettings, read_service_settings
from tests.conftest import DEMO_HOUSES


def test_every_setting_has_help_and_a_default() -> None:
    """
    Each setting says what it is, and the service starts without any.
    """
    for name, field in ServiceSettings.model_fields.items():
        assert field.description, name
        assert not field.is_required(), name


def test_settings_come_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """
    A variable with the prefix ASKHOUSE_ sets the setting of its name.
    """
    monkeypatch.setenv("ASKHOUSE_REQUESTS_PER_MINUTE", "7")
    monkeypatch.setenv("ASKHOUSE_INDEX", "elsewhere/index.npz")

    settings = read_service_settings()
    assert settings.requests_per_minute == 7
    assert settings.index_file == Path("elsewhere/index.npz")


def test_all_wrong_settings_are_told_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """
    The service refuses to start, and names every variable that cannot be used.
    """
    monkeypatch.setenv("ASKHOUSE_REQUESTS_PER_MINUTE", "0")
    monkeypatch.setenv("ASKHOUSE_BODY_LIMIT_BYTES", "lots")

    with pytest.raises(
        SettingsError, match=r"ASKHOUSE_REQUESTS_PER_MINUTE: .*; ASKHOUSE_BODY_LIMIT_BYTES: "
    ):
        from_environment()


def test_service_does_not_start_without_a_folder_of_houses(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """
    A mistyped folder is told at once, with the variable that names it.
    """
    monkeypatch.setenv("ASKHOUSE_KNOWLEDGE", str(tmp_path / "huoses"))

    with pytest.raises(KnowledgeError, match=r"no folder .*huoses: set ASKHOUSE_KNOWLEDGE"):
        from_environment()


@pytest.fixture
def logging_restored() -> Iterator[None]:
    """Puts back what the start of a program sets up."""
    names = (None, "uvicorn", "uvicorn.error", "uvicorn.access")
    loggers = [logging.getLogger(name) for name in names]
    before = [(x, x.handlers[:], x.level, x.propagate, x.disabled) for x in loggers]
    yield
    for logger, handlers, level, propagate, disabled in before:
        logger.handlers[:] = handlers
        logger.setLevel(level)
        logger.propagate, logger.disabled = propagate, disabled


@pytest.mark.usefixtures("logging_restored")
def test_program_start_wires_app_and_logging(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """
    `askhouse serve` gets an application, and all logging as JSON lines on standard error.
    """
    monkeypatch.setenv("ASKHOUSE_KNOWLEDGE", str(DEMO_HOUSES))

    assert from_environment().title == "Askhouse"
    logging.getLogger("uvicorn.error").info("Started")
    logging.getLogger("uvicorn.access").info("GET /v1/houses?guest=words")

    (line,) = capsys.readouterr().err.splitlines()
    assert json.loads(line)["event"] == "Started"
