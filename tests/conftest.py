"""What all tests of one run share."""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as `planning.plan` does: same sums, and faster

import demo_farm
import pytest


@pytest.fixture(scope="session", autouse=True)
def plans_for_all_processes(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Tests run in several processes plan a demo farm once: the directory above their own is common."""
    if "PYTEST_XDIST_WORKER" in os.environ:
        demo_farm.shared[:] = [tmp_path_factory.getbasetemp().parent]
