"""Engine files: what they describe, and errors that name key and line."""

from pathlib import Path

import pytest

from vibetrend.engine import Engine
from vibetrend.errors import EngineError

# The engine of design.md, section 4.
FILE = """\
name = "main"
cylinders = 6
strokes = 4
firing_order = [1, 5, 3, 6, 2, 4]
layout = "inline"            # or "vee", with bank_angle_deg
fast_idle_rpm = 1000
rated_rpm = 2600
[[driven]]
name = "alternator"
ratio = 2.2                  # turns per turn of the crank; belts creep 1 to 2 %
[[driven]]
name = "pump"
ratio = 1.3
[damper]
type = "rubber"
renew_hours = 4000
renew_years = 6
"""


def test_the_file_of_the_contract() -> None:
    engine = Engine.parse(FILE)
    assert (engine.name, engine.cylinders, engine.strokes) == ("main", 6, 4)
    assert engine.firing_order == (1, 5, 3, 6, 2, 4)
    assert (engine.fast_idle_rpm, engine.rated_rpm) == (1000, 2600)
    assert [(part.name, part.ratio) for part in engine.driven] == [
        ("alternator", 2.2),
        ("pump", 1.3),
    ]
    assert (engine.damper.type, engine.damper.renew_hours, engine.damper.renew_years) == (
        "rubber",
        4000,
        6,
    )


def test_a_name_and_cylinders_are_enough() -> None:
    engine = Engine.parse('name = "main"\ncylinders = 4')
    assert (engine.strokes, engine.driven, engine.damper.type) == (4, (), "unknown")
    assert (engine.damper.renew_hours, engine.damper.renew_years) == (None, None)


@pytest.mark.parametrize(
    ("cylinders", "strokes", "order"),
    [(1, 4, 0.5), (3, 4, 1.5), (4, 4, 2), (5, 4, 2.5), (6, 4, 3), (8, 4, 4), (3, 2, 3), (6, 2, 6)],
)
def test_firing_order(cylinders: int, strokes: int, order: float) -> None:
    """design.md, section 2: cylinders / 2 for a four-stroke, cylinders for a two-stroke."""
    engine = Engine.parse(f'name = "e"\ncylinders = {cylinders}\nstrokes = {strokes}')
    assert engine.firing_order_number == order


def test_load_reads_a_file_and_names_it(tmp_path: Path) -> None:
    path = tmp_path / "engine.toml"
    path.write_text(FILE.replace("cylinders = 6", "cylinders = 60"), encoding="utf-8")
    with pytest.raises(EngineError, match=r"engine\.toml: line 2: cylinders is 60: ") as said:
        Engine.load(str(path))
    assert str(said.value).startswith(str(path))
    path.write_bytes(FILE.replace("\n", "\r\n").encode())
    assert Engine.load(path) == Engine.parse(FILE)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('name = "main"', 'name = ""', r"line 1: name is ''"),
        ("cylinders = 6", "cylinders = 0", r"line 2: cylinders is 0: must be 1 or more"),
        ("cylinders = 6", 'cylinders = "six"', r"line 2: cylinders is 'six'"),
        ("cylinders = 6", "cylinders = 2.5", r"line 2: cylinders is 2\.5"),
        ("strokes = 4", "strokes = 3", r"line 3: strokes is 3: must be 2 or 4"),
        ('"inline" ', '"radial" ', r"line 5: layout is 'radial'"),
        ("fast_idle_rpm = 1000", "fast_idle_rpm = -1", r"line 6: fast_idle_rpm is -1"),
        ("rated_rpm = 2600", "rated_rpm = nan", r"line 7: rated_rpm is nan"),
        ("rated_rpm = 2600", "rated_rmp = 2600", r"line 7: rated_rmp .* did you mean rated_rpm\?"),
        ("rated_rpm = 2600", "colour = 1", r"line 7: colour is not a known key; known are name"),
        ("ratio = 2.2", "ratio = 0", r"line 10: driven part 1, ratio is 0"),
        ("ratio = 1.3", "ratio = inf", r"line 13: driven part 2, ratio is inf"),
        (
            "ratio = 1.3",
            "ratio = 1.3\nbelt = 1",
            r"line 14: driven part 2, belt .* known are name, rat",
        ),
        ('type = "rubber"', 'type = "magic"', r"line 15: damper\.type is 'magic'"),
        ("renew_hours = 4000", "renew_hours = 0", r"line 16: damper\.renew_hours is 0"),
        ("renew_years = 6", "renew_year = 6", r"line 17: .* did you mean renew_years\?"),
        ('name = "main"\n', "", r"name is missing; add it"),
        ("ratio = 1.3\n", "", r"line 11: driven part 2, ratio is missing; add it, or"),
        ("cylinders = 6", "cylinders = ", r"not valid TOML: .*line 2, column .*; correct that"),
        (
            "2, 4]",
            "2, 2]",
            r"line 4: firing_order \[1, 5, 3, 6, 2, 2\] must name each cylinder from 1 to 6",
        ),
        ("cylinders = 6", "cylinders = 5", r"firing_order \[1, 5, .* from 1 to 5 exactly once"),
        ('layout = "inline" ', 'layout = "vee" ', r"line 5: layout 'vee' needs bank_angle_deg"),
        ('name = "pump"', 'name = "alternator"', r"line 12: two driven parts have the same name"),
    ],
)
def test_faults_are_named_by_key_and_line(old: str, new: str, said: str) -> None:
    assert FILE.count(old) == 1, "the fault must go in where the line number says"
    with pytest.raises(EngineError, match=said):
        Engine.parse(FILE.replace(old, new))


@pytest.mark.parametrize("value", ["true", '"3"', "0.001", "0.99", "60.5", "nan", "inf"])
def test_a_limit_is_a_number_of_db_that_can_be_meant(value: str) -> None:
    with pytest.raises(EngineError, match=r"^engine file: line 3: limit_db is .*: must be "):
        Engine.parse(f'name = "e"\ncylinders = 4\nlimit_db = {value}')


@pytest.mark.parametrize("value", ["true", '"0.4"', "0", "1e9", "nan"])
def test_a_small_velocity_is_a_number_that_can_be_meant(value: str) -> None:
    with pytest.raises(EngineError, match=r"line 3: small_velocity_mm_s is .*: must be "):
        Engine.parse(f'name = "e"\ncylinders = 4\nsmall_velocity_mm_s = {value}')


def test_what_matters_may_be_a_whole_number() -> None:
    text = 'name = "e"\ncylinders = 4\nlimit_db = 3\nsmall_velocity_mm_s = 1000'
    engine = Engine.parse(text)
    assert (engine.limit_db, engine.small_velocity_mm_s) == (3, 1000)


def test_every_fault_is_told_at_once() -> None:
    text = FILE.replace("strokes = 4", "strokes = 5").replace("ratio = 1.3", "ratio = -1.3")
    with pytest.raises(EngineError, match=r"line 3: strokes .*; line 13: driven part 2, ratio"):
        Engine.parse(text)


def test_lines_are_counted_in_the_right_table() -> None:
    """`name` stands in three tables; the wrong one must not be blamed."""
    text = FILE.replace('name = "pump"', "name = 5")
    with pytest.raises(EngineError, match=r"line 12: driven part 2, name is 5"):
        Engine.parse(text)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, r"cannot be read \(No such file or directory\); give the path of a TOML"),
        (b'name = "\xe9"', r"cannot be read \(it is not UTF-8 text\); give the path of a TOML"),
        (b"", r"name is missing; add it; cylinders is missing; add it"),
    ],
)
def test_files_that_are_none(tmp_path: Path, content: bytes | None, said: str) -> None:
    path = tmp_path / "engine.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(EngineError, match=said):
        Engine.load(path)


def test_a_folder_is_no_engine_file(tmp_path: Path) -> None:
    with pytest.raises(EngineError, match=r"the engine file cannot be read"):
        Engine.load(tmp_path)


def test_a_byte_order_mark_does_not_matter(tmp_path: Path) -> None:
    """Common editors of one platform write one, unasked, and nobody sees it."""
    path = tmp_path / "engine.toml"
    path.write_bytes(b"\xef\xbb\xbf" + FILE.encode())
    assert Engine.load(path) == Engine.parse(FILE)


@pytest.mark.parametrize("line", ["renew_years = 60000", "renew_hours = 1e300"])
def test_intervals_that_cannot_be_meant_are_refused(line: str) -> None:
    with pytest.raises(EngineError, match=r"line 4: damper\.renew_"):
        Engine.parse(f'name = "e"\ncylinders = 4\n[damper]\n{line}')


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("cylinders = 6", "cylinders = true"),
        ("cylinders = 6", 'cylinders = "6"'),
        ('name = "main"', 'name = "ma\\nin"'),  # would break every one-line message
        ('name = "main"', 'name = " "'),
    ],
)
def test_what_only_looks_right_is_refused(old: str, new: str) -> None:
    with pytest.raises(EngineError, match=r"line [12]: (cylinders|name) is "):
        Engine.parse(FILE.replace(old, new))
