"""An event loop whose time is virtual: real, paced, or as fast as it goes.

Time moves only while the loop waits, from one timer to the next, so a run gives the same
events at every speed. Devices and media must live inside the process: the loop refuses
foreign file descriptors. Work in threads (`run_in_executor`, `outside()`) holds time still at
speed "jump"; at a pace it goes on.
"""

from __future__ import annotations

import asyncio
import contextlib
import selectors
import time
from collections.abc import Callable, Coroutine, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from math import inf, isnan, ulp
from typing import Any, Literal, NoReturn, TypeVar, TypeVarTuple

T = TypeVar("T")
Ts = TypeVarTuple("Ts")
Speed = float | Literal["real", "jump"]
Events = list[tuple[selectors.SelectorKey, int]]

LAG_WALL_S = 0.5
"""A paced loop that fell further behind its pace than this lets the lost time go."""


class Deadlock(RuntimeError):
    """Every task waits and nothing is left that could wake one."""


def factor_of(speed: Speed) -> float:
    """Virtual seconds per wall second: 1 for "real", infinity for "jump".

    Raises ValueError when the speed is not above zero.
    """
    factor = {"real": 1.0, "jump": inf}[speed] if isinstance(speed, str) else float(speed)
    if isnan(factor) or factor <= 0:
        raise ValueError(f"a speed must be above zero, not {speed}")
    return factor


class Pace:
    """Where virtual time stands at a wall time: a line of slope `factor` through an anchor."""

    def __init__(self, factor: float, wall_s: float, virtual_s: float) -> None:
        self.factor = factor
        self._wall_s = wall_s
        self._virtual_s = virtual_s

    def virtual_at(self, wall_s: float) -> float:
        return self._virtual_s + (wall_s - self._wall_s) * self.factor

    def wait_s(self, virtual_s: float, wall_s: float) -> float:
        """Wall seconds until `virtual_s`, never negative."""
        return max(0.0, self._wall_s + (virtual_s - self._virtual_s) / self.factor - wall_s)

    def forgive(self, virtual_s: float, wall_s: float) -> None:
        """Start afresh from here when callbacks (or a sleeping laptop) cost too much time."""
        if self.virtual_at(wall_s) - virtual_s > LAG_WALL_S * self.factor:
            self._wall_s, self._virtual_s = wall_s, virtual_s


class _Selector(selectors.SelectSelector):
    """Holds the loop's self-pipe and nothing else, and asks the loop how to wait."""

    wait: Callable[[float | None], Events]

    def register(self, fileobj: Any, events: int, data: Any = None) -> selectors.SelectorKey:
        if self.get_map():
            _refuse("watching a file descriptor")
        return super().register(fileobj, events, data)

    def select(self, timeout: float | None = None) -> Events:
        return self.wait(timeout)

    def poll(self, timeout: float | None) -> Events:
        return super().select(timeout)


def _refuse(what: str) -> NoReturn:
    raise RuntimeError(
        f"{what}: a loop on virtual time takes no foreign file descriptors; use asyncio.run"
    )


class VirtualLoop(asyncio.SelectorEventLoop):
    """An asyncio loop on virtual time.

    `speed` is "real", "jump" or virtual seconds per wall second, and may be set while running.
    `start_s` is the first value of `time()`, `utc_start` (default: now) what it is in UTC.
    """

    def __init__(
        self, speed: Speed = "jump", *, start_s: float = 0.0, utc_start: datetime | None = None
    ) -> None:
        self._start_s = self._now_s = start_s
        self._utc_start = utc_start or datetime.now(UTC)
        self._outside = 0
        self._pool: Executor | None = None
        self.speed = speed
        self._waiter = _Selector()
        self._waiter.wait = self._wait
        super().__init__(self._waiter)
        self._move(start_s)

    def time(self) -> float:
        """Virtual seconds."""
        return self._now_s

    def utc(self) -> datetime:
        """The UTC moment that `time()` stands for."""
        return self._utc_start + timedelta(seconds=self._now_s - self._start_s)

    @property
    def speed(self) -> Speed:
        return self._speed

    @speed.setter
    def speed(self, speed: Speed) -> None:
        self._pace = Pace(factor_of(speed), time.monotonic(), self._now_s)
        self._speed = speed

    @contextlib.contextmanager
    def outside(self) -> Iterator[None]:
        """While a thread of one's own works towards a `call_soon_threadsafe`."""
        self._outside += 1
        try:
            yield
        finally:
            self._release()

    # -- waiting ---------------------------------------------------------------------------

    def _wait(self, timeout: float | None) -> Events:
        if timeout is not None and timeout <= 0:
            return self._waiter.poll(0)
        if timeout is None and not self._outside:
            return self._waiter.poll(0) or self._deadlock()
        target_s = inf if timeout is None else self._now_s + timeout
        return self._jump(target_s) if self._pace.factor == inf else self._amble(target_s)

    def _jump(self, target_s: float) -> Events:
        if self._outside:
            return self._waiter.poll(None)
        events = self._waiter.poll(0)
        if not events:
            self._move(target_s)
        return events

    def _amble(self, target_s: float) -> Events:
        wall_s = time.monotonic()
        self._pace.forgive(self._now_s, wall_s)
        wait_s = None if target_s == inf else self._pace.wait_s(target_s, wall_s)
        events = self._waiter.poll(wait_s)
        if events:
            here_s = min(target_s, self._pace.virtual_at(time.monotonic()))
            self._move(max(self._now_s, here_s))
        else:
            self._move(target_s)
        return events

    def _move(self, now_s: float) -> None:
        self._now_s = now_s
        # asyncio calls what is due before time() + this: the next float, so that a timer due
        # exactly now is called and one due later is not, however large time() is.
        self._clock_resolution = ulp(now_s)

    def _deadlock(self) -> NoReturn:
        tasks = sorted(repr(task.get_coro()) for task in asyncio.all_tasks(self))
        raise Deadlock(
            "virtual time cannot go on: no timer, no outside work, and these tasks wait: "
            + ("; ".join(tasks) or "none")
        )

    # -- work in threads -------------------------------------------------------------------

    def set_default_executor(self, executor: Any) -> None:
        super().set_default_executor(executor)
        self._pool = executor

    def run_in_executor(
        self, executor: Executor | None, func: Callable[[*Ts], T], *args: *Ts
    ) -> asyncio.Future[T]:
        """As asyncio's; time does not jump until the work itself has ended."""
        if self.is_closed():
            raise RuntimeError("Event loop is closed")
        if executor is None and self._pool is None:
            self.set_default_executor(ThreadPoolExecutor(thread_name_prefix="virtual"))
        pool = executor or self._pool
        assert pool is not None
        work = pool.submit(func, *args)
        self._outside += 1
        answer = asyncio.wrap_future(work, loop=self)
        # Added after wrap_future's own callback: the answer is queued first, then the release.
        work.add_done_callback(self._ended)
        return answer

    def _ended(self, _work: Future[Any]) -> None:
        # The loop may be closed by now: then nobody waits.
        with contextlib.suppress(RuntimeError):
            self.call_soon_threadsafe(self._release)

    def _release(self) -> None:
        self._outside -= 1

    async def shutdown_default_executor(self, *args: Any, **kwargs: Any) -> None:
        # asyncio joins the pool in a thread of its own, which wakes the loop when done.
        with self.outside():
            await super().shutdown_default_executor(*args, **kwargs)


def _refusal(name: str) -> Callable[..., NoReturn]:
    def refused(*_args: Any, **_kwargs: Any) -> NoReturn:
        _refuse(name)

    return refused


# The selector refuses every registration; these might get by without one, or leave debris.
_FOREIGN = (
    *("sock_accept", "sock_connect", "sock_recv", "sock_recv_into", "sock_recvfrom"),
    *("sock_recvfrom_into", "sock_sendall", "sock_sendto", "sock_sendfile"),
    *("create_connection", "create_server", "create_datagram_endpoint"),
    *("create_unix_connection", "create_unix_server", "connect_read_pipe"),
    *("connect_write_pipe", "subprocess_exec", "subprocess_shell"),
)
for _name in _FOREIGN:
    setattr(VirtualLoop, _name, _refusal(_name))


def run_virtual(
    main: Coroutine[Any, Any, T],
    *,
    speed: Speed = "jump",
    start_s: float = 0.0,
    utc_start: datetime | None = None,
) -> T:
    """Run `main` on a new virtual loop, as `asyncio.run` does, and give its result.

    Cancels what is left over and closes the loop; Ctrl-C cancels `main` and raises
    KeyboardInterrupt. Raises Deadlock when nothing can go on.
    """

    def new_loop() -> VirtualLoop:
        return VirtualLoop(speed, start_s=start_s, utc_start=utc_start)

    with asyncio.Runner(loop_factory=new_loop) as runner:
        return runner.run(main)


def utc_now() -> datetime:
    """UTC on the running loop: virtual on a VirtualLoop, the computer's clock elsewhere."""
    loop = asyncio.get_running_loop()
    return loop.utc() if isinstance(loop, VirtualLoop) else datetime.now(UTC)
