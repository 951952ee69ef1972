"""Mail: what is in it, how it is handed in, and what is said when it cannot be."""

import os
import shutil
import socket
import ssl
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from post_office import post_office

from vibetrend.settings import MailSettings, SettingsError, mail_settings, settings_file
from vibetrend.trend.advice import CAUTIONS
from vibetrend.watch.mail import MailError, compose, send
from vibetrend.watch.notices import Notice, Standing

NOTICE = Notice(
    engine="main",
    before=Standing("no-change-seen", "ok"),
    now=Standing("changed", "ok"),
    text="Idle trend: Changed. Order 2.5 is up 4.2 dB, ± 0.5 dB.\n" + "\n".join(CAUTIONS),
    made_at="2025-06-01T12:00:00+02:00",
    command=False,
    mail=True,
)


def _settings(port: int, **changes: Any) -> MailSettings:
    plain = MailSettings(
        server="127.0.0.1", port=port, security="none", user=None, password=None,
        password_command=None, sender="boat@example.org", recipients=("me@example.org",),
    )  # fmt: skip
    return replace(plain, **changes)


# The mail


def test_the_mail_is_plain_text_with_the_cautions() -> None:
    mail = compose(NOTICE, _settings(25))
    assert mail["Subject"] == "main: Changed"
    assert mail["Date"] == "Sun, 01 Jun 2025 12:00:00 +0200"
    assert (mail.get_content_type(), mail["Auto-Submitted"]) == ("text/plain", "auto-generated")
    assert not mail.is_multipart()
    assert mail.get_content() == NOTICE.text + "\n"
    assert "A trend never proves that a damper is sound" in mail.get_content()
    assert compose(NOTICE, _settings(25))["Message-ID"] == mail["Message-ID"]


@pytest.mark.parametrize(
    ("before", "now", "subject"),
    [
        (("no-change-seen", "ok"), ("past-limit", "ok"), "main: Past the limit"),
        (("changed", "ok"), ("changed", "overdue"), "main: damper renewal overdue"),
        (("", ""), ("no-change-seen", "due-soon"), "main: damper renewal due soon"),
        (("", ""), ("changed", "ok"), "main: Changed"),
        (("learning", "ok"), ("no-change-seen", "due-soon"),
         "main: No change seen, damper renewal due soon"),
    ],
)  # fmt: skip
def test_the_subject_says_what_is_new(
    before: tuple[str, str], now: tuple[str, str], subject: str
) -> None:
    assert replace(NOTICE, before=Standing(*before), now=Standing(*now)).subject == subject


def test_a_hostile_engine_name_stays_in_one_line() -> None:
    notice = replace(NOTICE, engine="main\r\nBcc: all@example.org")
    mail = compose(notice, _settings(25))
    assert mail["Subject"] == "main Bcc: all@example.org: Changed"
    assert mail["Bcc"] is None


# Handing it in


def test_it_is_handed_in_to_all_recipients() -> None:
    with post_office() as office:
        both = ("me@example.org", "you@example.org")
        assert send(NOTICE, _settings(office.port, recipients=both)) == []
    assert office.recipients == [list(both)]
    (mail,) = office.mails
    assert mail["Subject"] == "main: Changed"
    assert mail.get_content().replace("\r\n", "\n") == NOTICE.text + "\n"
    assert office.said[0] == "ehlo [127.0.0.1]"  # no name is looked up
    assert office.logins == []


def test_it_logs_in_with_a_password_that_a_command_prints(tmp_path: Path) -> None:
    script = tmp_path / "print it.py"
    script.write_text("print('s p a c e')")
    command = f'"{sys.executable}" "{script}"'
    with post_office() as office:
        send(NOTICE, _settings(office.port, user="me", password_command=command))
        send(NOTICE, _settings(office.port, user="me", password="plain"))
    assert office.logins == [("me", "s p a c e"), ("me", "plain")]


def test_one_refused_recipient_does_not_keep_it_from_the_others() -> None:
    with post_office(answers={"rcpt TO:<bad": "550 unknown"}) as office:
        some = ("bad@example.org", "me@example.org")
        assert send(NOTICE, _settings(office.port, recipients=some)) == ["bad@example.org"]
    assert office.recipients == [["me@example.org"]]


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ({"AUTH": "535 wrong password"}, "it answers 535 wrong password"),
        ({"rcpt": "550 unknown"}, "the mail cannot be sent"),
        ({"mail": "451 later"}, "it answers 451 later"),
        ({"ehlo": "421 closing", "helo": "421 closing"}, "it answers 421 closing"),
    ],
)
def test_a_refusal_is_told_without_the_password(answers: dict[str, str], said: str) -> None:
    with post_office(answers=answers) as office:
        settings = _settings(office.port, user="me", password="hunter2")
        with pytest.raises(MailError, match=said) as caught:
            send(NOTICE, settings)
    assert "hunter2" not in str(caught.value)
    assert "hunter2" not in repr(settings)
    assert "\n" not in str(caught.value)


def test_nobody_there_is_told() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(MailError, match=rf"127\.0\.0\.1, port {port}: the mail cannot be sent"):
        send(NOTICE, _settings(port))


@pytest.mark.parametrize("security", ["starttls", "ssl"])
def test_a_server_without_encryption_never_sees_the_password(
    monkeypatch: pytest.MonkeyPatch, security: str
) -> None:
    monkeypatch.setattr("vibetrend.watch.mail.SECONDS", 0.3)
    with post_office() as office:
        settings = _settings(office.port, security=security, user="me", password="hunter2")
        with pytest.raises(MailError, match="cannot be sent"):
            send(NOTICE, settings)
    assert office.logins == []
    assert not [line for line in office.said if line.lower().startswith("auth")]


@pytest.mark.skipif(shutil.which("openssl") is None, reason="makes the certificate")
@pytest.mark.parametrize("security", ["starttls", "ssl"])
def test_it_is_encrypted_and_the_server_must_be_the_right_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, security: str
) -> None:
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
         "-nodes", "-days", "2", "-subj", "/CN=post office", "-addext",
         "subjectAltName=IP:127.0.0.1", "-keyout", key, "-out", certificate],
        check=True, capture_output=True,
    )  # fmt: skip
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    how = {"context": context, "encrypted": security == "ssl", "offers": ["STARTTLS", "AUTH PLAIN"]}
    with post_office(**how) as office:
        settings = _settings(office.port, security=security, user="me", password="hunter2")
        with pytest.raises(MailError, match="certificate verify failed"):
            send(NOTICE, settings)
        assert office.logins == []
        monkeypatch.setenv("SSL_CERT_FILE", str(certificate))  # now it is one that is trusted
        assert send(NOTICE, settings) == []
    assert office.logins == [("me", "hunter2")]
    assert len(office.mails) == 1


def test_a_password_command_that_fails_tells_nothing_of_what_it_printed(tmp_path: Path) -> None:
    script = tmp_path / "fails.py"
    script.write_text("print('hunter2'); raise SystemExit(1)")
    with post_office() as office:
        command = f'"{sys.executable}" "{script}"'
        with pytest.raises(MailError, match="password_command in the settings failed") as caught:
            send(NOTICE, _settings(office.port, user="me", password_command=command))
    assert "hunter2" not in str(caught.value)


# The settings


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "settings.toml"
    monkeypatch.setenv("VIBETREND_SETTINGS", str(file))
    return file


def _write(file: Path, text: str, mode: int = 0o600) -> None:
    file.write_text(text, encoding="utf-8")
    file.chmod(mode)


def test_the_settings_are_read(settings: Path) -> None:
    _write(
        settings,
        '[mail]\nserver = "mail.example.org"\nuser = "me"\npassword = "secret"\n'
        'from = "boat@example.org"\nto = ["me@example.org", "you@example.org"]',
    )
    read = mail_settings()
    assert (read.server, read.port, read.security) == ("mail.example.org", 587, "starttls")
    assert (read.user, read.password, read.password_command) == ("me", "secret", None)
    assert read.sender == "boat@example.org"
    assert read.recipients == ("me@example.org", "you@example.org")


@pytest.mark.parametrize(("security", "port"), [("ssl", 465), ("none", 25), ("starttls", 587)])
def test_each_security_has_its_usual_port(settings: Path, security: str, port: int) -> None:
    """The ports of RFC 8314 (465), RFC 6409 (587) and RFC 5321 (25)."""
    text = f'[mail]\nserver = "s"\nsecurity = "{security}"\nfrom = "a@b"\nto = "c@d"'
    _write(settings, text)
    assert mail_settings().port == port


GOOD = '[mail]\nserver = "s"\nfrom = "a@b"\nto = "c@d"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", r"the table \[mail\] is missing"),
        ("[mail", "not valid TOML"),
        (GOOD.replace("server", "sever"), "sever is not a known key; did you mean server"),
        (GOOD.replace('server = "s"\n', ""), "server is missing"),
        (GOOD.replace('to = "c@d"\n', ""), "to is missing"),
        (GOOD.replace("c@d", "me"), "'me' is no mail address"),
        (GOOD.replace("c@d", r"c@d\nBcc: e@f"), "is no mail address"),
        (GOOD + "port = 0", "port is 0"),
        (GOOD + "port = true", "port is True"),
        (GOOD + "server2 = 1", "server2 is not a known key"),
        (GOOD + 'security = "tls"', "write starttls, ssl or none"),
        (GOOD + 'user = "me"', "go together"),
        (GOOD + 'password = "x"', "go together"),
        (GOOD + 'user = "me"\npassword = "x"\npassword_command = "y"', "exclude each other"),
        (GOOD + "user = 3", "user must be one line of text"),
    ],
)
def test_wrong_settings_say_what_is_wrong(settings: Path, text: str, said: str) -> None:
    _write(settings, text)
    with pytest.raises(SettingsError, match=said) as caught:
        mail_settings()
    assert str(caught.value).startswith(str(settings))


def test_missing_settings_say_where_to_write_them(settings: Path) -> None:
    with pytest.raises(SettingsError, match=r"write the table \[mail\] into this file") as caught:
        mail_settings()
    assert str(caught.value).startswith(str(settings))


@pytest.mark.skipif(os.name != "posix", reason="file modes of POSIX")
def test_a_password_that_others_may_read_is_refused(settings: Path) -> None:
    with_password = GOOD + 'user = "me"\npassword = "x"'
    _write(settings, with_password, mode=0o644)
    with pytest.raises(SettingsError, match="others may read it"):
        mail_settings()
    _write(settings, GOOD + 'user = "me"\npassword_command = "x"', mode=0o644)
    assert mail_settings().password_command == "x"


def test_the_settings_lie_in_the_platforms_config_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("VIBETREND_SETTINGS", raising=False)
    assert settings_file().parts[-2:] == ("vibetrend", "settings.toml")
