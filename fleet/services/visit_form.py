"""Make the visit form for sites, or for the stops of a round."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path

from sqlalchemy.orm import Session, sessionmaker

from fleet.domain.form_sheet import FormSheet, VisitForm, form_gauge
from fleet.errors import ConflictError, NotFoundError
from fleet.reports.visit_form import write_visit_form
from fleet.store.queries.crew import technicians
from fleet.store.queries.equipment import certified_devices
from fleet.store.queries.gauge import InstalledGauge, installed_gauges
from fleet.store.queries.place import KeptSite, open_follow_ups, sites
from fleet.store.queries.policy import policy_book
from fleet.store.queries.round import KeptRound, round_version


def form_for_gauges(
    session: Session,
    gauges: Sequence[InstalledGauge],
    *,
    title: str,
    on: date,
    stops: Mapping[str, date | None] | None = None,
) -> VisitForm:
    """Make the form for some gauges.

    Parameters
    ----------
    session : Session
        Only read from.
    gauges : sequence of InstalledGauge
        In the order in which they stand on their sheets.
    title : str
        What the form is for.
    on : date
        Day whose policy, certificates, technicians and follow-ups it shows.
    stops : mapping, optional
        Site codes in the order of the sheets, with the planned day where there is one; None
        takes the sites of the gauges. A site without gauges gets a sheet for the visit alone.

    Returns
    -------
    VisitForm
        Free of layout.
    """
    order = stops if stops is not None else {g.gauge.site_code: None for g in gauges}
    places = sites(session)
    policies = policy_book(session)
    mends = _follow_up_lines(session, on)
    by_site: dict[str, list[InstalledGauge]] = {}
    for installed in gauges:
        by_site.setdefault(installed.gauge.site_code, []).append(installed)
    sheets = []
    for code, planned_on in order.items():
        pages = tuple(
            form_gauge(
                g.gauge, policies.in_force(type_code=g.gauge.type_code, site_code=code, on=on)
            )
            for g in by_site.get(code, ())
        )
        site = places[code]
        sheets.append(
            FormSheet(
                site_code=code,
                site_name=site.name,
                time_zone=site.time_zone,
                hazards=site.hazards,
                access_notes=_access(site),
                gauges=pages,
                planned_on=planned_on,
                follow_ups=tuple(mends.get(code, ())),
            )
        )
    return VisitForm(
        title=title,
        made_on=on,
        sheets=tuple(sheets),
        technicians=_technicians(session, {places[code].depot_code for code in order}, on),
        devices=tuple(certified_devices(session, on=on)),
    )


def write_site_form(
    sessions: sessionmaker[Session], site_codes: Sequence[str], path: Path, *, on: date
) -> VisitForm:
    """Write the form for all gauges of some sites, a sheet a site in the order given.

    Raises
    ------
    NotFoundError
        A site that the records do not hold.
    ConflictError
        No site was named.
    """
    form = _site_form(sessions, site_codes, on=on)
    write_visit_form(form, path)
    return form


def site_sheet(sessions: sessionmaker[Session], site_code: str, *, on: date) -> FormSheet:
    """Give what the form of one site brings along.

    Raises
    ------
    NotFoundError
        A site that the records do not hold.
    """
    return _site_form(sessions, [site_code], on=on).sheets[0]


def write_round_form(
    sessions: sessionmaker[Session],
    round_ref: str,
    path: Path,
    *,
    on: date,
    technician_code: str | None = None,
) -> VisitForm:
    """Write the form for the stops of a round, in the order in which they are driven.

    Parameters
    ----------
    sessions : sessionmaker
        On a database at head.
    round_ref : str
        Code of the round; its current version is taken.
    path : Path
        Replaced when it exists.
    on : date
        Day whose policy and equipment the form shows.
    technician_code : str, optional
        Only the days on which this technician goes out.

    Raises
    ------
    NotFoundError
        No such round, or the technician does not go out in it.
    """
    with sessions() as session:
        kept = round_version(session, round_ref)
        stops = _round_stops(kept, technician_code)
        gauges = installed_gauges(session, as_of=on, site_codes=list(stops))
        who = f", {technician_code}" if technician_code else ""
        title = f"round {round_ref} version {kept.number}{who}"
        form = form_for_gauges(session, gauges, title=title, on=on, stops=stops)
    write_visit_form(form, path)
    return form


def _site_form(
    sessions: sessionmaker[Session], site_codes: Sequence[str], *, on: date
) -> VisitForm:
    stops: dict[str, date | None] = dict.fromkeys(site_codes)
    if not stops:
        raise ConflictError("Name at least one site.")
    with sessions() as session:
        _require_sites(session, stops)
        gauges = installed_gauges(session, as_of=on, site_codes=list(stops))
        title = "site " + ", ".join(stops) if len(stops) < 4 else f"{len(stops)} sites"
        return form_for_gauges(session, gauges, title=title, on=on, stops=stops)


def _round_stops(kept: KeptRound, technician_code: str | None) -> dict[str, date | None]:
    stops: dict[str, date | None] = {}
    for day in kept.days:
        if technician_code is None or technician_code in day.crew:
            for stop in sorted(day.stops, key=lambda stop: stop.sequence):
                stops.setdefault(stop.site_code, day.day)
    if not stops:
        whose = "" if technician_code is None else f" for {technician_code}"
        raise NotFoundError(f"Round {kept.round_ref} version {kept.number} has no stop{whose}.")
    return stops


def _require_sites(session: Session, codes: Iterable[str]) -> None:
    places = sites(session)
    missing = [code for code in codes if code not in places]
    if missing:
        raise NotFoundError(f"There is no site {', '.join(missing)}.")


def _access(site: KeptSite) -> str:
    ring = f"RING FIRST: {site.contact or 'no number on record'}. " if site.ring_first else ""
    rules = "".join(f"{span}. " for span in site.spans)
    return f"{ring}{rules}{site.access_notes}".strip()


def _technicians(
    session: Session, depot_codes: Iterable[str], on: date
) -> tuple[tuple[str, str], ...]:
    every = [t for code in sorted(depot_codes) for t in technicians(session, code)]
    active = [t for t in every if t.active_from <= on and not _gone(t.active_until, on)]
    return tuple((t.code, t.name) for t in active)


def _gone(until: date | None, on: date) -> bool:
    return until is not None and until < on


def _follow_up_lines(session: Session, on: date) -> dict[str, list[str]]:
    lines: dict[str, list[str]] = {}
    for follow_up in open_follow_ups(session, as_of=on):
        gauge = f" {follow_up.serial}" if follow_up.serial else ""
        needs = f" Needs: {follow_up.needs}." if follow_up.needs else ""
        word = follow_up.severity.replace("_", " ")
        line = f"{word}{gauge}: {follow_up.description}{needs}"
        lines.setdefault(follow_up.site_code, []).append(line)
    return lines
