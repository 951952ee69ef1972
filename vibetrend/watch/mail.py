"""Mail when a state changes: plain text, handed in by SMTP (RFC 5321, RFC 8314)."""

import datetime as dt
import shlex
import smtplib
import ssl
import subprocess
from email.message import EmailMessage
from email.utils import format_datetime

from vibetrend.errors import VibetrendError
from vibetrend.settings import MailSettings
from vibetrend.watch.notices import Notice

SECONDS = 20.0  # for each answer of the server
# What a client says that has no name of its own (RFC 5321, 4.1.3); looking one up may take long.
_NAMELESS = "[127.0.0.1]"


class MailError(VibetrendError):
    """A mail could not be handed in."""


def compose(notice: Notice, settings: MailSettings) -> EmailMessage:
    """Return the mail of a notice; the same notice gives the same mail, id included."""
    message = EmailMessage()
    message["Subject"] = notice.subject
    message["From"] = settings.sender
    message["To"] = ", ".join(settings.recipients)
    message["Date"] = format_datetime(dt.datetime.fromisoformat(notice.made_at))
    # A mail that is sent again after a crash can be told by its id.
    message["Message-ID"] = f"<{notice.id}@{settings.sender.rsplit('@', 1)[1].rstrip('>')}>"
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834: no holiday answers, please
    message.set_content(notice.text + "\n")
    return message


def send(notice: Notice, settings: MailSettings) -> list[str]:
    """Hand the mail of a notice in; return the addresses that were refused, if not all were.

    Raises
    ------
    MailError
        If the server cannot be reached, is not the one it should be, or refuses it.
    """
    try:
        with _connected(settings) as server:
            if settings.security == "starttls":
                server.starttls(context=ssl.create_default_context())
            if settings.user is not None:
                server.login(settings.user, _password(settings))
            return list(server.send_message(compose(notice, settings)))
    except (OSError, smtplib.SMTPException, ValueError) as error:
        if isinstance(error, MailError):
            raise
        raise MailError(
            f"{settings.server}, port {settings.port}: the mail cannot be sent ({_said(error)})"
        ) from error


def _connected(settings: MailSettings) -> smtplib.SMTP:
    if settings.security == "ssl":
        return smtplib.SMTP_SSL(
            settings.server,
            settings.port,
            local_hostname=_NAMELESS,
            timeout=SECONDS,
            context=ssl.create_default_context(),
        )
    return smtplib.SMTP(settings.server, settings.port, local_hostname=_NAMELESS, timeout=SECONDS)


def _password(settings: MailSettings) -> str:
    if settings.password_command is None:
        return settings.password or ""
    try:
        ran = subprocess.run(
            shlex.split(settings.password_command),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=SECONDS,
            check=True,
        )
        return ran.stdout.decode().splitlines()[0]
    except (OSError, subprocess.SubprocessError, ValueError, IndexError) as error:
        # Its output may be the password: nothing of it is repeated.
        raise MailError(
            "password_command in the settings failed or printed nothing; run it by hand to see why"
        ) from error


def _said(error: Exception) -> str:
    """Return what went wrong as one short line."""
    if isinstance(error, smtplib.SMTPResponseException):
        answer = error.smtp_error
        text = answer.decode("utf-8", "replace") if isinstance(answer, bytes) else str(answer)
        return " ".join(f"it answers {error.smtp_code} {text}".split())[:200]
    if isinstance(error, TimeoutError):
        return f"no answer for {SECONDS:g} s"
    return " ".join(str(error).split())[:200] or type(error).__name__
