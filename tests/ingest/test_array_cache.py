"""Kept arrays: found again, made again when damaged, never in the way."""

from __future__ import annotations

import os

import numpy as np
import pytest

from fleet.errors import FleetWarning
from fleet.ingest.array_cache import MOST_FILES, cached_arrays, content_hash, keep_arrays

ARRAYS = {"minutes": np.array([[0.0, np.nan], [2.5, 0.0]]), "dated": np.array(739_000)}


def test_kept_arrays_are_found_by_all_their_parts(tmp_path):
    keep_arrays(tmp_path, ("roads", 1, "abc"), ARRAYS)

    found = cached_arrays(tmp_path, ("roads", 1, "abc"))

    assert np.array_equal(found["minutes"], ARRAYS["minutes"], equal_nan=True)
    assert int(found["dated"]) == 739_000
    assert cached_arrays(tmp_path, ("roads", 2, "abc")) is None


@pytest.mark.parametrize("damage", [b"", b"junk", None])
def test_damaged_file_is_as_good_as_none(tmp_path, damage):
    keep_arrays(tmp_path, ("a",), ARRAYS)
    (path,) = tmp_path.glob("*.npz")
    path.write_bytes(path.read_bytes()[:100] if damage is None else damage)

    assert cached_arrays(tmp_path, ("a",)) is None


def test_folder_that_cannot_be_written_is_a_warning(tmp_path):
    (tmp_path / "file").write_text("")

    with pytest.warns(FleetWarning, match="FLEET_CACHE"):
        keep_arrays(tmp_path / "file" / "cache", ("a",), ARRAYS)


def test_oldest_files_go_first(tmp_path):
    for number in range(MOST_FILES + 2):
        keep_arrays(tmp_path, (number,), {"a": np.array(number)})
        for path in tmp_path.glob("*.npz"):
            os.utime(path, (path.stat().st_atime, path.stat().st_mtime - 10))

    assert len(list(tmp_path.iterdir())) == MOST_FILES
    assert cached_arrays(tmp_path, (0,)) is None
    assert cached_arrays(tmp_path, (MOST_FILES + 1,)) is not None


def test_content_hash_is_the_published_sha_256_of_abc(tmp_path):
    """FIPS 180-2, appendix B.1: the digest of the three bytes abc (from memory)."""
    path = tmp_path / "abc"
    path.write_bytes(b"abc")

    assert content_hash(path) == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
