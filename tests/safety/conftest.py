import pytest
from every_command import prepare
from trial import Trials


@pytest.fixture(scope="session")
def trials(tmp_path_factory: pytest.TempPathFactory) -> Trials:
    """Give what tries faults on commands; it is made once, which takes its time."""
    return Trials(prepare(tmp_path_factory.mktemp("prepared") / "boat"))
