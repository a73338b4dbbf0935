"""Which whole messages steer the line, and which are messages like others."""

from __future__ import annotations

import pytest

from service.lines.words import Keyword, keyword


@pytest.mark.parametrize(
    "text",
    [
        # 47 CFR 64.1200(a)(10), as amended by FCC 24-24 (89 FR 15756).
        *("stop", "quit", "end", "revoke", "opt out", "cancel", "unsubscribe"),
        # CTIA, Short Code Monitoring Handbook 1.7: "case does not matter".
        *("STOP", "Stop", "sToP", "END", "CANCEL", "UNSUBSCRIBE", "QUIT"),
        # Any reasonable wording counts in the same rule; these four are common practice, no source.
        *("stop please", "STOP IT", "Please stop.", "STOPALL"),
        # White space and punctuation at the ends.
        *(" STOP.", "stop!", "“Stop”", "\nSTOP\n", "opt  out", "STOP …"),
        # Other languages, with accents or without: common practice, no source.
        *("BAJA", "Arrêt", "ARRET", "Stopp", "abmelden", "AFMELDEN", "Sair", "désabonner"),
    ],
)
def test_stop_words(text: str) -> None:
    """
    A whole message that asks for no more messages is STOP, however it is written.
    """
    assert keyword(text) is Keyword.STOP


@pytest.mark.parametrize(
    "text",
    [
        "stop the alarm",
        "how do I stop the alarm?",
        "what time does the bus stop running?",
        "cancel my booking",
        "The end of the road?",
        "Can I quit the sauna programme",
        "more towels please",
        "help me with the oven",
        "where is the info folder",
        "yes",
        "Yes!",
        "",
        "...",
        "stop " * 50,
    ],
)
def test_other_messages_are_no_keyword(text: str) -> None:
    """
    A message that only holds such a word goes the way of every message.
    """
    assert keyword(text) is None


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("START", Keyword.START),
        ("unstop", Keyword.START),
        ("HELP", Keyword.HELP),
        ("Help?", Keyword.HELP),
        ("info", Keyword.HELP),
        ("ayuda", Keyword.HELP),
        ("MORE", Keyword.MORE),
        ("more.", Keyword.MORE),
        ("más", Keyword.MORE),
        ("Suite", Keyword.MORE),
    ],
)
def test_other_keywords(text: str, kind: Keyword) -> None:
    """
    START, HELP and MORE are read in the same way.
    """
    assert keyword(text) is kind


@pytest.mark.parametrize("text", ["HELP!", "help!!!", "Hilfe!", "¡Ayuda!", "aiuto 🔥"])
def test_cry_for_help_is_left_to_triage(text: str) -> None:
    """
    A help word that is called out may be an emergency, so it is read as a message.
    """
    assert keyword(text) is None


def test_yes_opts_in_only_who_is_out() -> None:
    """
    A bare YES opts in again; from everyone else it answers a question.
    """
    assert keyword("YES", opted_out=True) is Keyword.START
    assert keyword("YES", opted_out=False) is None
