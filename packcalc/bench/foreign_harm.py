"""Words for water, fire, crash and swelling in languages that sellers of salvaged packs write.

All are doubt, not harm told: one of them may be a name here. They are written without accents,
in small letters, as `plain_letters` makes them.
"""

from __future__ import annotations

import unicodedata

# German, Dutch, French, Spanish, Italian, Portuguese, Scandinavian, Polish and Czech.
FOREIGN_STEMS = (
    "hochwasser", "hoogwater", "uberschwemm", "ueberschwemm", "uberflut", "ueberflut", "uberlad",
    "ueberlad", "tiefentlad", "unfall", "feuer", "brandfall", "brandschad", "kurzschl", "rauch",
    "feucht", "verrost", "aufgeblah", "aufgequoll",
    "gequoll", "ausgelaufen", "beschadig", "beschaedig", "defekt", "kaputt", "sturz",
    "overstrom", "overstroom", "verbrand", "ongeval", "ongeluk", "aanrijding", "botsing", "lekkage",
    "gezwollen", "opgezwollen",
    "inond", "inund", "incend", "sinistr", "mouill", "noye", "brul", "gonfl", "epave",
    "siniestr", "mojad", "quemad", "hincha", "humed", "choque", "ahogad",
    "allag", "alluvion", "bagnat", "bruciat", "alag", "acident", "molhad", "queimad",
    "oversvam", "oversvom", "olyck", "ulykk",
    "powodz", "pozar", "wypadek", "zalan", "spalon", "povoden", "nehod")
FOREIGN_WORDS = (
    "brand", "brande", "flut", "nass", "rost", "feu", "eau", "eaux", "choc", "fuite", "fuego",
    "agua", "aguas", "fuoco", "acqua", "fogo", "brann", "vann", "vand", "vatten")
FOREIGN_INNER = ("wasser", "unfall", "schaden", "brannt")  # Löschwasser, Autounfall
_OF_ITS_OWN = str.maketrans({"ø": "o", "ł": "l", "ß": "ss", "æ": "ae", "œ": "oe"})


def plain_letters(word: str) -> str:
    """A word in small letters, without its accents.

    Examples:
        >>> plain_letters("Überflutung"), plain_letters("oversvømmelse")
        ('uberflutung', 'oversvommelse')
    """
    apart = unicodedata.normalize("NFKD", word.lower().translate(_OF_ITS_OWN))
    return "".join(letter for letter in apart if not unicodedata.combining(letter))
