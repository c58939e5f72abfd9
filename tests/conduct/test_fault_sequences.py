"""Random sequences of faults during a run, against the rules that are not broken.

1. After a latched silence reached a target, no pulse comes from it (nobody re-arms here).
2. A target that hears no sealed frame falls silent within its lease; none outlives its sheet.
3. Every journal record of the run is in the logbook exactly once.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st

from blindfield.conduct.conductor import Conductor
from blindfield.links.virtual_time import run_virtual
from blindfield.model.run_summary import RunSummary
from support.desks import Bench, begun, bench, resting, standing_field

LEASE_S = 20.0
LIMIT_S = 120.0
SLACK_S = 0.3  # frames on their way, and clocks of +-30 ppm over a run
NAMES = "123456"

name = st.sampled_from(NAMES)
act = st.one_of(
    st.tuples(st.sampled_from(["strike", "push", "reboot", "cut", "mend", "lift", "knock"]), name),
    st.tuples(st.sampled_from(["silence", "loss", "crash"]), st.just("")),
)
sequences = st.lists(st.tuples(st.floats(0.05, 25.0), act), min_size=1, max_size=12)


@dataclass
class Truth:
    """What the test itself saw: since when each link is cut, and when silence began."""

    cut_s: dict[str, float] = field(default_factory=dict)
    silent_s: dict[str, float] = field(default_factory=dict)
    lifted: set[str] = field(default_factory=set)
    outages: list[tuple[str, float, float]] = field(default_factory=list)
    crashed: bool = False

    def mend(self, target: str, now_s: float) -> None:
        if target in self.cut_s:
            self.outages.append((target, self.cut_s.pop(target), now_s))


@settings(
    max_examples=20,
    phases=(Phase.explicit, Phase.reuse, Phase.generate),  # shrinking whole runs takes minutes
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    deadline=None,
)
@given(sequences, st.integers(0, 1000))
# Two bursts of looks at one clock on their way when the host crashed.
@example(
    [
        (5.832042839743634, ("push", "1")),
        (22.231754566857557, ("loss", "")),
        (0.8, ("reboot", "1")),
        (3.862355951891368, ("crash", "")),
        (15.765950113892892, ("mend", "2")),
    ],
    587,
)
def test_rules_hold_under_any_sequence_of_faults(
    faults: list[tuple[float, tuple[str, str]]], seed: int
) -> None:
    with TemporaryDirectory() as folder:
        run_virtual(_trial(Path(folder), faults, seed))


async def _trial(folder: Path, faults: list[tuple[float, tuple[str, str]]], seed: int) -> None:
    truth = Truth()
    sim = standing_field(folder, seed=seed)
    async with bench(folder, lease_s=LEASE_S, sim=sim) as b:
        conductor, scenario = await b.prepared(limit_s=LIMIT_S, seed=seed)
        task = await begun(conductor, scenario)
        for wait_s, (what, target) in faults:
            await asyncio.sleep(wait_s)
            if task.done():
                break
            await _act(b, conductor, truth, what, target or resting(scenario))
            if what == "crash":
                await _crash(conductor, task, truth)
                break
        end_s = None if truth.crashed else await _let_end(b, task, truth)
    async with bench(folder, lease_s=LEASE_S, sim=sim) as again:
        assert not again.desk.logbook.open_runs()
        _mend_all(again, truth)
    async with bench(folder, lease_s=LEASE_S, sim=sim) as again:
        await _collected_once(again)
        _check_carriers(again, truth, end_s)
    sim.stop()


async def _act(b: Bench, conductor: Conductor, truth: Truth, what: str, target: str) -> None:
    now_s = asyncio.get_running_loop().time()
    if what in ("strike", "push"):
        b.sim.probe(target, "sharp" if what == "strike" else "push")
    elif what == "reboot":
        b.sim.reboot(target)
    elif what == "cut":
        b.sim.cut_link(target)
        truth.cut_s.setdefault(target, now_s)
    elif what == "mend":
        b.sim.mend_link(target)
        truth.mend(target, now_s)
    elif what == "lift" and target not in truth.lifted:
        truth.lifted.add(target)
        b.sim.lift(target)
    elif what == "knock":
        b.sim.knock(target)
    elif what == "loss":
        for device in b.sim.devices.values():
            device.line.loss, device.line.doubling = 0.1, 0.02
    elif what == "silence":
        for medium in b.desk.media:
            await medium.silence_all()
        for one in NAMES:
            if one not in truth.cut_s:
                truth.silent_s.setdefault(one, asyncio.get_running_loop().time())


async def _crash(conductor: Conductor, task: asyncio.Task[RunSummary], truth: Truth) -> None:
    """The host is gone from one moment to the next: nothing is closed."""

    async def nothing(*_: object, **__: object) -> None: ...

    conductor._finish = nothing  # type: ignore[method-assign]
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    truth.crashed = True


async def _let_end(b: Bench, task: asyncio.Task[RunSummary], truth: Truth) -> float:
    await asyncio.wait([task], timeout=LIMIT_S + 400)
    assert task.done(), "the run did not end"
    task.result()
    end_s = asyncio.get_running_loop().time()
    await asyncio.sleep(LEASE_S + 1)
    return end_s


def _mend_all(b: Bench, truth: Truth) -> None:
    for target in NAMES:
        b.sim.mend_link(target)
        truth.mend(target, asyncio.get_running_loop().time())
    for device in b.sim.devices.values():
        device.line.loss = device.line.doubling = 0.0


async def _collected_once(b: Bench) -> None:
    """Journals and logbook agree record by record."""
    conductor = b.desk.conductor()
    await b.desk.crew.each(b.desk.crew.members.values(), conductor.recorder.collect)
    kept = [
        event.device_key
        for record in [*(r.run_id for r in b.desk.logbook.runs()), None]
        for event in b.desk.logbook.events_of(record)
        if event.device_key is not None
    ]
    assert len(kept) == len(set(kept))
    for member in b.desk.crew.members.values():
        core = b.sim.devices[member.name].core
        assert core is not None
        assert member.acked_seq == core.journal.last_seq


def _check_carriers(b: Bench, truth: Truth, end_s: float | None) -> None:
    for target in NAMES:
        pulses = [row[0] for row in b.sim.carrier_log(target)]
        silent_s = truth.silent_s.get(target)
        if silent_s is not None:
            assert not [at for at in pulses if at > silent_s + SLACK_S], f"{target} after silence"
        for name_, cut_s, mended_s in truth.outages:
            if name_ == target:
                late = [at for at in pulses if cut_s + LEASE_S + SLACK_S < at < mended_s]
                assert not late, f"{target} beyond its lease"
        if end_s is not None and not truth.outages:
            assert not [at for at in pulses if at > end_s], f"{target} after the close"
        assert not b.sim.sending(target)
