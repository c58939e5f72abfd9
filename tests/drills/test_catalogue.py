"""The catalogue: what is in it, what a field may add, and every mistake pointed at."""

from __future__ import annotations

from pathlib import Path

import pytest

from blindfield.drills.catalogue import (
    DRILLS,
    OWN_FILE,
    SHIPPED_FILE,
    catalogue_of,
    drill_named,
    shipped,
)
from blindfield.drills.reading import read_catalogue
from blindfield.model.errors import ConfigError

TEXTS = ("purpose", "watch", "geometry", "timing", "cautions")
ASKED_FOR = {
    "single",
    "pair_within_range",
    "pair_out_of_range",
    "close_pair",
    "close_pair_no_marking",
    "staggered",
    "surprise",
    "drop_out",
    "overlap",
    "three",
    "deep",
    "one_only",
    "late_first",
    "dig_only",
}
EXAMPLE = Path(__file__).resolve().parents[2] / "host/examples" / OWN_FILE
OWN = """\
[[drill]]
kind = "far_four"
title = "Four far apart"
work = ["search only"]
targets = 4
distance = "out of range"
purpose = "p"
watch = "w"
geometry = "g"
timing = "t"
cautions = "c"
after = ["three"]
"""


def test_it_holds_the_kinds_asked_for_and_the_names_of_old_commands() -> None:
    assert DRILLS.keys() >= ASKED_FOR
    assert len(DRILLS) >= 14
    assert DRILLS.keys() >= {"single", "pair", "staggered", "three"}


@pytest.mark.parametrize("kind", sorted(DRILLS))
def test_every_kind_says_what_it_is_for(kind: str) -> None:
    drill = drill_named(kind)
    for name in TEXTS:
        text = getattr(drill, name)
        assert len(text) > 15, (kind, name)
        assert text[-1] in ".?", (kind, name)
    assert drill.work
    assert set(drill.after) <= DRILLS.keys()
    # A searcher who is told nothing of the number, or nothing to find, must be told how it ends.
    assert ("tell done" in drill.briefing) == (drill.until == "done")


def test_each_kind_of_work_has_its_drills() -> None:
    works = {work for drill in DRILLS.values() for work in drill.work}
    assert works == {"search only", "search and dig", "dig only"}
    assert [d.kind for d in DRILLS.values() if d.work == ("dig only",)] == ["dig_only"]


def test_aids_stand_apart_from_kinds() -> None:
    aids = shipped().aids
    assert aids["struck_rests"].effect == "struck rests"
    assert not aids.keys() & DRILLS.keys()


def test_every_shipped_text_is_a_data_file_that_reads_on_its_own() -> None:
    drills, aids = read_catalogue(SHIPPED_FILE)
    assert list(drills) == list(DRILLS)
    assert list(aids) == list(shipped().aids)


def test_a_file_beside_the_field_adds_kinds(tmp_path: Path) -> None:
    assert catalogue_of(tmp_path) is shipped()
    (tmp_path / OWN_FILE).write_text(OWN)
    catalogue = catalogue_of(tmp_path)
    assert catalogue.drill_named("far_four").targets == (4,)
    assert list(catalogue.drills) == [*DRILLS, "far_four"]
    assert "far_four" not in DRILLS


def test_the_example_of_own_drills_is_right(tmp_path: Path) -> None:
    (tmp_path / OWN_FILE).write_text(EXAMPLE.read_text())
    catalogue = catalogue_of(tmp_path)
    assert catalogue.drill_named("far_three").distance == "out of range"
    assert catalogue.aid_named("one_rhythm").effect == "pulses apart"


def test_an_unknown_kind_is_answered_with_the_nearest() -> None:
    with pytest.raises(ConfigError, match=r"Did you mean staggered\? Choose from single, pair"):
        drill_named("stagered")
    with pytest.raises(ConfigError, match="Did you mean struck_rests"):
        shipped().aid_named("struckrests")


def changed(old: str, new: str) -> str:
    assert old in OWN
    return OWN.replace(old, new)


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        (changed("distance =", "distanse ="), 6, r'"distanse" is not a known key.*mean distance\?'),
        (changed("[[drill]]", "[[drills]]"), 1, r"Did you mean \[\[drill\]\]"),
        (changed("[[drill]]", "[drill]"), 1, "must be a list of tables"),
        (changed('"out of range"', '"out of reach"'), 6, 'Did you mean "out of range"'),
        (changed('"search only"', '"search"'), 4, 'Did you mean "search only"'),
        (changed('["search only"]', "[]"), 4, "work is empty"),
        (changed('work = ["search only"]\n', ""), 1, "work is missing"),
        (changed('"far_four"', '"Far four"'), 2, "cannot be a kind"),
        (changed('"far_four"', '"three"'), 2, "there is a kind three already"),
        (changed("targets = 4", "targets = 9"), 5, "targets cannot be 9"),
        (changed("targets = 4", "targets = true"), 5, "targets cannot be True"),
        (changed("targets = 4", "targets = [0, 1]"), 5, "targets cannot be"),
        (changed("targets = 4", "targets = 1"), 6, "a distance needs two targets"),
        (changed("targets = 4", "targets = 0"), 5, "no target sends in"),
        (changed('["three"]', '["tree"]'), 12, "Did you mean three"),
        (changed('["three"]', '["far_four"]'), 12, "is no other kind"),
        (changed('["three"]', '"three"'), 12, "must be a list of texts"),
        (changed('"out of range"', '"close"'), 6, "close_m go together"),
        (changed('timing = "t"', 'told = "yes"\ntiming = "t"'), 10, "Write true or false"),
        (changed('timing = "t"', 'told = false\ntiming = "t"'), 5, "a person says done"),
        (changed('timing = "t"', 'second = "word"\ntiming = "t"'), 10, "go together"),
        (changed('timing = "t"', 'second_at_share = [0.2, 0.4]\ntiming = "t"'), 10, "go together"),
        (changed('timing = "t"', 'out_at_share = [0.4, 0.2]\ntiming = "t"'), 10, "two shares"),
        (changed('timing = "t"', 'out_at_share = [0.1, 0.2]\ntiming = "t"'), 10, "go together"),
        (changed('timing = "t"', 'close_m = 900\ntiming = "t"'), 10, "outside 0.5 to 50 m"),
        (OWN + OWN, 14, "there is a kind far_four already"),
        (OWN + '[[aid]]\nname = "x"\ntitle = "t"\npurpose = "p"\n', 13, "effect is missing"),
        (OWN + "[[aid\n", 13, "this is not TOML"),
    ],
)
def test_a_mistake_names_file_line_and_remedy(
    tmp_path: Path, text: str, line: int, what: str
) -> None:
    path = tmp_path / OWN_FILE
    path.write_text(text)
    with pytest.raises(ConfigError, match=what) as caught:
        catalogue_of(tmp_path)
    assert str(caught.value).startswith(f"{path}, line {line}")
