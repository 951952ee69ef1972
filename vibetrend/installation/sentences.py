"""Readings of the record as plain sentences, with units and honest digits."""

import math

from vibetrend.installation.belts import Belt, BeltDrop
from vibetrend.installation.bolts import Bolt
from vibetrend.installation.comparing import Moved
from vibetrend.installation.digits import (
    about,
    as_written,
    decimals_told,
    first_digit,
    of_limit,
    told,
    told_beside,
    with_error,
    written_step,
)
from vibetrend.installation.judging import same_figure
from vibetrend.installation.marks import MARK_NAMES, Mark, MarkChange
from vibetrend.installation.reading import STAGE_WORDS, Reading, above_between_stations
from vibetrend.installation.runout import RunOut
from vibetrend.installation.viscous import CASING_NAMES, Casing, Fluid
from vibetrend.quantities import Quantity, ShownUnits, unit

UNKNOWN = "the maker's limit is not in the engine file"
AUTOMATIC = (
    "With an automatic tensioner a tension says nothing and is not judged: check that its arm "
    "stands between the stops."
)


def sentence(reading: Reading, shown: ShownUnits) -> str:
    """Return a reading in plain sentences: where it stands, then what else is to be known.

    Parameters
    ----------
    shown : ShownUnits
        The units wanted; what is kept stays as it was read.
    """
    if reading.quantity is None:
        said = _without_quantity(reading)
    else:
        value, stands = _stands(reading, reading.quantity, shown)
        said = [f"{_subject(reading, value)}{stands}."]
        if reading.state == "information":
            said.append(AUTOMATIC)
        said += _more(reading, shown)
    if reading.limit_added_later and reading.state != "information":
        said.append("The limit was written into the engine file after the damper was fitted.")
    return " ".join(said)


def _subject(reading: Reading, value: str) -> str:
    """Return what was read and its value, e.g. ``Rim run-out is 0.11 mm (TIR, 4 stations)``."""
    match reading.details:
        case RunOut() as found:
            lead, beside = f"{reading.name} run-out", f"TIR, {len(found.readings)} stations"
        case Bolt():
            lead = f"{reading.what} of {reading.name}"
            beside = "re-check" * (reading.stage == "re-check")
        case Belt() as belt:
            stage = STAGE_WORDS[belt.stage]
            lead, beside = f"tension of {reading.name} {stage}", f"by {belt.by}"
        case Mark() as mark:
            lead, beside = MARK_NAMES[mark.what], _way(mark)
        case Casing() as casing:
            lead, beside = CASING_NAMES[reading.what], f"{len(casing.thicknesses)} points"
        case Fluid() as fluid:
            hours = fluid.hours_on_fluid
            lead, beside = "viscosity loss", "" if hours is None else f"fluid run {hours:.0f} h"
    return f"{_capital(lead)} is {value}{f' ({beside})' * bool(beside)}"


def _way(mark: Mark) -> str:
    if mark.what == "face-wobble":
        return "TIR"
    if mark.what == "index-offset" and mark.value.value:
        return f"ring {'ahead' if mark.value.value > 0 else 'behind'} in rotation"
    return "the rubber stands out" if mark.value.value < 0 else ""


def _stands(reading: Reading, quantity: Quantity, shown: ShownUnits) -> tuple[str, str]:
    """Return a reading's value, and where it stands against its limit, which stands written."""
    limit, value = reading.limit, told(quantity, shown, step(reading))
    if reading.state == "information":
        return value, ", noted for information"
    if limit is None:
        return value, f"; {UNKNOWN}"
    source = f"{' TIR' * (reading.kind == 'runout')} ({limit.source})"
    ends = [end for end in (limit.low, limit.high) if end is not None]
    if not ends and limit.value is not None and reading.state == "within":
        return value, f", reaching the maker's {of_limit([limit.value], limit, shown)}{source}"
    if not ends and limit.value is not None:
        ends = [limit.value]
    read = quantity.to(unit(limit.unit)).value
    nearest = min(ends, key=lambda end: abs(end - read))
    if reading.state == "within" and same_figure(quantity, nearest, limit):
        text = as_written(Quantity(nearest, unit(limit.unit)))
        return value, f", the same figure as the maker's {text}{source}, so within it"
    judged_by = ends if reading.state == "within" else [nearest]
    value, text = told_beside(quantity, step(reading), judged_by, limit, shown)
    text = f"the maker's {text}{source}"
    match reading.state:
        case "beyond":
            return value, f", {reading.side} {text}"
        case "at-limit" if reading.side:
            return value, f", {reading.side} {text}, but by less than {_doubt(reading)} can tell"
        case "at-limit" if above_between_stations(reading.details, limit):
            return value, (
                f", and twice the eccentricity lies above {text}: the stations may have missed "
                f"it, so read more of them"
            )
        case "at-limit":
            return value, f", too close to {text} for {_doubt(reading)} to tell"
    return value, f", {'not below' if limit.high is None else 'within'} {text}"


def _doubt(reading: Reading) -> str:
    """Name the error that leaves a reading too near to its limit to tell."""
    if isinstance(reading.details, RunOut) and reading.details.closing_error:
        # The error is that of the closing reading where this says more than the division does.
        error, division = reading.standard_error, reading.resolution
        if error is not None and (division is None or 2 * error.si > division.si):
            return "the closing error"
    return "the error of reading" if reading.resolution is None else "the instrument's resolution"


def step(reading: Reading) -> Quantity | None:
    """Return the step that the number held against the limit is known to; None: as written."""
    if reading.resolution is not None:
        return reading.resolution
    if isinstance(reading.details, RunOut):
        return _read_to(reading.details)
    if reading.quantity and isinstance(reading.details, Belt) and reading.details.by == "frequency":
        if reading.standard_error is not None:
            return first_digit(reading.standard_error)
        return first_digit(Quantity(0.01 * reading.quantity.value, reading.quantity.unit))
    return None


def _more(reading: Reading, shown: ShownUnits) -> list[str]:
    match reading.details:
        case RunOut() as found:
            return runout_sentences(found, shown)
        case Bolt() as bolt if reading.what == "torque":
            return _of_bolt(bolt, shown)
        case Belt() as belt:
            return _of_belt(belt, shown)
        case Mark() as mark if mark.what == "face-wobble" and not mark.end_play_held:
            return ["The crank's end play was not noted as held: it can pass for wobble."]
        case Fluid() as fluid:
            return _of_fluid(fluid)
        case _:
            return []


def runout_sentences(found: RunOut, shown: ShownUnits) -> list[str]:
    """Return what run-out readings say beside their TIR: eccentricity, form, tilt, doubts."""
    length = unit(found.unit)
    error = found.eccentricity_standard_error
    size, high = (
        _of(found, found.eccentricity, shown),
        f"high side at {found.angle_deg:.0f}° from the mark",
    )
    if math.isnan(error):
        said = f"Eccentricity {size}, its error not known"
        said += f"; {high}" if found.eccentricity else ""
    else:
        size = with_error(Quantity(found.eccentricity, length), Quantity(error, length), shown)
        said = f"Eccentricity {size}"
        if found.is_eccentric:
            around = f"± {found.angle_standard_error_deg:.0f}°"
            said += f", {high} ({around}{' at least' * math.isnan(found.form)})"
        elif found.eccentricity < 2 * error:
            said += ", which cannot be told from none"
        else:
            said += f", which {len(found.readings)} stations cannot tell from none for certain"
    if not math.isnan(found.form):
        said += f"; form {_of(found, found.form, shown)}"
    if found.closing_error is not None:
        said += f"; closing error {_of(found, found.closing_error, shown)}"
    sentences = [f"{said}."]
    if found.tilt_mrad is not None:
        sentences.append(
            f"The face is tilted by {found.tilt_mrad:.2g} mrad ({found.tilt_deg:.2g}°)."
        )
    return [*sentences, found.missed.sentence, *found.remarks]


def _of(found: RunOut, value: float, shown: ShownUnits) -> str:
    """Return a length of a run-out to the step it was read to."""
    return told(Quantity(value, unit(found.unit)), shown, _read_to(found))


def _read_to(found: RunOut) -> Quantity:
    return Quantity(found.resolution or written_step(found.readings), unit(found.unit))


def _of_bolt(bolt: Bolt, shown: ShownUnits) -> list[str]:
    known = {True: "new", False: "used again", None: "new or used again: not noted"}
    facts = [known[bolt.new]]
    if bolt.treatment:
        facts.append(bolt.treatment)
    if bolt.sequence is not None:
        facts.append(f"number {bolt.sequence} in the sequence")
    if len(bolt.stages) > 1:
        facts.append(f"stages {', '.join(told(each, shown) for each in bolt.stages)}")
    return [f"{_capital('; '.join(facts))}.", *bolt.remarks]


def _of_belt(belt: Belt, shown: ShownUnits) -> list[str]:
    said = []
    if belt.frequency_hz is not None and belt.span is not None and belt.mass_per_length is not None:
        said.append(
            f"From {belt.frequency_hz:g} Hz on a span of {as_written(belt.span)} and "
            f"{as_written(belt.mass_per_length)}."
        )
        lacking = [each for each in ("frequency", "span", "mass") if each not in belt.error_from]
        if lacking:
            said.append(f"The error of {_and(lacking)} is not known and not counted.")
    if belt.standard_error is not None:
        error = shown.of(belt.standard_error)
        text = told(error, shown, first_digit(error))
        said.append(f"Standard error {text}, from {_and(belt.error_from)}.")
    return said


def _of_fluid(fluid: Fluid) -> list[str]:
    if not fluid.result:
        return []
    laboratory = f" of {fluid.laboratory}" if fluid.laboratory else ""
    return [f"Result{laboratory}: {fluid.result.rstrip('.')}."]


def _without_quantity(reading: Reading) -> list[str]:
    if isinstance(reading.details, Fluid):
        return _of_fluid(reading.details)
    return [f"No tension of {reading.name} was read.", AUTOMATIC]


def drop_sentence(drop: BeltDrop, shown: ShownUnits) -> str:
    """Return how a belt's tension fell while it ran in, and whether that is to be expected."""
    kept = f"{100 * drop.ratio:.0f} %"
    if drop.standard_error > 0:
        error = Quantity(100 * drop.standard_error, unit("%"))
        kept = with_error(Quantity(100 * drop.ratio, unit("%")), error, shown)
    said = (
        f"Run in, belt {drop.belt} kept {kept} of its tension when new, "
        f"{about(drop.run_in, shown)} of {about(drop.new, shown)}"
    )
    if drop.state == "information":
        return (
            f"After run-in belt {drop.belt} shows more tension than when new, "
            f"{about(drop.run_in, shown)} against {about(drop.new, shown)}. A belt gains none by "
            f"running in: it was tightened again in between, or a reading, span or unit is wrong. "
            f"How far it dropped cannot be told."
        )
    if drop.least is None:
        return (
            f"{said}; to say whether that is to be expected, the maker's figures for both, new and "
            f"after run-in, are needed."
        )
    least = f"{100 * drop.least:.0f} %"
    match drop.state:
        case "beyond":
            return (
                f"{said}, less than the {least} that the maker's two figures let expect: tighten "
                f"it again, and look at its length, its pulleys and their fastening."
            )
        case "at-limit":
            return f"{said}, too close to the {least} of the maker's two figures to tell."
        case _:
            return f"{said}, not less than the {least} that the maker's two figures let expect."


def moved_sentence(moved: Moved, shown: ShownUnits) -> str:
    """Return what moved between two sets of run-out readings, beyond reading error or not."""
    change, length = moved.change, unit(moved.change.unit)
    one, other = moved.sets
    far = Quantity(change.moved, length)
    if change.standard_error > 0:
        size = with_error(far, Quantity(change.standard_error, length), shown)
    else:
        size = told(far, shown, max((_read_to(one), _read_to(other)), key=lambda step: step.si))
    if moved.first.name.casefold() == moved.second.name.casefold():
        said = f"From {moved.first.date} to {moved.second.date} the {moved.name} moved by {size}"
    else:
        said = f"The middles of {moved.name} lie {size} apart"
    match change.beyond:
        case True:
            around = f"{change.angle_standard_error_deg:.0f}"
            said += (
                f" towards {change.angle_deg:.0f}° (± {around}°) from the mark: beyond what "
                f"reading error explains"
            )
        case False:
            said += ", no more than reading error explains"
        case None:
            said += "; whether reading error explains it cannot be told"
    tir = f"TIR {_of(one, one.tir, shown)} and {_of(other, other.tir, shown)}"
    form = ""
    if not math.isnan(change.form_change):
        form = f", form {_of(one, one.form, shown)} and {_of(other, other.form, shown)}"
    return " ".join([f"{said}. {tir}{form}.", *change.caveats])


def mark_change_sentence(change: MarkChange, shown: ShownUnits) -> str:
    """Return how far a mark's measurement moved since it was first taken."""
    ends = f"from {told(change.first, shown)} to {told(change.latest, shown)}"
    by = Quantity(abs(change.change.value), change.change.unit)
    moved = told(by, shown, _last_digit(change, shown))
    said = f"{_capital(MARK_NAMES[change.what])}: {ends}, a change of {moved}"
    match change.beyond:
        case True:
            return f"{said}, more than the instruments' resolution explains."
        case False:
            return f"{said}, no more than the instruments' resolution explains."
        case None:
            return f"{said}; the instruments' resolution is not noted."


def _last_digit(change: MarkChange, shown: ShownUnits) -> Quantity:
    """Return the place of the last digit that both values are shown with; a 0 tells none."""
    told_by = [q for q in (change.first, change.latest) if q.value] or [change.first]
    places = min(decimals_told(q, shown) for q in told_by)
    return Quantity(10.0**-places, shown.of(change.first).unit)


def _and(names: "list[str] | tuple[str, ...]") -> str:
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
