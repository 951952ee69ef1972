"""The person's own command, run when a state changes."""

import contextlib
import os
import shlex
import signal
import subprocess
import tempfile
from pathlib import Path

from vibetrend.errors import VibetrendError
from vibetrend.settings import LOGBOOK_VARIABLE
from vibetrend.watch.notices import Notice

LONGEST_SECONDS = 60.0
_LONGEST_TEXT = 16_000  # characters; an environment holds 32 767 of them on some systems


class CommandError(VibetrendError):
    """A person's command could not be run, failed or hung."""


def split(command: str) -> list[str]:
    """Return a command's words; no shell ever sees them.

    Raises
    ------
    CommandError
        If there are none, or a quotation mark is missing.
    """
    try:
        # Elsewhere than on POSIX a backslash is part of a path.
        words = shlex.split(command, posix=os.name == "posix")
    except ValueError as error:
        raise CommandError(
            f"{command!r} cannot be split into words ({error}); correct its quotation marks"
        ) from error
    if not words:
        raise CommandError("the command is empty; name a program to run")
    return words if os.name == "posix" else [word.strip('"') for word in words]


def run(
    command: str, notice: Notice, *, logbook: Path, longest_seconds: float = LONGEST_SECONDS
) -> None:
    """Run a command with what changed in its environment; what it prints is dropped.

    `VIBETREND_ENGINE`, `VIBETREND_STATE`, `VIBETREND_STATE_BEFORE`, `VIBETREND_RENEWAL`,
    `VIBETREND_RENEWAL_BEFORE`, `VIBETREND_SUBJECT` (one line), `VIBETREND_TEXT`,
    `VIBETREND_LOGBOOK`.

    Raises
    ------
    CommandError
        If it cannot be started, ends with a code other than 0, or takes too long; it is then
        ended with all that it started.
    """
    told = {
        "ENGINE": notice.engine,
        "STATE": notice.now.state,
        "STATE_BEFORE": notice.before.state,
        "RENEWAL": notice.now.renewal,
        "RENEWAL_BEFORE": notice.before.renewal,
        "SUBJECT": notice.subject,
        "TEXT": notice.text[:_LONGEST_TEXT],
    }
    environment = {f"VIBETREND_{key}": value.replace("\0", "") for key, value in told.items()}
    # A file, not a pipe: what the command leaves running must not be waited for.
    with tempfile.TemporaryFile() as complaint:
        try:
            process = subprocess.Popen(
                split(command),
                env={**os.environ, LOGBOOK_VARIABLE: str(logbook), **environment},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=complaint,
                start_new_session=True,
            )
        except (OSError, ValueError) as error:
            reason = error.strerror if isinstance(error, OSError) else str(error)
            raise CommandError(
                f"{command}: cannot be started ({reason}); name a program with its full path"
            ) from error
        try:
            code = process.wait(longest_seconds)
        except subprocess.TimeoutExpired as error:
            raise CommandError(
                f"{command}: ended after {longest_seconds:g} s; it has to be quicker"
            ) from error
        finally:
            if process.returncode is None:
                _end(process)
        if code:
            complaint.seek(0)
            last = complaint.read(100_000).decode("utf-8", "replace").strip().splitlines()[-1:]
            said = f": {last[0][:200]}" if last else ""
            raise CommandError(
                f"{command}: failed with exit code {code}{said}; run it by hand to see why"
            )


def _end(process: "subprocess.Popen[bytes]") -> None:
    if os.name == "posix":
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)  # a session of its own, so never ours
    else:
        process.kill()
    process.wait()
