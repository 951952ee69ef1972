"""Mutated inputs for everything that reads what people and files say.

    python tests/fuzz/fuzz.py --inputs 20000 --seed 1

Prints for each target how its inputs ended, and ends with 1 if one ended in anything but acceptance
or a refusal in plain words. Linux only: it watches by what Linux tells of a process.
"""

import argparse
import sys
import time
from pathlib import Path

from campaign import Subject, Tally, Worker, campaign

sys.path.insert(0, str(Path(__file__).parents[2]))

from subjects import subjects

_COLUMNS = ("target", "inputs", "accepted", "refused", "ways", "new lines", "slowest s", "peak MB",
            "failures")  # fmt: skip


def main() -> int:
    """Run the command and return its exit code."""
    known = subjects()
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inputs", type=int, default=20_000, help="mutated inputs in all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", action="append", choices=known, metavar="TARGET",
                        help=f"one of: {', '.join(known)}; may be given again")  # fmt: skip
    parser.add_argument("--keep", type=Path, help="folder for the inputs that failed")
    options = parser.parse_args()
    chosen = [each for name, each in known.items() if not options.only or name in options.only]
    with Worker("targets") as worker:
        return run(chosen, worker, inputs=options.inputs, seed=options.seed, keep=options.keep)


def run(
    subjects: list[Subject], worker: Worker, *, inputs: int, seed: int, keep: Path | None = None
) -> int:
    """Run inputs on subjects, print how they ended, and return the exit code."""
    print(_row(_COLUMNS))
    begun, tallies = time.monotonic(), []
    for subject, count in shared(subjects, inputs):
        tallies.append(campaign(subject, inputs=count, seed=seed, worker=worker))
        print(_row(_cells(tallies[-1])), flush=True)
    print(f"{sum(each.inputs for each in tallies)} inputs in {time.monotonic() - begun:.0f} s")
    for tally in tallies:
        _keep(keep, tally.target, "slowest", tally.slowest)
        for number, failure in enumerate(tally.failures.values(), 1):
            print(f"\n{tally.target}, {failure.count} times: {failure.kind}: {failure.said}")
            print("\n".join(failure.detail.rstrip()[-3000:].splitlines()[-12:]))
            _keep(keep, tally.target, str(number), failure.data)
    return 1 if any(tally.failures for tally in tallies) else 0


def _keep(folder: Path | None, target: str, name: str, data: bytes) -> None:
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{target.replace(' ', '_')}_{name}.bin").write_bytes(data)


def shared(subjects: list[Subject], inputs: int) -> list[tuple[Subject, int]]:
    """Share inputs out among subjects, none left over."""
    whole = sum(each.share for each in subjects)
    begin, parts = 0, []
    for subject in subjects:
        end = begin + subject.share
        parts.append((subject, inputs * end // whole - inputs * begin // whole))
        begin = end
    return parts


def _cells(tally: Tally) -> tuple[object, ...]:
    return (
        tally.target,
        tally.inputs,
        tally.kinds["accepted"],
        tally.kinds["refused"],
        len(tally.refusals) + bool(tally.kinds["accepted"]),
        len(tally.lines) - tally.seed_lines,
        f"{tally.slowest_s:.2f}",
        f"{tally.peak_mb:.0f}",
        len(tally.failures),
    )


def _row(cells: tuple[object, ...]) -> str:
    first, *others = map(str, cells)
    return f"{first:<12}" + "".join(f"{each:>10}" for each in others)


if __name__ == "__main__":
    sys.exit(main())
