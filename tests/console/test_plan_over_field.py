"""`blindfield plan` over a field: what lies stays, what it may show, what it writes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from blindfield.field.as_built import as_built
from blindfield.field.settings import load_field
from blindfield.field.starter import starter_field_text
from blindfield.logbook.book import Logbook
from blindfield.model.errors import ConfigError, NotReady
from blindfield.model.events import Event
from blindfield.model.field import Field, TargetState
from support.par_field import KEY, PLACES, ParField, field_in
from support.planning import PlanDesk, one_line
from support.runs import UTC
from support.scenarios import small_field


@pytest.fixture
def typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> PlanDesk:
    return PlanDesk(tmp_path, monkeypatch, capsys)


def noted(place: Field, kind: str, **data: object) -> None:
    """A person's entry in the field's logbook."""
    event = Event(kind=kind, source="person", host_epoch=bytes(8), utc=UTC, data=dict(data))
    with Logbook.open(place.logbook_path, field_key=KEY) as book:
        book.append(event)


def in_field(folder: Path, *states: TargetState) -> Field:
    """The small field with its first targets in these states, in `folder`."""
    place = small_field(4, folder=folder)
    targets = list(place.targets)
    for number, state in enumerate(states):
        targets[number] = replace(targets[number], state=state)
    place = replace(place, targets=tuple(targets))
    (folder / "field.toml").write_text(starter_field_text(place))
    return place


def test_over_a_field_it_tells_which_move_would_bring_most(typed: PlanDesk, tmp_path: Path) -> None:
    place = in_field(tmp_path)
    out = one_line(typed())
    assert place.name in out
    assert "Or move no. " in out
    made = typed.read()
    assert [(t["name"], t["x_m"], t["y_m"]) for t in made["targets"]] == [
        (t.name, t.x_m, t.y_m) for t in place.targets
    ]
    assert made["digging_order"] == []
    first = made["moves"][0]
    assert first["more"] or first["new_kinds"]
    gain = first["drawable"]
    assert f"move no. {first['target']} to {first['x_m']:g},{first['y_m']:g}" in out
    assert f"{gain['more']:+d} problem" in out
    assert all(kind in out for kind in gain["new_kinds"])


def test_where_all_are_frozen_in_no_move_is_told(typed: PlanDesk, tmp_path: Path) -> None:
    in_field(tmp_path, *[TargetState.FROZEN_IN] * 4)
    assert "No single move of a target would make the field richer." in one_line(typed())


def test_what_is_dug_out_is_planned_anew_and_devices_keep_their_numbers(
    typed: PlanDesk, tmp_path: Path
) -> None:
    place = in_field(tmp_path, TargetState.DUG_OUT, TargetState.FROZEN_IN)
    before = (tmp_path / "field.toml").read_text()
    file = tmp_path / "again.toml"
    out = one_line(typed("--targets", "5", "--write", str(file)))
    assert "numbers of 5 in it are placeholders" in out
    assert "simulated" not in out
    assert (tmp_path / "field.toml").read_text() == before
    written = load_field(file)
    assert {t.name: t.device_id for t in place.targets}.items() <= {
        t.name: t.device_id for t in written.targets
    }.items()
    assert len({t.device_id for t in written.targets}) == 5
    for name in "234":
        assert written.target_named(name) == place.target_named(name)
    assert written.target_named("1").state is TargetState.IN_PLACE
    assert written.target_named("1").antenna_azimuth_deg is not None
    assert (written.media, written.key_path) == (place.media, place.key_path)


def test_fewer_than_the_devices_leaves_the_others_out_of_the_snow(
    typed: PlanDesk, tmp_path: Path
) -> None:
    in_field(tmp_path)
    typed("--new", "--targets", "2", "--write", str(tmp_path / "two.toml"))
    written = load_field(tmp_path / "two.toml")
    assert len(written.targets) == 4
    assert sum(target.state.lies for target in written.targets) == 2


def test_a_field_is_planned_as_people_noted_it_lies(typed: PlanDesk, tmp_path: Path) -> None:
    place = in_field(tmp_path)
    noted(place, "placed", field=place.name, device="2", x_m=33.5, y_m=44.5)
    made = typed.read()
    assert {t["name"]: t["x_m"] for t in made["targets"]}["2"] == 33.5


def test_a_searchers_own_range_is_taken_from_the_logbook(typed: PlanDesk, tmp_path: Path) -> None:
    place = in_field(tmp_path)
    noted(
        place,
        "receive_range",
        field=place.name,
        searcher="Ode",
        transceiver="the red one",
        ranges_m=[30.0, 28.0, 32.0, 30.0, 31.0, 29.0],
        mean_m=30.0,
        sigma_m=1.4,
    )
    made = typed.read("--searcher", "ode")
    assert made["range_m"] == pytest.approx(30.0)
    assert made["range_spread_m"] == pytest.approx(1.41, abs=0.01)
    with pytest.raises(ConfigError, match="no range test"):
        typed("--searcher", "nobody")


def test_while_a_run_is_open_no_place_is_shown(
    typed: PlanDesk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = ParField(tmp_path, capsys)
    bench.run_made([100.0], is_open=True)
    with pytest.raises(NotReady) as refused:
        typed()
    said = str(refused.value) + capsys.readouterr().out
    for name, (x_m, y_m, _) in PLACES.items():
        assert not any(secret in said for secret in (name, str(x_m), str(y_m)))


def test_after_the_run_it_plans_again(
    typed: PlanDesk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = ParField(tmp_path, capsys)
    bench.run_made([100.0])
    out = typed()
    assert "Wrenhollow" in out
    assert field_in(tmp_path).name in out


def test_over_a_field_some_words_do_not_go(typed: PlanDesk, tmp_path: Path) -> None:
    in_field(tmp_path)
    with pytest.raises(ConfigError, match="its file says that"):
        typed("--field", str(tmp_path), "--area", "30x30")
    with pytest.raises(ConfigError, match="4 targets lie in the field already"):
        typed("--targets", "2")


def test_a_plan_over_a_field_with_a_logbook_keeps_what_was_measured_out_of_the_new_one(
    typed: PlanDesk, tmp_path: Path
) -> None:
    """The new file shares the logbook: old snow must not deepen, nor old places move, its holes."""
    place = in_field(tmp_path)
    noted(place, "snow", change_m=0.3, cause="new snow", field=place.name)
    noted(place, "placed", device="1", x_m=3.0, y_m=4.0, field=place.name)
    out = one_line(typed("--write", str(tmp_path / "next.toml")))
    written = load_field(tmp_path / "next.toml")
    assert written.name == f"{place.name} (2)"
    assert f"a field of its own, {written.name}" in out
    with Logbook.open(written.logbook_path, field_key=KEY) as book:
        built = as_built(written, book.past.of_the_field())
    assert built.field.targets == written.targets
    assert as_built(place, book_events(place)).field.targets != place.targets  # the old one knows


def book_events(place: Field) -> list[Event]:
    with Logbook.open(place.logbook_path, field_key=KEY) as book:
        return book.past.of_the_field()
