"""What counts as a problem, and of which kind."""

from __future__ import annotations

import math
from collections import Counter
from itertools import combinations, pairwise

import numpy as np
import pytest

from blindfield.field.plan_ground import Ground
from blindfield.field.plan_objective import ATTITUDES_DEG, Lying, layouts_of
from blindfield.field.plan_signals import HELD_M, UNKNOWN_ATTITUDE, Hearing, Layouts, shown_m
from blindfield.field.problems import (
    CLOSE_M,
    EDGE_M,
    KINDS,
    ORDER_MARGIN_M,
    SIZE_OF,
    Kind,
    Problem,
    judge,
    plain_difficulty,
    problems_of,
)
from blindfield.model.errors import ConfigError
from blindfield.physics.receiver import range_m

GROUND = Ground()
STARTS = {"south": (25.0, 0.0), "east": (50.0, 25.0), "north": (25.0, 50.0)}
UPRIGHT = (0.0, 90.0)
USUAL = Hearing()


def target(name: str, x_m: float, y_m: float, depth_m: float = 0.6) -> Lying:
    return Lying(name, x_m, y_m, depth_m, *UPRIGHT)


def found(
    *targets: Lying, hearing: Hearing = USUAL, **starts: tuple[float, float]
) -> list[Problem]:
    names = tuple(one.name for one in targets)
    return problems_of(layouts_of(targets, GROUND), names, starts or STARTS, hearing)


def of_set(problems: list[Problem], *names: str) -> list[Problem]:
    return [one for one in problems if set(one.order) == set(names)]


def random_targets(count: int, seed: int) -> tuple[Lying, ...]:
    rng = np.random.default_rng(seed)
    return tuple(
        Lying(
            str(number),
            float(rng.uniform(0, 50)),
            float(rng.uniform(0, 50)),
            float(rng.choice([0.5, 0.8, 0.9, 1.2])),
            *ATTITUDES_DEG[rng.integers(len(ATTITUDES_DEG))],
        )
        for number in range(count)
    )


def shown_by_hand(one: Lying, x_m: float, y_m: float) -> float:
    """r (2 / sqrt(1 + 3 cos^2))^(1/3): the dipole's closed form."""
    away = np.array([x_m - one.x_m, y_m - one.y_m, HELD_M + one.depth_m])
    azimuth, tilt = (
        math.radians(one.antenna_azimuth_deg or 0),
        math.radians(one.antenna_tilt_deg or 0),
    )
    axis = np.array(
        [math.sin(azimuth) * math.cos(tilt), math.cos(azimuth) * math.cos(tilt), math.sin(tilt)]
    )
    length = float(np.linalg.norm(away))
    cosine = float(away @ axis) / length
    return length * (2.0 / math.sqrt(1.0 + 3.0 * cosine**2)) ** (1.0 / 3.0)


def kind_by_hand(members: tuple[Lying, ...], hearing: Hearing) -> Kind:
    deep = any(one.depth_m > 0.8 for one in members)
    pairs = list(combinations(members, 2))
    apart = [math.dist((a.x_m, a.y_m), (b.x_m, b.y_m)) for a, b in pairs]
    close, far = [m < CLOSE_M for m in apart], [m > hearing.lost_m for m in apart]
    if len(members) == 1:
        one = members[0]
        rim = min(one.x_m, one.y_m, 50 - one.x_m, 50 - one.y_m) < EDGE_M
        return Kind.DEEP if deep else Kind.EDGE if rim else Kind.SINGLE
    if len(members) == 3:
        if any(close):
            return Kind.THREE_CLOSE
        if sum(far) >= 2:
            return Kind.THREE_FAR
        return Kind.THREE_DEEP if deep else Kind.THREE
    ((a, b),) = pairs
    mutual = max(shown_by_hand(a, b.x_m, b.y_m), shown_by_hand(b, a.x_m, a.y_m))
    if far[0]:
        return Kind.PAIR_OUT
    if close[0]:
        return Kind.PAIR_CLOSE
    if deep:
        return Kind.PAIR_DEEP
    return Kind.PAIR_DOUBTFUL if mutual > hearing.sure_m else Kind.PAIR


def by_hand(targets: tuple[Lying, ...], hearing: Hearing) -> dict[tuple[str, ...], Kind]:
    """Every (order) and its kind, from the definition; sets without a sure one by their names."""
    orders: dict[tuple[str, ...], Kind] = {}
    for size in (1, 2, 3):
        for members in combinations(targets, size):
            kind = kind_by_hand(members, hearing)
            sure = 0
            for x_m, y_m in STARTS.values():
                near = sorted((shown_by_hand(one, x_m, y_m), one.name) for one in members)
                gaps = [b[0] - a[0] for a, b in pairwise(near)]
                if all(gap >= ORDER_MARGIN_M for gap in gaps):
                    orders[tuple(name for _, name in near)] = kind
                    sure += 1
            if not sure:
                orders[("unsure", *(one.name for one in members))] = kind
    return orders


@pytest.mark.parametrize("seed", range(6))
def test_counts_and_lists_are_those_of_the_definition(seed: int) -> None:
    hearing = Hearing(32.0)
    targets = random_targets(7, seed)
    expected = by_hand(targets, hearing)
    problems = found(*targets, hearing=hearing)
    listed = {
        one.order if one.sure else ("unsure", *sorted(one.order)): one.kind for one in problems
    }
    assert listed == expected
    assert len(problems) == len(expected)
    judged = judge(layouts_of(targets, GROUND), np.array(list(STARTS.values())), hearing)
    counted = Counter(expected.values())
    assert judged.per_kind()[0].tolist() == [counted[kind] for kind in KINDS]


def test_many_layouts_at_once_are_judged_as_one_by_one() -> None:
    starts = np.array(list(STARTS.values()))
    single = [layouts_of(random_targets(6, seed), GROUND) for seed in range(5)]
    together = Layouts(*(np.concatenate(parts) for parts in zip(*single, strict=True)))
    alone = [judge(one, starts, Hearing()).per_kind()[0].tolist() for one in single]
    assert judge(together, starts, Hearing()).per_kind().tolist() == alone


def test_starts_that_give_the_same_order_count_once() -> None:
    a, b = target("a", 10, 25), target("b", 35, 25)
    near_a = {"one": (0.0, 25.0), "two": (5.0, 20.0)}
    (pair,) = of_set(found(a, b, **near_a), "a", "b")
    assert pair.order == ("a", "b")
    assert pair.starts == ("one", "two")
    both = of_set(found(a, b, **near_a, three=(50.0, 25.0)), "a", "b")
    assert {one.order: one.starts for one in both} == {
        ("a", "b"): ("one", "two"),
        ("b", "a"): ("three",),
    }


def test_an_order_no_start_makes_sure_is_still_one_problem_and_says_so() -> None:
    a, b = target("a", 15, 25), target("b", 35, 25)
    (pair,) = of_set(found(a, b, middle=(25.0, 0.0), north=(25.2, 50.0)), "a", "b")
    assert not pair.sure
    judged = judge(layouts_of((a, b), GROUND), np.array([(25.0, 0.0), (25.2, 50.0)]), USUAL)
    assert judged.per_kind().sum() == 3  # a, b and the pair
    assert pair.starts == ("middle", "north")


def test_shown_distances_go_with_the_order_and_the_first_start() -> None:
    a, b = target("a", 30, 25), target("b", 12, 25)
    (pair,) = of_set(found(a, b, west=(0.0, 25.0)), "a", "b")
    assert pair.order == ("b", "a")
    assert pair.shown_m == pytest.approx((shown_by_hand(b, 0.0, 25.0), shown_by_hand(a, 0.0, 25.0)))
    assert pair.least_apart_m == pytest.approx(18.0)


@pytest.mark.parametrize(
    ("targets", "kind"),
    [
        ([("a", 25, 25)], Kind.SINGLE),
        ([("a", 25, 47)], Kind.EDGE),
        ([("a", 25, 47, 1.0)], Kind.DEEP),
        ([("a", 15, 25), ("b", 30, 25)], Kind.PAIR),
        ([("a", 5, 25), ("b", 40, 25)], Kind.PAIR_DOUBTFUL),
        ([("a", 15, 25), ("b", 30, 25, 0.9)], Kind.PAIR_DEEP),
        ([("a", 15, 25), ("b", 24.9, 25)], Kind.PAIR_CLOSE),
        ([("a", 1, 1), ("b", 49, 3)], Kind.PAIR_OUT),
        ([("a", 10, 25), ("b", 30, 25), ("c", 20, 40)], Kind.THREE),
        ([("a", 10, 25), ("b", 30, 25), ("c", 20, 40, 1.0)], Kind.THREE_DEEP),
        ([("a", 1, 1), ("b", 1, 14), ("c", 49, 24)], Kind.THREE_FAR),
        ([("a", 1, 1), ("b", 1, 9), ("c", 49, 24)], Kind.THREE_CLOSE),
    ],
)
def test_kinds_as_a_person_would_name_them(
    targets: list[tuple[str, float, float]], kind: Kind
) -> None:
    made = [target(*one) for one in targets]
    problems = of_set(found(*made), *(one.name for one in made))
    assert {one.kind for one in problems} == {kind}
    assert SIZE_OF[kind] == len(targets)


def test_a_shown_distance_within_the_range_is_within_the_range_at_that_coupling() -> None:
    one = Lying("a", 20.0, 20.0, 0.5, 90.0, 0.0)
    side = float(shown_m(np.array([[[20.0, 50.0]]]), layouts_of((one,), GROUND))[0, 0, 0])
    along = float(shown_m(np.array([[[50.0, 20.0]]]), layouts_of((one,), GROUND))[0, 0, 0])
    distance_m = math.hypot(30.0, HELD_M + 0.5)
    # broadside half the coaxial coupling is heard, so a range of `side` reaches just so far
    assert float(range_m(side, 0.5)) == pytest.approx(distance_m)
    assert along == pytest.approx(distance_m, rel=0.002)


def test_an_antenna_nobody_noted_lies_between_the_extremes() -> None:
    unknown = Lying("a", 20.0, 20.0, 0.5)
    points = np.array([[[50.0, 20.0]]])
    shown = float(shown_m(points, layouts_of((unknown,), GROUND))[0, 0, 0])
    assert shown == pytest.approx(UNKNOWN_ATTITUDE * math.hypot(30.0, 1.5))


def test_the_mean_over_all_attitudes_is_the_one_stated() -> None:
    cosine = (np.arange(100_000) + 0.5) / 100_000
    mean = float(np.mean((2.0 / np.sqrt(1.0 + 3.0 * cosine**2)) ** (1.0 / 3.0)))
    assert pytest.approx(mean, abs=0.006) == UNKNOWN_ATTITUDE


def test_sure_and_lost_ranges_stand_two_spreads_off() -> None:
    assert (Hearing(40.0).sure_m, Hearing(40.0).lost_m) == pytest.approx((32.0, 48.0))
    assert (Hearing(40.0, 1.0).sure_m, Hearing(40.0, 1.0).lost_m) == pytest.approx((38.0, 42.0))


@pytest.mark.parametrize(
    "wrong", [(0.0, None), (500.0, None), (40.0, -1.0), (40.0, 20.0), (math.nan, None)]
)
def test_a_range_that_is_none_is_refused(wrong: tuple[float, float | None]) -> None:
    with pytest.raises(ConfigError):
        Hearing(*wrong)


def test_the_plain_difficulty_grows_with_targets_depth_and_closeness() -> None:
    a, b, c = target("a", 15, 25), target("b", 30, 25), target("c", 22, 25, 1.0)
    rated = {frozenset(one.order): plain_difficulty(one) for one in found(a, b, c)}
    assert rated[frozenset("a")] == 1.0
    assert rated[frozenset("c")] == 1.5
    assert rated[frozenset("ab")] == 2.0
    assert rated[frozenset("ac")] == 3.0
    assert rated[frozenset("abc")] == 4.0
