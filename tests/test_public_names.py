"""The small public surface that design.md, section 4, promises."""

import ast
import importlib.metadata
import inspect
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import vibetrend as vt

ERRORS = ("EngineError", "JudgeError", "LogbookError", "MeasureError", "ReadError")


def test_the_names_of_the_contract_are_there() -> None:
    promised = {"read", "Recording", "Engine", "measure", "Measurement", "judge", "Verdict"}
    assert promised | set(ERRORS) | {"VibetrendError"} <= set(vt.__all__)


@pytest.mark.parametrize("name", vt.__all__)
def test_every_public_name_can_be_had_and_is_explained(name: str) -> None:
    found = getattr(vt, name)
    assert name in dir(vt)
    assert inspect.getdoc(found)


@pytest.mark.parametrize("name", ERRORS)
def test_every_error_is_the_projects_own_and_a_value_error(name: str) -> None:
    assert issubclass(getattr(vt, name), vt.VibetrendError)
    assert issubclass(vt.VibetrendError, ValueError)


def test_unknown_names_are_refused_as_python_does() -> None:
    with pytest.raises(AttributeError, match=r"module 'vibetrend' has no attribute 'nonsense'"):
        _ = vt.nonsense


def test_type_checkers_see_the_same_names_as_python() -> None:
    tree = ast.parse(Path(str(vt.__file__)).read_text(encoding="utf-8"))
    blocks = [node for node in tree.body if isinstance(node, ast.If)]
    typed = {
        (name.name, node.module)
        for node in ast.walk(blocks[0])
        if isinstance(node, ast.ImportFrom)
        for name in node.names
    }
    assert typed == set(vt._HOME.items())


def test_the_version_is_the_installed_one() -> None:
    assert importlib.metadata.version("vibetrend") == vt.__version__


def test_the_forms_of_the_contract_are_accepted() -> None:
    inspect.signature(vt.read).bind("clip.csv", rpm=1000)
    inspect.signature(vt.measure).bind("recording", engine="engine")
    inspect.signature(vt.measure).bind("recording")
    inspect.signature(vt.judge).bind("history", engine="engine")
    inspect.signature(vt.judge).bind("history")
    samples, times = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.01, 0.02])
    recording = vt.Recording(samples, times=times, unit="m/s^2", kind="acceleration", rpm=1000)
    assert recording.rpm == 1000


def test_importing_the_package_costs_nothing() -> None:
    code = (
        "import sys, vibetrend\n"
        "print(sorted({name.split('.')[0] for name in sys.modules} & "
        "{'numpy', 'scipy', 'pandas', 'pydantic', 'sqlalchemy', 'librosa', 'plotly'}))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
