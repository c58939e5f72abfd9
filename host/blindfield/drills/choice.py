"""Draws the next problem for a searcher: the kind they need, targets and start that are due.

The targets of a seed are known by nobody's history (`draw`), so this looks for a seed: it draws
seeds until one gives a problem that is welcome. That seed then gives the same problem to anybody.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from blindfield.drills.draw import Pick, pick
from blindfield.drills.drill import Drill
from blindfield.drills.feasible import refuse, why_not
from blindfield.drills.outlook import Outlook
from blindfield.model.errors import NotReady
from blindfield.model.scenario import Scenario

SEEDS = 1_000_000_000


@dataclass(frozen=True)
class Choice:
    """`seed` is for `draw`; `why` explains the choice, to be told after the run."""

    drill: Drill
    seed: int
    why: tuple[str, ...]


def recorded(
    scenario: Scenario, why: tuple[str, ...], searcher: str, knows_places: bool
) -> Scenario:
    """The scenario with what the record keeps of its draw."""
    apart = f"{searcher or 'The searcher'} knows where the targets lie: kept apart from blind runs."
    why = (*why, apart) if knows_places else why
    return replace(scenario, searcher=searcher, knows_places=knows_places, why=why)


def choose(outlook: Outlook, *, seed: int, drill: Drill | None = None) -> Choice:
    """The next problem by `seed`; `drill` None: also its kind. Raises NotReady."""
    rng = random.Random(seed)
    if drill is None:
        chosen, why = _kind(outlook, rng)
    else:
        chosen, why = drill, f"{drill.title}: this kind was asked for."
    if why_not(outlook.ground, chosen, outlook.work):
        raise refuse(outlook.ground, chosen, outlook.work, outlook.drills)
    found, picked = _seed(outlook, chosen, rng)
    return Choice(chosen, found, (why, *_explained(outlook, picked)))


def _kind(outlook: Outlook, rng: random.Random) -> tuple[Drill, str]:
    if not outlook.able:
        reasons = [kind.reason for kind in outlook.kinds() if kind.drill.drawn]
        raise NotReady(
            f"nothing can be drawn here: {reasons[0] if reasons else 'there is no kind.'}",
            remedy="Bury and switch on more; `blindfield draw` tells what each kind needs.",
        )
    shares = outlook.shares
    kind = rng.choices(list(shares), list(shares.values()))[0]
    drill = next(one for one in outlook.able if one.kind == kind)
    practice = outlook.history.of(kind, outlook.work)
    if practice.tried:
        again = f"tried {practice.tried} times, met {practice.met} of the last {practice.judged}"
        past = f"{again}, the last time {_ago(practice.ago or 0)}"
    else:
        past = "never tried before"
    return drill, (
        f"{drill.title}: {past}. {len(shares)} kinds were in the draw; this one had "
        f"{shares[kind]:.0%} of it."
    )


def _seed(outlook: Outlook, drill: Drill, rng: random.Random) -> tuple[int, Pick]:
    """Seeds until one is taken: each as often as its targets and its start are welcome."""
    sets, starts = outlook.set_weights(drill), outlook.start_weights()
    best = max(sets.values(), default=1.0)
    while True:
        seed = rng.randrange(SEEDS)
        picked = pick(outlook.ground, drill, outlook.work, random.Random(seed))
        welcome = sets[frozenset(picked.order)] / best * starts[picked.start.name]
        if welcome and rng.random() < welcome:
            return seed, picked


def _explained(outlook: Outlook, picked: Pick) -> tuple[str, ...]:
    chosen = frozenset(picked.order)
    if not chosen:
        return ()
    history, names = outlook.history, " and ".join(sorted(chosen))
    said = [
        f"{names}: {_before(history.last_set.get(chosen))} on this field.",
        f"Start {picked.start.name}: {_before(history.last_start.get(picked.start.name))} here.",
    ]
    return tuple(said)


def _before(ago: int | None) -> str:
    return "not drawn before" if ago is None else f"last drawn {_ago(ago)}"


def _ago(ago: int) -> str:
    return "in the last run" if ago == 0 else f"{ago + 1} runs ago"
