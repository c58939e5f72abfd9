"""RFC 8949: the examples of Appendix A, and ill-formed items named by its text."""

import json
from pathlib import Path
from typing import Any

import cbor2
import pytest

from fieldcore import cbor

TABLE = json.loads(Path(__file__).with_name("rfc8949_appendix_a.json").read_text("utf-8"))["rows"]
INSIDE = [row for row in TABLE if "outside" not in row]
OUTSIDE = [row["hex"] for row in TABLE if "outside" in row]


def value_of(row: dict[str, Any]) -> Any:
    return bytes.fromhex(row["bytes"]) if "bytes" in row else row["value"]


def test_the_table_is_whole() -> None:
    assert len(TABLE) == 81
    assert len(INSIDE) == 29


@pytest.mark.parametrize("row", INSIDE, ids=lambda row: row["hex"])
def test_examples_within_the_subset_read_and_write(row: dict[str, Any]) -> None:
    data = bytes.fromhex(row["hex"])
    value = cbor.loads(data)
    assert value == value_of(row)
    assert type(value) is type(value_of(row))
    assert cbor.dumps(value) == data


@pytest.mark.parametrize("text", OUTSIDE)
def test_examples_outside_the_subset_are_well_formed_and_refused(text: str) -> None:
    data = bytes.fromhex(text)
    cbor2.loads(data)
    with pytest.raises(ValueError, match=r"."):
        cbor.loads(data)


# Section 3.3: a two-byte simple value below 32 is not well-formed. Appendix F.1: further examples.
@pytest.mark.parametrize(
    "text", ["f818", "f800", "1c", "fc", "5c", "9d", "ff", "1f", "", "62", "8201"]
)
def test_ill_formed_items_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        cbor.loads(bytes.fromhex(text))
