"""Test equipment that is out of date on a planned day, and who has the like in date."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from fleet.domain.audit.kept import CertificateSpan
from fleet.domain.code import DeviceKind
from fleet.domain.form_sheet import FormDevice
from fleet.domain.plan import DayPlan
from fleet.planning.wording import day_words
from fleet.services.site_work import SiteWork
from fleet.store.queries.device import certificate_spans
from fleet.store.queries.equipment import certified_devices, device_holders

SAME_VOLUME = 0.1
"""Devices whose certified volumes differ by less than this share stand in for each other."""


@dataclass(frozen=True, slots=True)
class Equipment:
    """All test equipment with its certificates, and who used each piece when last."""

    devices: Sequence[FormDevice]
    spans: Sequence[CertificateSpan]
    users: Mapping[str, Mapping[str, date]]

    def in_date(self, code: str, day: date) -> bool:
        """Tell whether a certificate of a device covers a day."""
        return any(
            span.device_code == code and span.valid_from <= day <= span.valid_until
            for span in self.spans
        )

    def ended(self, code: str, day: date) -> date | None:
        """Give the last day of the certificates that a device had by a day."""
        ends = [s.valid_until for s in self.spans if s.device_code == code and s.valid_from <= day]
        return max(ends, default=None)

    def held_by(self, technicians: Iterable[str]) -> list[FormDevice]:
        """Give the devices that one of these technicians used last."""
        crew = set(technicians)
        return [device for device in self.devices if crew & set(self.last_users(device.code))]

    def last_users(self, code: str) -> list[str]:
        """Give who used a device on the last day on which it was used."""
        users = self.users.get(code, {})
        last = max(users.values(), default=None)
        return sorted(technician for technician, day in users.items() if day == last)

    def stand_ins(self, device: FormDevice, day: date) -> list[FormDevice]:
        """Give the other devices of the same use that are in date on a day."""
        return [
            other
            for other in self.devices
            if other.code != device.code
            and other.kind is device.kind
            and _alike(device.volume_ml, other.volume_ml)
            and self.in_date(other.code, day)
        ]


def read_equipment(session: Session, *, as_of: date) -> Equipment:
    """Read the equipment as it is known, used until a day."""
    return Equipment(
        devices=certified_devices(session, on=as_of),
        spans=certificate_spans(session),
        users=device_holders(session, as_of=as_of),
    )


def equipment_notes(
    equipment: Equipment, days: Sequence[DayPlan], work: Mapping[str, SiteWork]
) -> list[str]:
    """Warn of equipment that is out of date on a day on which its holder needs it.

    Parameters
    ----------
    equipment : Equipment
        With who holds what: the records tell who used it last.
    days : sequence of DayPlan
        The plan.
    work : mapping
        What is to be done at each site.

    Returns
    -------
    list of str
        One sentence a crew, device and day from which it is out of date. A crew that holds
        another device of the same use in date is not warned.
    """
    outdated: dict[tuple[tuple[str, ...], str], list[date]] = defaultdict(list)
    by_code = {device.code: device for device in equipment.devices}
    for day in days:
        volumes = {volume for stop in day.stops for volume in _volumes(work[stop.site_code])}
        for device in _lacking(equipment, day, volumes):
            outdated[day.technician_codes, device.code].append(day.day)
    return [
        _sentence(equipment, crew, by_code[code], when) for (crew, code), when in outdated.items()
    ]


def _lacking(equipment: Equipment, day: DayPlan, volumes: set[float]) -> Iterator[FormDevice]:
    """Give what a crew holds and needs that is out of date, where nothing else it holds will do."""
    held = equipment.held_by(day.technician_codes)
    for device in held:
        needed = device.kind is not DeviceKind.VOLUMETRIC or any(
            _alike(device.volume_ml, volume) for volume in volumes
        )
        spare = {other.code for other in equipment.stand_ins(device, day.day)}
        if (
            needed
            and not equipment.in_date(device.code, day.day)
            and not spare & {other.code for other in held}
        ):
            yield device


def _sentence(
    equipment: Equipment, crew: tuple[str, ...], device: FormDevice, days: Sequence[date]
) -> str:
    volume = f" ({device.volume_ml:.0f} mL)" if device.volume_ml else ""
    ended = equipment.ended(device.code, days[0])
    since = f"out of date since {ended}" if ended else "without a certificate"
    when = ", ".join(day_words(day) for day in days)
    others = [_holder_words(equipment, other) for other in equipment.stand_ins(device, days[0])]
    instead = f"in date then: {'; '.join(others)}" if others else "nobody has the like in date then"
    return (
        f"{' and '.join(crew)}, {when}: {device.kind.value} device {device.code}{volume} is "
        f"{since}; {instead}."
    )


def _holder_words(equipment: Equipment, device: FormDevice) -> str:
    users = equipment.last_users(device.code)
    if not users:
        return f"{device.code}, not used yet"
    last = max(equipment.users[device.code].values())
    return f"{device.code}, last used by {' and '.join(users)} on {last}"


def _volumes(work: SiteWork) -> Iterator[float]:
    for gauge in work.gauges:
        yield gauge.state.gauge.test_volume_ml


def _alike(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= SAME_VOLUME * max(one, other)
