"""What a note on damage asks for: nothing, setting aside, rejecting, or a question.

The words are a person's own. A denied one ("not swollen") is never read as damage, nor as
its absence: it is asked about.
"""

from __future__ import annotations

import re

NONE, PLAIN, GRAVE, ASK = "none", "plain", "grave", "ask"

NO_DAMAGE = ("", "none", "no", "nothing", "ok")
DENIALS = ("not", "no", "never", "without", "isn't", "wasn't", "free")
DENIED_WITHIN = 3  # words before the grave one
GRAVE_STEMS = ("swol", "swell", "bulg", "puff", "balloon", "pillow", "leak", "weep", "ooz", "drip",
               "electrolyte", "vent", "gass", "burn", "scorch", "smok", "fire", "smell", "punct",
               "pierc", "crush", "melt", "hiss", "overheat")
GRAVE_WORDS = ("hot", "warm", "gas")


def weigh(note: str) -> str:
    """NONE, PLAIN, GRAVE or ASK.

    Examples:
        >>> [weigh(note) for note in ("", "scratch", "case swollen", "not swollen")]
        ['none', 'plain', 'grave', 'ask']
    """
    words = re.findall(r"[\w']+", note.lower())
    if " ".join(words) in NO_DAMAGE:
        return NONE
    grave = [i for i, word in enumerate(words) if _is_grave(word)]
    if any(not _denied(words, i) for i in grave):
        return GRAVE
    return ASK if grave or words[0] in DENIALS else PLAIN


def _is_grave(word: str) -> bool:
    return word in GRAVE_WORDS or any(stem in word for stem in GRAVE_STEMS)


def _denied(words: list[str], at: int) -> bool:
    return any(word in DENIALS for word in words[max(at - DENIED_WITHIN, 0):at])
