"""Tables with faults in them: what can be read is read, the rest is said."""

from pathlib import Path

import numpy as np
import pytest
from written_layouts import LAYOUTS
from written_tables import ROWS, TIMES, assert_same, table, written

from vibetrend.errors import ReadError
from vibetrend.ingest import read


def test_fields_in_a_long_file_are_joined_block_by_block(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A small block makes many of one file, with a fault at every place of a block."""
    monkeypatch.setattr("vibetrend.ingest.table._BLOCK", 100)
    for layout in ("repeated header among epoch ns", "comments among rows", "French"):
        assert_same(read(written(tmp_path, LAYOUTS[layout])))
    lines = table().splitlines()
    lines[20] += "," + lines[21]
    del lines[21]
    recording = read(written(tmp_path, "\n".join(lines) + "\n"))
    assert recording.count == ROWS - 2
    assert "1 line without samples left out" in [note.message for note in recording.notes]


def test_a_quotation_mark_without_partner_costs_its_line_only(tmp_path: Path) -> None:
    lines = table(stamp=lambda i: f'"{TIMES[i]:.4f}"').splitlines()
    lines[30] = lines[30].replace('"', "", 1)
    recording = read(written(tmp_path, "\n".join(lines)))
    assert_same(recording)  # what is within it is plain enough
    lines[30] = f'"{lines[30]}'.replace(",", ",'", 1).replace("'", '"')  # opens, and never ends
    recording = read(written(tmp_path, "\n".join(lines)))
    assert recording.count == ROWS - 1
    assert "rows-dropped" in [note.code for note in recording.notes]


def test_a_cut_line_among_quotes(tmp_path: Path) -> None:
    text = table(stamp=lambda i: f'"{TIMES[i]:.4f}"', value=lambda v: f'"{v:.4f}"')
    for cut in (2, 5, 12, 20, 30):
        assert_same(read(written(tmp_path, text[:-cut])), slice(0, ROWS - 1))


def test_names_the_line_of_a_wrong_field(tmp_path: Path) -> None:
    lines = table(before="Logger 7\n\n").splitlines()
    lines[40] = lines[40].replace(",", ",bad", 1)
    with pytest.raises(ReadError, match=r"line 41, column 'ax \(m/s\^2\)' holds 'bad"):
        read(written(tmp_path, "\n".join(lines)))


def mutated(data: bytes, rng: np.random.Generator) -> bytes:
    """Damage a file: cut, repeat, swap, overwrite or insert some bytes."""
    damaged = bytearray(data)
    for _ in range(int(rng.integers(1, 6))):
        at, length = int(rng.integers(len(damaged) + 1)), int(rng.integers(1, 40))
        match int(rng.integers(6)):
            case 0:
                del damaged[at:]
            case 1:
                del damaged[at : at + length]
            case 2:
                damaged[at:at] = damaged[at : at + 10 * length]
            case 3:
                damaged[at : at + length] = rng.bytes(length)
            case 4:
                marks = b'",;\t\n\r \'.-+eE0nN\0|#"'
                damaged[at:at] = bytes(rng.choice(list(marks), size=length % 5 + 1).tolist())
            case _:
                damaged[at:at] = b"9" * length
    return bytes(damaged)


def test_damaged_tables_give_a_recording_or_a_plain_error(tmp_path: Path) -> None:
    rng = np.random.default_rng(20260501)
    sources = [text if isinstance(text, bytes) else text.encode() for text in LAYOUTS.values()]
    read_well, errors = 0, []
    for i in range(500):
        path = written(tmp_path, mutated(sources[i % len(sources)], rng))
        try:
            read_well += read(path).count >= 2
        except ReadError as error:
            errors.append(str(error).replace(str(path), ""))
    assert read_well + len(errors) == 500
    assert not [text for text in errors if "\n" in text or len(text) > 400]
    assert read_well > 200  # much damage costs a line or a field, not the recording


def test_a_remark_that_is_missing_for_long(tmp_path: Path) -> None:
    """A megabyte of rows without one, then some: blocks are parsed on their own."""
    rows = [f"{i / 1000:.3f},{i % 97 / 100:.2f}," for i in range(120_000)]
    rows[:300] = [row + "begun" for row in rows[:300]]
    rows[-300:] = [row + f"remark {i}" for i, row in enumerate(rows[-300:])]
    path = written(tmp_path, "\n".join(["t (s),x (g),remark", *rows, ""]))
    assert read(path).count == 120_000


def test_texts_as_many_as_rows(tmp_path: Path) -> None:
    rows = [f"{i / 1000:.3f},{i % 97 / 100:.2f},no {i}" for i in range(100_000)]
    path = written(tmp_path, "\n".join(["t (s),x (g),device", *rows, ""]))
    recording = read(path)
    assert (recording.count, recording.device) == (100_000, "")
