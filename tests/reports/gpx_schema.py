"""The rules of the GPX 1.1 schema, and a check of a document against them.

Source: gpx.xsd of http://www.topografix.com/GPX/1/1, read whole on 2026-11-25 (a stored copy):
types, order and number of elements, attributes, and the ranges of the simple types. Only the parts
of the schema that a route can use are here; anything else in a document is a fault.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from xml.etree import ElementTree as ET

NAMESPACE = "http://www.topografix.com/GPX/1/1"
MANY = 10**9

DECIMAL = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")
DATE_TIME = re.compile(r"-?\d{4,}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)?")


def _date_time(text: str) -> bool:
    return bool(DATE_TIME.fullmatch(text)) and datetime.fromisoformat(text) is not None


def _decimal(text: str) -> bool:
    return bool(DECIMAL.fullmatch(text))


SIMPLE = {
    "string": lambda text: True,
    "decimal": _decimal,
    "nonNegativeInteger": lambda text: bool(re.fullmatch(r"\+?\d+", text)),
    "dateTime": _date_time,
    "latitude": lambda text: _decimal(text) and -90 <= float(text) <= 90,
    "longitude": lambda text: _decimal(text) and -180 <= float(text) < 180,
    "degrees": lambda text: _decimal(text) and 0 <= float(text) < 360,
    "fix": lambda text: text in {"none", "2d", "3d", "dgps", "pps"},
    "station": lambda text: bool(re.fullmatch(r"\d+", text)) and int(text) <= 1023,
}

COMPLEX = {
    "gpx": [("metadata", "metadata", 1), ("wpt", "wpt", MANY), ("rte", "rte", MANY)],
    "metadata": [
        ("name", "string", 1), ("desc", "string", 1), ("time", "dateTime", 1),
        ("keywords", "string", 1), ("bounds", "bounds", 1),
    ],
    "bounds": [],
    "rte": [
        ("name", "string", 1), ("cmt", "string", 1), ("desc", "string", 1), ("src", "string", 1),
        ("number", "nonNegativeInteger", 1), ("type", "string", 1), ("rtept", "wpt", MANY),
    ],
    "wpt": [
        ("ele", "decimal", 1), ("time", "dateTime", 1), ("magvar", "degrees", 1),
        ("geoidheight", "decimal", 1), ("name", "string", 1), ("cmt", "string", 1),
        ("desc", "string", 1), ("src", "string", 1), ("sym", "string", 1), ("type", "string", 1),
        ("fix", "fix", 1), ("sat", "nonNegativeInteger", 1), ("hdop", "decimal", 1),
        ("vdop", "decimal", 1), ("pdop", "decimal", 1), ("ageofdgpsdata", "decimal", 1),
        ("dgpsid", "station", 1),
    ],
}  # fmt: skip

ATTRIBUTES = {
    "gpx": {"version": "string", "creator": "string"},
    "wpt": {"lat": "latitude", "lon": "longitude"},
    "bounds": {n: n[3:6].replace("lat", "latitude").replace("lon", "longitude")
               for n in ("minlat", "minlon", "maxlat", "maxlon")},
}  # fmt: skip


def faults(document: bytes) -> list[str]:
    """Give everything in a document that the schema does not allow."""
    root = ET.fromstring(document)
    if root.tag != f"{{{NAMESPACE}}}gpx":
        return [f"{root.tag} is not of the namespace {NAMESPACE}"]
    found = list(_complex(root, "gpx"))
    if root.get("version") not in (None, "1.1"):
        found.append(f"gpx version={root.get('version')!r} is not '1.1'")
    return found


def _complex(element: ET.Element, kind: str) -> Iterator[str]:
    name = _name(element)
    yield from _attributes(element, kind)
    if (element.text or "").strip():
        yield f"{name} holds text"
    foreseen = {child: (place, of, most) for place, (child, of, most) in enumerate(COMPLEX[kind])}
    before, seen = "", dict.fromkeys(foreseen, 0)
    for child in element:
        tag = _name(child)
        if child.tag != f"{{{NAMESPACE}}}{tag}" or tag not in foreseen:
            yield f"{tag} is not foreseen in {name}"
            continue
        place, of, most = foreseen[tag]
        seen[tag] += 1
        if before and foreseen[before][0] > place:
            yield f"{name}: {tag} after {before}"
        if seen[tag] > most:
            yield f"{name}: {tag} comes {seen[tag]} times"
        before = tag
        yield from _complex(child, of) if of in COMPLEX else _simple(child, of)


def _simple(element: ET.Element, kind: str) -> Iterator[str]:
    if len(element):
        yield f"{_name(element)} holds elements"
    text = element.text or ""
    if not SIMPLE[kind](text if kind == "string" else text.strip()):
        yield f"{_name(element)} {text!r} is no {kind}"


def _attributes(element: ET.Element, kind: str) -> Iterator[str]:
    wanted = ATTRIBUTES.get(kind, {})
    for attribute, of in wanted.items():
        value = element.get(attribute)
        if value is None:
            yield f"{_name(element)} lacks {attribute}"
        elif not SIMPLE[of](value):
            yield f"{_name(element)} {attribute}={value!r} is no {of}"
    for attribute in element.attrib:
        if attribute not in wanted and not attribute.startswith(
            "{http://www.w3.org/2001/XMLSchema-instance}"
        ):
            yield f"{_name(element)} has {attribute}"


def _name(element: ET.Element) -> str:
    return element.tag.rpartition("}")[2]
