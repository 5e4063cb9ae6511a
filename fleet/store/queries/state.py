"""Kept states, and the gauges that they belong to, read straight into arrays."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ColumnElement, delete, select
from sqlalchemy.orm import Session

from fleet.store.base import table_of
from fleet.store.bulk import insert_rows
from fleet.store.models.state import KeptState

Arrays = dict[str, NDArray[Any]]

_IDS_AT_ONCE = 1000
