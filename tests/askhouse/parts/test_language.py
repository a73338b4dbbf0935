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
    ("code", "name"),
    [("pl", "Polish"), ("en", "English"), ("ja", "Japanese"), ("xx", "this language")],
)
def test_a_language_has_its_english_name(code: str, name: str) -> None:
    """
    The host reads "Polish", not "pl".
    """
    assert language_name(code) == name


# Our own examples, as all of this file.
_OF_THE_SEVEN = """wifi?|ok thx|bins??|thanks!|hot tub temp|yes please|no worries|kk|np|ok perfect|
cheers mate|tysm!!|haha fab|running late sorry|lovely place ty|great, ta|on our way|
arrived safely, lovely cottage|kitchn tap driping agen|thank u so mch xx|
everything perfect, cheers!|👍|ok danke|alles klar danke|super schön hier|
vielen Dank|merci !|parfait !|top merci|ça marche merci|gracias|vale gracias|
todo bien|va bene|tutto ok grazie|buongiorno|dank je wel|fijn, tot morgen|
helemaal goed|obrigado|tudo bem|bom dia"""
_SHORT_ASKS = """toaster?|sofa bed?|cot|dog ok?|pool open|stopcock?|iron?|Fire!|help!!|Wilma?|
toallas|clima roto|dónde aparcar|lavatrice|wlan?|Müll?|clé ?|lixo?|handdoeken?|
het brandt|huele a gas|asciugamani?|wat tym is chekin|kids luv pool xx|
plz snd dor cod|hw 2 trn on shwr"""
_OF_OTHERS = """Pomocy! Pożar!|Gori kuća, pomozite|Na pomoc|Pożar|Synek sie dusi, pomocy|
Mam gorączkę|Yangın var! İmdat|Yardım edin|Gaz kokusu var|anahtar nerede|
Hjälp! Det brinner|Det luktar gas|Var är nyckeln|Hoří!|Pomoc, hoří|Kde je klíč|
Hvor er nøglen|Brann! Hjelp|Tűz van!|Segítség|Ajutor, foc|Tulipalo! Apua|
Dijete ne diše|Smradi plin u kuhinji|Otrok ne diha|Gaisras! Padėkite|Bērns neelpo|
Tulekahju, appi|Tolong kebakaran|Пожар|火事です|ხანძარი"""


def _rows(texts: str) -> list[str]:
    return texts.replace("\n", "").split("|")


@pytest.mark.parametrize("text", _rows(_OF_THE_SEVEN))
def test_thanks_and_news_of_the_seven_are_surely_read(text: str) -> None:
    """
    What needs no answer in a language that is read need not go to the host.
    """
    assert tongue(text).surely_read


@pytest.mark.parametrize("text", _rows(_SHORT_ASKS))
def test_a_short_question_is_read(text: str) -> None:
    """
    A word or two of the seven, however unlike them to the letter, are still answered.
    """
    assert tongue(text).read


@pytest.mark.parametrize("text", _rows(_OF_OTHERS))
def test_a_few_words_of_another_language_are_not_read(text: str) -> None:
    """
    A cry for help in a language that is not read is never taken for English small talk.
    """
    assert not tongue(text).read


@pytest.mark.parametrize("text", ["Apua", "Nema vode", "brinner!", "Sunog! Tulong"])
def test_what_cannot_be_told_is_not_surely_read(text: str) -> None:
    """
    Where even that is in doubt, the message is searched like English, but not left alone.
    """
    assert not tongue(text).surely_read


def test_a_name_does_not_make_a_message_foreign() -> None:
    """
    A letter that none of the seven writes may stand in a name within an English sentence.
    """
    assert tongue("could you call Łucja when the bins are out").code == "en"
