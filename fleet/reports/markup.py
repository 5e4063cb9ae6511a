"""Build XML and HTML trees in few words; the library escapes every text and attribute."""

from __future__ import annotations

from xml.etree import ElementTree as ET

Child = ET.Element | str


def node(tag: str, *children: Child, **attributes: str | float) -> ET.Element:
    """Make one element with its attributes and children.

    Parameters
    ----------
    tag : str
        Element name.
    *children : Element or str
        In order; texts are kept as text.
    **attributes : str or float
        ``class_`` stands for class, other underscores for hyphens; numbers are written with
        at most two decimals.

    Returns
    -------
    xml.etree.ElementTree.Element

    Examples
    --------
    >>> ET.tostring(node("p", "a < b", class_="note"), encoding="unicode")
    '<p class="note">a &lt; b</p>'
    """
    names = {name.rstrip("_").replace("_", "-"): value for name, value in attributes.items()}
    made = ET.Element(tag, {name: _attribute(value) for name, value in names.items()})
    append(made, *children)
    return made


def append(parent: ET.Element, *children: Child) -> None:
    """Add children to an element, texts and elements in their order."""
    for child in children:
        if isinstance(child, ET.Element):
            parent.append(child)
        elif len(parent):
            parent[-1].tail = (parent[-1].tail or "") + child
        else:
            parent.text = (parent.text or "") + child


def _attribute(value: str | float) -> str:
    return value if isinstance(value, str) else f"{value:.2f}".rstrip("0").rstrip(".")
