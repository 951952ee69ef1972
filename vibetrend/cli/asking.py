"""Questions put to a person at a terminal: what must be known, and once what else matters."""

import sys
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

import click

from vibetrend.errors import VibetrendError

if TYPE_CHECKING:
    from vibetrend.recording import Recording

Answer = TypeVar("Answer")

_WHAT_ELSE = {
    "other_engine": "Other engine or generator set",
    "alternator_load": "Alternator load",
    "lying": "The boat lies",
    "shore_power": "Shore power",
}
_OF_SOUND = {"automatic_gain": "The recorder's automatic gain or noise suppression"}


def asking() -> "Callable[[Recording], Recording] | None":
    """Return what completes a recording by asking, each thing once; None without a terminal."""
    if not is_terminal():
        return None
    answers: dict[str, Any] = {}

    def answer(name: str, question: str, kind: Any) -> Any:
        if name not in answers:
            answers[name] = click.prompt(question, type=kind, err=True)
        return answers[name]

    def choice(name: str, question: str) -> str:
        from vibetrend.recording import CHOICES

        if name not in answers:
            choices = CHOICES[name]
            answers[name] = click.prompt(
                f"{question}: {' or '.join(choices)}? (Enter if you cannot say)",
                type=click.Choice([*choices, ""]), default="", show_default=False,
                show_choices=False, err=True,
            )  # fmt: skip
        return str(answers[name])

    def complete(recording: "Recording") -> "Recording":
        above_zero = click.FloatRange(min=0, min_open=True)
        stated: dict[str, Any] = {}
        if recording.rpm is None:
            stated["rpm"] = answer("rpm", "Engine speed as the gauge showed it, rpm", above_zero)
        if recording.hours is None:
            stated["hours"] = answer("hours", "What the hour meter shows", click.FloatRange(min=0))
        questions = _WHAT_ELSE | (_OF_SOUND if recording.kind == "sound" else {})
        open_ones: dict[str, Any] = {
            name: choice(name, question)
            for name, question in questions.items()
            if not getattr(recording.circumstances, name)
        }
        circumstances = replace(recording.circumstances, **open_ones)
        return replace(recording, circumstances=circumstances, **stated)

    return complete


class Questions:
    """Questions that may be left open: Enter skips one, the end of input (Ctrl-D) all that follow.

    Where there is nobody to ask, none is asked.
    """

    def __init__(self) -> None:
        self._open = is_terminal()

    def say(self, text: str) -> None:
        """Tell the person something, if there is one."""
        if self._open:
            click.echo(text)

    def ask(self, question: str, meaning: Callable[[str], Answer]) -> Answer | None:
        """Return what an answer means; asks again where `meaning` raises a VibetrendError."""

        def understood(text: str) -> Answer | None:
            try:
                return meaning(text.strip()) if text.strip() else None
            except VibetrendError as error:
                raise click.BadParameter(str(error)) from error

        if not self._open:
            return None
        try:
            answer: Answer | None = click.prompt(
                question, default="", show_default=False, value_proc=understood
            )
        except click.Abort as stopped:
            if not isinstance(stopped.__context__, EOFError):  # Ctrl-C: nothing is to be done
                raise
            self._open = False
            click.echo()
            return None
        return answer


def is_terminal() -> bool:
    """Say whether there is a person to ask."""
    return sys.stdin.isatty() and sys.stderr.isatty()
