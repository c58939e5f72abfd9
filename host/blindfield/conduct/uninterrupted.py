"""Work that Ctrl-C does not break off: what it would break off is the silencing."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import Any, TypeVar

T = TypeVar("T")


async def to_the_end(work: Coroutine[Any, Any, T]) -> T:
    """`work`, to its end, however often this task is cancelled meanwhile; gives what it gives and
    raises what it raises."""
    task = asyncio.ensure_future(work)
    while not task.done():
        try:
            await asyncio.shield(task)
        except asyncio.CancelledError:
            continue
        except Exception:
            break  # its own, raised below
    return task.result()
