"""New and amended visits in one load of many shares: the same rows, ids and digests as ever."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import select

from fleet.services.load_network import load_network
from fleet.store.journal import Wish
from fleet.store.models.ledger import LedgerChange
from fleet.store.models.visit import Visit, VisitVersion
from fleet.store.verify import verify_ledger
from tests.factories import NOW, TODAY

VISIT_TABLES = ("visits", "gauge_checks", "tip_runs", "switch_readings", "findings")

DIGESTS = [
    (1, "gauge_check", 13, "22e76f8360c2d6696f59f446cdb3d609fec393e3754e54f509a88a82b9f2ae88"),
    (1, "tip_run", 40, "598ca60e684a259963cfcb7ea292a48276e2b8600f14f11242525cb2b1c128b3"),
    (1, "visit", 10, "1b71e75ef3a4a2a9326b30a1bd852fd4633ade5503a51b7a6b2b489e10d65683"),
    (1, "visit_version", 10, "29686656ffb45107a92b581f9faa6ea328eaa9c1f98352aa92e29648a345f3ab"),
    (2, "gauge_check", 5, "149ff33de6ee9db653820157e372cdd5023de3ee78b066ac874f980fca748fd3"),
    (2, "tip_run", 20, "ee4eb99659ad872b8e9062c6032883040450ed58a0eb19b2be2e2c4a576403cd"),
    (2, "visit", 5, "8266e0ed201c48b990d8030f9c28d80bedab8dbe037db4d71455cd5485c87c91"),
    (2, "visit_version", 6, "3d7c4a69d60627e19530656ef4f533fca675a35c7151455f903c741f7494304a"),
]
"""Regression: as the writer of single rows, which this one took the place of, wrote them."""


@pytest.fixture
def twice_loaded(network, sessions, tmp_path):
    """Two thirds of the visits, then all of them in many shares with one count amended."""
    part = network.copy()
    for table in VISIT_TABLES:
        part.tables[table] = [r for r in part.tables[table] if int(r["visit_ref"][1:]) % 3]
    del part.tables["follow_ups"]
    network.change("tip_runs", {"visit_ref": "V001", "run_number": "1"}, tips=44)
    for days, (folder, share_bytes) in enumerate(((part, 10**9), (network, 300))):
        load_network(
            sessions,
            folder.write(tmp_path / f"in{days}"),
            Wish("tester", "network load", "in two parts"),
            clock=lambda days=days: NOW + timedelta(days),
            today=TODAY,
            share_bytes=share_bytes,
        )
    return sessions


def test_digests_of_a_load_in_shares_stay_as_they_were(twice_loaded):
    tables = [table for _, table, _, _ in DIGESTS]
    with twice_loaded() as session:
        found = session.execute(
            select(
                LedgerChange.entry_id,
                LedgerChange.table_name,
                LedgerChange.row_count,
                LedgerChange.digest,
            )
            .where(LedgerChange.kind == "added", LedgerChange.table_name.in_(tables))
            .order_by(LedgerChange.entry_id, LedgerChange.table_name)
        ).all()
        assert verify_ledger(session) == []

    assert [tuple(row) for row in found] == DIGESTS


def test_amended_visits_take_their_place_among_the_new_ones(twice_loaded):
    with twice_loaded() as session:
        found = session.execute(
            select(VisitVersion.id, Visit.code)
            .join(Visit, Visit.id == VisitVersion.visit_id)
            .where(VisitVersion.entry_id == 2)
            .order_by(VisitVersion.id)
        ).all()

    assert [tuple(row) for row in found] == [
        (11, "V006"),
        (12, "V015"),
        (13, "V001"),
        (14, "V003"),
        (15, "V009"),
        (16, "V012"),
    ]
