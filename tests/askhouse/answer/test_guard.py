"""Who may be told what."""

from __future__ import annotations

from askhouse.answer.guard import tellable
from tests.factories import make_fact

OPEN, SECRET, ALSO_OPEN = (
    make_fact("bins"),
    make_fact("door-code", sensitive=True),
    make_fact("boat"),
)


def test_a_verified_guest_is_told_all() -> None:
    """
    A verified guest gets every fact, in the order given.
    """
    assert tellable((SECRET, OPEN), verified=True) == (SECRET, OPEN)


def test_a_stranger_is_told_no_sensitive_fact() -> None:
    """
    Sensitive facts are left out for anyone else; what is left keeps its order.
    """
    assert tellable((OPEN, SECRET, ALSO_OPEN), verified=False) == (OPEN, ALSO_OPEN)
    assert tellable((SECRET,), verified=False) == ()


def test_a_guest_may_be_told_some_of_them() -> None:
    """
    Where it is said which sensitive facts may be told, the others stay secret to a guest, too.
    """
    assert tellable((SECRET, OPEN), verified=True, told=frozenset()) == (OPEN,)
    assert tellable((SECRET,), verified=True, told=frozenset({SECRET.id})) == (SECRET,)
    assert tellable((SECRET,), verified=False, told=frozenset({SECRET.id})) == ()
