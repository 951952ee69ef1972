"""A person's settings: where things are kept, the mailbox, units shown, the card's address."""

import os
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Literal, get_args

from platformdirs import user_config_path, user_data_path

from vibetrend import toml
from vibetrend.errors import VibetrendError
from vibetrend.quantities import Dimension, ShownUnits, Unit, unit
from vibetrend.quoting import named, quoted

LOGBOOK_VARIABLE = "VIBETREND_LOGBOOK"
SETTINGS_VARIABLE = "VIBETREND_SETTINGS"

Security = Literal["starttls", "ssl", "none"]
_USUAL_PORTS: dict[str, int] = {"starttls": 587, "ssl": 465, "none": 25}


class SettingsError(VibetrendError):
    """A person's settings are missing, wrong or open to others."""


def logbook_folder(stated: Path | None) -> Path:
    """Return the logbook's folder: as stated, else by the environment, else the platform's."""
    if stated is not None:
        return stated
    if named := os.environ.get(LOGBOOK_VARIABLE):
        return Path(named)
    return user_data_path("vibetrend") / "logbook"


def settings_file() -> Path:
    """Return the file of settings: by the environment, else in the platform's config folder."""
    if named := os.environ.get(SETTINGS_VARIABLE):
        return Path(named)
    return user_config_path("vibetrend") / "settings.toml"


@dataclass(frozen=True, kw_only=True, repr=False)  # its repr would show the password
class MailSettings:
    """The table ``[mail]``: where mail is handed in, as whom, and whom it goes to."""

    server: str
    port: int
    security: Security
    user: str | None
    password: str | None
    password_command: str | None  # prints the password, so that no file holds it
    sender: str  # key ``from``
    recipients: tuple[str, ...]  # key ``to``


_KEYS = ("server", "port", "security", "user", "password", "password_command", "from", "to")


def mail_settings() -> MailSettings:
    """Read the table ``[mail]`` of the settings.

    Raises
    ------
    SettingsError
        If it is missing or wrong, or holds a password and others may read the file.
    """
    file = settings_file()
    tables = _tables(file)
    if tables is None:
        raise SettingsError(
            f"{file}: there are no settings yet; write the table [mail] into this file"
        )
    table = _table(tables, "mail", file)
    if table is None:
        raise SettingsError(f"{file}: the table [mail] is missing; write it into this file")
    where = f"{file}, [mail]"
    _refuse_unknown_keys(table, _KEYS, where)
    security = _security(table.get("security", "starttls"), where)
    password = _text(table, "password", where)
    command = _text(table, "password_command", where)
    user = _text(table, "user", where)
    if password and command:
        raise SettingsError(f"{where}: password and password_command exclude each other")
    if bool(user) != bool(password or command):
        raise SettingsError(f"{where}: user and password (or password_command) go together")
    if password:
        _refuse_if_others_may_read(file)
    return MailSettings(
        server=_needed(_text(table, "server", where), "server", where),
        port=_port(table.get("port", _USUAL_PORTS[security]), where),
        security=security,
        user=user,
        password=password,
        password_command=command,
        sender=_address(_needed(_text(table, "from", where), "from", where), where),
        recipients=_addresses(table.get("to"), where),
    )


_CHOICES: Mapping[Dimension, tuple[str, ...]] = {
    "velocity": ("mm/s", "in/s"),
    "length": ("mm", "thou"),
    "torque": ("N m", "lbf ft"),
    "force": ("N", "lbf"),
}


def shown_units() -> ShownUnits:
    """Read the table ``[shown]`` of the settings; what it leaves out is shown in SI units.

    Raises
    ------
    SettingsError
        If a key or a unit is wrong, or the file cannot be read.
    """
    file = settings_file()
    table = _table(_tables(file) or {}, "shown", file) or {}
    where = f"{file}, [shown]"
    _refuse_unknown_keys(table, _CHOICES, where)
    chosen = {
        dimension: _choice(table[dimension], dimension, where)
        for dimension in _CHOICES
        if dimension in table
    }
    return replace(ShownUnits(), **chosen)


def _choice(value: Any, dimension: Dimension, where: str) -> Unit:
    """Return the unit a person wrote, in any of its spellings (``ft-lb``, ``0.001 in``)."""
    names = _CHOICES[dimension]
    try:
        found = unit(value, dimension) if isinstance(value, str) else None
    except VibetrendError:
        found = None
    if found is None or found.name not in names:
        also = " (0.001 in)" if dimension == "length" else ""
        raise SettingsError(
            f'{where}: {dimension} is {quoted(value)}; write "{names[0]}" or "{names[1]}"{also}'
        ) from None
    return found


def card_link() -> str | None:
    """Read ``link`` of the table ``[card]``: the address that a recording card leads to.

    Raises
    ------
    SettingsError
        If a key is wrong, or the file cannot be read.
    """
    file = settings_file()
    table = _table(_tables(file) or {}, "card", file) or {}
    where = f"{file}, [card]"
    _refuse_unknown_keys(table, ("link",), where)
    return _text(table, "link", where)


def _tables(file: Path) -> Mapping[str, Any] | None:
    """Return what a file of settings holds; None where there is no such file."""
    try:
        return toml.loads(file.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        return None
    except OSError as error:
        raise SettingsError(
            f"{file}: cannot be read ({error.strerror}); check its rights"
        ) from error
    except UnicodeDecodeError as error:
        raise SettingsError(f"{file}: not UTF-8 text; save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{file}: not valid TOML: {error}; correct that line") from error


def _table(tables: Mapping[str, Any], name: str, file: Path) -> Mapping[str, Any] | None:
    table = tables.get(name)
    if table is not None and not isinstance(table, dict):
        raise SettingsError(f"{file}: {name} is no table; write [{name}] on a line of its own")
    return table


def _refuse_unknown_keys(table: Mapping[str, Any], known: Collection[str], where: str) -> None:
    for key in table:
        if key not in known:
            near = get_close_matches(key, known, n=1)
            hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"
            raise SettingsError(f"{where}: {named(key)} is not a known key; {hint}")


def _text(table: Mapping[str, Any], key: str, where: str) -> str | None:
    value = table.get(key)
    if value is not None and (not isinstance(value, str) or not value.isprintable()):
        raise SettingsError(f"{where}: {key} must be one line of text in quotes; correct it")
    return value or None


def _needed(value: str | None, key: str, where: str) -> str:
    if value is None:
        raise SettingsError(f"{where}: {key} is missing; add it")
    return value


def _security(value: Any, where: str) -> Security:
    for known in get_args(Security):
        if value == known:
            return known  # type: ignore[no-any-return]  # get_args forgets what it lists
    raise SettingsError(f"{where}: security is {quoted(value)}; write starttls, ssl or none")


def _port(value: Any, where: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 < value < 65536:
        raise SettingsError(f"{where}: port is {quoted(value)}; write a number from 1 to 65535")
    return value


def _address(value: Any, where: str) -> str:
    if not isinstance(value, str) or not value.isprintable() or value.count("@") != 1:
        raise SettingsError(
            f"{where}: {quoted(value)} is no mail address; write it as name@example.org"
        )
    return value


def _addresses(value: Any, where: str) -> tuple[str, ...]:
    listed = [value] if isinstance(value, str) else value
    if not isinstance(listed, list) or not listed:
        raise SettingsError(f"{where}: to is missing; write one mail address or a list of them")
    return tuple(_address(each, where) for each in listed)


def _refuse_if_others_may_read(file: Path) -> None:
    # Elsewhere the platform's config folder is the person's own by itself.
    if os.name == "posix" and file.stat().st_mode & 0o077:
        raise SettingsError(
            f"{file}: it holds a password and others may read it; allow only yourself to read it "
            f"(chmod 600), or use password_command instead of password"
        )
