"""askhouse tokens: the keys with which programs come in."""

from __future__ import annotations

from typing import Annotated

import typer

from askhouse.commands.shared import err, out
from askhouse.errors import SettingsError
from service.clock import utc_now
from service.commands.shared import WHO, DatabaseOption, opened

__all__ = ["tokens"]

tokens = typer.Typer(help="The keys with which programs come in.", no_args_is_help=True)


@tokens.command()
def create(
    name: Annotated[str, typer.Argument(help="What the program is called.")],
    scope: Annotated[
        list[str], typer.Option("--scope", help="ask, stays, alerts, metrics; repeat.")
    ],
    database: DatabaseOption = None,
    house: Annotated[
        list[str] | None, typer.Option("--house", help="Only this house; repeat. All if none.")
    ] = None,
) -> None:
    """Make a token; it is shown this once."""
    from sqlalchemy.exc import IntegrityError

    from service.access.tokens import Scope, new_token
    from service.privacy.trail import record

    unknown = sorted(set(scope) - set(Scope))
    if unknown:
        raise SettingsError(f"--scope {unknown[0]}: choose from {', '.join(Scope)}")
    scopes = [Scope(one) for one in dict.fromkeys(scope)]
    now = utc_now()
    with opened(database) as opened_database:
        try:
            with opened_database.writing() as session:
                row, token = new_token(
                    session, name=name.strip(), scopes=scopes, houses=house or [], now=now
                )
                details = {"scopes": [str(one) for one in scopes]}
                record(session, WHO, "token.make", f"token:{row.id}", details, now)
        except IntegrityError as error:
            raise SettingsError("another token has that name: choose a different one") from error
    err.print("Keep it safe: it is not shown again.")
    out.print(token, markup=False, highlight=False, soft_wrap=True)


@tokens.command(name="list")
def list_tokens(database: DatabaseOption = None) -> None:
    """List all tokens: number, name, scopes, houses."""
    from sqlalchemy import select

    from service.tables import ApiToken

    with opened(database) as opened_database, opened_database.reading() as session:
        rows = session.scalars(select(ApiToken).order_by(ApiToken.id)).all()
    for row in rows:
        houses = ", ".join(row.houses) or "all houses"
        ended = f"; revoked {row.revoked_at:%Y-%m-%d}" if row.revoked_at else ""
        line = f"{row.id} {row.name}: {', '.join(row.scopes)}; {houses}{ended}"
        out.print(line, markup=False, highlight=False, soft_wrap=True)


@tokens.command()
def revoke(
    token_id: Annotated[int, typer.Argument(help="As `askhouse tokens list` numbers it.")],
    database: DatabaseOption = None,
) -> None:
    """End a token; it opens nothing any more."""
    from service.access import tokens as kept
    from service.privacy.trail import record
    from service.tables import ApiToken

    now = utc_now()
    with opened(database) as opened_database, opened_database.writing() as session:
        if session.get(ApiToken, token_id) is None:
            raise SettingsError(f"there is no token {token_id}: see `askhouse tokens list`")
        kept.revoke(session, token_id, now)
        record(session, WHO, "token.revoke", f"token:{token_id}", {}, now)
    out.print(f"token {token_id} is revoked", highlight=False)
