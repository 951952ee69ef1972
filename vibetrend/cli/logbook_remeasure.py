"""``vibetrend logbook remeasure``: measure everything again by the method as it is now."""

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vibetrend.cli.options import json_option, logbook_option, opened, print_json
from vibetrend.cli.terminal import (
    cell,
    cleared,
    columns,
    complain,
    following,
    tell,
    toned,
    wrapped,
)

if TYPE_CHECKING:
    from vibetrend.checkup.remeasuring import Outcome
    from vibetrend.checkup.what_changed import Judged, Rejudged, Remeasured

_SMALLEST = 0.01  # dB or rpm that is shown
_WIDE = {"recording": 10, "date": 10, "rpm": 9, "rpm now": 9}


@click.command()
@click.option("--engine", "name", help="Only this engine.  [default: all]")
@click.option("--all", "every", is_flag=True, help="Also what this version has measured.")
@click.option("--dry-run", is_flag=True, help="Show what it would come to, keep nothing.")
@logbook_option
@json_option
@click.pass_context
def remeasure(
    ctx: click.Context,
    /,
    name: str | None,
    every: bool,
    dry_run: bool,
    logbook: Path | None,
    as_json: bool,
) -> None:
    """Measure recordings again from their originals and show what changed.

    Only those that an earlier version of the method measured: then all of a series is comparable
    again. Each is kept as soon as it is measured, so whatever stops this, the same command goes on
    from there (with --all it begins anew). Older results and verdicts stay in the logbook beside
    the new ones.

    Exit code 1 where a recording could not be measured again; it keeps its older result.

    \b
    Example: vibetrend logbook remeasure --dry-run
    """
    from vibetrend.checkup.remeasuring import remeasure

    try:
        with opened(logbook, make=False) as book:
            outcome = remeasure(
                book,
                engine_name=name,
                every=every,
                dry_run=dry_run,
                today=dt.date.today(),
                follow=lambda found: following(
                    found, "measuring again", lambda each: each.name, quiet=as_json
                ),
            )
    except KeyboardInterrupt:
        cleared()
        tell(_stopped(every=every, dry_run=dry_run), err=True)
        raise
    for each in outcome.left:
        complain(each.why)
    if as_json:
        print_json(outcome.to_dict())
    else:
        click.echo("\n".join(_words(outcome)))
    ctx.exit(1 if outcome.left else 0)


def _stopped(*, every: bool, dry_run: bool) -> str:
    if dry_run:
        return "Stopped; nothing was kept."
    goes_on = "with --all, the same command begins anew" if every else "the same command goes on"
    return f"Stopped. What was measured again until now is kept; {goes_on}."


def _words(outcome: "Outcome") -> list[str]:
    from vibetrend.report.words import count

    left = len(outcome.left)
    if not outcome.recordings and not left:
        return wrapped(
            f"Nothing to do: every recording was measured by this version "
            f"(method {outcome.method_version})."
        )
    verb = "Measured again" if outcome.kept else "Would be measured again"
    found = count(len(outcome.recordings), "recording")
    lines = wrapped(f"{verb}, by method {outcome.method_version}: {found}.")
    others = [each for each in outcome.recordings if not _same(each)]
    if others:
        lines += ["", *_table(others), ""]
    if same := len(outcome.recordings) - len(others):
        lines += wrapped(
            f"In {same} of them no order changed by {_SMALLEST} dB, the speed not by "
            f"{_SMALLEST} rpm, and nothing else."
        )
    if left:
        lines += wrapped(
            f"{count(left, 'recording')} could not be measured again and "
            f"{'keep' if left > 1 else 'keeps'} the older result; why is told above."
        )
    for one in outcome.series:
        lines += ["", *_judged(one)]
    lines.append("")
    if outcome.kept:
        return lines + wrapped("Older results and verdicts stay in the logbook beside the new.")
    return lines + wrapped("Nothing was kept. To keep it, the same command without --dry-run.")


def _table(changed: "Sequence[Remeasured]") -> list[str]:
    shown = list(_WIDE) if columns() >= 60 else ["recording"]
    lines = [_row(shown, {each: each for each in _WIDE}, "most changed")]
    for one in changed:
        lines.append(
            _row(
                shown,
                {
                    "recording": one.recording,
                    "date": one.date.isoformat(),
                    "rpm": _rpm(one.before.speed_rpm),
                    "rpm now": _rpm(one.after.speed_rpm),
                },
                _most(one.order, one.change_db),
            )
        )
        for said in _beside(one):
            lines += wrapped(said, indent="    ", hanging="      ")
    return lines


def _row(shown: "Sequence[str]", texts: dict[str, str], last: str) -> str:
    cells = [cell(texts[each], _WIDE[each], ">" if "rpm" in each else "<") for each in shown]
    return "  ".join([*cells, last])


def _beside(one: "Remeasured") -> list[str]:
    """Return what else changed in a recording."""
    said = []
    for orders, words in ((one.newly_visible, "seen now"), (one.newly_hidden, "no longer seen")):
        if orders:
            said.append(f"{words}: order {', '.join(f'{order:g}' for order in orders)}")
    for codes, words in ((one.gained, "doubted now"), (one.lost, "no longer doubted")):
        if codes:
            said.append(f"{words}: {', '.join(codes)}")
    if one.before.unusable != one.after.unusable:
        said.append("cannot be used now" if one.after.unusable else "can be used now")
    return said


def _judged(one: "Rejudged") -> list[str]:
    from vibetrend.report.isolating import isolated
    from vibetrend.report.words import STATE_WORDS, fixed, series_name

    was, now = one.before, one.after
    name = f"{isolated(one.engine)}, {series_name(one.info)}"
    lines = wrapped(f"{name}{', ended' if one.ended else ''}:")
    for when, each in (("before", was), ("now", now)):
        words = STATE_WORDS[each.state].lower()
        lines += toned(wrapped(f"{when}: {words} ({_by(each)})", indent="  "), words, each.state)
    if was.change_db is None or now.change_db is None:
        return lines
    if abs(now.change_db - was.change_db) < _SMALLEST:
        said = f"no change against the baseline differs by {_SMALLEST} dB"
    else:
        before, after = (fixed(each, 2, sign=True) for each in (was.change_db, now.change_db))
        said = f"against the baseline, {one.called} differs most: {before} dB, now {after} dB"
    return lines + wrapped(said, indent="  ")


def _by(judged: "Judged") -> str:
    return f"method {' and '.join(map(str, judged.methods))}"


def _same(one: "Remeasured") -> bool:
    """Say whether nothing changed that is shown."""
    before, after = one.before.speed_rpm, one.after.speed_rpm
    if (before is None) is not (after is None):
        return False
    speed, level = abs((after or 0.0) - (before or 0.0)), abs(one.change_db or 0.0)
    return max(speed, level) < _SMALLEST and not _beside(one)


def _rpm(rpm: float | None) -> str:
    return "not found" if rpm is None else f"{rpm:.2f}"


def _most(order: float | None, change_db: float | None) -> str:
    from vibetrend.report.words import fixed

    if order is None or change_db is None:
        return "no order"
    return f"order {order:g}: {fixed(change_db, 2, sign=True)} dB"
