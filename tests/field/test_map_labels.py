"""Where words go: beside their place, over other words sooner than over a sign."""

from __future__ import annotations

from blindfield.field.map_labels import Places
from blindfield.model.area import Area


def test_a_sign_is_hidden_last() -> None:
    places = Places(Area(0.0, 0.0, 10.0, 10.0))
    places.take(2.0, 5.0, 2.0, 2.0)
    places.take(8.0, 5.0, 2.0, 2.0, weight=8.0)
    assert places.cost(2.0, 5.0, 2.0, 2.0) < places.cost(8.0, 5.0, 2.0, 2.0)
    assert places.cost(5.0, 8.0, 2.0, 2.0) == 0.0


def test_words_go_far_where_there_is_room_nowhere_near() -> None:
    places = Places(Area(0.0, 0.0, 40.0, 40.0))
    places.take(20.0, 20.0, 14.0, 14.0, weight=8.0)
    x, y = places.around(20.0, 20.0, 2.0, 2.0)
    assert max(abs(x - 20.0), abs(y - 20.0)) >= 8.0
    assert len(places.boxes) == 2
