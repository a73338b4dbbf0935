"""The guidance file: complete, in seven languages, and no further than its sources go."""

from __future__ import annotations

import re
import string
from collections.abc import Mapping

import pytest
from pydantic import ValidationError

from askhouse.answer.compose import alarm_words
from askhouse.parts.language import READ, tongue
from askhouse.triage.guidance import Guidance, Signal, guidance
from askhouse.values import Alarm, Hazard, Kind, Level
from tests.factories import make_house

_WORDS = [
    (hazard, language, text)
    for hazard, entry in guidance().hazards.items()
    for language, text in entry.words.items()
]


def _gaps(text: str) -> list[str]:
    return [field for _, field, _, _ in string.Formatter().parse(text) if field is not None]


def _signals() -> list[Signal]:
    file = guidance()
    return [s for entry in file.hazards.values() for s in entry.signals] + [*file.lockout.signals]


def test_every_hazard_has_its_entry() -> None:
    """
    Words, at least one source and a signal for each hazard, the unclear one too.
    """
    hazards = guidance().hazards

    assert set(hazards) == set(Hazard)
    assert all(entry.sources and entry.signals for entry in hazards.values())


@pytest.mark.parametrize(
    "words",
    [
        *(entry.words for entry in guidance().hazards.values()),
        guidance().lockout.words,
        guidance().lockout.call_back,
        guidance().host_alerted,
        guidance().soon,
        guidance().poison_words,
    ],
)
def test_words_are_in_every_language(words: Mapping[str, str]) -> None:
    """
    The seven languages that are read, no other, and no two with the same words.
    """
    assert set(words) == set(READ)
    assert len(set(words.values())) == len(READ)


@pytest.mark.parametrize(("hazard", "language", "text"), _WORDS)
def test_words_are_in_their_language(hazard: Hazard, language: str, text: str) -> None:
    """
    What stands under a language is read as that language.
    """
    assert tongue(text.format(number="112")).code == language


@pytest.mark.parametrize(("hazard", "language", "text"), _WORDS)
def test_words_say_whom_to_call(hazard: Hazard, language: str, text: str) -> None:
    """
    The emergency number has its place, and nothing else is filled in.
    """
    assert set(_gaps(text)) == {"number"}


@pytest.mark.parametrize(("hazard", "language", "text"), _WORDS)
def test_words_are_short_and_calm(hazard: Hazard, language: str, text: str) -> None:
    """
    Two to four sentences, that fit three text messages, without shouting.
    """
    assert 2 <= len(re.findall(r"[.!?](?=\s|$)", text)) <= 4
    assert len(text) <= 3 * 153 + 30  # the longest language may run a few characters over
    assert "!" not in text
    assert not re.search(r"\b[A-ZÀ-Þ]{4,}\b", text)


@pytest.mark.parametrize(("language", "text"), sorted(guidance().soon.items()))
def test_words_for_soon_send_nobody_out_first(language: str, text: str) -> None:
    """
    In their language, calm, keeping away before the number, and the host's name after it.
    """
    away, _, after = text.partition("{number}")

    assert tongue(text.format(number="112")).code == language
    assert _gaps(text) == ["number"]
    assert len(re.findall(r"[.!?](?=\s|$)", text)) == 3
    assert away
    assert re.search(r"host|anfitri|hôte|gastgeber|gastheer", after.lower())
    assert "!" not in text
    assert not re.search(_REPAIR[language], text, re.IGNORECASE)
    assert not re.search(_DIAGNOSIS[language], text, re.IGNORECASE)


def _said(level: Level, kind: Kind = Kind.SAFETY) -> str:
    hazard = Hazard.FIRE if kind is Kind.SAFETY else None
    alarm = Alarm(kind=kind, hazard=hazard, level=level, signal="by hand", probability=1.0)
    return alarm_words(make_house(), alarm, guidance(), "en")


def test_what_is_soon_gets_words_of_its_own() -> None:
    """
    A smoke detector without batteries empties no house; a fire does, and a lockout is no hazard.
    """
    number = make_house().emergency_number

    assert _said(Level.SOON) == guidance().soon["en"].format(number=number)
    assert "get everyone out" not in _said(Level.SOON)
    assert all("get everyone out" in _said(level) for level in (Level.EMERGENCY, Level.URGENT))
    assert guidance().lockout.words["en"] in _said(Level.SOON, Kind.LOCKOUT)


def test_other_words_fill_in_what_they_are_given() -> None:
    """
    The host's number and the poison line are said once; the rest is said as it stands.
    """
    file = guidance()

    assert all(_gaps(text) == ["number"] for text in file.lockout.call_back.values())
    assert all(_gaps(text) == ["number"] for text in file.poison_words.values())
    assert not any(_gaps(text) for text in file.lockout.words.values())
    assert not any(_gaps(text) for text in file.host_alerted.values())


# What a trade is licensed for, or what only the host may give away. Stems, by language.
_REPAIR = {
    "en": r"\b(?:repair|tighten|unscrew|re-?light|relight"
    r"|reset|dismantl|bypass|rewire|fix\b|replace)",
    "es": r"\b(?:repar|aprie|desatornill|reinici|desmont|arregl|reempl|sustitu)",
    "fr": r"\b(?:répar|resserr|dévis|rallum|réinitialis|démont|remplac|bricol)",
    "de": r"\b(?:reparier|festzieh|abschraub|zurücksetz"
    r"|auseinander|überbrück|austausch|wiedereinschalt)",
    "it": r"\b(?:ripar|stringet|svitat|riaccend|resett|smont|aggiust|sostitu)",
    "nl": r"\b(?:repar|aandraai|losschroef|resetten|demont|vervang|omzeil)",
    "pt": r"\b(?:repar|apert|desaparafus|reinici|desmont|conserta|substitu)",
}
_DIAGNOSIS = {
    "en": r"(?<!if )you have|probably|likely|it is only|it sounds like|suffer",
    "es": r"probable|seguramente|se trata de|parece que tiene",
    "fr": r"probable|sans doute|il s'agit sûrement|vous avez une",
    "de": r"wahrscheinlich|vermutlich|handelt sich",
    "it": r"probabil|sicuramente|si tratta",
    "nl": r"waarschijnlijk|vermoedelijk|het gaat om",
    "pt": r"provavel|decerto|trata-se",
}
_TRICK = (
    r"\bcode|código|codice|\bpin\b|key ?box|window|ventana|fenêtre|fenster|finestra|raam|janela"
)


@pytest.mark.parametrize(("hazard", "language", "text"), _WORDS)
def test_words_neither_repair_nor_diagnose(hazard: Hazard, language: str, text: str) -> None:
    """
    No verb of a trade, and no guess at what it is.
    """
    assert not re.search(_REPAIR[language], text, re.IGNORECASE)
    assert not re.search(_DIAGNOSIS[language], text, re.IGNORECASE)


@pytest.mark.parametrize(("language", "text"), sorted(guidance().lockout.words.items()))
def test_lockout_gives_nothing_away(language: str, text: str) -> None:
    """
    Whoever writes may not be the guest: no code, no box, no other way in.
    """
    assert not re.search(_TRICK, text, re.IGNORECASE)
    assert not re.search(_REPAIR[language], text, re.IGNORECASE)


# What official sources have in common: a few words of each language, in this order.
_LANGUAGES = ("en", "es", "fr", "de", "it", "nl", "pt")
_COMMON = {
    # Pennsylvania Public Utility Commission, "Gas Emergencies"; Pennsylvania Propane Gas
    # Association; Perth & Kinross Council, "Home safety: Gas". Both sides of the ocean: no
    # switches, no flames, no call from inside, not back until it is safe.
    Hazard.GAS: [
        "leave | salgan | sortez | verlassen | uscite | gebouw uit | saiam",
        "switches | interruptores | interrupteur | schalter | interruttori | schakelaars | "
        "interruptores",
        "light anything | enciendan | allumez | anzünden | accendete | steek niets | acendam",
        "phone from inside | desde dentro | de l'intérieur | drinnen nicht | dall'interno | "
        "van binnenuit | lá de dentro",
        "outside | desde fuera | dehors | draußen | da fuori | buiten | cá fora",
        "do not go back | no vuelvan a entrar | ne rentrez pas | erst wieder | "
        "non rientrate | pas weer | não voltem a entrar",
    ],
    # CPSC document 466; HRSA Poison Help: fresh air at once, call from outside, do not go back.
    Hazard.CARBON_MONOXIDE: [
        "fresh air | aire libre | air libre | frische luft | aria aperta | frisse lucht | ar livre",
        "from outside | desde fuera | de dehors | draußen | da fuori | buiten | cá fora",
        "do not go back | no vuelvan a entrar | ne rentrez pas | erst wieder | "
        "non rientrate | pas weer | não voltem a entrar",
    ],
    # US Fire Administration and NFPA: get out, stay out, low under smoke, call from outside.
    Hazard.FIRE: [
        "stay out | quédense fuera | restez dehors | bleiben sie draußen | restate fuori | "
        "blijf buiten | fiquem cá fora",
        "smoke | humo | fumée | rauch | fumo | rook | fumo",
        "once outside | una vez fuera | une fois dehors | draußen | una volta fuori | "
        "bel buiten | já fora",
        "do not go back | no vuelvan a entrar | ne rentrez | gehen sie für nichts zurück | "
        "non rientrate | ga voor niets terug | não voltem a entrar",
    ],
    # UCL electrical safety; Ausgrid: do not touch the person, cut the power if it is safe, call
    # an ambulance, always get medical advice.
    Hazard.ELECTRICITY: [
        "do not touch a person | no toquen a quien | ne touchez pas une personne | "
        "berühren sie niemanden | non toccate chi | raak iemand | não toquem numa pessoa",
        "only if you can get there safely | solo si pueden | seulement si vous pouvez | "
        "nur am verteiler ab, wenn sie sicher | solo se potete | "
        "alleen uit als u er veilig | só se lá puderem",
        "medical advice | médico | avis médical | ärztlichen rat | medico | medisch advies | "
        "conselho médico",
    ],
    # HRSA Poison Help and the National Poisons Centre (New Zealand): ring. That one rings also
    # while the person seems well is poison centres' common advice, from memory.
    Hazard.POISONING: [
        "even if the person still seems well | aunque la persona | même si la personne | "
        "auch wenn es der person | anche se la persona | ook als het nog goed | "
        "mesmo que a pessoa",
    ],
}


@pytest.mark.parametrize(
    ("hazard", "language", "said"),
    [
        (hazard, language, forms.split(" | ")[place])
        for hazard, common in _COMMON.items()
        for forms in common
        for place, language in enumerate(_LANGUAGES)
    ],
)
def test_words_keep_to_what_the_sources_share(hazard: Hazard, language: str, said: str) -> None:
    """
    Each language says what the official advice has in common.
    """
    assert said in guidance().hazards[hazard].words[language].lower()


@pytest.mark.parametrize("hazard", [Hazard.GAS, Hazard.CARBON_MONOXIDE, Hazard.FIRE])
@pytest.mark.parametrize("place", range(len(_LANGUAGES)))
def test_one_leaves_before_one_calls(hazard: Hazard, place: int) -> None:
    """
    Where the air or the house is the danger, getting out stands before the number.
    """
    out = _COMMON[hazard][0].split(" | ")[place]
    text = guidance().hazards[hazard].words[_LANGUAGES[place]].lower()

    assert text.index(out) < text.index("{number}")


@pytest.mark.parametrize("language", _LANGUAGES)
def test_gas_words_say_nothing_that_one_side_forbids(language: str) -> None:
    """
    The United Kingdom airs and shuts the valve, the United States leave first: neither is said.
    """
    one_side = r"window|ventana|fenêtre|fenster|finestr|raam|janela|valve|meter|llave|robinet|hahn"

    assert not re.search(one_side, guidance().hazards[Hazard.GAS].words[language].lower())


def test_poison_lines_go_with_poisonings() -> None:
    """
    The line is said for a poisoning, and only for the countries whose line was found.
    """
    file = guidance()
    # Verified: HRSA, Queensland Health, National Poisons Centre, Terveyskylä. The others are
    # from memory and say so in the file.
    verified = {
        "US": "1-800-222-1222",
        "AU": "13 11 26",
        "NZ": "0800 764 766",
        "FI": "0800 147 111",
    }

    assert [h for h, entry in file.hazards.items() if entry.poison_help] == [Hazard.POISONING]
    assert verified.items() <= file.poison_lines.items()
    assert all(re.fullmatch(r"[A-Z]{2}", country) for country in file.poison_lines)
    assert all(re.fullmatch(r"[\d -]{3,}", number) for number in file.poison_lines.values())


@pytest.mark.parametrize("signal", _signals(), ids=lambda signal: signal.name)
def test_patterns_fit_plain_text(signal: Signal) -> None:
    """
    Text is matched without capitals, accents and apostrophes: a pattern with one never matches.
    """
    literal = re.sub(r"\\.", "", signal.pattern.text)

    assert literal.isascii()
    assert literal == literal.lower()
    assert "'" not in literal
    assert re.compile(signal.pattern.text).search("") is None


def test_not_now_patterns_fit_plain_text() -> None:
    """
    The same for what takes an alarm back, which must not match nothing either.
    """
    for pattern in guidance().not_now + guidance().still_now:
        literal = re.sub(r"\\.", "", pattern)
        assert literal.isascii(), pattern
        assert literal == literal.lower(), pattern
        assert re.compile(pattern).search("") is None, pattern


def _file(**changes: object) -> dict[str, object]:
    """The smallest file, with changes."""
    return {
        "not_now": [],
        "hazards": {},
        "lockout": {"words": {}, "call_back": {}, "signals": []},
        "host_alerted": {},
        "soon": {},
        "poison_lines": {},
        "poison_words": {},
    } | changes


def _gas(pattern: object) -> dict[str, object]:
    signal = {"name": "gas", "level": "emergency", "pattern": pattern}
    return {"gas": {"words": {}, "sources": ["here"], "signals": [signal]}}


def test_alternatives_become_one_pattern() -> None:
    """
    A list is one pattern, and a group's name stands for its words.
    """
    file = Guidance.model_validate(
        _file(groups={"fuel": ["gas", "propane"]}, hazards=_gas([r"smell of <fuel>\b", "leak"]))
    )

    (signal,) = file.hazards[Hazard.GAS].signals
    assert signal.pattern.text == r"smell of (?:gas|propane)\b|leak"


@pytest.mark.parametrize(
    ("hazards", "said"),
    [
        (_gas("smell of <fuel>"), "no group is called <fuel>"),
        (_gas("(smell"), "is no pattern"),
        ({"dragons": {"words": {}, "sources": ["here"]}}, "Input should be"),
        ({"gas": {"words": {}, "sources": []}}, "at least 1 item"),
    ],
)
def test_a_broken_file_is_refused(hazards: object, said: str) -> None:
    """
    A pattern that cannot be read, a hazard that is none, or words without a source.
    """
    with pytest.raises(ValidationError, match=said):
        Guidance.model_validate(_file(hazards=hazards))


def test_a_file_without_not_now_takes_nothing_back() -> None:
    """
    No pattern means no text, not any text.
    """
    file = Guidance.model_validate(_file())

    assert not file.not_now_pattern.found_in("last year")
    assert not file.still_now_pattern.found_in("")
