"""The header row: unknown, missing, repeated and nameless columns."""

from fleet.ingest.catalogue import TABLES
from fleet.ingest.file_log import FileLog
from fleet.ingest.header import read_header

CLOSURES = TABLES["closures"]


def told(*cells):
    log = FileLog("closures.csv")
    header = read_header(cells, CLOSURES, log)
    return header, [str(problem) for problem in log.problems], log.complete


def test_read_header_takes_columns_in_any_order():
    assert told("name", "depot_code", "day") == (("name", "depot_code", "day"), [], True)


def test_read_header_suggests_for_an_unknown_column():
    assert told("depot_code", "day", "Name ") == (
        ("depot_code", "day", None),
        [
            "closures.csv row 1: 'Name ' found; an unknown column; closures has none of that name "
            "(did you mean 'name'?)",
            "closures.csv row 1: the column name is missing",
        ],
        False,
    )


def test_read_header_tells_columns_that_are_not_wanted():
    assert told("depot_code", "day", "name", "weather") == (
        ("depot_code", "day", "name", None),
        ["closures.csv row 1: 'weather' found; an unknown column; closures has none of that name"],
        True,
    )


def test_read_header_tells_repeated_columns_and_keeps_the_first():
    assert told("depot_code", "day", "name", "day") == (
        ("depot_code", "day", "name", None),
        ["closures.csv row 1: 'day' found; a column that stands there twice; delete one"],
        True,
    )


def test_read_header_tells_nameless_columns():
    assert told("depot_code", "", "day", "name")[1] == [
        "closures.csv row 1: column 2 has no name; name or delete what has none"
    ]
    assert told("depot_code", "day", "name", "", "")[1] == [
        "closures.csv row 1: columns 4, 5 have no name; name or delete what has none"
    ]


def test_missing_column_is_told_also_where_its_cells_may_be_empty(problems, network, tmp_path):
    path = network.write(tmp_path / "cut") / "skills.csv"
    rows = [line.rsplit(",", 1)[0] for line in path.read_text(encoding="utf-8").splitlines()]
    path.write_text("\n".join(rows), encoding="utf-8")

    assert problems(path.parent) == [
        "skills.csv row 1: the column valid_until is missing; its cells may stay empty"
    ]
