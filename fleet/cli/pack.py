"""Put questions, drawings and the records behind them into one PDF to be kept."""

from __future__ import annotations

from datetime import date, datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fleet.cli.main import settings_of
from fleet.cli.options import (
    Day,
    as_of_option,
    depot_option,
    known_on_option,
    print_options,
    today_option,
)
from fleet.cli.output import note
from fleet.services.audit_question import QUESTIONS, SERIAL
from fleet.services.equipment_question import DUE

if TYPE_CHECKING:
    from fleet.reports.typeset import Paper

_NAMES = {
    **{question.name: question for question in QUESTIONS if question is not SERIAL},
    f"{DUE.noun}-{DUE.name}": DUE,
}


@click.command()
@as_of_option
@known_on_option
@click.option("--since", type=Day(), help="Everything from this day on, not only the latest.")
@depot_option
@click.option(
    "--question",
    "names",
    type=click.Choice(list(_NAMES)),
    multiple=True,
    help="Only this question; may be given again. Default all.",
)
@click.option(
    "--gauge",
    "serials",
    metavar="SERIAL",
    multiple=True,
    help="Draw this gauge; may be given again. Default the four farthest out of tolerance.",
)
@click.option("--title", default="Evidence pack", show_default=True, help="Printed on the cover.")
@click.option(
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="The PDF to write.",
)
@print_options
@click.pass_context
def command(
    ctx: click.Context,
    as_of: date | None,
    known_on: datetime | None,
    since: date | None,
    depot: str | None,
    names: tuple[str, ...],
    serials: tuple[str, ...],
    title: str,
    output: Path,
    paper: Paper,
    font_dirs: tuple[Path, ...],
) -> None:
    """Write an evidence pack: one PDF with answers, drawings, and every table inside.

    The pages show the answers and the drawings: the share in date over time, and for each gauge
    its control chart and the forecast of its drift. Inside are the tables as CSV, the records
    behind them (runs, equipment, certificates, people, ledger entries) and a manifest with the
    SHA-256 of each. The same records, dates, questions and version give the same bytes. It is a
    PDF/A-3 for keeping, and a PDF/UA for screen readers.

    \b
    Example:
      fleet audit pack --as-of 2026-06-30 --since 2026-01-01 --output evidence.pdf
    """
    from fleet.reports.pack_pdf import pack_pdf
    from fleet.reports.table import write_whole
    from fleet.services.database import open_database
    from fleet.services.pack import PACK_QUESTIONS, PackOrder, gather_pack

    if output.suffix.lower() != ".pdf":
        raise click.UsageError("A pack is a PDF: --output NAME.pdf")
    day = today_option(as_of)
    if since is not None and since > day:
        raise click.BadParameter(
            f"{since} is after the day asked about, {day}.", param_hint="'--since'"
        )
    questions = tuple(_NAMES[name] for name in dict.fromkeys(names)) or PACK_QUESTIONS
    told = _told(ctx.params | {"as_of": day})
    order = PackOrder(day, title, told, since, known_on, depot, questions, serials)
    pack = gather_pack(open_database(settings_of(ctx)), order)
    content = pack_pdf(pack, paper=paper, font_dirs=font_dirs)
    write_whole(output, content)
    note(f"{output}: {len(pack.files)} files inside, {len(content)} bytes")
    note(f"SHA-256 {sha256(content).hexdigest()}")


_TOLD = (
    ("as_of", "--as-of"),
    ("known_on", "--known-on"),
    ("since", "--since"),
    ("depot", "--depot"),
    ("names", "--question"),
    ("serials", "--gauge"),
    ("title", "--title"),
    ("paper", "--paper"),
)


def _told(params: dict[str, object]) -> str:
    """Write the command again, in one order, without where it was run and written to."""
    from shlex import quote

    words = ["fleet", "audit", "pack"]
    for name, option in _TOLD:
        value = params[name]
        every = value if isinstance(value, tuple) else () if value is None else (value,)
        for one in every:
            text = one.isoformat() if isinstance(one, date) else str(one)
            words += [option, quote(text)]
    return " ".join(words)
