"""The questions about test equipment and spares."""

from __future__ import annotations

from fleet.domain.audit.certificate import CertificateRow, certificates_due
from fleet.domain.audit.rotation import PoolRow, RotationRow, pool, rotation
from fleet.domain.audit.spare import SpareRow, spares
from fleet.domain.audit.taint import TaintRow, tainted_checks
from fleet.services.question import HISTORIES, NO_POLICY, VISIT_DAY, Question, Use

_REGISTER = HISTORIES | {Use.REGISTER}
_DEVICES = _REGISTER | {Use.DEVICES}
_STATUS = (
    "Whether it stands somewhere is of the day asked about; status is what the register says now, "
    "or said on --known-on: it has no day of its own."
)

DUE = Question(
    name="due",
    asks="Which test equipment is out of date, or soon will be?",
    counts=(
        "A device without a certificate in force, or whose unbroken chain of certificates ends "
        "within --ahead days (60, a choice of this program). The last day of a certificate is in "
        "force."
    ),
    period="The day asked about, and the days ahead of it.",
    policy=NO_POLICY,
    row_type=CertificateRow,
    rule=certificates_due,
    example="due --ahead 90",
    takes=frozenset({"ahead"}),
    uses=_DEVICES,
    noun="equipment",
)

TAINTED = Question(
    name="tainted",
    asks="Which checks rest on a device that is found to be bad, and what is to be checked again?",
    counts=(
        "Each check in which the device was used, the verdicts that rested on it, and the first "
        "later check that did without it. With --off-by the verdicts are worked out anew with the "
        "volume that it poured in truth; an explicit tip band of the policy belongs to the "
        "nominal volume, so the tolerance is taken then."
    ),
    period="All uses until the day asked about; with --since those from that day on.",
    policy=VISIT_DAY,
    row_type=TaintRow,
    rule=tainted_checks,
    example="tainted K1-800 --since 2026-03-01 --off-by 2.5",
    takes=frozenset({"devices", "since", "off_by"}),
    uses=_DEVICES,
    noun="equipment",
)

SPARES = Question(
    name="spares",
    asks="Which instruments stand nowhere, and which of them may go out?",
    counts=f"Spares and those in the workshop, and whatever the register contradicts. {_STATUS}",
    period="The day asked about.",
    policy=VISIT_DAY,
    row_type=SpareRow,
    rule=spares,
    example="spares --format csv",
    takes=frozenset(),
    uses=_REGISTER,
    noun="equipment",
    finds=False,
)

ROTATION = Question(
    name="rotation",
    asks="Which gauges are due on the bench?",
    counts=(
        "In the field for --field-days or longer (730, two years: common practice, no published "
        "source), over moves from site to site of at most 30 days, since no overhaul is likely in "
        "so short a time (a choice of this program)."
    ),
    period="Gauges that are installed on the day asked about.",
    policy=NO_POLICY,
    row_type=RotationRow,
    rule=rotation,
    example="rotation --field-days 1095",
    takes=frozenset({"field_days"}),
    uses=_REGISTER,
    noun="equipment",
)

POOL = Question(
    name="pool",
    asks="Are there enough spares of each type for the rotation?",
    counts=f"What rotation lists against the spares that are ready, by type. {_STATUS}",
    period="The day asked about.",
    policy=NO_POLICY,
    row_type=PoolRow,
    rule=pool,
    example="pool",
    takes=frozenset({"field_days"}),
    uses=_REGISTER,
    noun="equipment",
    finds=False,
)

EQUIPMENT_QUESTIONS = (DUE, TAINTED, SPARES, ROTATION, POOL)
