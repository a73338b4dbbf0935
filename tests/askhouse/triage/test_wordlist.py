"""The signals matched against a part: spelling, what takes an alarm back, and what goes first."""

from __future__ import annotations

import time

import pytest

from askhouse.triage.guidance import guidance
from askhouse.triage.wordlist import match, plain
from askhouse.values import Hazard, Kind, Level


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        # Small letters, no accents, one line.
        ("STRONG SMELL", "strong smell"),
        ("Está ardiendo", "esta ardiendo"),
        ("heiß", "heiss"),
        ("un œuf", "un oeuf"),
        ("gas\n\nin  here", "gas in here"),
        # English contractions close, as half of all guests write them anyway.
        ("I can't, he's ill, it's bad", "i cant, hes ill, its bad"),
        ("we’ve been robbed", "weve been robbed"),
        ("someone's here", "someones here"),
        # Possessives and elisions open, so that the noun stays a word.
        ("my wife's collapsed", "my wife s collapsed"),
        ("de l'eau, c'è, d'aquí", "de l eau, c e, d aqui"),
        # Letters that are drawn out in distress.
        ("HEEEELP", "help"),
        ("fireee", "fire"),
        ("", ""),
    ],
)
def test_text_is_made_plain(typed: str, read: str) -> None:
    """
    However it was typed, the patterns see one spelling.
    """
    assert plain(typed) == read


@pytest.mark.parametrize(
    "text",
    [
        # Past.
        "last year we had a gas leak at home",
        "there was a smell of gas yesterday, it is all fine now",
        "el año pasado hubo una fuga de gas",
        "l'an dernier il y avait une odeur de gaz",
        "letztes Jahr gab es Gasgeruch",
        "l'anno scorso c'era odore di gas",
        "vorig jaar roken we gas",
        "no ano passado cheirava a gás",
        # Hypothetical.
        "what do we do if there is a smell of gas",
        "if we smell gas, whom do we call?",
        "in case of a gas leak, where do we meet?",
        "en caso de fuga de gas, ¿adónde vamos?",
        "en cas de fuite de gaz, on sort par où ?",
        "falls es nach Gas riecht, was tun wir?",
        "in caso di fuga di gas dove andiamo?",
        "in geval van een gaslek, waar verzamelen we?",
        "em caso de fuga de gás saímos por onde?",
        # Negated.
        "no smell of gas or anything, just a question about the stove",
        "no huele a gas, solo quería saber dónde está la llave",
        "pas d'odeur de gaz, juste une question",
        "kein Gasgeruch, nur eine Frage",
        "nessun odore di gas, solo una domanda",
        "geen gaslucht, alleen een vraag",
        "não cheira a gás, era só uma pergunta",
        # A question that is the whole part.
        "Where is the fire extinguisher?",
    ],
)
def test_what_is_not_now_raises_nothing(text: str) -> None:
    """
    Past, hypothetical and negated words take back what is not sure.
    """
    assert match(text, guidance()) is None


@pytest.mark.parametrize(
    ("text", "hazard"),
    [
        # It goes on.
        ("smelled gas yesterday and it is worse now", Hazard.GAS),
        ("no smoke yet but the socket is sparking", Hazard.ELECTRICITY),
        ("everything was fine this morning but now the kitchen is on fire", Hazard.FIRE),
        ("ayer olía a gas y hoy sigue oliendo a gas", Hazard.GAS),
        ("gestern Gasgeruch und jetzt immer noch Gasgeruch", Hazard.GAS),
        # Guests make light of it.
        ("not sure if this is an emergency but there is a gas leak", Hazard.GAS),
        ("it's probably nothing, not an emergency, but my dad has chest pains", Hazard.MEDICAL),
        ("alles gut hier, nur der Hund hat Rattengift gefressen", Hazard.POISONING),
        ("tout va bien mais ça sent le gaz dans la cuisine", Hazard.GAS),
        ("va tutto bene ma sento odore di gas", Hazard.GAS),
        ("nur zur Info: es brennt im Keller", Hazard.FIRE),
        # It asks what it means.
        ("my son swallowed a battery, what will happen?", Hazard.POISONING),
        ("smoke is coming out of the socket, is there a danger?", Hazard.FIRE),
        ("can you tell me if the smell of gas in here is normal?", Hazard.GAS),
        # It began in the past.
        (
            "it started on Monday, we all have headaches when the boiler is on",
            Hazard.CARBON_MONOXIDE,
        ),
        # A reflexive verb is no "if".
        ("a minha filha queimou-se a tirar a panela, tem uma queimadura na mão", Hazard.SCALD),
        # It asks for a thing that is needed now.
        ("where is the fire extinguisher, the pan is on fire", Hazard.FIRE),
        # A past beside a present.
        ("he had a stroke last year and now he isn't breathing", Hazard.MEDICAL),
        # Carbon monoxide has no smell: its absence says nothing.
        ("no smell, no smoke, but the carbon monoxide alarm is going off", Hazard.CARBON_MONOXIDE),
    ],
)
def test_what_goes_on_is_raised_all_the_same(text: str, hazard: Hazard) -> None:
    """
    A real alarm that mentions the past, or makes light of itself, is not taken back.
    """
    found = match(text, guidance())

    assert found is not None
    assert found.hazard is hazard


def test_the_most_pressing_goes_first() -> None:
    """
    Of two signals the faster one is named, wherever it stands in the message.
    """
    found = match("the balcony railing is loose and my son is not breathing", guidance())

    assert found is not None
    assert (found.hazard, found.signal.level) == (Hazard.MEDICAL, Level.EMERGENCY)


def test_harm_goes_before_a_lockout() -> None:
    """
    Locked out with a fire inside is a fire.
    """
    found = match("we are locked out and the kitchen is on fire", guidance())

    assert found is not None
    assert found.kind is Kind.SAFETY


@pytest.mark.parametrize(
    "text", ["we are locked out", "nobody's in and we can't get in, the key is not in the box"]
)
def test_a_lockout_has_no_hazard(text: str) -> None:
    """
    Someone outside is stuck, not in danger.
    """
    found = match(text, guidance())

    assert found is not None
    assert (found.kind, found.hazard) == (Kind.LOCKOUT, None)


@pytest.mark.parametrize(
    "text",
    ["he " * 3300, "smoke " * 1600, "water light " * 800, "a" * 10_000, "we all feel sick " * 580],
    ids=["he", "smoke", "water", "letters", "sick"],
)
def test_the_longest_message_is_read_in_time(text: str) -> None:
    """
    No pattern runs away on a message of ten thousand characters.

    Measured at one second at most; the bound leaves room for a busy machine and is in
    seconds of this process, not of the clock.
    """
    started = time.process_time()
    match(text, guidance())

    assert time.process_time() - started < 5
