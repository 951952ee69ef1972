"""A change of state is told once: printed, by a command of the person's, by mail."""

import datetime as dt
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from invented_phone import ENGINE, Phone, clip, kept, remarks
from post_office import PostOffice, post_office

from vibetrend.checkup.records import EngineRecord
from vibetrend.engine import Engine
from vibetrend.installation import Renewal
from vibetrend.settings import MailSettings
from vibetrend.watch import command
from vibetrend.watch.events import Changed, Event
from vibetrend.watch.memory import MOST_NOTICES
from vibetrend.watch.notices import Notice, Standing


class Judged(Phone):
    """A watch of an engine whose state is as we say."""

    state = ("no-change-seen", "ok")

    def standing(self, *_: object, **__: object) -> list[EngineRecord]:
        state, renewal = self.state
        return [
            EngineRecord(
                engine=Engine.parse(ENGINE),
                status={"name": "main", "state": state, "renewal": {"state": renewal}},
                installation_date=None,
                installation_hours=None,
                as_found=False,
                series=(),
                renewal=Renewal(state="unknown", due_date=None, due_hours=None, first=None),
            )
        ]

    def day(self, state: str = "", renewal: str = "") -> list[Event]:
        """Let the state change, and a night pass."""
        self.state = (state or self.state[0], renewal or self.state[1])
        self.now += dt.timedelta(days=1)
        self.clock += 86_400
        return self.poll()


@pytest.fixture
def phone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Judged:
    judged = Judged(tmp_path)
    monkeypatch.setattr("vibetrend.watch.watcher.standing", judged.standing)
    judged.watcher.start()
    return judged


@pytest.fixture
def office() -> Iterator[PostOffice]:
    with post_office() as opened:
        yield opened


def _mail(port: int) -> MailSettings:
    return MailSettings(
        server="127.0.0.1", port=port, security="none", user=None, password=None,
        password_command=None, sender="boat@example.org", recipients=("me@example.org",),
    )  # fmt: skip


def _begin(phone: Phone) -> Phone:
    phone.restart().watcher.start()
    return phone


def told(events: list[Event]) -> list[str]:
    return [event.notice.subject for event in events if isinstance(event, Changed)]


# Once


def test_a_change_is_told_once(phone: Judged) -> None:
    assert told(phone.poll()) == []  # the first look is no change
    assert told(phone.day("changed")) == ["main: Changed"]
    assert told(phone.day()) == []
    assert told(phone.day(renewal="due-soon")) == ["main: damper renewal due soon"]
    assert told(phone.day("no-change-seen")) == ["main: No change seen"]


def test_a_change_while_nobody_watched_is_told_once(phone: Judged) -> None:
    phone.poll()
    phone.state = ("past-limit", "ok")
    _begin(phone)
    (event,) = [each for each in phone.poll() if isinstance(each, Changed)]
    assert event.to_dict() == {
        "event": "state-changed",
        "engine": "main",
        "state": "past-limit",
        "state_before": "no-change-seen",
        "renewal": "ok",
        "renewal_before": "ok",
        "text": "main is past-limit",
    }
    _begin(phone)
    assert told(phone.poll()) == []


def test_a_change_told_just_before_a_kill_is_not_told_again(phone: Judged) -> None:
    phone.poll()
    phone.state = ("changed", "ok")
    _begin(phone)
    for event in phone.watcher.poll():
        if isinstance(event, Changed):
            break  # killed here
    _begin(phone)
    assert told(phone.poll()) == []


def test_an_alarm_is_told_even_if_nothing_is_remembered(phone: Judged) -> None:
    phone.state = ("changed", "ok")
    assert told(phone.poll()) == ["main: Changed"]
    phone.memory.path.unlink()
    _begin(phone)
    assert told(phone.poll()) == ["main: Changed"]
    phone.state = ("learning", "ok")
    phone.memory.path.unlink()
    _begin(phone)
    assert told(phone.poll()) == []


# By a command


def _script(folder: Path, text: str) -> str:
    script = folder / "tell me.py"
    script.write_text(text, encoding="utf-8")
    return f'"{sys.executable}" "{script}"'


_WRITES = """\
import os, sys
with open("{file}", "a") as file:
    print(sys.argv[1:], *(os.environ["VIBETREND_" + key] for key in
          ("ENGINE", "STATE_BEFORE", "STATE", "RENEWAL_BEFORE", "RENEWAL", "SUBJECT", "TEXT")),
          sep="|", file=file)
"""


def test_the_command_learns_what_changed(phone: Judged, tmp_path: Path) -> None:
    written = tmp_path / "told.txt"
    phone.run = _script(tmp_path, _WRITES.format(file=written.as_posix())) + " '$(id); x' *"
    _begin(phone)
    phone.poll()
    assert not written.exists()
    assert remarks(phone.day("changed")) == []
    phone.day()
    assert written.read_text() == (
        "['$(id); x', '*']|main|no-change-seen|changed|ok|ok|main: Changed|main is changed\n"
    )
    _begin(phone).poll(3)
    assert len(written.read_text().splitlines()) == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("import sys; sys.exit('no such number')", "failed with exit code 1: no such number"),
        ("import time; time.sleep(30)", "ended after 0.3 s"),
    ],
)
def test_a_failing_command_is_told_and_the_watch_goes_on(
    phone: Judged, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, said: str
) -> None:
    defaults = command.run.__kwdefaults__
    if "sleep" in text:
        monkeypatch.setitem(defaults, "longest_seconds", 0.3)
    phone.run = _script(tmp_path, text)
    _begin(phone)
    phone.poll()
    begun = time.monotonic()
    (_, remark) = [event for event in phone.day("changed") if not hasattr(event, "records")]
    assert time.monotonic() - begun < 10  # far below the 30 s it would hang
    assert said in remark.to_dict()["message"]
    assert remarks(phone.day()) == []


def test_a_missing_command_is_told(phone: Judged) -> None:
    phone.run = "/no/such/program now"
    _begin(phone)
    phone.poll()
    events = phone.day("changed")
    assert remarks(events) == ["command-failed"]


@pytest.mark.parametrize("wrong", ["", "  ", "say 'this"])
def test_a_command_must_have_words(wrong: str) -> None:
    with pytest.raises(command.CommandError):
        command.split(wrong)


@pytest.mark.skipif(os.name != "posix", reason="ends a group of processes")
def test_what_a_hanging_command_has_started_is_ended_too(tmp_path: Path) -> None:
    mark = tmp_path / "still here"
    inner = f"import time, pathlib; time.sleep(1); pathlib.Path({str(mark)!r}).touch()"
    text = f"import subprocess, sys; subprocess.run([sys.executable, '-c', {inner!r}])"
    notice = Notice(
        engine="main", before=Standing(), now=Standing("changed", "ok"), text="",
        made_at="", command=True, mail=False,
    )  # fmt: skip
    with pytest.raises(command.CommandError, match="ended after"):
        command.run(_script(tmp_path, text), notice, logbook=tmp_path, longest_seconds=0.4)
    time.sleep(1.2)
    assert not mark.exists()


# By mail


def test_a_mail_is_sent_once(phone: Judged, office: PostOffice) -> None:
    phone.mail = _mail(office.port)
    _begin(phone)
    phone.poll()
    assert remarks(phone.day("changed")) == ["mail-sent"]
    _begin(phone)
    phone.poll(3)
    (mail,) = office.mails
    assert (mail["Subject"], mail.get_content().strip()) == ("main: Changed", "main is changed")


def test_a_mail_that_cannot_be_sent_is_kept_over_a_restart(
    phone: Judged, office: PostOffice
) -> None:
    phone.mail = _mail(office.port)
    _begin(phone)
    phone.poll()
    office.answers["mail"] = "451 come back later"
    assert remarks(phone.day("changed")) == ["mail-failed"]
    assert remarks(phone.poll(5)) == []  # told once, and not tried at each poll
    tries = len(office.said)
    phone.clock += 61
    assert remarks(phone.poll(5)) == []
    assert len(office.said) > tries
    _begin(phone)
    assert remarks(phone.poll()) == ["mail-failed"]
    office.answers.clear()
    phone.clock += 61
    assert remarks(phone.poll()) == ["mail-sent"]
    assert [mail["Subject"] for mail in office.mails] == ["main: Changed"]
    _begin(phone).poll(3)
    assert len(office.mails) == 1


def test_only_so_many_mails_wait_the_newest(phone: Judged) -> None:
    for number in range(MOST_NOTICES + 10):
        phone.memory.keep(
            Notice(
                engine=f"{number}", before=Standing(), now=Standing("changed", "ok"), text="",
                made_at="2025-06-01T12:00:00+00:00", command=False, mail=True,
            )
        )  # fmt: skip
    phone.memory.save()
    waiting = [notice.engine for notice in phone.restart().memory.notices]
    assert waiting == [str(number) for number in range(10, MOST_NOTICES + 10)]


# The whole way


def test_a_real_change_is_told_after_the_second_day(tmp_path: Path) -> None:
    """Nine placements of a baseline, then two days with order 2.5 up by 9 dB (simulated)."""
    phone = Phone(tmp_path)
    for day, name in enumerate(("2024-06-05_3131h", "2024-06-06_3135h", "2024-06-07_3140h")):
        for placement in range(3):
            clip(phone.folder / f"{name}_{placement}.csv", seed=10 * day + placement)
    phone.restart(baseline=True, rpm=1080.0).watcher.start()
    events = phone.settle()
    assert (len(kept(events)), told(events)) == (9, ["main: No change seen"])
    said = []
    for day, name in enumerate(("2024-09-01_3300h", "2024-09-03_3310h")):
        for placement in range(3):
            clip(
                phone.folder / f"{name}_{placement}.csv",
                seed=100 + 10 * day + placement,
                changes_db={2.5: 9.0},
            )
        phone.restart().watcher.start()
        events = phone.settle()
        assert len(kept(events)) == 3
        said += told(events)
    assert said == ["main: Look again on another day", "main: Past the limit"]
    assert told(phone.restart().settle()) == []
    assert len(phone.history()) == len(set(phone.history())) == 15
