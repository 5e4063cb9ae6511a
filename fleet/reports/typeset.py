"""Turn a layout and its data into pages; the only file that knows the typesetter."""

from __future__ import annotations

import json
import re
import warnings
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from fleet.errors import FleetError, FleetWarning

if TYPE_CHECKING:
    import typst

Paper = Literal["a4", "letter"]

FONT_FAMILIES = ("Noto Sans", "Noto Sans Arabic", "Noto Sans Devanagari", "Noto Sans Thai")
"""Shipped faces: Latin, Greek and Cyrillic with the first, one script with each other."""

LAYOUTS = Path(__file__).parent
ACCESSIBLE: Final = "ua-1"
"""PDF/UA-1, the standard for accessible documents."""

ARCHIVED: Final = "a-3a"
"""PDF/A-3a, the standard for documents to be kept, with files inside."""

_UNSHOWN = re.compile(r'the text `"(.+?)"` could not be displayed')
_WARNED = 12


def typeset_pdf(
    layout: str,
    data: Mapping[str, object],
    *,
    made_at: datetime,
    font_dirs: Sequence[Path] = (),
    archived: bool = False,
) -> bytes:
    """Set a document as a tagged PDF.

    Parameters
    ----------
    layout : str
        Name of a ``.typ`` file beside this module.
    data : mapping
        What the layout reads, as JSON values; texts stay literal text.
    made_at : datetime
        Aware instant written into the file instead of the present one.
    font_dirs : sequence of Path
        Folders with further fonts, for scripts beyond the shipped ones.
    archived : bool
        Whether it is to be kept, with files inside: PDF/A-3a too.

    Returns
    -------
    bytes
        The same for the same input. PDF/UA-1 (and PDF/A-3a) where the texts allow it, else
        tagged all the same.

    Warns
    -----
    FleetWarning
        Some characters have no glyph in any font at hand and print as empty boxes.
    """
    import typst

    compiler = _compiler(layout, data, font_dirs)
    stamp = int(made_at.timestamp())
    wanted: list[Any] = [ARCHIVED, ACCESSIBLE] if archived else [ACCESSIBLE]
    try:
        pages = compiler.compile(format="pdf", pdf_standards=wanted, timestamp=stamp)
    except typst.TypstError as error:
        if "PDF/" not in error.message:
            raise
        _warn_of_missing_glyphs(error.diagnostic)
        pages = compiler.compile(format="pdf", timestamp=stamp)
    return _one(pages)


def typeset_pictures(
    layout: str, data: Mapping[str, object], *, dots_per_inch: float = 100
) -> list[bytes]:
    """Set a document as one PNG picture a page, to be looked at or read by a camera."""
    pages = _compiler(layout, data, ()).compile(format="png", ppi=dots_per_inch)
    return pages if isinstance(pages, list) else [_one(pages)]


def _compiler(layout: str, data: Mapping[str, object], font_dirs: Sequence[Path]) -> typst.Compiler:
    import fontpkg
    import typst

    missing = [str(folder) for folder in font_dirs if not folder.is_dir()]
    if missing:
        raise FleetError(f"No such font folder: {', '.join(missing)}.")
    folders = [fontpkg.path(family).parent for family in FONT_FAMILIES]
    fonts = typst.Fonts(
        include_system_fonts=False,
        include_embedded_fonts=False,
        font_paths=[*folders, *font_dirs],
    )
    extra = sorted(set(fonts.families()) - set(FONT_FAMILIES))
    return typst.Compiler(
        LAYOUTS / layout,
        root=LAYOUTS,
        font_paths=fonts,
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(data), "fonts": json.dumps([*FONT_FAMILIES, *extra])},
    )


def _one(pages: bytes | list[bytes] | None) -> bytes:
    if not isinstance(pages, bytes):
        raise TypeError("one document was expected")
    return pages


def _warn_of_missing_glyphs(diagnostic: str) -> None:
    unshown = sorted({character for text in _UNSHOWN.findall(diagnostic) for character in text})
    if unshown:
        some = " ".join(unshown[:_WARNED]) + (" ..." if len(unshown) > _WARNED else "")
        warnings.warn(
            f"{len(unshown)} characters have no glyph in the fonts at hand and print as empty "
            f"boxes: {some}. Give a folder with a font for their script.",
            FleetWarning,
            stacklevel=3,
        )
