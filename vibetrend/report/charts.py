"""The page's interactive charts as JSON, by the name under which a template asks for each."""

from markupsafe import Markup

from vibetrend.report import figures, interference, running
from vibetrend.report.document import as_json
from vibetrend.report.parts import SeriesPart


def _histories(part: SeriesPart) -> Markup:
    """Return the choices of the history chart, the featured one first."""
    first = part.featured
    rest = [one for one in part.facts if one is not first]
    shown = [one for one in [first, *rest] if one is not None]
    return as_json(
        [figures.history(one, part.levels, part.group_of(one).reach, part.marks) for one in shown]
    )


CHARTS = {
    "histories": _histories,
    "together": lambda part: as_json([figures.together(part.levels, part.marks)]),
    "map": lambda part: as_json([figures.checkup_map(part.facts, part.levels)]),
    "over_time": lambda shown: as_json([figures.over_time(shown)]),
    "spectrum": lambda latest, reference: as_json([figures.spectrum(latest, reference)]),
    "interference": lambda diagram: as_json([interference.figure(diagram)]),
    "running": lambda part, one: as_json([running.figure(one, part.marks)]),
}
