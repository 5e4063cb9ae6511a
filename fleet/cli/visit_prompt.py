"""Ask the questions of the visit form on the command line, in the order of the work."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import TYPE_CHECKING

import click

from fleet.cli.ask import agreed, ask
from fleet.domain.code import VisitOutcome
from fleet.domain.form_sheet import FormGauge, FormSheet
from fleet.domain.visit_form import (
    GAUGE_PARTS,
    NOMINAL_VOLUME,
    OVER,
    VISIT_PART,
    Blank,
    BlankKind,
    FormPart,
    FormRow,
    shown,
)

if TYPE_CHECKING:
    from fleet.ingest.form_answer import Answer, StopAnswers

SOURCE = "visit enter"
_FIRST_TOLD = {"tips", "component"}
"""Blanks that tell whether a row of a table is used at all: no tips, no run."""

_REQUIRED = {"day", "arrived", "departed", "technicians", "outcome", "cleaned", "adjusted"}
"""Rows whose first blank must be answered; the others may stay empty."""

_PATTERNS = {
    BlankKind.DAY: re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}"),
    BlankKind.CLOCK: re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2}[T ])?[0-9]{2}:[0-9]{2}([+-].*)?"),
}
"""A slip in the form is asked again at once; what cannot be is told with all other problems."""

Texts = dict[tuple[str, str], str]


def ask_visit(sheet: FormSheet, *, today: date) -> StopAnswers:
    """Ask for one visit.

    Parameters
    ----------
    sheet : FormSheet
        The site and its gauges.
    today : date
        Offered as the day of arrival.

    Returns
    -------
    StopAnswers
        Every blank of the form, empty where nothing was answered.
    """
    from fleet.ingest.form_answer import GaugeAnswers, StopAnswers

    click.echo(f"{sheet.site_code} {sheet.site_name}, clock of {sheet.time_zone}.", err=True)
    click.echo("An empty answer leaves the blank empty.", err=True)
    texts = _ask_part(VISIT_PART, {("day", ""): today.isoformat()})
    stop = StopAnswers(SOURCE, sheet.site_code, sheet.time_zone, _answers(texts, (VISIT_PART,)))
    reached = texts["outcome", ""] != shown(VisitOutcome.NOT_DONE)
    for gauge in sheet.gauges:
        asked: Texts = {}
        if reached and agreed(f"Was gauge {gauge.serial} looked after?", default=True):
            for part in GAUGE_PARTS:
                asked |= _ask_part(part, _defaults(part, gauge))
        stop.gauges.append(GaugeAnswers(gauge.serial, _answers(asked, GAUGE_PARTS)))
    return stop


def _defaults(part: FormPart, gauge: FormGauge) -> Texts:
    return {
        (row.key, blank.key): repr(gauge.test_volume_ml).removesuffix(".0")
        for row in part.rows
        for blank in row.blanks
        if blank.default == NOMINAL_VOLUME
    }


def _ask_part(part: FormPart, defaults: Mapping[tuple[str, str], str]) -> Texts:
    if part.title:
        click.echo(f"\n{part.title}", err=True)
    texts: Texts = {}
    for row in part.rows:
        if _is_moot(row, texts):
            continue
        answered = _ask_row(row, defaults)
        texts |= answered
        if part.tabular and not any(answered.values()) and _is_counted(row):
            break
    return texts


def _is_moot(row: FormRow, texts: Mapping[tuple[str, str], str]) -> bool:
    """Tell whether earlier answers leave nothing to ask: a visit done needs no reason why not."""
    return row.key == "reason" and texts.get(("outcome", "")) == VisitOutcome.DONE


def _is_counted(row: FormRow) -> bool:
    """Tell whether rows of this kind follow one another until one is left empty."""
    return any(blank.key in _FIRST_TOLD for blank in row.blanks)


def _ask_row(row: FormRow, defaults: Mapping[tuple[str, str], str]) -> Texts:
    """Ask the blanks of a row; the telling one first, and no more when it stays empty."""
    blanks = sorted(row.blanks, key=lambda blank: blank.key not in _FIRST_TOLD)
    texts: Texts = {}
    for blank in blanks:
        required = row.key in _REQUIRED and blank is row.blanks[0]
        default = defaults.get((row.key, blank.key), shown(blank.default)) or (
            None if required else ""
        )
        label = blank.label if len(row.blanks) == 1 else f"{row.label}, {blank.label}"
        texts[row.key, blank.key] = _ask(label, blank, default)
        if not texts[row.key, blank.key] and (blank.key in _FIRST_TOLD or blank.key.isdigit()):
            break
    return texts


def _ask(label: str, blank: Blank, default: str | None) -> str:
    words = _words(blank)
    hint = f" ({', '.join(words)})" if words else ""
    return ask(f"{label}{hint}", default=default, check=_checked(blank, words))


def _words(blank: Blank) -> tuple[str, ...]:
    if blank.kind is BlankKind.YES_NO:
        return ("yes", "no")
    return () if blank.words is None else tuple(shown(word.value) for word in blank.words)


def _checked(blank: Blank, words: tuple[str, ...]) -> Callable[[str], str]:
    """Give what reads an answer at once, so that a slip is asked again and not at the end."""

    def read(text: str) -> str:
        if not text:
            return text
        if blank.kind in _PATTERNS and _PATTERNS[blank.kind].fullmatch(text) is None:
            raise click.UsageError(f"{blank.kind} is expected")
        if words and text.replace("_", " ") not in words:
            raise click.UsageError(f"one of {', '.join(words)} is expected")
        if blank.low is not None and not (blank.kind is BlankKind.OHM and text == OVER):
            _check_number(text, blank)
        return text.replace("_", " ") if words else text

    return read


def _check_number(text: str, blank: Blank) -> None:
    low, high = blank.low or 0, blank.high or 0
    whole = blank.kind is BlankKind.COUNT
    try:
        number = int(text) if whole else float(text)
    except ValueError as error:
        raise click.UsageError(f"{blank.kind} is expected") from error
    if not low <= number <= high:
        raise click.UsageError(f"{low:g} to {high:g} is expected")


def _answers(
    texts: Mapping[tuple[str, str], str], parts: tuple[FormPart, ...]
) -> dict[tuple[str, str], Answer]:
    from fleet.ingest.form_answer import Answer

    answers = {}
    for part in parts:
        for row in part.rows:
            for blank in row.blanks:
                label = blank.label if len(row.blanks) == 1 else f"{row.label}, {blank.label}"
                text = texts.get((row.key, blank.key), "")
                answers[row.key, blank.key] = Answer(text, SOURCE, None, label)
    return answers
