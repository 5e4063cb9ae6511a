"""A small road network made by hand, as an OpenStreetMap file, on the equator near longitude 0.

A hundredth of a degree is 1.11195 km there [CALC: 6371.0088 pi / 18000].

    depot A -- primary, limit 80 --> B -- secondary, one way east --> C ~~ ferry 00:40 ~~ E -- F
                                     |                                |
                                     +----- tertiary by D, both ways -+
    P  at the end of a private track from B; W  far from any road; G  on an island without a ferry
"""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

from fleet.domain.plan import Place

NODES = {
    1: (0.0, 0.0),  # A
    2: (0.0, 0.1),  # B
    3: (0.0, 0.2),  # C
    4: (0.1, 0.15),  # D
    5: (0.0, 0.4),  # E
    6: (0.0, 0.5),  # F
    7: (0.02, 0.1),  # end of the private track
    8: (0.5, 0.5),  # the island without a ferry
    9: (0.5, 0.52),
    10: (-0.001, 0.05),  # a footway beside the primary road
}
WAYS = {
    1: ((1, 2), {"highway": "primary", "maxspeed": "80"}),
    2: ((2, 3), {"highway": "secondary", "oneway": "yes"}),
    3: ((2, 4, 3), {"highway": "tertiary"}),
    4: ((3, 5), {"route": "ferry", "duration": "00:40"}),
    5: ((5, 6), {"highway": "unclassified"}),
    6: ((2, 7), {"highway": "track", "access": "private"}),
    7: ((8, 9), {"highway": "residential"}),
    8: ((1, 10, 2), {"highway": "footway"}),
    9: ((1, 3), {"highway": "primary", "motor_vehicle": "no"}),
    10: ((2, 99), {"highway": "primary"}),  # the extract ends here: node 99 is not in it
}
PLACES = {
    "depot:A": Place("depot:A", 0.0, 0.0),
    "B": Place("B", 0.0, 0.1),
    "C": Place("C", 0.0, 0.2),
    "F": Place("F", 0.0, 0.5),
    "P": Place("P", 0.02, 0.1),
    "M": Place("M", 0.003, 0.05),  # half way from A to B, 0.334 km north of the road
    "W": Place("W", -0.2, 0.1),  # 22 km from any road
    "G": Place("G", 0.5, 0.51),
}


def write_extract(path: Path, *, timestamp: str | None = "2026-11-02T20:21:22Z") -> Path:
    """Write the network as an .osm file."""
    root = ET.Element("osm", version="0.6", generator="hand")
    for number, (latitude, longitude) in NODES.items():
        ET.SubElement(root, "node", id=str(number), lat=str(latitude), lon=str(longitude))
    for number, (nodes, tags) in WAYS.items():
        way = ET.SubElement(root, "way", id=str(number))
        for node in nodes:
            ET.SubElement(way, "nd", ref=str(node))
        for key, value in tags.items():
            ET.SubElement(way, "tag", k=key, v=value)
    for item in root:
        item.set("version", "1")
        if timestamp:
            item.set("timestamp", timestamp)
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)
    return path


def write_pbf(source: Path, path: Path, *, timestamp: str) -> Path:
    """Write an extract again in the packed form, with its day in the header."""
    import osmium

    header = osmium.io.Header()
    header.set("osmosis_replication_timestamp", timestamp)
    writer = osmium.SimpleWriter(str(path), header=header, overwrite=True)
    for item in osmium.FileProcessor(str(source)):
        writer.add(item)
    writer.close()
    return path
