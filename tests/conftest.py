"""Fixtures every test may use."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

# The same examples at every run, so that a red test is about the change at hand; other examples are a command away:
# pytest --hypothesis-profile=default
settings.register_profile("same", derandomize=True)
settings.load_profile("same")

# As the program itself does before numpy is loaded: the arrays are small, and threads would wait for each other.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

#: Real open recordings live beside the project, with their licences; they are never copied into it.
OPEN_DATA = Path(__file__).resolve().parents[2] / "shared" / "data"


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Folder of real open recordings, or skip with the reason."""
    if not OPEN_DATA.is_dir():
        pytest.skip("the folder of open recordings (shared/data beside the project) is absent")
    return OPEN_DATA
