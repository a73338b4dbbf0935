"""Passwords: Argon2id by RFC 9106, and what is refused as too weak."""

from __future__ import annotations

import pytest
from argon2.low_level import Type, core, error_to_str, ffi, lib

from service.access.passwords import FEWEST, hash_password, is_dated, matches, weakness

PASSWORD = "a ferry with a blue door"


def test_argon2id_of_the_library() -> None:
    """
    The library's Argon2id gives the tag of RFC 9106, section 5.3 (from memory).
    """
    out = ffi.new("uint8_t[]", 32)
    given = {"pwd": b"\x01" * 32, "salt": b"\x02" * 16, "secret": b"\x03" * 8, "ad": b"\x04" * 12}
    held = {name: ffi.new("uint8_t[]", value) for name, value in given.items()}
    lengths = {f"{name}len": len(value) for name, value in given.items()}
    context = ffi.new(
        "argon2_context *",
        {
            "version": 0x13,
            "out": out,
            "outlen": 32,
            **held,
            **lengths,
            "t_cost": 3,
            "m_cost": 32,
            "lanes": 4,
            "threads": 1,
            "allocate_cbk": ffi.NULL,
            "free_cbk": ffi.NULL,
            "flags": lib.ARGON2_DEFAULT_FLAGS,
        },
    )
    assert error_to_str(core(context, Type.ID.value)) == "OK"

    assert bytes(ffi.buffer(out)).hex() == (
        "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659"
    )


def test_the_parameters_are_those_of_the_standard() -> None:
    """
    Three passes over 64 MiB in four lanes: RFC 9106, section 4, second recommended option.
    """
    stored = hash_password(PASSWORD)

    assert stored.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert not is_dated(stored)
    assert is_dated(stored.replace("t=3", "t=2"))


def test_only_the_right_password() -> None:
    """
    A password matches its own hash, and no other does; two hashes of one are different.
    """
    stored = hash_password(PASSWORD)

    assert matches(stored, PASSWORD)
    assert not matches(stored, PASSWORD + " ")
    assert stored != hash_password(PASSWORD)


@pytest.mark.parametrize("stored", [None, "", "not a hash"])
def test_where_there_is_no_hash(stored: str | None) -> None:
    """
    Nothing matches where nothing is stored, not even the password that stands in for it.
    """
    assert not matches(stored, "a password that nobody has")


@pytest.mark.parametrize(
    ("password", "weak"),
    [
        ("x" * (FEWEST - 1), True),
        ("short", True),
        ("abababababababab", True),
        ("y" * 201, True),
        (PASSWORD, False),
        ("пароль из слов", False),
    ],
)
def test_what_is_too_weak(password: str, weak: bool) -> None:
    """
    Too short, too long, or of too few different characters; nothing else is asked for.
    """
    assert (weakness(password) is not None) is weak
