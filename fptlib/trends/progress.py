"""A progress bar that appears only where the reading takes more than two seconds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

Progress = Callable[[float, str], None]


def silent(share: float, text: str) -> None:
    """No bar."""


@contextmanager
def bar() -> Iterator[Progress]:
    """A bar for ``read_trends``: ``with bar() as progress: read_trends(..., progress)``."""
    from tqdm import tqdm

    with tqdm(total=100, unit="%", delay=2, leave=False, bar_format="{desc} {bar} {percentage:.0f}%"
              ) as shown:

        def progress(share: float, text: str) -> None:
            shown.set_description_str(text, refresh=False)
            shown.update(max(0.0, 100.0 * share - shown.n))

        yield progress


def part(progress: Progress, begin: float, length: float) -> Progress:
    """A stretch of a longer progress."""
    return lambda share, text: progress(begin + share * length, text)
