"""The canonical text and the hashes over it.

Expected hashes are SHA-256 (FIPS 180-4) of texts written out here by hand: [CALC].
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from hashlib import sha256

import pytest

from fleet.domain.code import Phase
from fleet.store.digest import (
    GENESIS,
    RowsDigest,
    canonical_cells,
    canonical_text,
    canonical_value,
    entry_hash,
    rows_digest,
)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (None, None),
        (True, True),
        (7, 7),
        (1.0, "1.0"),
        (0.1, "0.1"),
        (1e300, "1e+300"),
        ("00417", "00417"),
        ("麻野台", "麻野台"),
        (Phase.AS_LEFT, "as_left"),
        (date(2025, 6, 2), "2025-06-02"),
        (datetime(2025, 6, 2, 8, 0, tzinfo=UTC), "2025-06-02T08:00:00.000000+00:00"),
        (
            datetime(2025, 6, 2, 9, 0, 0, 5, tzinfo=timezone(timedelta(hours=1))),
            "2025-06-02T08:00:00.000005+00:00",
        ),
    ],
)
def test_canonical_value_has_one_form(value, expected):
    assert canonical_value(value) == expected
    assert type(canonical_value(value)) is type(expected)


def test_canonical_text_does_not_depend_on_the_order_of_keys():
    assert canonical_text({"b": 1, "a": "þ"}) == '{"a":"þ","b":1}'
    assert canonical_text({"a": "þ", "b": 1}) == '{"a":"þ","b":1}'


VALUES = [
    None,
    True,
    -7,
    10**30,
    0.1,
    -0.0,
    float("inf"),
    'a "quoted"\\ line\nþ麻\u2028\x07',
    Phase.AS_LEFT,
    date(2025, 6, 2),
    datetime(2025, 6, 2, 8, 0, tzinfo=UTC),
]


@pytest.mark.parametrize("column", [*([value] for value in VALUES), [*VALUES, 1, 1.0, False]])
def test_canonical_cells_are_the_canonical_texts_of_the_values(column):
    cells = canonical_cells([*column, *column])

    assert list(cells) == 2 * [canonical_text(canonical_value(value)) for value in column]


def test_digest_of_columns_is_the_hash_of_their_rows_one_a_line():
    digest = RowsDigest(["id", "error_percent", "note"], floats=["error_percent"])

    digest.add({"note": ["100 %", None], "id": range(1, 3), "error_percent": [2, 0.5], "x": [0, 0]})
    digest.add({"note": ["þ"], "id": [3], "error_percent": [None], "x": [0]})

    lines = (
        '{"error_percent":"2.0","id":1,"note":"100 %"}\n'
        '{"error_percent":"0.5","id":2,"note":null}\n'
        '{"error_percent":null,"id":3,"note":"þ"}\n'
    )
    assert (digest.text, digest.rows) == (sha256(lines.encode()).hexdigest(), 3)


def test_digest_of_rows_is_the_hash_of_their_lines():
    lines = '{"code":"NORTH","id":1}\n{"code":"þ","id":2}\n'

    rows = [{"id": 1, "code": "NORTH"}, {"id": 2, "code": "þ"}]

    digest = rows_digest(canonical_text(row) for row in rows)

    assert digest == sha256(lines.encode()).hexdigest()


def test_digest_of_no_rows_is_that_of_the_empty_text():
    """SHA-256 of the empty message, published in NIST's example values; here from memory."""
    assert rows_digest([]) == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def test_entry_hash_covers_head_and_changes_in_order():
    head = {"id": 1, "previous_hash": GENESIS}
    first, second = {"number": 1}, {"number": 2}
    lines = f'{{"id":1,"previous_hash":"{"0" * 64}"}}\n{{"number":1}}\n{{"number":2}}\n'

    assert entry_hash(head, [first, second]) == sha256(lines.encode()).hexdigest()
    assert entry_hash(head, [second, first]) != entry_hash(head, [first, second])
    assert entry_hash(head, [first]) != entry_hash(head, [first, second])
