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
        # Cries in other scripts, in English; fire alone may be praise.
        ("\U0001f525\U0001f525\U0001f198", "fire fire help"),
        ("\U0001f525", "\U0001f525"),
        ("Φωτιά", "fire"),
        ("救命!着火了", "help ! fire"),
        ("пожарный", "пожарныи"),
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
        "falls wir im Keller Gasgeruch bemerken, wen rufen wir an?",
        "wohin sollen wir, falls im Haus Gasgeruch ist",
        "se la bombola ha una fuga di gas, chi chiamiamo?",
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
        # "falls" is German for "if".
        ("My mother has a heart attack, she falls again and again", Hazard.MEDICAL),
        ("Water falls from the lamp in the hall onto the floor", Hazard.WATER_ON_ELECTRICS),
        # "se la" is Italian for "if the".
        ("huele a gas en la cocina y la bombona se la han llevado", Hazard.GAS),
        # "caso a" is Portuguese for "in case the".
        ("el perro no hace caso a nadie y ha mordido a mi hija en la cara", Hazard.CHILD_OR_ANIMAL),
        # "No, it is not": here it is what she does not do, twice.
        ("no se mueve no habla, mi padre se ha desmayado", Hazard.MEDICAL),
        # "suppose there were" and "imagine a fire", but also "I think".
        ("il y a une odeur de gaz, je suppose que c'est la bouteille", Hazard.GAS),
        ("you cannot imagine the smell of gas in here", Hazard.GAS),
        # "was alleen de buurman" is "it was only the neighbour"; here a child was alone.
        ("mijn zoontje was alleen in het zwembad en verdrinkt", Hazard.DROWNING),
    ],
)
def test_a_word_of_one_language_takes_nothing_back_in_another(text: str, hazard: Hazard) -> None:
    """
    What is "if" or "not" in one of the seven languages may be another word in the next.
    """
    found = match(text, guidance())

    assert found is not None
    assert found.hazard is hazard


@pytest.mark.parametrize(
    ("text", "hazard"),
    [
        ("My wife's lips have gone a funny colour and she is not answering me", Hazard.MEDICAL),
        ("my father has gone grey and is not answering", Hazard.MEDICAL),
        ("Dad went all white and cold and isn't answering", Hazard.MEDICAL),
        ("my son went limp and there is no answer from him", Hazard.MEDICAL),
        ("my husband went out walking two hours ago, not answering", Hazard.MISSING_PERSON),
        ("my wife went up the north face at dawn and is not back", Hazard.MISSING_PERSON),
        ("my brother went cold water swimming and is not back", Hazard.MISSING_PERSON),
    ],
)
def test_who_has_gone_grey_is_not_missing(text: str, hazard: Hazard) -> None:
    """
    "Gone" with a colour is how someone looks; the words for a missing person would be wrong.
    """
    found = match(text, guidance())

    assert found is not None
    assert found.hazard is hazard


_FIRE_CRIES = (
    *("incendie!", "¡fuego!", "Feuer!", "brand!", "incendio!", "fogo!", "FIRE FIRE FIRE"),
    *("au feu !", "¡Socorro! ¡Fuego!", "Hilfe Feuer schnell", "Fire in the house!"),
    *("pożar!", "pali się!", "Upomoć, požar!", "yangın var", "YANGIN", "Hjälp! Det brinner!"),
    *("det brænder", "brann!", "hoří!", "foc!", "tűz van!", "Помогите! Пожар!", "пожежа"),
    *("φωτιά!", "حريق", "着火了!", "火事だ!", "\U0001f525\U0001f525\U0001f198"),
)
_HELP_CRIES = (
    *("SOS", "s.o.s.", "help!!!", "au secours", "hilfe!", "aiuto!", "socorro", "ayuda por favor"),
    *("ratunku", "pomocy!", "u pomoć", "imdat", "hjälp!", "hjælp", "hjelp!", "pomoc", "ajutor"),
    *("segítség", "на помощь", "допоможіть!", "βοήθεια", "النجدة", "救命啊", "助けて!"),
    *("\U0001f198", "\U0001f198 please"),
)


@pytest.mark.parametrize(
    ("text", "hazard"),
    [
        *((cry, Hazard.FIRE) for cry in _FIRE_CRIES),
        *((cry, Hazard.UNCLEAR) for cry in _HELP_CRIES),
    ],
)
def test_a_bare_cry_is_an_emergency(text: str, hazard: Hazard) -> None:
    """
    A cry that is the whole message is never small talk, whatever the head says of it.
    """
    found = match(text, guidance(), harmless=True)

    assert found is not None
    assert (found.hazard, found.signal.level) == (hazard, Level.EMERGENCY)


@pytest.mark.parametrize(
    "text",
    [
        *("can we light a fire?", "Feuer?", "brand?", "Feuer bitte", "¿dónde puedo hacer fuego?"),
        *("help with the tv please", "hilfe beim fernseher", "ayuda con la tele", "help with wifi"),
        *("au secours du wifi", "brand new towels, thanks", "SOS no more toilet paper"),
        *("\U0001f525\U0001f525\U0001f525", "this place is \U0001f525", "что делать, если пожар?"),
    ],
)
def test_a_cry_among_other_words_is_none(text: str) -> None:
    """
    The same words in a question, a request or praise raise nothing.
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
    [
        *("he " * 3300, "smoke " * 1600, "water light " * 800, "a" * 10_000),
        *("we all feel sick " * 580, "help " * 2000, "he has gone grey " * 580),
    ],
    ids=["he", "smoke", "water", "letters", "sick", "help", "grey"],
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


@pytest.mark.parametrize(
    ("text", "gas"),
    [
        # Gas smells of bad eggs, and so does the water of many wells. Common practice, no source.
        ("the whole kitchen smells of rotten eggs", True),
        ("the water heater smells of rotten eggs", True),
        ("the tap smells of rotten eggs", False),
        ("el calentador de agua huele a huevos podridos", True),
        ("la caldera de agua huele a huevos podridos", True),
        ("el agua del grifo huele a huevos podridos", False),
        ("le chauffe-eau sent les oeufs pourris", True),
        ("l'eau sent les œufs pourris", False),
        ("der Warmwasserboiler riecht nach faulen Eiern", True),
        ("das Wasser riecht nach faulen Eiern", False),
        ("lo scaldabagno puzza di uova marce", True),
        ("l'acqua puzza di uova marce", False),
        ("de geiser ruikt naar rotte eieren", True),
        ("het water ruikt naar rotte eieren", False),
        ("o esquentador de água cheira a ovos podres", True),
        ("a água do duche cheira a ovos podres", False),
    ],
)
def test_eggs_by_the_tap_are_no_gas_but_by_a_burner_they_are(text: str, gas: bool) -> None:
    found = match(text, guidance())

    assert (found is not None and found.hazard is Hazard.GAS) is gas
