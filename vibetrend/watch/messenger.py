"""Telling of changes: by the person's command and by mail, until it has worked."""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import replace

from vibetrend.settings import MailSettings
from vibetrend.watch import command, mail
from vibetrend.watch.events import Remark
from vibetrend.watch.memory import Memory
from vibetrend.watch.notices import Notice
from vibetrend.watch.patience import Retry


class Messenger:
    """Delivers the notices that a memory holds."""

    def __init__(
        self,
        memory: Memory,
        *,
        run: str | None,
        mail_settings: MailSettings | None,
        clock: Callable[[], float],
    ) -> None:
        """Deliver by a command, by mail, by both or by neither."""
        self.run = run
        self.mail_settings = mail_settings
        self._memory = memory
        self._retry = Retry(clock, first_seconds=60.0, longest_seconds=3600.0)
        self._said = ""  # why mail could not be sent, as told last

    def deliver(self) -> Iterator[Remark]:
        """Deliver what can be delivered now, and say what could not."""
        logbook = self._memory.path.parent.parent
        for notice in list(self._memory.notices):
            if notice.command:
                # Taken off first: a command that was interrupted is not run twice.
                self._keep(replace(notice, command=False))
                if self.run is not None:
                    try:
                        command.run(self.run, notice, logbook=logbook)
                    except command.CommandError as error:
                        yield Remark("command-failed", str(error))
        if self.mail_settings is None or not self._retry.due("mail"):
            return
        for notice in [each for each in self._memory.notices if each.mail]:
            try:
                refused = mail.send(notice, self.mail_settings)
            except mail.MailError as error:
                self._retry.failed("mail")
                if str(error) != self._said:
                    self._said = str(error)
                    yield Remark("mail-failed", f"{error}; it is kept and tried again")
                return
            self._keep(replace(notice, mail=False))
            self._said = ""
            self._retry.worked("mail")
            yield Remark("mail-sent", f"mail sent: {notice.subject}")
            if refused:
                yield Remark("mail-failed", f"the server refused {', '.join(refused)}")

    def _keep(self, notice: Notice) -> None:
        """Keep what is still to be delivered of a notice."""
        self._memory.keep(notice)
        with contextlib.suppress(OSError):  # told of when the poll ends, which saves it too
            self._memory.save()
