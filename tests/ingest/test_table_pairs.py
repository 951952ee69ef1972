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
