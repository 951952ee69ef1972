"""Mutated inputs end in acceptance or plain words; and the harness finds what does not.

The first 600 inputs of a fixed seed; `fuzz.py` beside this runs any number of them.
"""

import random
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

if sys.platform != "linux":
    pytest.skip("it watches by what Linux tells of a process", allow_module_level=True)

from campaign import Subject, Worker, campaign
from doors import of_boxes, of_chunks, of_gzip, of_matlab, of_ogg, of_parquet, of_png, of_zip
from doors_logbook import of_backup, of_database, of_export
from fuzz import run, shared
from mutation import Door, Mutator
from subjects import subjects

INPUTS, SEED = 600, 1
SUBJECTS = subjects()
SHARES = {each.target: inputs for each, inputs in shared(list(SUBJECTS.values()), INPUTS)}


# The inputs


@pytest.fixture(scope="module")
def worker() -> Iterator[Worker]:
    with Worker("targets") as one:
        yield one


@pytest.mark.parametrize("target", SUBJECTS)
def test_whatever_comes_is_taken_or_refused_in_words(target: str, worker: Worker) -> None:
    subject, inputs = SUBJECTS[target], SHARES[target]
    tally = campaign(subject, inputs=inputs, seed=SEED, worker=worker)
    assert [f"{each.kind}: {each.said}" for each in tally.failures.values()] == []
    assert tally.inputs == len(subject.seeds) + inputs
    assert tally.kinds["refused"] > 0
    assert tally.kinds["accepted"] > 0 or target == "playlist"


# The harness itself


@pytest.fixture(scope="module")
def planted() -> Iterator[Worker]:
    with Worker("planted", seconds=0.5, megabytes=70) as one:
        yield one


@pytest.mark.parametrize(
    ("target", "kind"),
    [
        ("misses a key", "raised"),
        ("warns", "raised"),
        ("runs for ever", "hung"),
        ("crashes", "crashed"),
        ("leaves", "crashed"),
        ("eats memory", "memory"),
        ("opens a socket", "reached out"),
        ("swallows that it opened a socket", "reached out"),
        ("calls the listening port", "reached out"),
        ("reads a file beside", "reached out"),
        ("runs a program", "reached out"),
        ("writes outside", "reached out"),
        ("removes outside", "reached out"),
        ("reads outside", "reached out"),
        ("writes through a link", "reached out"),
        ("fails in a thread", "raised aside"),
        ("fails while it is let go", "raised aside"),
        ("talks too much", "too many words"),
        ("says nothing", "says nothing"),
        ("obeys the file", "unprintable words"),
        ("refuses", "refused"),
        ("stays within", "accepted"),
    ],
)
def test_finds_what_was_planted(target: str, kind: str, planted: Worker) -> None:
    ended = planted.run(target, b"@PORT")
    assert ended.kind.startswith(kind), (ended.said, ended.detail)
    assert ended.failed == (kind not in ("refused", "accepted"))
    assert not Path("/dev/shm/fuzz-escaped").exists()


def test_finds_what_waits_for_ever() -> None:
    with Worker("planted", seconds=0.1) as worker:
        assert worker.run("waits for ever", b"").kind == "hung"
        assert worker.run("stays within", b"").kind == "accepted"  # another took its place


def test_the_command_prints_keeps_and_fails(
    planted: Worker, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    subjects = [Subject(name, (b"x",), Mutator()) for name in ("stays within", "misses a key")]
    assert run(subjects, planted, inputs=8, seed=SEED, keep=tmp_path / "found") == 1
    printed = capsys.readouterr().out.splitlines()
    assert [line.split()[-1] for line in printed[1:3]] == ["0", "1"]
    assert printed[3].startswith("10 inputs in ")
    assert "misses a key, 5 times: raised: KeyError at planted.py:_misses_a_key" in printed
    assert (tmp_path / "found" / "misses_a_key_1.bin").read_bytes() == b"x"
    assert run(subjects[:1], planted, inputs=2, seed=SEED) == 0


def test_the_same_seed_gives_the_same_inputs(worker: Worker) -> None:
    first, again, other = (
        campaign(SUBJECTS["engine"], inputs=60, seed=seed, worker=worker) for seed in (3, 3, 4)
    )
    assert first.refusals == again.refusals
    assert first.refusals != other.refusals
    assert first.lines == again.lines
    assert len(first.lines) > first.seed_lines  # some reached what no seed reaches


@pytest.mark.parametrize(
    ("door", "target", "as_it_was"),
    [
        (of_chunks, "sound", True),
        (of_ogg, "sound", True),
        (of_boxes, "container", True),
        (of_parquet, "parquet", True),
        (of_png, "photo", True),
        (of_matlab, "matlab", False),  # packed anew
        (of_zip, "archive", False),
        (of_gzip, "archive", False),
        (of_backup, "restore", False),
        (of_export, "import", False),
        (of_database, "database", False),
    ],
)
def test_what_is_put_back_is_believed(
    door: Door, target: str, as_it_was: bool, worker: Worker
) -> None:
    chance, changed = random.Random(SEED), 0
    for data in SUBJECTS[target].seeds[-9:]:
        for _ in range(2):
            if way := door(chance, data):
                piece, close = way
                assert not as_it_was or close(piece) == data
                ended, before = worker.run(target, close(piece)), worker.run(target, data)
                # A value of a database may come back in another type.
                assert ended.kind == before.kind or target in ("restore", "database")
                changed += close(piece[:-1] + b"?") != close(piece)
    assert changed > 0
