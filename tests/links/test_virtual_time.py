"""Virtual time: jumping, pacing, holding for threads, refusing strangers, naming a deadlock."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import threading
import time
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import closing
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.links import virtual_time
from blindfield.links.virtual_time import (
    Deadlock,
    Pace,
    Speed,
    VirtualLoop,
    factor_of,
    run_virtual,
    utc_now,
)

HOUR_S = 3600.0
FAST = 1e6  # a pace at which an hour passes in 3.6 ms
PATIENCE_S = 30.0  # wall time after which a thread gives up, so that a fault is no hang


def loop_now() -> VirtualLoop:
    loop = asyncio.get_running_loop()
    assert isinstance(loop, VirtualLoop)
    return loop


async def diary(delays_s: list[float]) -> list[tuple[float, int]]:
    """Who woke when, of sleepers that sleep three times each."""
    found: list[tuple[float, int]] = []

    async def sleeper(number: int, delay_s: float) -> None:
        for _ in range(3):
            await asyncio.sleep(delay_s)
            found.append((loop_now().time(), number))

    await asyncio.gather(*(sleeper(i, delay_s) for i, delay_s in enumerate(delays_s)))
    return found


def test_a_week_passes_at_once_and_to_the_second() -> None:
    async def wait() -> float:
        await asyncio.sleep(7 * 24 * HOUR_S)
        return loop_now().time()

    assert run_virtual(wait(), start_s=100.0) == pytest.approx(100.0 + 7 * 24 * HOUR_S, abs=1e-6)


@given(st.lists(st.floats(1e-3, 1e5), min_size=1, max_size=6), st.floats(0, 1e9))
def test_timers_fire_in_order_and_never_early(delays_s: list[float], start_s: float) -> None:
    found = run_virtual(diary(delays_s), start_s=start_s)
    assert [when for when, _ in found] == sorted(when for when, _ in found)
    for number, delay_s in enumerate(delays_s):
        woke = [when for when, who in found if who == number]
        assert woke == pytest.approx([start_s + k * delay_s for k in (1, 2, 3)], abs=1e-5)


@pytest.mark.parametrize("speed", [FAST, 10 * FAST])
def test_a_paced_run_gives_the_same_events_as_a_jumping_one(speed: float) -> None:
    delays_s = [0.082, 1.0, 7.3]
    assert run_virtual(diary(delays_s), speed=speed) == run_virtual(diary(delays_s))


def test_callbacks_take_no_virtual_time() -> None:
    async def work() -> float:
        begun_s = loop_now().time()
        for _ in range(1000):
            await asyncio.sleep(0)
        return loop_now().time() - begun_s

    assert run_virtual(work(), speed=FAST) == 0.0


def test_the_pace_can_change_while_running() -> None:
    async def hours() -> float:
        loop = loop_now()
        for speed in (FAST, "jump", 2 * FAST):
            loop.speed = speed
            assert loop.speed == speed
            await asyncio.sleep(HOUR_S)
        return loop.time()

    assert run_virtual(hours()) == pytest.approx(3 * HOUR_S)


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan")])
def test_a_speed_must_be_above_zero(speed: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        factor_of(speed)


@given(st.floats(0.1, 100), st.floats(0, 1000), st.floats(0, 1000), st.floats(0, 100))
def test_a_pace_waits_until_virtual_time_is_due(
    factor: float, wall_s: float, virtual_s: float, ahead_s: float
) -> None:
    pace = Pace(factor, wall_s, virtual_s)
    wait_s = pace.wait_s(virtual_s + ahead_s, wall_s)
    assert wait_s == pytest.approx(ahead_s / factor)
    assert pace.virtual_at(wall_s + wait_s) == pytest.approx(virtual_s + ahead_s)


def test_a_pace_makes_up_for_a_little_lost_time_and_forgives_a_lot() -> None:
    pace = Pace(40.0, 0.0, 0.0)
    pace.forgive(0.0, 0.1)
    assert pace.wait_s(40.0, 0.1) == pytest.approx(0.9), "0.1 s late: the next wait is shorter"
    pace.forgive(0.0, 100.0)
    assert pace.wait_s(40.0, 100.0) == pytest.approx(1.0), "suspended: no rush to catch up"


def test_utc_runs_with_virtual_time() -> None:
    begun = datetime(2031, 1, 2, 3, 4, 5, tzinfo=UTC)

    async def wait() -> tuple[datetime, datetime]:
        await asyncio.sleep(HOUR_S)
        return loop_now().utc(), utc_now()

    hour = timedelta(seconds=HOUR_S)
    assert run_virtual(wait(), start_s=77.0, utc_start=begun) == (begun + hour, begun + hour)


def test_utc_is_the_computers_own_on_another_loop() -> None:
    async def ask() -> datetime:
        return utc_now()

    before = datetime.now(UTC)
    assert before <= asyncio.run(ask()) <= datetime.now(UTC)


# -- threads -------------------------------------------------------------------------------


@pytest.mark.parametrize("own_pool", [False, True])
def test_time_does_not_jump_while_a_thread_works(own_pool: bool) -> None:
    """The answer comes at the very virtual time at which it was asked for, every time."""

    async def ask() -> list[float]:
        loop = loop_now()
        ticker = asyncio.ensure_future(asyncio.sleep(0.5))
        pool = ThreadPoolExecutor(1) if own_pool else None
        found = []
        for _ in range(200):
            await loop.run_in_executor(pool, time.perf_counter)
            found.append(loop.time())
        ticker.cancel()
        if pool:
            pool.shutdown()
        return found

    assert run_virtual(ask()) == [0.0] * 200


def test_the_answer_of_a_thread_is_heard_before_time_may_jump_again() -> None:
    """The thread is held up between its callbacks, until either the answer or a jump is seen."""
    gate = threading.Event()

    class HeldUp(Future[Any]):
        def add_done_callback(self, fn: Any) -> None:
            super().add_done_callback(lambda done: (fn(done), gate.wait(PATIENCE_S)))

    class Pool(Executor):
        def submit(self, fn: Any, /, *args: Any, **_: Any) -> Future[Any]:
            work = HeldUp()
            threading.Thread(target=lambda: work.set_result(fn(*args))).start()
            return work

    async def ask() -> float:
        loop_now().call_later(0.5, gate.set)
        await loop_now().run_in_executor(Pool(), started.wait, PATIENCE_S)
        answered_s = loop_now().time()
        gate.set()
        return answered_s

    async def main() -> float:
        asked = asyncio.ensure_future(ask())
        await asyncio.sleep(0)
        started.set()
        return await asked

    started = threading.Event()
    assert run_virtual(main()) == 0.0


def test_work_that_nobody_awaits_any_more_still_holds_time() -> None:
    async def ask() -> tuple[float, bool]:
        gate, ended = threading.Event(), threading.Event()

        def work() -> None:
            gate.wait(PATIENCE_S)
            ended.set()

        answer = loop_now().run_in_executor(None, work)
        await asyncio.sleep(0)
        answer.cancel()
        loop_now().call_soon(gate.set)
        await asyncio.sleep(10.0)
        return loop_now().time(), ended.is_set()

    assert run_virtual(ask()) == (10.0, True)


def test_a_failing_or_never_begun_job_lets_time_go_on() -> None:
    async def ask() -> float:
        loop = loop_now()
        gate = threading.Event()
        pool = ThreadPoolExecutor(1)
        busy = loop.run_in_executor(pool, gate.wait, PATIENCE_S)
        never = loop.run_in_executor(pool, time.perf_counter)
        never.cancel()
        gate.set()
        await busy
        with pytest.raises(ValueError, match="invalid literal"):
            await loop.run_in_executor(pool, int, "x")
        await asyncio.sleep(1.0)
        pool.shutdown()
        return loop.time()

    assert run_virtual(ask()) == 1.0


def test_a_thread_of_ones_own_holds_time_within_outside() -> None:
    async def ask() -> float:
        loop, heard = loop_now(), asyncio.Event()
        timer = asyncio.ensure_future(asyncio.sleep(1.0))
        with loop.outside():
            thread = threading.Thread(target=loop.call_soon_threadsafe, args=(heard.set,))
            thread.start()
            await heard.wait()
        asked_s = loop.time()
        thread.join()
        await timer
        return asked_s

    assert run_virtual(ask()) == 0.0


def test_paced_time_goes_on_while_a_thread_works() -> None:
    async def ask() -> float:
        gate = threading.Event()
        loop_now().call_later(HOUR_S, gate.set)
        await loop_now().run_in_executor(None, gate.wait, PATIENCE_S)
        return loop_now().time()

    assert run_virtual(ask(), speed=FAST) >= HOUR_S


@pytest.mark.parametrize(
    ("timeout_s", "slept_s", "woken", "now_s"),
    [(20.0, 0.25, True, 10.0), (20.0, 0.6, True, 20.0), (20.0, 0.5, False, 20.0)],
)
def test_a_paced_wait_that_is_woken_early_has_come_as_far_as_the_wall_clock(
    monkeypatch: pytest.MonkeyPatch, timeout_s: float, slept_s: float, woken: bool, now_s: float
) -> None:
    wall_s, waits_s = 1000.0, []

    def poll(wait_s: float | None) -> list[str]:
        nonlocal wall_s
        waits_s.append(wait_s)
        wall_s += slept_s
        return ["woken"] if woken else []

    monkeypatch.setattr(virtual_time, "time", SimpleNamespace(monotonic=lambda: wall_s))
    loop = VirtualLoop(40.0)
    with closing(loop), monkeypatch.context() as patch:
        patch.setattr(loop._waiter, "poll", poll)
        loop._wait(timeout_s)
        assert waits_s == [pytest.approx(timeout_s / 40.0)]
        assert loop.time() == pytest.approx(now_s)


# -- what is refused -----------------------------------------------------------------------


async def _listen(_: socket.socket) -> Any:
    return await asyncio.start_server(lambda _r, _w: None, "127.0.0.1", 0)


async def _watch_reader(pair: socket.socket) -> Any:
    asyncio.get_running_loop().add_reader(pair, lambda: None)


async def _watch_writer(pair: socket.socket) -> Any:
    asyncio.get_running_loop().add_writer(pair, lambda: None)


async def _receive(pair: socket.socket) -> Any:
    return await asyncio.get_running_loop().sock_recv(pair, 1)


async def _send(pair: socket.socket) -> Any:
    await asyncio.get_running_loop().sock_sendall(pair, b"x")


async def _connect(pair: socket.socket) -> Any:
    return await asyncio.open_connection(sock=pair)


async def _spawn(_: socket.socket) -> Any:
    return await asyncio.create_subprocess_exec("true")


@pytest.mark.parametrize(
    "use", [_listen, _watch_reader, _watch_writer, _receive, _send, _connect, _spawn]
)
def test_foreign_file_descriptors_are_refused(use: Any) -> None:
    async def attempt(pair: socket.socket) -> None:
        with pytest.raises(RuntimeError, match="no foreign file descriptors"):
            await use(pair)

    one, two = socket.socketpair()
    with one, two:
        one.setblocking(False)
        two.send(b"ready: even then")
        run_virtual(attempt(one))


# -- endings -------------------------------------------------------------------------------


@pytest.mark.parametrize("speed", ["jump", "real", FAST])
def test_a_deadlock_is_named_not_waited_for(speed: Speed) -> None:
    async def wait_for_godot() -> None:
        await asyncio.sleep(0)
        await asyncio.Event().wait()

    with pytest.raises(Deadlock, match="wait_for_godot"):
        run_virtual(wait_for_godot(), speed=speed)


def test_what_is_left_over_is_cancelled_and_the_loop_closed() -> None:
    ends: list[str] = []

    async def leftover() -> None:
        try:
            await asyncio.sleep(HOUR_S)
        except asyncio.CancelledError:
            ends.append("cancelled")
            raise

    async def main() -> VirtualLoop:
        ends.append("begun")
        loop = loop_now()
        task = loop.create_task(leftover())
        await asyncio.sleep(1.0)
        assert not task.done()
        await loop.run_in_executor(None, int, "7")
        return loop

    assert run_virtual(main()).is_closed()
    assert ends == ["begun", "cancelled"]
    assert not [t for t in threading.enumerate() if t.name.startswith("virtual")]


def test_an_error_comes_out_of_the_run() -> None:
    async def fail() -> None:
        await asyncio.sleep(HOUR_S)
        raise KeyError("north peg")

    with pytest.raises(KeyError, match="north peg"):
        run_virtual(fail())


@pytest.mark.parametrize("speed", ["real", 40.0])
def test_ctrl_c_ends_a_paced_wait_and_lets_the_task_tidy_up(speed: Speed) -> None:
    ends: list[str] = []

    async def wait() -> None:
        # From another thread, so that it may come while the selector sleeps.
        threading.Thread(target=os.kill, args=(os.getpid(), signal.SIGINT)).start()
        try:
            await asyncio.sleep(24 * HOUR_S)
        finally:
            ends.append("tidied")

    with pytest.raises(KeyboardInterrupt):
        run_virtual(wait(), speed=speed)
    assert ends == ["tidied"]
