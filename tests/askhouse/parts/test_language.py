"""Which language a part is written in, and whether Askhouse reads it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from askhouse.parts.language import READ, language_name, tongue


@pytest.mark.parametrize(
    ("text", "code"),
    [
        # English, however badly written.
        ("where are the bins", "en"),
        ("hw do i opn the gaet pls", "en"),
        ("wifi pasword???", "en"),
        ("hot tub temp", "en"),
        # Words that every house and language has say nothing; few words are no proof.
        *(("wifi password", "en"), ("wifi", "en"), ("parking?", "en"), ("tv", "en")),
        # English words that no other language writes alike, whatever the letters look like.
        *(("is there soap and shampoo", "en"), ("where's a pharmacy", "en")),
        *(("the lamp is broken", "en"), ("are there bags in the kitchen", "en")),
        # The other languages that are read, from a whole sentence on.
        ("¿Dónde puedo aparcar el coche por la noche?", "es"),
        ("Comment est-ce qu'on allume le poêle à bois ?", "fr"),
        ("Wo können wir das Auto über Nacht abstellen?", "de"),
        ("Dove possiamo parcheggiare la macchina stasera?", "it"),
        ("Waar kunnen we de auto vannacht parkeren?", "nl"),
        ("Onde podemos estacionar o carro esta noite?", "pt"),
        # A few words are enough where they are like nothing else.
        *(("la contraseña del wifi", "es"), ("wo steht die Tonne", "de"), ("où est la clé", "fr")),
        # Languages that are not read, told by sentence or by script.
        ("Gdzie możemy zaparkować samochód na noc?", "pl"),
        ("Hvor kan vi parkere bilen i nat? Vi kommer først klokken elleve.", "da"),
        ("車はどこに停められますか", "ja"),
        ("Где можно припарковать машину?", "ru"),
        ("Πού μπορούμε να παρκάρουμε;", "el"),
        # Nothing to tell by is English.
        ("", "en"),
        ("1234 ???", "en"),
        ("👍👍", "en"),
    ],
)
def test_the_language_is_told(text: str, code: str) -> None:
    """
    A guest writes English unless the text says clearly otherwise.
    """
    found = tongue(text)

    assert found.code == code
    assert found.read is (code in READ)


@given(st.text(max_size=100))
def test_any_text_has_a_language(text: str) -> None:
    """
    Any text has a language with a code, and a sureness from 0 to 1.
    """
    found = tongue(text)

    assert len(found.code) == 2
    assert 0.0 <= found.sure <= 1.0


@pytest.mark.parametrize(
    ("code", "name"), [("pl", "Polish"), ("en", "English"), ("ja", "Japanese"), ("xx", "xx")]
)
def test_a_language_has_its_english_name(code: str, name: str) -> None:
    """
    The host reads "Polish", not "pl".
    """
    assert language_name(code) == name
