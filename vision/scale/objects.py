"""Objects of known size that people have at hand.

Card: ISO/IEC 7810:2019 ID-1, 85.60 x 53.98 mm with corner radius 3.18 mm (limits 85.47 to 85.72 mm, 53.92 to 54.03 mm,
2.88 to 3.48 mm) and 0.76 mm thick.
Coins: diameters in mm. US: United States Mint, "Coin specifications". Euro: Council Regulation (EU) No 729/2014, Annex I.
Marked 'from memory' below (mints' published figures, not looked up again): UK, Canada, Switzerland, Sweden, Japan,
Australia, India. The UK 20p and 50p and other coins that are not round are left out.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from vision.errors import UsageError

CARD_MM: Final = (85.60, 53.98)
CARD_RADIUS_MM: Final = 3.18
CARD_THICKNESS_MM: Final = 0.76
#: Standard deviations of a card's sides as shares, from the limits taken as three standard deviations.
CARD_TOLERANCE: Final = 0.0005

COINS: Final[Mapping[str, float]] = MappingProxyType({
    # United States Mint
    "us cent": 19.05, "us nickel": 21.21, "us dime": 17.91, "us quarter": 24.26, "us half dollar": 30.61, "us dollar": 26.49,
    # Council Regulation (EU) No 729/2014
    "1 euro cent": 16.25, "2 euro cent": 18.75, "5 euro cent": 21.25, "10 euro cent": 19.75, "20 euro cent": 22.25,
    "50 euro cent": 24.25, "1 euro": 23.25, "2 euro": 25.75,
    # from memory
    "uk 1p": 20.3, "uk 2p": 25.9, "uk 5p": 18.0, "uk 10p": 24.5, "uk 2 pounds": 28.4,
    "ca 5 cent": 21.2, "ca 10 cent": 18.03, "ca 25 cent": 23.88,
    "ch 5 rappen": 17.15, "ch 10 rappen": 19.15, "ch 20 rappen": 21.05, "ch half franc": 18.2, "ch 1 franc": 23.2,
    "ch 2 franc": 27.4, "ch 5 franc": 31.45,
    "se 1 krona": 19.5, "se 2 krona": 22.5, "se 5 krona": 23.75, "se 10 krona": 20.5,
    "jp 1 yen": 20.0, "jp 5 yen": 22.0, "jp 10 yen": 23.5, "jp 50 yen": 21.0, "jp 100 yen": 22.6, "jp 500 yen": 26.5,
    "au 5 cent": 19.41, "au 10 cent": 23.6, "au 20 cent": 28.65, "au 1 dollar": 25.0, "au 2 dollar": 20.5,
    "in 5 rupee": 23.0,
})
#: Standard deviation of a struck coin's diameter as a share (0.05 mm of wear and making on about 22 mm).
COIN_TOLERANCE: Final = 0.0025
MAX_COIN_MM: Final = 60.0


def coin_diameter(name: str) -> float:
    """Diameter in mm of a coin by its name ('2 euro', 'US quarter') or by its diameter ('24.26' or '24.26mm').

    Raises UsageError for a coin that is not in the table; names the ones nearest in words.
    """
    words = re.sub(r"[\s_-]+", " ", name.strip().lower())
    if words in COINS:
        return COINS[words]
    number = re.fullmatch(r"(\d+(?:\.\d+)?) ?(?:mm)?", words)
    if number is not None and 5 <= float(number[1]) <= MAX_COIN_MM:
        return float(number[1])
    parts = set(words.split())
    near = [c for c in COINS if parts & set(c.split())] or list(COINS)
    raise UsageError(
        "--scale", f"no coin is called '{name}' here.",
        f"Use one of: {', '.join(near[:12])}; or give its diameter, as in coin:24.25mm.",
    )
