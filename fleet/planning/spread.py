"""Work through independent tasks in this process or in several, with the same results."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any

Spread = Callable[..., Iterable[Any]]
"""Works through tasks and gives the results in their order, as `map` does."""


@contextmanager
def spread_over(processes: int) -> Iterator[Spread]:
    """Give a `map` over so many processes, which end with the block.

    Parameters
    ----------
    processes : int
        At least 1; with 1 everything stays in this process.

    Raises
    ------
    ValueError
        Fewer than 1 process.
    """
    if processes < 1:
        raise ValueError(f"{processes} processes, at least 1 is expected")
    if processes == 1:
        yield map
        return
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        yield pool.map
