"""Add recordings and entries in a child process and kill it at a random moment, several times.

Run as: kill_while_adding.py FOLDER KILLS SEED. Each name that the logbook accepted is printed.
A script of its own because it forks, which a test process with threads must not.
"""

import os
import random
import signal
import sys
import time
from pathlib import Path

from invented_logbook import FITTED, FITTED_HOURS, add, book_with_engine


def main(folder: Path, kills: int, seed: int) -> None:
    chance = random.Random(seed)
    for attempt in range(kills):
        reading, writing = os.pipe()
        child = os.fork()
        if child == 0:
            with book_with_engine(folder) as book:
                book.start_installation("main", date=FITTED, hours=FITTED_HOURS)
                for number in range(10_000):
                    content = b"%d-%d" % (attempt, number)
                    add(book, content)
                    book.add_entry("main", "note", date=FITTED, content={"text": content.decode()})
                    os.write(writing, content + b"\n")
        os.close(writing)
        first = os.read(reading, 4096)  # waits until the child is adding
        time.sleep(chance.uniform(0, 0.1))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        with os.fdopen(reading, "rb") as accepted:
            print((first + accepted.read()).decode(), end="")


main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
