"""What the commands print for people: recordings as aligned plain text."""

from collections.abc import Hashable, Sequence
from typing import TYPE_CHECKING, Any

from vibetrend.cli.terminal import columns, plain, toned, wrapped
from vibetrend.cli.text_charts import bar
from vibetrend.quantities import Quantity, ShownUnits, Unit, unit
from vibetrend.recording import Note

if TYPE_CHECKING:  # only the types: `status` prints without anything to read or measure with
    import pandas as pd

    from vibetrend.checkup.adding import Added
    from vibetrend.orders import Measurement
    from vibetrend.recording import Recording

_MM_S = unit("mm/s")
_AS_KEPT = ShownUnits()
_MOST_OTHERS = 6
_SEVERITIES = {"unusable": "UNUSABLE", "warning": "WARNING", "note": "note"}  # worst first
_ALWAYS = ("order", "Hz", "rms", "±")
_SMALLEST_BAR, _LARGEST_BAR = 4, 20  # columns
_NAME = 20  # columns that what a line belongs to needs beside its numbers


def measurement_words(measurement: "Measurement", shown: ShownUnits = _AS_KEPT) -> str:
    """Return speed, lines and doubts of one recording, velocities in the unit shown."""
    speed, orders, others = measurement.speed, measurement.orders, measurement.others
    table = _Table(orders, shown.velocity)
    lines = [
        *wrapped(what_was_recorded(measurement.recording)),
        *wrapped(
            f"speed {speed.rpm:.0f} rpm as stated, not found in the recording"
            if speed.method == "tag"
            else f"speed {speed.rpm:.2f} rpm ± {speed.standard_error_rpm:.2g} "
            f"(wander {speed.spread_percent:.2f} %), from {speed.method}"
        ),
        "",
        table.head(),
        *(table.line(row) for row in orders[orders["visible"]].to_dict(orient="records")),
    ]
    for title, found in (("driven parts", measurement.driven), ("other lines", others)):
        listed = found[found["visible"].astype(bool)].head(_MOST_OTHERS)
        if len(listed):
            lines += ["", title]
            lines += [
                line for row in listed.to_dict(orient="records") for line in table.named_line(row)
            ]
    lines += ["", *wrapped("±: one standard error, of the mean of what varies")]
    lines += wrapped(table.about_bars())
    for reason, rows in orders[~orders["visible"]].groupby("reason"):
        lines += wrapped(f"not visible: {', '.join(f'{k:g}' for k in rows['order'])} ({reason})")
    if measurement.phase_reference is not None and "phase" in table.shown:
        lines += wrapped(
            f"phase: degrees of its own cycle after {measurement.phase_reference}, and after how "
            f"many degrees it repeats"
        )
    lines += wrapped(table.left_out())
    lines += notes_words(measurement.quality)
    return "\n".join([*lines, ""])


def what_was_recorded(recording: "Recording") -> str:
    """Return a recording's name, kind and size."""
    name = recording.source.path if recording.source else "recording"
    if recording.samples is None:
        return f"{name}: tooth times, {recording.duration_s:.1f} s"
    return (
        f"{name}: {recording.kind}, {recording.duration_s:.1f} s, "
        f"{len(recording.axes)} x {recording.mean_rate_hz:.0f} samples per second"
    )


class _Table:
    """The lines of a recording; what a narrow terminal has no room for is left out and said."""

    def __init__(self, orders: "pd.DataFrame", velocity: Unit) -> None:
        self.velocity = velocity
        self.strongest = float(orders.loc[orders["visible"].astype(bool), "amplitude"].max())
        rms = f"rms {orders['unit'].iloc[0]}"
        # Column: its head and how wide it is. The first four are never left out.
        self._columns = {"order": ("order", 6), "Hz": ("Hz", 7), "rms": (rms, max(10, len(rms)))}
        self._columns |= {"±": ("±", 8), "varies": ("varies", 7), "velocity": (velocity.name, 8)}
        self._columns |= {"phase": ("phase", 9)}
        room = columns() - sum(self._columns[each][1] + 1 for each in _ALWAYS)
        self.shown = set(_ALWAYS)
        for each in ("velocity", "varies", "phase"):
            needed = self._columns[each][1] + 1
            if room - needed >= _SMALLEST_BAR + 1:
                self.shown.add(each)
                room -= needed
        self.bar = min(room - 1, _LARGEST_BAR) if room > _SMALLEST_BAR else 0

    def head(self) -> str:
        return self._joined({name: head for name, (head, _) in self._columns.items()})

    def line(self, row: dict[Hashable, Any]) -> str:
        """Return one order's numbers and its bar."""
        phase, repeats = row["phase_deg"], row["phase_repeats_deg"]
        angle = "–" if phase != phase else f"{round(phase) % round(repeats):5d}/{repeats:.0f}"
        speed = Quantity(row["velocity_mm_s"], _MM_S).to(self.velocity).value
        more = {
            "varies": f"{_or_dash(row['variation_percent'], '.0f')} %",
            "velocity": _or_dash(speed, ".3g"),
            "phase": angle,
        }
        return f"{self._joined(_numbers(row) | more)} {bar(self._share(row), self.bar)}".rstrip()

    def named_line(self, row: dict[Hashable, Any]) -> list[str]:
        """Return the numbers of a line that is no order, and what it belongs to."""
        follows = {"crank": "follows the crank", "clock": "does not follow the crank"}
        unsure = "too steady to tell what it follows"
        name = str(row["name"] or follows.get(str(row.get("follows")), unsure))
        numbers = self._joined(_numbers(row))
        if columns() - len(numbers) < _NAME:
            return [numbers, *wrapped(name, indent=" " * 9, hanging=" " * 9)]
        return wrapped(name, indent=f"{numbers}  ", hanging=" " * (len(numbers) + 2))

    def about_bars(self) -> str:
        return "bar: the rms, linear; the strongest order's is full" if self.bar else ""

    def left_out(self) -> str:
        """Return which columns a wider terminal would show."""
        missing = [head for name, (head, _) in self._columns.items() if name not in self.shown]
        if not missing:
            return ""
        return f"left out, for want of room: {', '.join(missing)}; a wider terminal shows it"

    def _joined(self, cells: dict[str, str]) -> str:
        return " ".join(
            f"{plain(cells[name]):>{wide}}"
            for name, (_, wide) in self._columns.items()
            if name in self.shown and name in cells
        )

    def _share(self, row: dict[Hashable, Any]) -> float:
        return float(row["amplitude"]) / self.strongest if self.strongest > 0 else 0.0


def _numbers(row: dict[Hashable, Any]) -> dict[str, str]:
    return {
        "order": f"{row['order']:.4g}",
        "Hz": f"{row['frequency_hz']:.2f}",
        "rms": f"{row['amplitude']:.4g}",
        "±": f"{row['standard_error']:.2g}",
    }


def _or_dash(number: float, form: str) -> str:
    return f"{number:{form}}" if number == number else "–"


def added_words(added: "Added") -> str:
    """Return one line for a recording kept, and its doubts."""
    from vibetrend.logbook.hours import in_words

    kept = added.kept
    if added.measurement is None:
        lines = [
            *wrapped(
                f"{added.path}: in the logbook already as {kept.id} ({kept.date}, "
                f"{in_words(kept.hours, kept.meter_hours)}); nothing changed"
            ),
            *wrapped(added.remark, indent="  ", hanging="  "),
        ]
        return "\n".join(lines)
    lines = wrapped(f"{added.path}: kept as {kept.id}, {ran_words(added.measurement)}")
    doubts = [note for note in added.measurement.quality if note.severity != "note"]
    return "\n".join([*lines, *notes_words(doubts)])


def ran_words(measurement: "Measurement") -> str:
    """Return the speed measured; of a sweep, where it began and ended."""
    manner, swept = measurement.recording.manner, measurement.speed.swept
    if manner == "steady":
        return f"{measurement.speed.rpm:.1f} rpm"
    if swept is None:
        return f"{manner} without a speed"
    return f"{manner} from {swept.start_rpm:.0f} to {swept.end_rpm:.0f} rpm"


def notes_words(notes: Sequence[Note]) -> list[str]:
    """Return doubts about a recording, the worst first."""
    lines = []
    for note in sorted(notes, key=lambda each: list(_SEVERITIES).index(each.severity)):
        word = _SEVERITIES[note.severity]
        told = wrapped(f"{word} ({note.code}): {note.message}", indent="  ")
        lines += toned(told, word, note.severity)
    return lines
