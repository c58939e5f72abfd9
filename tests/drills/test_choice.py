"""The next problem for a searcher: what it prefers, what it leaves out, what it says afterwards."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.drills.catalogue import DRILLS, drill_named
from blindfield.drills.choice import choose, recorded
from blindfield.drills.draw import draw, pick, work_of
from blindfield.drills.feasible import ground_of, why_not
from blindfield.drills.history import NO_HISTORY, History
from blindfield.drills.outlook import Outlook
from blindfield.model.errors import NotReady
from blindfield.model.scenario import Scenario
from support.drill_fields import ALL_MET, PLACES, history, outlook, past, wide_field, wide_ground


def kinds_drawn(known: History, count: int = 400) -> Counter[str]:
    view = outlook(known)
    return Counter(choose(view, seed=seed).drill.kind for seed in range(count))


def drawn(view: Outlook, seed: int, kind: str | None = None) -> Scenario:
    choice = choose(view, seed=seed, drill=drill_named(kind) if kind else None)
    scenario = draw(
        view.ground.place, choice.drill, seed=choice.seed, time_limit_s=600, ground=view.ground
    )
    return recorded(scenario, choice.why, "Vera", view.knows)


def test_same_seed_and_logbook_give_the_same_and_another_seed_another() -> None:
    assert choose(outlook(ALL_MET), seed=4) == choose(outlook(ALL_MET), seed=4)
    assert len({choose(outlook(ALL_MET), seed=seed).seed for seed in range(20)}) == 20


def test_a_newcomer_begins_with_one_target() -> None:
    assert set(kinds_drawn(NO_HISTORY, 40)) == {"single"}


def test_the_least_practised_kind_comes_most_often() -> None:
    able = [d.kind for d in outlook().able]
    practised = [past(kind, "met", "3") for kind in able if kind != "overlap"] * 4
    known = history(*practised)
    shares = outlook(known).shares
    count = kinds_drawn(known)
    assert count.most_common(1)[0][0] == "overlap"
    assert shares["overlap"] > 2.5 * max(share for k, share in shares.items() if k != "overlap")
    # within 4 standard errors of a share of 400
    assert count["overlap"] / 400 == pytest.approx(shares["overlap"], abs=0.1)


def test_the_weakest_kind_comes_more_often_than_the_others() -> None:
    able = [d.kind for d in outlook().able]
    rounds = [past(kind, "not_met" if kind == "three" else "met", "3") for kind in able] * 6
    count = kinds_drawn(history(*rounds), 600)
    others = [count[kind] for kind in able if kind not in ("three", able[0], able[1])]
    assert count["three"] > 2 * max(others)


def test_the_last_kind_is_not_drawn_again_at_once() -> None:
    known = history(past("drop_out", "not_met", "5"), *(past(k, "met", "3") for k in DRILLS))
    assert kinds_drawn(known)["drop_out"] == 0


def test_only_dig_by_asking() -> None:
    assert kinds_drawn(ALL_MET)["dig_only"] == 0
    view = replace(outlook(), work="dig only")
    assert choose(view, seed=1, drill=drill_named("dig_only")).drill.kind == "dig_only"


def test_no_recent_targets_while_others_are_left() -> None:
    recent = [frozenset(names) for names in ("12", "34", "56")]
    known = history(*(past("pair", "met", *names) for names in recent))
    for seed in range(150):
        scenario = drawn(outlook(known), seed, "pair")
        assert frozenset(part.name for part in scenario.in_play) not in recent


def test_no_recent_start_while_others_are_left() -> None:
    known = history(
        past("pair", "met", "1", "2", start="west flag"),
        past("pair", "met", "3", "4", start="north flag"),
    )
    starts = Counter(drawn(outlook(known), seed, "pair").start.name for seed in range(100))
    assert set(starts) == {"south flag", "east flag"}
    assert min(starts.values()) > 25  # fair: below 26 of 100 about once in 2 million


def test_a_small_field_still_gives_problems_when_all_were_drawn() -> None:
    ground = ground_of(wide_field(targets=2))
    known = history(*(past("single", "met", name) for name in "1212"))
    sent = Counter(
        drawn(outlook(known, ground=ground), seed, "single").in_play[0].name for seed in range(30)
    )
    assert sent == {"2": 30}  # 1 was the last


def test_the_seed_of_a_choice_gives_the_same_problem_without_any_history() -> None:
    for seed in range(20):
        choice = choose(outlook(ALL_MET), seed=seed)
        again = draw(
            wide_field(), choice.drill, seed=choice.seed, time_limit_s=600, ground=wide_ground()
        )
        picked = pick(wide_ground(), choice.drill, "search only", random.Random(choice.seed))
        assert {part.name for part in again.in_play} == set(picked.order)


def test_draws_are_as_likely_as_the_outlook_says() -> None:
    """Chi-square over all target sets together; false alarm 1e-4 (z 3.72, Wilson-Hilferty)."""
    known = history(past("pair", "met", "1", "2"), past("single", "met", "3"), *[past("three")] * 3)
    few = tuple(drill_named(kind) for kind in ("single", "pair", "not_told"))
    ground = ground_of(wide_field(targets=5))
    view = outlook(known, ground=ground, drills=few)
    likely = {chosen: share for chosen, share in view.next_sets().items() if share}
    assert sum(likely.values()) == pytest.approx(1.0)
    count = Counter(
        frozenset(part.name for part in drawn(view, seed).in_play) for seed in range(3000)
    )
    assert set(count) <= set(likely)
    chi2 = sum((count[s] - 3000 * p) ** 2 / (3000 * p) for s, p in likely.items())
    free = len(likely) - 1
    z = ((chi2 / free) ** (1 / 3) - (1 - 2 / (9 * free))) / (2 / (9 * free)) ** 0.5
    assert z < 3.72


def test_it_explains_itself_in_the_scenario() -> None:
    known = history(past("single", "not_met", "4", start="west flag"), past("pair", "met", "3"))
    scenario = drawn(outlook(known, drills=(drill_named("single"),)), 2)
    why = " ".join(scenario.why)
    assert "One target: tried 1 times, met 0 of the last 1, the last time in the last run" in why
    assert "not drawn before" in why
    assert f"Start {scenario.start.name}" in why
    assert scenario.purpose
    assert scenario.watch
    assert scenario.searcher == "Vera"


def test_who_knows_the_places_is_said() -> None:
    scenario = drawn(outlook(history(), knows=True), 1)
    assert scenario.knows_places
    assert "Vera knows where the targets lie" in scenario.why[-1]


def test_a_kind_asked_for_that_cannot_be_set_is_refused() -> None:
    ground = ground_of(wide_field(targets=2))
    with pytest.raises(NotReady, match=r"needs 3 targets.*--drill"):
        choose(outlook(ground=ground), seed=1, drill=drill_named("three"))


def test_an_empty_field_is_refused() -> None:
    with pytest.raises(NotReady, match="nothing can be drawn here: 'One target' needs 1 targets"):
        choose(outlook(ground=ground_of(wide_field(targets=0))), seed=1)


KINDS_AND_OUTCOMES = st.tuples(
    st.sampled_from(sorted(DRILLS)),
    st.sampled_from(["met", "not_met", "stopped", "interrupted", "void"]),
    st.sets(st.sampled_from("12345678"), max_size=3),
    st.sampled_from(["south flag", "west flag", "gone flag"]),
)


@given(
    st.lists(KINDS_AND_OUTCOMES, max_size=30),
    st.integers(0, len(PLACES)),
    st.sets(st.sampled_from("12345678")),
    st.none() | st.sets(st.sampled_from("12345678")),
    st.sampled_from(sorted(DRILLS)) | st.none(),
)
def test_whatever_was_and_whatever_lies_a_draw_comes_or_is_refused(
    runs: list[Any], targets: int, out: set[str], linked: set[str] | None, kind: str | None
) -> None:
    known = history(*(past(k, o, *sent, start=start) for k, o, sent, start in runs))
    ground = ground_of(wide_field(targets=targets), leave_out=out, linked=linked)
    drill = drill_named(kind) if kind else None
    work = work_of(drill, "strike") if drill else "search only"
    view = outlook(known, ground=ground, work=work)
    try:
        choice = choose(view, seed=1, drill=drill)
    except NotReady:
        assert drill is None or why_not(ground, drill, work)
        return
    scenario = draw(ground.place, choice.drill, seed=choice.seed, time_limit_s=60, ground=ground)
    assert not {part.name for part in scenario.in_play} & out
    assert len(scenario.in_play) in choice.drill.targets
    waiting = {p.name for p in scenario.in_play if p.cues[0].trigger == "on_word"}
    assert linked is None or waiting <= linked
