"""The two-dimensional code that names a gauge, for a camera to read."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from fleet.reports.markup import node

QUIET_MODULES = 4
"""Blank modules on every side (ISO/IEC 18004, from memory)."""

LONGEST_KEY = 300
"""Longest text that still gives modules of half a millimetre on a 25 mm print."""


def qr_code(text: str) -> ET.Element:
    """Draw a QR code as SVG, one unit a module, with its quiet zone.

    Parameters
    ----------
    text : str
        What a reader will see; at most 300 characters.

    Returns
    -------
    xml.etree.ElementTree.Element
        An ``svg`` element without size: the layout gives it one.

    Raises
    ------
    ValueError
        The text is empty or too long to be printed legibly.

    Notes
    -----
    Error correction level M restores about 15 % of the codewords, for rain and dirt
    (ISO/IEC 18004, from memory).
    """
    import segno

    if not 0 < len(text) <= LONGEST_KEY:
        raise ValueError(f"a code holds 1 to {LONGEST_KEY} characters, not {len(text)}")
    matrix = segno.make(text, error="m", micro=False, boost_error=False).matrix
    size = len(matrix) + 2 * QUIET_MODULES
    return node(
        "svg",
        node("rect", width=size, height=size, fill="#fff"),
        node("path", d="".join(_runs(matrix)), fill="#000", shape_rendering="crispEdges"),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {size} {size}",
    )


def _runs(matrix: tuple[bytearray, ...]) -> list[str]:
    """List one rectangle a run of dark modules, so that no hairline gap shows between them."""
    runs = []
    for row, modules in enumerate(matrix, start=QUIET_MODULES):
        column = 0
        while column < len(modules):
            end = column
            while end < len(modules) and modules[end]:
                end += 1
            if end > column:
                runs.append(f"M{column + QUIET_MODULES} {row}h{end - column}v1h-{end - column}z")
            column = end + 1
    return runs
