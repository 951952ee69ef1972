"""Each word of the trade is explained in one line where it first stands, or before."""

import re
from dataclasses import replace

import pandas as pd
import pytest
from invented_fitting import record
from invented_report import MADE_AT, engine_record, history, series, worked_on
from invented_runups import swept_engine
from parsed_page import Parsed, words_of

from vibetrend.checkup.records import EngineRecord
from vibetrend.report import page
from vibetrend.report.glossary import GLOSSES, Glossary, used

# How each word stands on the page when it is meant in its sense here.
STANDS = {
    "order": r"\b[Oo]rders?\b",
    "amplitude": r"\b[Aa]mplitudes?\b",
    "rms": r"\brms\b",
    "dB": r"\bdB\b",
    "baseline": r"\b[Bb]aseline\b",
    "usual scatter": r"\b[Uu]sual scatter\b",
    "check-up": r"\b[Cc]heck-ups?\b",
    "placement": r"\b[Pp]lacements?\b",
    "fast idle": r"\b[Ff]ast idle\b",
    "limit": r"\b[Ll]imit\b",
    "damper resonance": r"\b[Rr]esonance\b",
    "renewal": r"\b[Rr]enewal\b",
    "run-out (TIR)": r"\b[Rr]un-out\b|\bTIR\b",
    "series": r"\b[Ss]eries\b",
    "firing order": r"\b[Ff]iring\b",
    "change": r"Change of each order|Change, dB",
    "driven line": r"\bdriven\b",
    "overall level": r"\b[Oo]verall (level|value)s?\b",
    "bend": r"\bbend\b|\bbends\b",
    "everything together": r"\b[Ee]verything together\b",
    "order spectrum": r"\border spectrum\b",
    "spread": r"\b[Ss]pread\b",
    "standard error": r"\b[Ss]tandard error\b",
    "noticeable": r"\b[Nn]oticeable\b",
    "evidence (z)": r"\bEvidence z\b",
    "file hash": r"\b[Ff]ile hash\b|SHA-256",
    "work": r"\b(after|since|before) the work\b|Work on this engine",
    "eccentricity": r"\b[Ee]ccentricity\b",
    "form": r"\bform \d",
    "closing error": r"\b[Cc]losing error\b",
    "run-in": r"\brun-in\b",
    "run-up": r"\b[Rr]un-ups?\b",
    "order curve": r"\b[Oo]rder curves?\b",
    "natural frequency": r"\b[Nn]atural frequenc",
    "critical speed": r"\b[Cc]ritical speeds?\b",
    "damping ratio": r"\b[Dd]amping ratio\b",
    "node": r"\bnode\b",
    "interference diagram": r"\b[Ii]nterference diagram\b",
    "vector sum": r"\b[Vv]ector sum\b",
}


def everything() -> list[EngineRecord]:
    """Return engines with all that a page can show: each brings more words."""
    table = history()
    belt = table[table["order"] == 2.0].assign(feature="driven: alternator", order=float("nan"))
    main = engine_record("main", series(pd.concat([table, belt], ignore_index=True)))
    new = series(history(visits=2).assign(baseline=False))
    noted = replace(engine_record("noted"), installation_record=record())
    swept = swept_engine("swept")
    return [main, worked_on("worked on"), engine_record("new", new), noted, swept]


def blocks(html: str) -> list[tuple[str, set[str]]]:
    """Return what is read, block by block: its text without the glosses, and what is glossed.

    The head of the page and the first screen of its first engine are one block, which is seen at
    one time; then each section is.
    """
    html = re.sub(r"<(script|style|svg|nav)\b.*?</\1>", " ", html, flags=re.DOTALL)
    found = []
    for part in re.split(r"<section|<article(?!.*id=\"engine-1\")", html.partition("<body>")[2]):
        glossed = set(re.findall(r"<dfn>(.*?)</dfn>", part))
        bare = re.sub(r'<p class="gloss">.*?</p>', " ", part, flags=re.DOTALL)
        found.append((words_of(Parsed(bare)), glossed))
    return found


@pytest.fixture(scope="module")
def read() -> list[tuple[str, set[str]]]:
    return blocks(page(everything(), title="t", made_at=MADE_AT))


def test_the_list_of_this_test_holds_every_word_that_the_page_tells(
    read: list[tuple[str, set[str]]],
) -> None:
    assert set(STANDS) <= set(GLOSSES)
    told = {word.lower() for _, glossed in read for word in glossed}
    assert told == {word.lower() for word in STANDS}


@pytest.mark.parametrize("word", STANDS)
def test_each_word_is_told_where_it_first_stands(
    word: str, read: list[tuple[str, set[str]]]
) -> None:
    name = word if word == "dB" else word[0].upper() + word[1:]
    stands = [place for place, (text, _) in enumerate(read) if re.search(STANDS[word], text)]
    told = [place for place, (_, glossed) in enumerate(read) if name in glossed]
    assert stands, "the sample page uses every word"
    assert len(told) == 1, "once, and not again"
    assert told[0] <= stands[0], read[stands[0]][0][:200]


def test_each_gloss_is_one_plain_line() -> None:
    for word, gloss in GLOSSES.items():
        assert gloss.endswith("."), word
        assert "\n" not in gloss
        assert len(gloss) < 180, word


def test_words_are_found_in_a_text_in_their_own_sense_only() -> None:
    assert used("No change seen; form a line and work on it.") == []
    assert used("Measure the run-out of rim and face again; order 1, form 0.02 mm.") == [
        "order", "run-out (TIR)", "form",
    ]  # fmt: skip
    assert Glossary().tell() == ""
