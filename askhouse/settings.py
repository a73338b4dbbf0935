"""Every number and path one may set, with its default; read from ASKHOUSE_* or given."""

from __future__ import annotations

from pathlib import Path

from pydantic import Field, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

from askhouse.errors import SettingsError

__all__ = ["Settings", "read_settings"]


class Settings(BaseSettings):
    """Where things are. The environment variable of `knowledge` is ASKHOUSE_KNOWLEDGE."""

    model_config = SettingsConfigDict(env_prefix="ASKHOUSE_", extra="ignore")

    knowledge: Path = Field(default=Path("knowledge/houses"), description="Folder with the houses.")
    index: Path | None = Field(
        default=None,
        description="Index file; beside the houses, in .askhouse/, where none is given.",
    )
    calibration: Path | None = Field(
        default=None,
        description="File of `askhouse calibrate`; beside the houses, in .askhouse/, "
        "where none is given.",
    )
    model: str = Field(
        default="trained",
        description="trained, plain, or the name or folder of a sentence-transformers model.",
    )

    @property
    def index_file(self) -> Path:
        """The index file, given or not."""
        return self.index or self._beside_the_houses("index.npz")

    @property
    def calibration_file(self) -> Path:
        """The host's own calibration, given or not; it need not exist."""
        return self.calibration or self._beside_the_houses("decision.json")

    def _beside_the_houses(self, name: str) -> Path:
        folder = self.knowledge if self.knowledge.is_dir() else self.knowledge.parent
        return folder / ".askhouse" / name


def read_settings() -> Settings:
    """The settings of the environment.

    Raises:
        SettingsError: A variable cannot be used; names it.
    """
    try:
        return Settings()
    except ValidationError as error:
        problems = "; ".join(
            f"ASKHOUSE_{str(e['loc'][0]).upper()}: {e['msg']}" for e in error.errors()
        )
        raise SettingsError(problems) from error
