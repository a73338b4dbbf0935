"""The index file: only what changed is embedded again, and nothing readable is in it."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from askhouse.errors import SettingsError
from askhouse.search.search import HouseSearch
from askhouse.search.store import FORMAT, VectorStore, text_hash
from askhouse.search.views import views_of
from askhouse.values import House
from tests.house import SECRETS
from tests.standins import CountingEncoder, ReadingEncoder, WordEncoder

TEXTS = ["where are the bins", "can we use the boat"]


def filled(path: Path, *texts: str, encoder: WordEncoder | None = None) -> VectorStore:
    """A store that has made and saved the vectors of these texts."""
    store = VectorStore(path, encoder or WordEncoder())
    store.vectors(texts or TEXTS)
    store.save()
    return store


def test_the_hash_is_sha256() -> None:
    """
    The hash of "abc" is the one printed in FIPS 180-2, appendix B.1.
    """
    assert text_hash("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_vectors_come_back_as_they_were(tmp_path: Path) -> None:
    """
    What was saved is read again without asking the encoder, in the order wanted.
    """
    filled(tmp_path / "index.npz")
    encoder = CountingEncoder()

    store = VectorStore(tmp_path / "index.npz", encoder)
    found = store.vectors(TEXTS[::-1])

    assert encoder.asked == []
    np.testing.assert_array_equal(found, WordEncoder().encode(TEXTS[::-1]))


def test_only_the_changed_fact_is_embedded_again(tmp_path: Path, small_house: House) -> None:
    """
    After one fact's text changes, the encoder sees the new views of that fact and no others.
    """
    path = tmp_path / "index.npz"
    store = VectorStore(path, WordEncoder())
    HouseSearch(small_house, store)
    store.save()
    old = small_house.fact("parking")
    new = replace(old, text="You can park 3 cars on the gravel by the gate.")
    changed = replace(
        small_house, facts=tuple(new if fact is old else fact for fact in small_house.facts)
    )
    encoder = CountingEncoder()

    HouseSearch(changed, VectorStore(path, encoder))

    assert set(encoder.asked) == set(views_of(new)) - set(views_of(old))
    assert 0 < len(encoder.asked) == len(set(encoder.asked))


def test_a_changed_secret_embeds_nothing(tmp_path: Path, small_house: House) -> None:
    """
    A new door code changes no vector, since no view ever held the old one.
    """
    path = tmp_path / "index.npz"
    store = VectorStore(path, WordEncoder())
    HouseSearch(small_house, store)
    store.save()
    old = small_house.fact("door-code")
    changed = replace(old, text=old.text.replace("4826", "9157"))
    encoder = CountingEncoder()

    HouseSearch(replace(small_house, facts=(changed,)), VectorStore(path, encoder))

    assert encoder.asked == []


def test_the_same_text_is_embedded_once(tmp_path: Path) -> None:
    """
    A text that several facts share costs one embedding, and still has a row for each.
    """
    encoder = CountingEncoder()

    found = VectorStore(None, encoder).vectors(["bins", "boat", "bins"])

    assert sorted(encoder.asked) == ["bins", "boat"]
    np.testing.assert_array_equal(found, WordEncoder().encode(["bins", "boat", "bins"]))


def test_progress_is_told_to_the_end() -> None:
    """
    A long first embedding shows signs of life, and the last one says that all is done.
    """
    told: list[tuple[int, int]] = []

    VectorStore(None, WordEncoder()).vectors(
        [f"bins {n}" for n in range(150)], lambda done, total: told.append((done, total))
    )

    assert told == [(64, 150), (128, 150), (150, 150)]


def test_words_come_back_as_they_were(tmp_path: Path) -> None:
    """
    The reader's words are kept beside the vectors, each text's own, and made once.
    """
    path = tmp_path / "index.npz"
    store = VectorStore(path, ReadingEncoder())
    store.words(["bins", "the rowing boat"])
    store.save()
    encoder = ReadingEncoder()

    again = VectorStore(path, encoder)
    found = again.words(["the rowing boat", "bins"])
    again.vectors(["bins"])

    assert encoder.asked == []
    assert found is not None
    assert [states.tolist() for states in found] == [[[3, 0], [6, 1], [4, 2]], [[4, 0]]]


def test_words_are_made_where_only_vectors_are(tmp_path: Path) -> None:
    """
    A text that was embedded without its words gets them later, and they are saved.
    """
    path = tmp_path / "index.npz"
    store = VectorStore(path, ReadingEncoder())
    store.vectors(["bins"])
    store.save()
    again = VectorStore(path, ReadingEncoder())
    assert not again.changed

    again.words(["bins"])

    assert again.changed
    again.save()
    assert not again.changed
    encoder = ReadingEncoder()
    VectorStore(path, encoder).words(["bins"])
    assert encoder.asked == []


def test_an_encoder_without_a_reader_has_no_words() -> None:
    """
    Where there is no reader, no words are made.
    """
    encoder = CountingEncoder()

    assert VectorStore(None, encoder).words(TEXTS) is None
    assert encoder.asked == []


def test_what_no_house_holds_is_forgotten(tmp_path: Path) -> None:
    """
    `keep_only` drops the vectors of texts that are gone, and the file gets smaller.
    """
    store = filled(tmp_path / "index.npz")

    store.keep_only(TEXTS[:1])
    store.save()

    assert len(store) == len(VectorStore(tmp_path / "index.npz", WordEncoder())) == 1


def test_no_texts_make_an_empty_file(tmp_path: Path) -> None:
    """
    A store of nothing is saved and read again.
    """
    path = tmp_path / "deep" / "er" / "index.npz"
    store = VectorStore(path, WordEncoder())

    assert store.vectors([]).shape == (0, WordEncoder.size)
    store.save()
    assert len(VectorStore(path, WordEncoder())) == 0


def other(**changed: object) -> Callable[[Path], None]:
    """Writes an index file that is right but for what is given."""

    def write(path: Path) -> None:
        content: dict[str, object] = {
            "format": FORMAT,
            "encoder": WordEncoder.name,
            "hashes": np.array([text_hash(text) for text in TEXTS]),
            "vectors": WordEncoder().encode(TEXTS),
            "read": np.array([], dtype="U64"),
            "lengths": np.array([], dtype=np.int64),
            "states": np.empty((0, 0), dtype=np.float16),
            **changed,
        }
        np.savez(path, **{k: np.asarray(v) for k, v in content.items() if v is not None})

    return write


def truncated(path: Path) -> None:
    filled(path)
    path.write_bytes(path.read_bytes()[:-100])


def flipped(path: Path) -> None:
    filled(path)
    content = bytearray(path.read_bytes())
    middle = content.index(b"vectors.npy") + 200
    content[middle : middle + 8] = b"\xff" * 8
    path.write_bytes(bytes(content))


def an_array(path: Path) -> None:
    with path.open("wb") as file:
        np.save(file, np.zeros(3))


def a_pickle(path: Path) -> None:
    np.savez(path, format=np.array([{"a": 1}], dtype=object), allow_pickle=True)


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (lambda path: path.write_bytes(b""), "cannot be read"),
        (lambda path: path.write_bytes(b"not an index at all"), "cannot be read"),
        (truncated, "cannot be read"),
        (flipped, "cannot be read"),
        (an_array, "cannot be read"),
        (a_pickle, "cannot be read"),
        (other(vectors=None), "cannot be read"),
        (other(lengths=np.array(["three"])), "does not hold what it says"),
        (other(read=np.array(["a"]), lengths=np.array([0.5])), "does not hold what it says"),
        (other(states=np.empty((4, 0), dtype=np.float16)), "does not hold what it says"),
        (other(format="askhouse-vectors-0"), "was written by another version"),
        (other(encoder="another"), "belongs to another model"),
        (other(vectors=np.ones((2, 3), dtype=np.float32)), "does not hold what it says"),
        (other(vectors=WordEncoder().encode(TEXTS[:1])), "does not hold what it says"),
        (other(vectors=WordEncoder().encode(TEXTS).astype(float)), "does not hold what it says"),
        (other(vectors=2 * WordEncoder().encode(TEXTS)), "not of length one"),
        (other(vectors=np.nan * WordEncoder().encode(TEXTS)), "not of length one"),
    ],
    ids=[
        *("empty", "foreign", "truncated", "flipped", "one-array", "pickle", "half"),
        *("words", "half-a-word", "words-of-nobody", "older"),
        *("other-model", "other-size", "too-few", "other-type", "long-vectors", "no-numbers"),
    ],
)
def test_a_broken_file_is_made_again(
    tmp_path: Path, spoil: Callable[[Path], None], reason: str
) -> None:
    """
    Whatever is wrong with the file, one line says what, and the file is right afterwards.
    """
    path = tmp_path / "index.npz"
    spoil(path)
    told: list[str] = []
    encoder = CountingEncoder()

    store = VectorStore(path, encoder, told.append)
    store.vectors(TEXTS)
    store.save()

    assert len(told) == 1
    assert told[0].startswith("index.npz: ")
    assert reason in told[0]
    assert told[0].endswith("the index is made again")
    assert "\n" not in told[0]
    assert sorted(encoder.asked) == sorted(TEXTS)
    again: list[str] = []
    assert len(VectorStore(path, WordEncoder(), again.append)) == 2
    assert again == []


def test_the_file_holds_no_text_and_no_secret(tmp_path: Path, small_house: House) -> None:
    """
    Bytes of the file are hashes and numbers: no word of a fact, no secret, and no hash of one.
    """
    path = tmp_path / "index.npz"
    store = VectorStore(path, WordEncoder())
    HouseSearch(small_house, store)
    store.save()

    content = path.read_bytes()

    assert len(content) > 1000
    for secret in SECRETS:
        assert secret.encode() not in content
        assert secret.encode("utf-32-le") not in content  # as numpy writes text
    for fact in small_house.facts:
        for said in (fact.text, fact.title, fact.text.split()[1], *fact.asks):
            assert said.encode("utf-32-le") not in content
            assert len(said) < 8 or said.encode() not in content
        if fact.sensitive:
            assert text_hash(fact.text).encode("utf-32-le") not in content


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    """
    An index that cannot be saved is an error that names the file, and the setting to change.
    """
    (tmp_path / "taken").write_text("a file, not a folder")
    store = VectorStore(tmp_path / "taken" / "index.npz", WordEncoder())

    with pytest.raises(SettingsError, match=r"taken.index\.npz.*ASKHOUSE_INDEX"):
        store.save()


def test_nothing_is_left_beside_the_file(tmp_path: Path) -> None:
    """
    Saving leaves one file, also when it is done again.
    """
    filled(tmp_path / "index.npz").save()

    assert [path.name for path in tmp_path.iterdir()] == ["index.npz"]


KILLED = """
import sys
from pathlib import Path
import numpy as np
from askhouse.search.store import VectorStore
from tests.standins import WordEncoder

store = VectorStore(Path(sys.argv[1]), WordEncoder())
store.vectors([f"bins {n}" for n in range(20_000)])
print("ready", flush=True)
while True:
    store.save()
"""


def test_a_kill_leaves_the_old_file_or_the_new(tmp_path: Path) -> None:
    """
    However often saving is killed, the file that is there can be read as a whole.
    """
    path = tmp_path / "index.npz"
    filled(path)
    told: list[str] = []

    for pause_s in (0.01, 0.03, 0.07, 0.15):
        with subprocess.Popen(
            [sys.executable, "-c", KILLED, str(path)],
            stdout=subprocess.PIPE,
            cwd=Path(__file__).parents[3],
        ) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == b"ready\n"
            time.sleep(pause_s)
            process.send_signal(signal.SIGKILL)
        assert len(VectorStore(path, WordEncoder(), told.append)) in (2, 20_000, 20_002)

    assert told == []
