"""What is depended on: each library declared, used, and free to be given on."""

import ast
import importlib.metadata
import re
import sys
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
DECLARED = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
# librosa's own, named only to have ready-made wheels on older Macs.
NOT_IMPORTED = {"numba", "llvmlite"}
PARTS = {"markupsafe", "pydantic_core"}  # of jinja2 and pydantic, which always bring them
# By the names that packages state: permissive, or (LGPL, MPL) asking for nothing but that their own
# text may be replaced. "av" holds FFmpeg's libraries under their own licences.
LICENCES = re.compile(
    r"\b(MIT|MIT-CMU|BSD|Apache|ISC|HPND|Historical Permission|PSF|LGPL|MPL)", re.I
)


def names(requirements: list[str]) -> set[str]:
    found = {re.split(r"[\s<>=!~;\[]", each, maxsplit=1)[0].lower() for each in requirements}
    return found - {"vibetrend"}


def needed() -> set[str]:
    return names(DECLARED["dependencies"])


def optional() -> set[str]:
    groups = DECLARED["optional-dependencies"]
    return names(groups["parquet"] + groups["hdf5"])


@cache
def imported() -> frozenset[str]:
    """Return what the package imports from elsewhere, anywhere in its files."""
    found: set[str] = set()
    for path in (ROOT / "vibetrend").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {each.name.split(".")[0] for each in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
                found.add(node.module.split(".")[0])
    return frozenset(found - set(sys.stdlib_module_names) - {"vibetrend"})


@cache
def distributions(module: str) -> set[str]:
    return {each.lower() for each in _packages().get(module, [])}


@cache
def _packages() -> Mapping[str, list[str]]:
    return importlib.metadata.packages_distributions()


def test_every_import_is_declared() -> None:
    declared = needed() | optional()
    foreign = {module for module in imported() if not distributions(module) & declared}
    assert foreign == PARTS


def test_every_dependency_is_used() -> None:
    used = {name for module in imported() for name in distributions(module)}
    assert needed() - used == NOT_IMPORTED


def test_every_dependency_says_from_which_version_on() -> None:
    groups = DECLARED["optional-dependencies"]
    every = DECLARED["dependencies"] + groups["parquet"] + groups["hdf5"]
    assert [each for each in every if not re.search(r">=\d", each)] == []


def test_every_dependency_may_be_given_on() -> None:
    unclear = {}
    for name in (needed() | optional()) - NOT_IMPORTED:
        about = importlib.metadata.metadata(name)
        stated = " ".join(
            [about.get("License-Expression") or "", (about.get("License") or "")[:200]]
            + [each for each in about.get_all("Classifier") or [] if each.startswith("License")]
        )
        if not LICENCES.search(stated):
            unclear[name] = stated
    assert unclear == {}
