"""What the tests of forms share."""

from __future__ import annotations

import pytest
import small_plant

from fptlib.job.folder import Job


@pytest.fixture
def job(tmp_path):
    return Job(small_plant.write_job(tmp_path / "job"))
