"""The one thread that writes to the logbook, as an event loop sees it."""

from __future__ import annotations

import asyncio
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from blindfield.logbook.book import Logbook
from blindfield.model.errors import LogbookError
from blindfield.model.events import Event
from blindfield.model.run_summary import RunSummary

T = TypeVar("T")
MOST_AT_ONCE = 64


@dataclass(frozen=True)
class _Job:
    """`work` is an event to append or a function of the logbook; `answer` waits on its loop."""

    work: Event | Callable[[Logbook], Any]
    answer: asyncio.Future[Any]


class Writer:
    """Keeps the order of the calls. A call returns when its work is on disk.

    `inline` commits in the caller: a virtual loop jumps in time and may not wait for a thread.
    The logbook stays the caller's; close the writer first.
    """

    def __init__(self, logbook: Logbook, *, inline: bool = False) -> None:
        self._logbook = logbook
        self._closed = False  # set by the loop: nothing more is taken
        self._ended = False  # set by the thread: everything taken is done
        self._jobs: queue.SimpleQueue[_Job] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        if not inline:
            self._thread = threading.Thread(target=self._run, name="logbook", daemon=True)
            self._thread.start()

    async def append(self, event: Event) -> int:
        """The event's id, once it is on disk. Raises LogbookError.

        Events that wait together share one synchronisation.
        """
        number: int = await self._ask(event)
        return number

    async def close_run(self, run_id: bytes, summary: RunSummary) -> None:
        """`Logbook.close_run` after everything asked for before."""
        await self.call(lambda book: book.close_run(run_id, summary))

    async def call(self, function: Callable[[Logbook], T]) -> T:
        """`function(logbook)` in its turn, on the writer's thread. Raises what it raises."""
        result: T = await self._ask(function)
        return result

    async def close(self) -> None:
        """Finishes what was asked for; later calls raise LogbookError."""
        if not self._closed:
            last = self._ask(self._end)
            self._closed = True
            await last
            if self._thread is not None:
                self._thread.join()  # it has nothing left to do but return

    def _ask(self, work: Event | Callable[[Logbook], Any]) -> asyncio.Future[Any]:
        if self._closed:
            raise LogbookError("the logbook's writer is closed.")
        job = _Job(work, asyncio.get_running_loop().create_future())
        if self._thread is None:
            self._answer(job)
        else:
            self._jobs.put(job)
        return job.answer

    def _end(self, _logbook: Logbook) -> None:
        self._ended = True

    def _run(self) -> None:
        while not self._ended:
            batch, then = self._batch(self._jobs.get())
            if len(batch) == 1 or not self._append_together(batch):
                for one in batch:
                    self._answer(one)
            if then is not None:
                self._answer(then)

    def _batch(self, first: _Job) -> tuple[list[_Job], _Job | None]:
        """Events that wait, up to the first job of another sort, which is done after them."""
        batch = [first]
        while isinstance(batch[0].work, Event) and len(batch) < MOST_AT_ONCE:
            try:
                job = self._jobs.get_nowait()
            except queue.Empty:
                break
            if not isinstance(job.work, Event):
                return batch, job
            batch.append(job)
        return batch, None

    def _append_together(self, batch: list[_Job]) -> bool:
        """False when nothing was recorded: one bad event must not fail its neighbours."""
        try:
            many = [job.work for job in batch if isinstance(job.work, Event)]
            numbers = self._logbook.append_many(many)
        except Exception:
            return False
        for job, number in zip(batch, numbers, strict=True):
            _deliver(job.answer, number, None)
        return True

    def _answer(self, job: _Job) -> None:
        try:
            _deliver(job.answer, _do(self._logbook, job.work), None)
        except Exception as error:
            _deliver(job.answer, None, error)


def _do(logbook: Logbook, work: Event | Callable[[Logbook], Any]) -> Any:
    return logbook.append(work) if isinstance(work, Event) else work(logbook)


def _deliver(answer: asyncio.Future[Any], result: Any, error: Exception | None) -> None:
    def settle() -> None:
        if answer.done():  # the caller was cancelled; the event is on disk all the same
            return
        if error is None:
            answer.set_result(result)
        else:
            answer.set_exception(error)

    try:
        answer.get_loop().call_soon_threadsafe(settle)
    except RuntimeError:  # the loop is closed: nobody waits any more
        pass
