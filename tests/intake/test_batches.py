"""One batch is read ahead of the one that is worked on, and no more."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import numpy as np
import pytest

from fptlib.errors import IntakeError
from fptlib.trends.table import Batch, ahead


class Source:
    """Batches that tell how many were read, and whether reading was ended."""

    def __init__(self, count: int, fault: Exception | None = None) -> None:
        self.count, self.fault, self.read, self.ended = count, fault, 0, False

    def __iter__(self) -> Iterator[Batch]:
        try:
            for at in range(self.count):
                self.read += 1
                yield Batch({}, np.array([at]))
            if self.fault:
                raise self.fault
        finally:
            self.ended = True


def test_all_batches_in_their_order() -> None:
    source = Source(5)
    assert [int(batch.rows[0]) for batch in ahead(iter(source))] == [0, 1, 2, 3, 4]
    assert source.ended
    assert not list(ahead(iter(Source(0))))


def test_abandoned_early() -> None:
    source, threads = Source(5), threading.active_count()
    batches = ahead(iter(source))
    assert int(next(batches).rows[0]) == 0
    batches.close()
    assert source.read <= 2
    assert source.ended
    assert threading.active_count() == threads


def test_a_fault_ahead_comes_after_the_earlier_batches() -> None:
    seen = []
    with pytest.raises(IntakeError, match="damaged"):
        for batch in ahead(iter(Source(2, IntakeError("damaged")))):
            seen.append(int(batch.rows[0]))
    assert seen == [0, 1]
