"""How early an ageing damper would be noticed, in plain words."""

from typing import TYPE_CHECKING, Any

from vibetrend.cli.terminal import cell, plain, titled, wrapped
from vibetrend.trend.advice import CAUTIONS

if TYPE_CHECKING:
    from vibetrend.simulate.how_early import HowEarly

_ESTIMATE = (
    "An estimate by a model of its crankshaft: no forecast, and no limit follows from it. A change "
    "of the size named is noticed; a smaller one may be, too."
)


def how_early_words(found: "HowEarly", *, engine: str) -> str:
    """Return the table and everything assumed."""
    rows: list[dict[str, Any]] = found.to_dict()["how_early"]
    lines = [*titled(f"{plain(engine)}: how early an ageing damper would be noticed")]
    lines += wrapped(_ESTIMATE, hanging="")
    for kind in dict.fromkeys(row["ageing"] for row in rows):
        lines += ["", f"{kind.capitalize()}:"]
        lines += _kind([row for row in rows if row["ageing"] == kind])
    lines += ["", "Assumed:"]
    lines += [each for said in found.assumptions for each in _item(said)]
    return "\n".join([*lines, "", *_item(CAUTIONS[-1])])


def _kind(rows: list[dict[str, Any]]) -> list[str]:
    lines, why_not = [], ""
    for row in rows:
        name = cell(row["observable"], 22)
        if row["hours"] is not None:
            noticed = cell(f"from {row['noticed']:+.1f} {row['unit']}", 15)
            lines += wrapped(
                f"{row['hours']:g} h, with {row['aged']}",
                indent=f"  {name} {noticed}  ",
                hanging="    ",
            )
        elif row["unit"]:
            lines += wrapped(f"{row['why_not']}.", indent=f"  {name} ", hanging="    ")
        elif row["why_not"] != why_not:  # what holds for all that a sweep would show
            why_not = row["why_not"]
            lines += wrapped(
                f"not seen: {why_not}.", indent=f"  {cell('the resonance', 22)} ", hanging="    "
            )
    return lines


def _item(said: str) -> list[str]:
    return wrapped(said, indent="- ", hanging="  ")
