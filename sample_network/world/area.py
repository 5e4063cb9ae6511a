"""The twelve catchments and the names of their sites; every word is invented."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

TOWN, FARM, WOOD, COAST, UPLAND, OPEN = "town", "farm", "wood", "coast", "upland", "open"


@dataclass(frozen=True, slots=True)
class Area:
    """A catchment: a sector of the island that one technician sweeps in one round.

    ``from_angle`` and ``to_angle`` bound the sector (east = 0, in rad). ``sites`` are names with
    their surroundings, in the order of their numbers.
    """

    code: str
    name: str
    depot_code: str
    post: str
    from_angle: float
    to_angle: float
    house_type: str
    sites: tuple[tuple[str, str], ...]

    @property
    def mid_angle(self) -> float:
        return (self.from_angle + self.to_angle) / 2


def _area(code: str, name: str, posting: str, start_deg: int, house_type: str, sites: str) -> Area:
    depot_code, post = posting.split()
    listed = tuple(line.strip().split("|") for line in sites.strip().splitlines())
    return Area(
        code=code,
        name=name,
        depot_code=depot_code,
        post=post,
        from_angle=radians(start_deg),
        to_angle=radians(start_deg + 30),
        house_type=house_type,
        sites=tuple((found[0], found[1]) for found in listed),
    )


AREAS: tuple[Area, ...] = (
    _area(
        "BR", "Brævund", "TJA N1", 0, "TB02-400",
        """Brævund Bridge|farm
        Ulmersø|coast
        Tvennáld School|town
        Oskarnel Ridge|upland
        Hyllvåg Farm|farm
        Drauþen|open
        Skælmarr Weir|wood
        Nørvettë|open""",
    ),
    _area(
        "SE", "Selvåmo", "TJA N1", 30, "TB02-400",
        """Selvåmo Waterworks|town
        Antrévesk|coast
        Jölmund Upper|upland
        Jölmund Lower|farm
        Pæltra Quarry|open
        Ezkervál|wood
        Vondrúll|farm
        Mirsåla Mast|upland""",
    ),
    _area(
        "KO", "Κορθάνα", "TJA N1", 60, "TB05-400",
        """Κορθάνα (Korthána)|town
        Βελμίστρα|farm
        Ξοδρέμια|upland
        Ψαλτρούβη (Psaltroúvi)|coast
        Θερβάλιζα|wood
        Ωρμίσκα|open
        Γιουβάλθη|farm""",
    ),
    _area(
        "FY", "Fylgreth", "TJA N2", 90, "TB02-324S",
        """Fylgreth|town
        Ćorvane Reservoir|wood
        Ľubnéra|farm
        Ždralmoč Gully|upland
        Škerulje Pass|upland
        Þorgeldun|coast
        Gřevonna|farm
        Hvalmëk Moor|open""",
    ),
    _area(
        "DU", "Дувлень", "TJA N2", 120, "TB05-400",
        """Дувлень (Duvlen)|town
        Тростовейка|farm
        Жельмава|wood
        Щарпуха (Shcharpukha)|upland
        Кревляжье|open
        Юлмотка|coast
        Эньгвары|farm""",
    ),
    _area(
        "AM", "Amsúvar", "TJA N2", 150, "TB02-324S",
        """Amsúvar Harbour|coast
        Ïrdellan|farm
        Cazôlme|wood
        Büvranë|open
        Ñorquela|farm
        Têsmarin|town
        Œlvande Mast|upland
        Ryëmpo|open""",
    ),
    _area(
        "LI", "Lirçelle", "QOR S1", 180, "TB02-400",
        """Lirçelle|town
        Vaudrêmel|farm
        Çandouréz|wood
        Ambrizoul|open
        Sarvêgnou|coast
        Tilmaçoa|farm
        Pôrdennu Heath|upland
        Gulvèche Dam|wood""",
    ),
    _area(
        "NA", "นาโมเล้ว", "QOR S1", 210, "TB01-200",
        """นาโมเล้ว (Na Molew)|town
        มะลุวาต|farm
        ปรวนทิว|upland
        ก้องละมอ (Kong Lamo)|wood
        ธุเลวาย|coast
        ฟ้างซุมะ|open
        โหร่วแพน|farm""",
    ),
    _area(
        "RA", "रावेथी", "QOR S1", 240, "TB05-400",
        """रावेथी (Ravethi)|town
        झुलमोरा|farm
        टिवंगेर|wood
        भोरवेला (Bhorvela)|upland
        किंदुष्टी|coast
        लमथोली|open
        अंबुझेर|farm""",
    ),
    _area(
        "SH", "درغمون", "QOR S2", 270, "TB02-324S",
        """درغمون (Dargmun)|town
        سلقيوة|farm
        بزنتارة|upland
        خرمبيل (Khurmabil)|coast
        طيلسونة|wood
        غندريجة|open
        نوفليزة|farm""",
    ),
    _area(
        "OU", "Ouzdëlle", "QOR S2", 300, "TB02-400",
        """Ouzdëlle|town
        Ęldrowna|farm
        Kłosvień|wood
        Bżerund Culvert|open
        Ślimnora|coast
        Vůlmstraz|upland
        Ğalemuş|farm
        Öflüvel|open""",
    ),
    _area(
        "PE", "Perquøna", "QOR S2", 330, "TB02-324S",
        """Perquøna Light|coast
        Hãulivo|farm
        Mõrdua|wood
        Aïlamúe Cliff|upland
        Võrtlasse|open
        Șolenvar|town""",
    ),
)  # fmt: skip

AREA_OF = {area.code: area for area in AREAS}
