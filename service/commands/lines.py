"""askhouse line-test: a test message takes the whole way of a line; what is wrong is told."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from askhouse.commands.shared import EXIT_OK, EXIT_PROBLEMS, out
from askhouse.errors import SettingsError
from service.commands.shared import DatabaseOption, FileOption, number_of, opened

__all__ = ["line_test"]


def line_test(
    name: Annotated[str, typer.Argument(help="The line, as the service's file names it.")],
    sender: Annotated[
        str, typer.Option("--from", help="A number of your own: the reply is sent there.")
    ],
    database: DatabaseOption = None,
    service_file: FileOption = None,
    url: Annotated[str, typer.Option(help="Where the service listens.")] = "http://127.0.0.1:8321",
) -> None:
    """Send a test message round trip, and tell what is wrong with the set-up."""
    from sqlalchemy import select

    from service.lines.trial import round_trip
    from service.service_file import read_service_file
    from service.tables import Delivery, DeliveryState, Inbound

    lines = {line.name: line for line in read_service_file(service_file).lines}
    if name not in lines:
        raise SettingsError(
            f"the service's file has no line {name}; it has {', '.join(lines) or 'none'}"
        )
    number = number_of(sender, as_sent=False)
    with opened(database) as memory:

        def outcome(gateway_id: str) -> str | None:
            with memory.reading() as session:
                found = session.execute(
                    select(Delivery.state, Delivery.problem)
                    .join(Inbound, Inbound.id == Delivery.message_id)
                    .where(Inbound.line == name, Inbound.gateway_id == gateway_id)
                ).first()
            if found is None or found.state in (DeliveryState.DUE, DeliveryState.SENDING):
                return found.problem if found else None
            return "sent" if found.state == DeliveryState.SENT else found.problem or found.state

        findings = round_trip(lines[name], os.environ, url, sender=number, outcome=outcome)
    for finding in findings:
        mark, style = ("ok", "green") if finding.good else ("!!", "red")
        out.print(f"{mark} {finding.what}: {finding.said}", style=style, markup=False)
        if finding.mend:
            out.print(f"   {finding.mend}", markup=False, highlight=False)
    raise typer.Exit(EXIT_OK if all(finding.good for finding in findings) else EXIT_PROBLEMS)
