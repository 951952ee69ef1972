"""Lines that give each value its name.

Expected values are those that were written.
"""

from collections.abc import Callable
from pathlib import Path

import pytest
from written_tables import ROWS, SAMPLES, TIMES, assert_same, written

from vibetrend.errors import ReadError
from vibetrend.ingest import read

FORMS: dict[str, Callable[[str, str, str, str], str]] = {
    "equals": lambda t, x, y, z: f"t={t} x={x} y={y} z={z}",
    "colons": lambda t, x, y, z: f"t: {t}, x: {x}, y: {y}, z: {z}",
    "tabs": lambda t, x, y, z: f"t:{t}\tx:{x}\ty:{y}\tz:{z}",
    "units in names": lambda t, x, y, z: f"t[s]={t};x[m/s^2]={x};y[m/s^2]={y};z[m/s^2]={z}",
    "time last": lambda t, x, y, z: f"x = {x} | y = {y} | z = {z} | t = {t}",
    "objects": lambda t, x, y, z: f'{{"t": {t}, "x": {x}, "y": {y}, "z": {z}}}',
}


def lines(form: Callable[[str, str, str, str], str]) -> list[str]:
    return [form(f"{TIMES[i]:.4f}", *(f"{v:.4f}" for v in SAMPLES[i])) for i in range(ROWS)]


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_names_and_values_in_each_line(form: str, end: str, tmp_path: Path) -> None:
    text = end.join(["sensor ready", *lines(FORMS[form]), ""])
    assert_same(read(written(tmp_path, text)))


def test_decimal_commas_and_lines_of_other_names(tmp_path: Path) -> None:
    """A line with its names in another order must not be taken for one like the others."""
    given = [line.replace(".", ",") for line in lines(FORMS["equals"])]
    given[20:20] = ["y=9,0 x=9,0 z=9,0 t=0,1", "free memory: 1804", "x=1,0"]
    recording = read(written(tmp_path, "\n".join([*given, ""])))
    assert_same(recording)
    assert [note.message for note in recording.notes if note.code == "rows-dropped"] == [
        "3 lines without samples left out"
    ]


def test_a_missing_value(tmp_path: Path) -> None:
    given = lines(FORMS["equals"])
    given[20] = given[20].split(" z=")[0] + " z=nan"
    recording = read(written(tmp_path, "\n".join([*given, ""])))
    assert recording.count == ROWS - 1


def test_a_location_among_them_is_refused(tmp_path: Path) -> None:
    """The kept copy could not leave it out."""
    given = [f"{line} lat=54.3213" for line in lines(FORMS["equals"])]
    with pytest.raises(ReadError, match="holds a location in lines"):
        read(written(tmp_path, "\n".join([*given, ""])))


def test_more_names_than_two_digits_count(tmp_path: Path) -> None:
    names = [f"v{chr(97 + i // 26)}{chr(97 + i % 26)}" for i in range(120)]
    given = [
        " ".join([f"t={i / 100:.2f}", *(f"{name}={i % 7}.{j}" for j, name in enumerate(names))])
        for i in range(50)
    ]
    recording = read(written(tmp_path, "\n".join([*given, ""])), columns=["veo"], kind="other")
    assert recording.samples is not None
    assert recording.samples[:3, 0].tolist() == [0.118, 1.118, 2.118]


def test_names_are_not_given_to_a_table_below(tmp_path: Path) -> None:
    below = [f"{i / 100:.2f},acc,{i % 7}.5,2.5,{i % 5}.25" for i in range(120)]
    given = [*lines(FORMS["equals"]), *lines(FORMS["equals"]), *lines(FORMS["equals"]), *below]
    recording = read(written(tmp_path, "\n".join([*given, ""])))
    assert (recording.count, len(recording.axes)) == (120, 3)
    assert recording.samples is not None
    assert recording.samples[:2].tolist() == [[0.5, 2.5, 0.25], [1.5, 2.5, 1.25]]
