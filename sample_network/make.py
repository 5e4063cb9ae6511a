"""Make the sample network: every place, person, serial and reading in it is invented.

Run ``python sample_network/make.py`` to write the files again; the same seed gives the same bytes.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main() -> None:
    parser = argparse.ArgumentParser(description="Write the invented sample network.")
    parser.add_argument("--into", type=Path, default=HERE, help="Folder to write into.")
    parser.add_argument("--seed", type=int, help="Another seed gives another history.")
    chosen = parser.parse_args()
    sys.path.insert(0, str(HERE))
    from world.area import AREAS
    from world.dice import DEFAULT_SEED, Dice
    from world.island import outline
    from world.record import write_tables
    from world.story import tell

    Dice.seed = DEFAULT_SEED if chosen.seed is None else chosen.seed
    tables, corrections = tell()
    write_tables(chosen.into, tables)
    write_tables(chosen.into / "corrections", corrections)
    rivers = {area.name: area.mid_angle for area in AREAS}
    text = json.dumps(outline(rivers, trunk=(1.36, 4.47)), ensure_ascii=False)
    (chosen.into / "outline.geojson").write_text(text + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
