"""askhouse tokens."""

from __future__ import annotations

from sqlalchemy import select

from askhouse.errors import SettingsError
from service.access.tokens import caller_with
from service.database import Database
from service.privacy.trail import verify
from service.tables import ApiToken, Trail
from tests.service.commands.running import run
from tests.service.privacy.filling import everything


def test_token_is_shown_once_and_opens(database: Database) -> None:
    """
    Standard output is the token alone; it opens what its scopes say, and is not in the database.
    """
    made = run(database, "tokens", "create", "front desk", "--scope", "metrics", "--scope", "stays")
    token = made.stdout.strip()

    assert made.exit_code == 0
    with database.reading() as session:
        caller = caller_with(session, token)
        assert caller is not None
        assert (caller.scopes, caller.everywhere) == ({"metrics", "stays"}, True)
        assert token not in everything(session)
    assert token not in run(database, "tokens", "list").output


def test_list_names_scopes_and_houses(database: Database) -> None:
    """
    One line a token.
    """
    run(database, "tokens", "create", "desk", "--scope", "ask", "--house", "orchard-barn")

    (line,) = run(database, "tokens", "list").stdout.splitlines()
    assert line.endswith(" desk: ask; orchard-barn")


def test_revoked_token_opens_nothing(database: Database) -> None:
    """
    It stays in the list as revoked, and both acts are in the trail.
    """
    token = run(database, "tokens", "create", "desk", "--scope", "ask").stdout.strip()
    with database.reading() as session:
        token_id = session.scalars(select(ApiToken.id)).one()
    assert run(database, "tokens", "revoke", str(token_id)).exit_code == 0

    assert "revoked 20" in run(database, "tokens", "list").stdout
    with database.reading() as session:
        assert caller_with(session, token) is None
        assert list(session.scalars(select(Trail.did).order_by(Trail.id))) == [
            "token.make",
            "token.revoke",
        ]
        assert verify(session) is None


def test_mistakes_are_told(database: Database) -> None:
    """
    A scope that there is not, a name that is taken and a token that there is not change nothing.
    """
    run(database, "tokens", "create", "desk", "--scope", "ask")
    with database.reading() as session:
        before = everything(session)
    mistakes = [
        run(database, "tokens", "create", "other", "--scope", "everything"),
        run(database, "tokens", "create", "desk", "--scope", "ask"),
        run(database, "tokens", "revoke", "4711"),
    ]

    told = [str(mistake.exception) for mistake in mistakes]
    assert [type(mistake.exception) for mistake in mistakes] == [SettingsError] * 3
    assert "choose from ask, stays" in told[0]
    assert "has that name" in told[1]
    assert "no token 4711" in told[2]
    with database.reading() as session:
        assert everything(session) == before
