"""The service's file: lines, contacts, mail, alerts, and each house's part, checked at start."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator
from ruamel.yaml import YAML, MappingNode, Node, SequenceNode
from ruamel.yaml.error import MarkedYAMLError

from askhouse.errors import SettingsError
from service.alerts.contact_settings import Contact, EmailContact, MailSettings, Name
from service.alerts.settings import AlertSettings, GeneralAlerts, HouseAlerts
from service.gaps.digest_settings import DigestSettings
from service.lines.settings import LineSettings
from service.stays.settings import StayRules

__all__ = ["HouseSection", "ServiceFile", "read_service_file"]


class HouseSection(StayRules, HouseAlerts):
    """All that is set for one house: its stays' rules, its alerts, its planned messages."""


class ServiceFile(BaseModel):
    """The whole file."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)

    lines: tuple[LineSettings, ...] = Field(
        default=(), description="The numbers that guests write to, and their gateways."
    )
    contacts: dict[Name, Contact] = Field(
        default_factory=dict, description="Whom alerts reach, and how."
    )
    mail: MailSettings | None = Field(default=None, description="How e-mail goes out.")
    alerts: GeneralAlerts = Field(
        default=GeneralAlerts(), description="The ladder of houses that have none of their own."
    )
    houses: dict[str, HouseSection] = Field(
        default_factory=dict, description="By slug: rules for stays, alerts, planned messages."
    )

    digest: DigestSettings | None = Field(
        default=None, description="Who gets the week's gaps by e-mail; nobody without it."
    )

    @model_validator(mode="after")
    def _digest_by_mail(self) -> Self:
        for name in self.digest.contacts if self.digest is not None else ():
            contact = self.contacts.get(name)
            if contact is None:
                raise ValueError(
                    f"digest.contacts: there is no contact {name}; name one of the section "
                    "contacts, or add it"
                )
            if not isinstance(contact, EmailContact):
                raise ValueError(
                    f"digest.contacts: {name} gets no e-mail; name a contact with channel: email"
                )
        return self

    @property
    def rules(self) -> Mapping[str, StayRules]:
        """The rules for stays, by slug."""
        return self.houses

    def alert_settings(self) -> AlertSettings:
        """What the alerts read.

        Raises:
            ValidationError: A ladder names a contact that is not there.
        """
        return AlertSettings(
            contacts=self.contacts, mail=self.mail, alerts=self.alerts, houses=dict(self.houses)
        )


def read_service_file(path: Path | None) -> ServiceFile:
    """The file's content; an empty one where there is no file.

    Raises:
        SettingsError: It cannot be read; names every problem with its line and field.
    """
    if path is None:
        return ServiceFile()
    try:
        text = path.read_text(encoding="utf-8")
        # YAML 1.2: to 1.1, the time 22:00 without quotes is the number 1320.
        content = YAML(typ="safe", pure=True).load(text) or {}
        root = YAML(pure=True).compose(text)
    except OSError as error:
        raise SettingsError(
            f"{path}: {error.strerror}: set ASKHOUSE_SERVICE_FILE to a file that can be read"
        ) from error
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path}: is not UTF-8 text; save it as such") from error
    except MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise SettingsError(f"{path}:{line}: {error.problem}; mend the YAML there") from error
    try:
        read = ServiceFile.model_validate(content)
        read.alert_settings()
    except ValidationError as error:
        faults = [_told(path, root, fault) for fault in error.errors(include_input=False)]
        raise SettingsError("\n".join(faults)) from error
    return read


_CHANNELS = ("apprise", "webhook", "email", "line")  # pydantic names which kind of contact it took


def _told(path: Path, root: Node | None, fault: Any) -> str:
    steps = [
        step
        for place, step in enumerate(fault["loc"])
        if not (step in _CHANNELS and place == 2 and fault["loc"][0] == "contacts")
    ]
    said = str(fault["msg"]).removeprefix("Value error, ")
    return f"{path}:{_line(root, steps)}: {'.'.join(map(str, steps)) or 'the file'}: {said}"


def _line(node: Node | None, steps: Sequence[Any]) -> int:
    """The line, from 1, of the deepest place on the way that the file has."""
    line = 1
    for step in steps:
        if isinstance(node, MappingNode):
            found = [(key, value) for key, value in node.value if key.value == str(step)]
            if not found:
                break
            line, node = found[0][0].start_mark.line + 1, found[0][1]
        elif isinstance(node, SequenceNode) and isinstance(step, int):
            if step >= len(node.value):
                break
            node = node.value[step]
            line = node.start_mark.line + 1
        else:
            break
    return line
