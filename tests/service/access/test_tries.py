"""How often one may try: the count, the wait, and that nothing is kept for ever."""

from __future__ import annotations

from service.access.tries import Tries, network_of


class Seconds:
    """A clock that is moved by hand."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def test_the_last_try_is_refused() -> None:
    """
    Three failures in a minute are allowed; then one waits until the first is a minute old.
    """
    clock = Seconds()
    tries = Tries(3, 60, clock)
    for _ in range(3):
        assert tries.wait("ada") == 0
        tries.failed("ada")
        clock.now += 10

    assert tries.wait("ada") == 30  # the first was 30 seconds ago
    clock.now += 29
    assert tries.wait("ada") == 1
    clock.now += 1
    assert tries.wait("ada") == 0


def test_names_do_not_wait_for_each_other() -> None:
    """
    Failures of one name leave another alone, and an address waits by itself.
    """
    tries = Tries(1, 60, Seconds())
    tries.failed("ada")

    assert tries.wait("tom") == 0
    assert tries.wait("tom", "ada") == 60


def test_the_right_password_clears_the_name() -> None:
    """
    After the right password a name has all its tries again.
    """
    tries = Tries(1, 60, Seconds())
    tries.failed("ada")
    tries.forgive("ada")

    assert tries.wait("ada") == 0


def test_nothing_is_kept_for_ever() -> None:
    """
    Names that nobody tries any more are forgotten.
    """
    clock = Seconds()
    tries = Tries(3, 60, clock)
    for number in range(1000):
        tries.failed(f"name {number}")
    clock.now += 61
    tries.failed("the last")

    assert len(tries) == 1


def test_networks() -> None:
    """
    An IPv4 address stands for itself, an IPv6 one for its /64 (RFC 4291, 2.5.4: the rest is the
    interface's).
    """
    assert network_of("192.0.2.7") == "192.0.2.7"
    assert network_of("2001:db8:1:2:3:4:5:6") == "2001:db8:1:2::/64"
    assert network_of("a name") == "a name"
