"""Askhouse's own data files, read from the package."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

import yaml

__all__ = ["read_yaml"]


def read_yaml(package: str, name: str) -> Any:
    """The content of a YAML file that travels with a package of Askhouse.

    Parsed by libyaml, since a first answer waits for it; a host's files are read with
    their lines in `askhouse.knowledge` instead.
    """
    text = (files(package) / name).read_text(encoding="utf-8")
    return yaml.load(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
