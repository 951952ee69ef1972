"""Questions put to a person at a terminal: what must be known, and once what else matters."""

import select
import sys
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

import click

from vibetrend.cli.terminal import cleared
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
        cleared()  # the questions get a line of their own
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
    """Questions to a person at a terminal; a few also to whoever pipes in the answers.

    Enter leaves one open, the end of input (Ctrl-D) all that follow. Where nobody answers, none is
    asked.
    """

    def __init__(self) -> None:
        self._at_terminal = is_terminal()
        self._over = not self._at_terminal and _input_is_over()

    def say(self, text: str) -> None:
        """Tell the person something, if there is one."""
        if self._at_terminal and not self._over:
            click.echo(text)

    def need(self, option: str, question: str, kind: click.ParamType[Any], default: str) -> Any:
        """Return the answer, or the default on Enter and where nobody answers; "" is none.

        Raises
        ------
        click.MissingParameter
            If nobody answers and there is no default.
        """
        answer = None
        if not self._over:
            answer = self._prompt(question, type=kind, default=default or None, show_choices=False)
        if answer is None and not default:
            raise click.MissingParameter(
                ctx=click.get_current_context(), param_hint=f"'{option}'", param_type="option"
            )
        return kind.convert(default, None, None) if answer is None else answer

    def may_skip(self) -> bool:
        """Say whether a person is there who may leave open what has to be stated otherwise."""
        return self._at_terminal

    def ask(self, question: str, meaning: Callable[[str], Answer]) -> Answer | None:
        """Return what an answer means; asks again where `meaning` raises a VibetrendError."""

        def understood(text: str) -> Answer | None:
            try:
                return meaning(text.strip()) if text.strip() else None
            except VibetrendError as error:
                raise click.BadParameter(str(error)) from error

        if self._over or not self._at_terminal:
            return None
        answer: Answer | None = self._prompt(
            question, default="", show_default=False, value_proc=understood
        )
        return answer

    def _prompt(self, question: str, **options: Any) -> Any:
        """Return the answer; None at the end of input, after which nothing is asked."""
        try:
            return click.prompt(question, **options)
        except click.Abort as stopped:
            if not isinstance(stopped.__context__, EOFError):  # Ctrl-C: nothing is to be done
                raise
            self._over = True
            click.echo()
            return None


def is_terminal() -> bool:
    """Say whether there is a person to ask."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()


def _input_is_over() -> bool:
    """Say whether no answer can come, as in a job without a terminal and without a pipe."""
    if sys.stdin is None:
        return True
    try:
        ready, _, _ = select.select([sys.stdin], [], [], 0)
        return bool(ready) and not sys.stdin.buffer.peek(1)  # type: ignore[union-attr]  # no peek: below
    except (AttributeError, OSError, ValueError):  # it cannot be told before it is read
        return False
