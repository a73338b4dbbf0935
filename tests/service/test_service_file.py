"""The service's file: read as YAML 1.2, every problem told with its line and field."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from askhouse.errors import SettingsError
from service.service_file import read_service_file

GOOD = """\
contacts:
  phone: {channel: apprise, url_env: PUSH_URL}
alerts:
  ladder: [{contacts: [phone], wait_minutes: 5}]
houses:
  orchard-barn:
    release_from: 09:30
    quiet_hours: {from: 22:00, to: 07:00}
    area: Cider Lane
"""
DIGEST = "digest: {{contacts: [{}], weekday: monday, at: 08:00, timezone: {}}}\n"


def _written(folder: Path, text: str | bytes) -> Path:
    path = folder / "service.yaml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def test_without_a_file_there_is_nothing() -> None:
    """
    A service without a file has no lines, and alerts nobody.
    """
    file = read_service_file(None)

    assert not file.lines
    assert not file.alert_settings().contacts


def test_times_need_no_quotes(tmp_path: Path) -> None:
    """
    22:00 is ten in the evening, as YAML 1.2 reads it (10.3.2: no sexagesimal numbers).
    """
    house = read_service_file(_written(tmp_path, GOOD)).houses["orchard-barn"]

    assert house.release_from == dt.time(9, 30)
    assert house.quiet_hours is not None
    assert house.quiet_hours.from_ == dt.time(22)


def test_the_digest(tmp_path: Path) -> None:
    """
    On Mondays at eight, unless the file says otherwise; without the section nobody gets one.
    """
    mail = "mail: {host: mail.example.org, sender: a@example.org}\n"
    text = GOOD.replace("channel: apprise, url_env: PUSH_URL", "channel: email, address: o@x.org")

    digest = read_service_file(
        _written(tmp_path, mail + text + "digest: {contacts: [phone], timezone: Europe/London}\n")
    ).digest

    assert digest is not None
    assert (digest.contacts, digest.weekday, digest.at) == (("phone",), "monday", dt.time(8))
    assert read_service_file(_written(tmp_path, GOOD)).digest is None


def test_one_house_has_all_that_concerns_it(tmp_path: Path) -> None:
    """
    Stays and alerts read their part of the same section.
    """
    file = read_service_file(_written(tmp_path, GOOD))

    assert file.rules["orchard-barn"].area == "Cider Lane"
    assert file.alert_settings().rules_of("orchard-barn").ladder[0].contacts == ("phone",)


# Each row: the file, and what is said of it, with the line that is to be mended.
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("lines:\n  - name: x\n", r"service\.yaml:2: lines\.0\.number: Field required"),
        # Who gets the digest must be there, and have a mailbox; its zone must be one.
        (GOOD + DIGEST.format("bell", "UTC"), r"digest\.contacts: there is no contact bell"),
        (GOOD + DIGEST.format("phone", "UTC"), r"digest\.contacts: phone gets no e-mail"),
        (GOOD + DIGEST.format("phone", "Mars"), r"service\.yaml:10: digest\.timezone: .*IANA"),
        (GOOD + DIGEST.format("phone", "Europe"), r"digest\.timezone: .*IANA"),
        (GOOD.replace("area", "aera"), r"service\.yaml:9: houses\.orchard-barn\.aera: Extra"),
        (GOOD.replace("22:00", "late"), r"service\.yaml:8: houses\.orchard-barn\.quiet_hours"),
        (GOOD.replace("[phone]", "[bell]"), r"there is no contact bell"),
        ("lines: [\n", r"service\.yaml:2: .*mend the YAML there"),
        ("a: 1\na: 2\n", r"service\.yaml:2: .*duplicate key"),
        (b"lines: \xff", r"is not UTF-8 text"),
        ("- 1\n", r"service\.yaml:1: the file: Input should be"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(tmp_path: Path, text: str | bytes, said: str) -> None:
    """
    File, line, field, and how to mend it.
    """
    with pytest.raises(SettingsError, match=said):
        read_service_file(_written(tmp_path, text))


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    """
    The setting that names it is told.
    """
    with pytest.raises(SettingsError, match="ASKHOUSE_SERVICE_FILE"):
        read_service_file(tmp_path / "none.yaml")


def test_no_value_is_repeated(tmp_path: Path) -> None:
    """
    What stands in the wrong place may be a secret.
    """
    with pytest.raises(SettingsError) as told:
        read_service_file(_written(tmp_path, GOOD.replace("PUSH_URL", "{a: hush-hush-7}")))

    assert "hush-hush-7" not in str(told.value)
