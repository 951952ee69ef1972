"""Waiting: until a file has arrived, and before something that failed is tried again."""

from collections.abc import Callable, Hashable, Mapping

from vibetrend.watch.folder import Arrival

SETTLED_POLLS = 2
"""A file has arrived when it is the same in this many polls."""
SIDE_FILE_POLLS = 2
"""How many polls longer a recording waits for a side file that may arrive after it."""


class Settling:
    """Which of the files that arrive have stopped changing."""

    def __init__(self) -> None:
        self._same: dict[str, tuple[Hashable, int]] = {}

    def look(self, arrivals: Mapping[str, tuple[Arrival, str]]) -> tuple[list[Arrival], bool]:
        """Take notice of one poll's files, each with the digest of what is stated for it.

        Returns those that have arrived, oldest first, and whether others are still arriving.
        """
        before, self._same = self._same, {}
        arrived = []
        for name, (arrival, stated) in arrivals.items():
            key = (arrival.stamp, arrival.sides, stated)
            last, times = before.get(name, (None, 0))
            times = times + 1 if last == key else 1
            self._same[name] = (key, times)
            if times >= SETTLED_POLLS + (0 if arrival.sides else SIDE_FILE_POLLS):
                arrived.append(arrival)
        arrived.sort(key=lambda arrival: (arrival.stamp[2], arrival.name))
        return arrived, len(arrived) < len(arrivals)

    def begin_again(self, name: str) -> None:
        """Forget how long a file was the same: it changed while it was read."""
        self._same.pop(name, None)


class Retry:
    """When to try again: at waits that double."""

    def __init__(
        self, clock: Callable[[], float], *, first_seconds: float, longest_seconds: float
    ) -> None:
        self._clock = clock
        self._first, self._longest = first_seconds, longest_seconds
        self._next: dict[Hashable, tuple[float, float]] = {}  # by what failed: when, after what

    def due(self, what: Hashable) -> bool:
        """Say whether it is time to try, as it is when nothing has failed."""
        when, _ = self._next.get(what, (self._clock(), 0.0))
        return self._clock() >= when

    def failed(self, what: Hashable) -> None:
        """Wait, longer each time, before it is tried again."""
        _, waited = self._next.get(what, (0.0, 0.0))
        wait = min(2 * waited or self._first, self._longest)
        self._next[what] = (self._clock() + wait, wait)

    def worked(self, what: Hashable) -> None:
        """Begin anew."""
        self._next.pop(what, None)
