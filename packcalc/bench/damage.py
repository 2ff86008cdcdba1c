"""What a note on damage or on a module's past asks for: nothing, a question, or setting aside.

The words are a person's own. In the column of damage a denied word ("not swollen") is never
read as damage, nor as its absence: it is asked about. Where a module came from and where it
lay are told in the same free words, and water or fire is often told there alone: what is grave
as damage is at least asked about there. Words known neither as harm nor as harmless are told,
once a sheet.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import lru_cache

from packcalc.bench.foreign_harm import Meant, in_english, link_words
from packcalc.bench.told_figures import DRAINED, UNREAD, told_figures
from packcalc.modules import ModuleType
from packcalc.value import value_object

# 50 ft are 15.24 m; printed in whole metres, rounded up.
APART = "16 m (50 ft)"
APART_READ = ("distance read for whole damaged vehicles [towing-storage-report], rounded up; days "
              "are our rule")
NONE, PLAIN, GRAVE, ASK = "none", "plain", "grave", "ask"

TOLD_IN = ("donor", "storage")  # columns of a module's past, in words
MOST_TOLD = 12  # texts
NO_DAMAGE = ("none", "no", "nothing", "ok")
NOBODY_KNOWS = ("", "unknown", "n a", "na")  # of a note's words: "??" has none
DENIALS = ("not", "no", "never", "without", "isn't", "wasn't", "isnt", "wasnt", "aren't", "arent",
           "weren't", "werent", "hasn't", "hasnt", "free", "neither", "nor", "none")
NEGATIONS = tuple(word for word in DENIALS if word != "free")
DENIED_WITHIN = 3  # words before the grave one
GRAVE_STEMS = ("swol", "swell", "bulg", "puff", "balloon", "pillow", "leak", "weep", "ooz", "drip",
               "electrolyte", "vent", "gass", "burn", "scorch", "smok", "fire", "smell", "punct",
               "pierc", "crush", "melt", "hiss", "overheat", "bloat", "inferno", "runaway")
GRAVE_WORDS = ("hot", "warm", "gas")

# Of where it came from and where it lay: beginnings of words and of what a hyphen joins, for
# "vent" stands in "invented"; inside a word ("stormflooded", "seawater") they are asked about.
WATER_STEMS = ("flood", "floded", "flodded", "submer", "immers", "drown", "inundat", "waterlog",
               "underwater", "soak", "swamped", "capsiz", "overboard", "deluge")
HARM_STEMS = (*WATER_STEMS, "fire", "flame", "burnt", "burned", "burning", "scorch", "charred",
              "smok", "smoulder", "smolder", "melt", "explo", "overheat", "swol", "swell", "bulg",
              "balloon", "drench", "ablaze", "blaz", "blacken", "incinerat", "singed", "arson",
              "torched", "bloat", "inferno", "runaway", "pillow", "gassed", "gassing", "hiss",
              "electrolyt")
PAST_STEMS = (*HARM_STEMS, "airbag")
_IN_NAMES = ("burn", "melt", "hiss", "weep", "ooz", "vent", "swell", "leak")  # Auburn, sweeper
INNER_STEMS = (*(stem for stem in WATER_STEMS if stem != "underwater"),
               *(stem for stem in GRAVE_STEMS if stem not in _IN_NAMES),
               "flame", "burnt", "burned", "explo", "water")
# Of grave words "burn" begins names of places, and a room may be warm.
DOUBT_STEMS = (*(stem for stem in GRAVE_STEMS if stem != "burn"),
               "water", "wet", "rain", "rust", "corro", "damag", "crash", "accident",
               "collision", "collid", "wreck", "dropped", "fell", "overcharg",
               "river", "ditch", "overturn", "rollover", "impact", "deepdischarg", "overdischarg",
               "undervolt", "swamp", "hosed", "doused", "extinguish", "quenched",
               "moist", "damp", "humid", "condens", "sprinkl", "surge", "hurricane", "cyclon",
               "typhoon", "tornado", "tsunami", "monsoon", "storm", "puddl", "splash", "spill",
               "snow", "froze", "lightning", "drain", "expand", "deform", "distort", "warped",
               "warping", "buckl", "crack", "ruptur", "burst", "smash", "struck", "shunt", "inflat",
               "fume", "odour", "odor", "stink", "stank", "reek", "spark", "arcing", "electrocut",
               "shorted", "shorting", "shortcircuit", "abuse", "misuse", "defect", "fault",
               "recall", "incident", "disaster", "cooked", "tboned", "sideswip", "mould", "mildew",
               "oxidi", "oxidat", "oxydi", "verdigris", "coolant", "glycol", "antifreeze")
DOUBT_WORDS = (*(word for word in GRAVE_WORDS if word != "warm"), "burn", "burns", "burnout",
               "sank", "sunk", "sunken", "soot", "sooty", "ash", "ashes", "mud", "muddy", "silt",
               "brine", "briny", "salt", "salty", "washed", "bathed", "hail", "frost", "hit",
               "dead", "died", "arced", "pregnant", "flat", "uncharged", "welded")
_POOL = (r"(?:sea|lake|canal|pond|harbou?r|dock|puddle|tide|pool|bath|stream|creek|gutter|well|"
         r"lock|weir|reservoir|moat|fjord|estuary|marsh|bog)")
# What a sound pack is taken from by the same words as one that lay in water.
_OUT_OF_A_VEHICLE = (
    r"(?:(?:the|an?|my|our|his|her|its|their|this|that|same|old|used|new|small|big|large|former|"
    r"electric|hybrid|white|black|red|blue|green|grey|silver|donor|\d{4})[\s-]+){0,4}"
    r"(?:cars?|vans?|trucks?|lorr(?:y|ies)|bus(?:es)?|minibus(?:es)?|vehicles?|estate|hatchback|"
    r"pickup|saloon|tractor|excavator|loader|donors?|packs?|batter(?:y|ies)|tray|case|crate|box|"
    r"shed|garage|barn|store|storage|warehouse|workshop|yard|breakers?|service|use|fleet)\b")
# Copper that is green is verdigris; of what is often coloured only what has become so.
_COPPER = r"(?:terminal|contact|lug|stud|bus\s?bar)"
_COLOURED = r"(?:pole|post|tab|connector|link)"
_PUT_ON = r"[\s-]+(?:cap|cover|boot|sleeve|tape|mark|dot|paint|shroud|lid|label|sticker)"
_HAS_GONE = r"(?:(?:all|are|is|were|was|have|has|gone|turned|went|turning|going)[\s-]+)"
# Several words that say one thing: a drained cell, a blow, a write-off, a warm case.
_TOLD_BY_TWO = re.compile(
    r"\bdeep(?:ly)?[\s-]+discharg\w*|\bover[\s-]+discharg\w*|\broll(?:ed)?[\s-]?over|"
    r"\b(?:rear|front|side)(?:[\s-]+end)?(?:ed)?[\s-]+(?:hit|shunt|blow)|\brear[\s-]ended|"
    r"\b(?:salvage|insurance)[\s-]+(?:title|total|loss)\w*|"
    r"\btotal[\s-]+loss|\bwritten[\s-]+off|\bwrite[\s-]off|\bover\s+heat\w*|"
    r"(?<![\d.,])[0-2](?:[.,]\d+)?\s*v(?:olts?)?\b|\b\d+\s*mv\b|\bzero[\s-]+volts?\b|"
    r"(?<![\d.,])0(?:[.,]0+)?\s*(?:%|per\s?cent)|"
    r"\b(?:dead|run|ran|gone|went|completely|totally)[\s-]+(?:flat|empty|down)\b|"
    r"\b(?:stored|kept|stood|left|lay|arrived)[\s-]+empty\b|\bflat[\s-]+(?:for|since)\b|"
    r"\b(?:flat|empty|discharged|depleted)[\s-]+(?:pack|batter|cell|module)\w*|"
    r"\b(?:pack|batter(?:y|ie)|cell|module|string|unit|charge|soc)s?[\s-]+"
    r"(?:(?:was|were|is|are|had|been|gone|went|ran|run|all|found|read|completely|totally|left|"
    r"stored|kept|stood|lay|at|of|down|to|about|only)[\s-]+){0,3}"
    r"(?:empty|discharged|depleted|zero|nil|none|nought)\b|"
    r"\b(?:not|isn't|wasn't)[\s-]+(?:quite[\s-]+)?flat\b|"  # a case that bulges
    r"(?:\b(?:no|zero|nil|without)|(?<![\w.,])0)[\s-]+(?:charge|soc|voltage|volts?)\b|"
    r"\b(?:short|court|corto|curto)[\s-]+circuit\w*|"
    r"\b(?:fished|dredged|towed|winched|dragged|hauled)[\s-]+out\b|"
    r"\b(?:(?:pulled|lifted|brought|craned|came|got)[\s-]+out[\s-]+of|"
    r"(?:recovered|retrieved|rescued|raised|pulled|lifted)(?:[\s-]+out)?[\s-]+(?:from|of))\b"
    rf"(?![\s-]+{_OUT_OF_A_VEHICLE})|\bcanal[\s-]+locks?\b|"
    r"\b(?:was|got|get|ran|runs?|felt|feels|still|too|very)[\s-]+warm\b|\bwarm[\s-]+to\b|"
    rf"\b(?:in|into|under)[\s-]+(?:the|a)[\s-]+{_POOL}\b|"
    rf"\b(?:in|into|under|from|off?)[\s-]+(?:(?:the|a)[\s-]+)?{_POOL}(?=\s*(?:$|[,;.()]))|"
    rf"\b(?:bottom|bed)[\s-]+of[\s-]+(?:(?:the|a)[\s-]+)?{_POOL}\b|"
    rf"\b(?:{_POOL}|ferry|ship|boat)[\s-]+(?:bottom|bed|bilge)\b|"
    rf"\bgreen[\s-]+{_COPPER}(?:s|(?!{_PUT_ON}))\b|"
    rf"\b(?:{_COPPER}s?[\s-]+{_HAS_GONE}*|{_COLOURED}s?[\s-]+{_HAS_GONE}*"
    rf"(?:gone|turned|went|turning|going)[\s-]+)green\b(?!{_PUT_ON})")
# No question, yet to be read: a colour or verdigris, a town or a bath.
_READ_IT = re.compile(
    rf"\bgreen[\s-]+{_COLOURED}s?\b|\b{_COLOURED}s?[\s-]+(?:all|are|is|were|was)[\s-]+green\b")
_TOWN = re.compile(r"\b[Ff]rom\s+(?P<town>Bath)(?=\s*(?:$|[,;.()]))")
# Not shut, in the words of a person who says so by a "not".
_NOT_TIGHT = re.compile(
    r"\bnot\s+(?:quite\s+|fully\s+)?(?:tight|sealed)\b|\bnicht\s+(?:(?:ganz|mehr)\s+)*dicht\b|"
    r"\bpas\s+[eé]tanche\b|\bniet\s+(?:meer\s+)?dicht\b|\bnon\s+stagn[oaie]\b")
# Two words that say one thing: water that got at it, or something that is no harm.
_WATER = re.compile(r"\b(?:under|in|into|below|beneath)[\s-]+(?:the[\s-]+)?"
                    r"(?:(?:sea|salt|rain|river|flood|bilge|muddy|brackish)[\s-]*)?water\b")
_GRAVE_BY_TWO = re.compile(
    r"\bthermal[\s-]+(?:event|incident)s?\b|\btide[\s-]?(?:mark|line)s?\b|"
    r"\b(?:storm|tidal)[\s-]+surge\b")
_HARM = (r"\b(?:fire|flame|smoke|(?:sea|salt|rain)?water|flood|rain|leak|crash|rust|moisture|damp|"
         r"humidity|storm|splash|spill|drip|frost|snow|explosion|spark)[\s-]?")
_BRAND = re.compile(  # of a maker; alone it may be a German or a Dutch fire
    r"\bbrand[\s-]+(?:new|names?|unknown|not\s+known)\b|\bbrand:\s*(?:none|unknown|same)\b|"
    r"\b(?:same|other|another|different|known|unknown|own|off|good|top|one|this|that|which|what|"
    r"any|each)[\s-]+brand\b")
_HARMLESS = re.compile(
    rf"{_BRAND.pattern}|\baccident[\s-]free\b|" + _HARM +
    r"(?:proof\w*|resist\w*|tight|retardant|rated|wood|place|cooled|cooling|heaters?|"
    r"pumps?|free)\b|\bcoolant[\s-]+(?:hose|pipe|line|pump|plate|heater|port|fitting|connector|"
    r"channel)s?\b|\bflood[\s-]?(?:lit|lights?)\b|\bbulgaria\w*|\bventilat\w*|\bblazers?\b|"
    r"\bgas[\s-]?(?:stations?|heat\w*|boilers?)\b|\bhumidity[\s-]controlled\b|"
    r"\b(?:car|fleet|motor)[\s-]pool\b|"
    r"\bpool[\s-](?:car|van|truck|vehicle)s?\b|"
    r"\bdehumidif\w*|\b12\s*v(?:olts?)?[\s-]+(?:removed|disconnected)\b|"
    r"\b(?:(?:laid|lying)[\s-]+flat|(?:stored|lay|lies|placed|put|set|stacked)[\s-]+flat[\s-]+on"
    r"[\s-]+(?:(?:a|the|its|their)[\s-]+)?(?:pallet|bench|bench\s?top|floor|table|shelf|rack|mat|"
    r"board|side|back)(?:s|es)?)\b(?![\s-]+(?:for|since))|"
    r"\b(?:upright|on[\s-]+(?:edge|end))[\s,;-]+(?:and[\s-]+|but[\s-]+)?not[\s-]+flat\b|"
    r"\bnot[\s-]+(?:laid|lying)[\s-]+flat\b|"
    r"\b(?:stored|kept|stood|packed)[\s-]+not[\s-]+flat[\s,;-]+(?:but[\s-]+)?"
    r"(?:upright|on[\s-]+(?:edge|end))\b|\broom[\s-]+temperature\b|"
    r"(?<!over[\s-])\bheated[\s-]+(?:room|garage|shed|store|hall|workshop|building|cellar|house|"
    r"warehouse|container|lab)\b|"
    r"(?:^|(?<=[,;.(]\s)|(?<=pack\s)|(?<=modules\s)|(?<=module\s))"
    r"removed[\s-]+(?:from|in[\s-]+(?:\d{4}|(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)"
    r"[a-z]*))\b")
# Who and what stands by against fire is no harm, yet is also told where it had to act: harmless
# only among words of place and vehicle, and where the note tells of no such act.
_GUARD = re.compile(
    _HARM + r"(?:stations?|brigades?|engines?|fighters?|departments?|services?|extinguishers?|"
    r"doors?|walls?|blankets?|detectors?|alarms?)\b(?:'s)?|\bextinguishers?\b")
_QUIET = frozenset(
    "a an and the of at in on with near next to door beside behind inside board aboard boot cab "
    "kit fitted mounted carried ex former old retired dry clean warm cool shed yard depot store "
    "stored storage kept garage workshop cabinet shelf rack room hall barn building wall corner "
    "box van car truck lorry bus minibus vehicle estate hatchback pickup trailer fleet donor "
    "farm half charge charged invented".split())
_ACTS = re.compile(
    r"\bput\b[\w\s-]{0,12}\bout\b|\bover\s+(?:it|them)\b|\b(?:attend|train(?:ing|ed)|empti|"
    r"foam|spray|drill|practi[cs]|exercis|rescu|hosed|doused|extinguished|quenched)")
# What is no harm wherever it stands; a word in none of these lists is told.
_SMALL = frozenset(
    "a an and the of at in on with near next to by for from under over as is are was were it its "
    "them this that which all each every both un non".split())
_PLAIN = _QUIET | _SMALL | frozenset(
    "one two three four five six seven eight nine ten first second new used own same only also "
    "yes nothing ok good fine sound well intact complete whole tidy dark cold indoors inside "
    "upright level bench table floor pallet crate case tray lid cover covered wooden metal "
    "plastic steel rubber mat bag wrapped packed separate separately alone closed "
    "locked insulated container cellar basement attic loft stable lab laboratory school "
    "office house home quarry mine airport station track road "
    "street site works factory plant warehouse wagon coach tractor loader excavator machine "
    "train tram bike scooter cart ambulance taxi saloon sedan coupe suv electric "
    "hybrid battery pack module cell string unit kwh km mile mm cm ah soc percent per cent year "
    "month week day until before after about around summer winter spring autumn january february "
    "march april may june july august september october november december bought sold seller "
    "dealer breaker auction find trade exchange lease leased rental demo prototype test tested "
    "read measured capped cap terminal post tab connector rested service serviced plug owner front "
    "rear left right top bottom "
    "upper lower north south east west middle big small large white black grey gray red blue "
    "green yellow silver taken".split())
# What may tell of harm or of none is never taken for a name, wherever it stands.
_NO_NAME = frozenset(
    "heated temperature degc degree degrees open opened outside outdoors outdoor removed empty "
    "exposed field forest low high lost missing broken bare bad poor scrap zero hard".split())
# A name stands before one of these, at the head of a clause or after a word that leads to it.
_OF_A_NAME = frozenset(
    "farm quarry mine yard depot store works factory plant warehouse school office hall house home "
    "estate site station airport track road street workshop garage barn building donor fleet "
    "breaker dealer auction service".split())
_LEADS_TO_A_PERSON = frozenset("mr mrs ms miss dr herr herrn frau mme monsieur señor señora signor "
                               "signora mevrouw meneer".split())
# What a word of another language stands before as a name: nobody's cellar, shed or garage, for
# these burn and are flooded.
_LAND = frozenset("farm quarry mine airport school estate road street".split())
_BEFORE_A_NAME = frozenset("from of at by ex former old the".split())
# What is often written with a slip of the pen, in full; a shorter word is near too many others.
WRITTEN_WRONG = tuple(
    "swollen swelling swelled bulging bulged leaking leaked leakage flooded flooding burnt burned "
    "melted crashed smoked smoking rusty rusted corroded corrosion punctured pierced damaged "
    "damage submerged immersed soaked overheated overcharged accident collision exploded explosion "
    "crushed cracked dropped deformed electrolyte".split())
SHORTEST_SLIP = 5
_NO_SLIPS = frozenset(
    "leading leaving leaning selling spelled spelling floored flooring burner".split())
_FILLERS = ("been", "a", "any", "sign", "signs", "trace", "traces", "of", "from", "ever", "under",
            "in", "stood", "the", "or", "nor", "visible", "thermal")


def weigh(note: str) -> str:
    """NONE, PLAIN, GRAVE or ASK, of a note on damage.

    Examples:
        >>> [weigh(note) for note in ("", "scratch", "case swollen", "not swollen", "Flooded")]
        ['none', 'plain', 'grave', 'ask', 'grave']
        >>> [weigh(note) for note in ("swelling: none", "gebläht", "kein Rost", "sweling")]
        ['ask', 'grave', 'ask', 'grave']
        >>> [weigh(note) for note in ("??", "unknown", "n/a")]
        ['ask', 'ask', 'ask']
    """
    if not note.strip():
        return NONE
    text = _NOT_TIGHT.sub("leak", _BRAND.sub("make", note.lower()))
    found = list(re.finditer(r"[\w']+", text))
    # "non-" denies what it is joined to, and nothing behind that: "non-runner; flooded".
    spoken = link_words(["non-" if text.startswith("non-", match.start()) else match.group()
                         for match in found])
    words = [_meant(word).word for word in spoken]
    if " ".join(words) in NO_DAMAGE:
        return NONE
    if " ".join(words) in NOBODY_KNOWS:
        return ASK
    grave = [i for i, word in enumerate(words) if _is_grave(word)]
    answered = {i + 1 for i in grave if _answered_no(text, found, words, i)}
    # A no that answers the word before it denies nothing behind: "leak: no, swollen".
    rest = ["" if i in answered else word for i, word in enumerate(words)]
    if any(not _denied(rest, i) and _denial(rest, i) != NONE
           for i in grave if i + 1 not in answered):
        return GRAVE
    if _WATER.search(" ".join(words)):
        return ASK if any(word in DENIALS for word in words) else GRAVE
    none_of_it = words[0] in DENIALS or words[-1] in NEGATIONS and not re.search("[,;.]", text)
    return ASK if grave or none_of_it else PLAIN


def _answered_no(text: str, found: Sequence[re.Match[str]], words: Sequence[str], at: int) -> bool:
    """Whether a "no" that ends its clause answers the word before it: "swelling: none"."""
    if at + 1 == len(words) or words[at + 1] not in DENIALS:
        return False
    between = text[found[at].end():found[at + 1].start()]
    return not re.search("[,;.]", between) and \
        re.match(r"\s*(?:$|[,;.()])", text[found[at + 1].end():]) is not None


def _is_grave(word: str) -> bool:
    return (word in GRAVE_WORDS or any(stem in word for stem in GRAVE_STEMS)
            or word.startswith(HARM_STEMS))


def _denied(words: list[str], at: int) -> bool:
    return any(word in DENIALS for word in words[max(at - DENIED_WITHIN, 0):at])


# --- where it came from, where it lay ---------------------------------------------------------

@value_object
class Past:
    """What a note on donor or storage tells.

    Attributes:
        meaning: NONE, ASK, or GRAVE.
        words: the words that tell it, as written; empty for NONE.
        unread: of a note of NONE, words known neither as harm nor as harmless.
    """

    meaning: str
    words: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()


@lru_cache(maxsize=4096)  # asked for several times by each page
def weigh_past(note: str, module: ModuleType | None = None, named: bool = True) -> Past:
    """NONE, ASK or GRAVE, of a note on where a module came from or where it lay.

    Water, fire and swelling are grave, also behind a hyphen; a word is let go only where it is
    denied right before it, and asked about where a denial stands near it or it might mean
    something else. A voltage told is held to the module's type.

    Args:
        note: as written.
        module: its type.
        named: whether the note may name a place or an owner, as that on a donor does.

    Examples:
        >>> [weigh_past(note).meaning for note in (
        ...     "dry shed", "Flooded cellar", "stood UNDER WATER", "not flooded", "no fire",
        ...     "fire station van", "no cover, flooded", "crashed van", "storm-flooded van")]
        ['none', 'grave', 'grave', 'none', 'none', 'none', 'ask', 'ask', 'grave']
    """
    note = re.sub(r"(?<=\d)(?=[vV%])", " ", note)
    text = _HARMLESS.sub(lambda match: "_" * len(match.group()), note.lower())
    text = re.sub(r"[^,;.]+", lambda clause: _guards(clause.group(), text), text)
    text, read_it = _without_places(note, text)
    for pattern, word in ((_WATER, "soak"), (_GRAVE_BY_TWO, "fire"), (_NOT_TIGHT, "leak"),
                          (_TOLD_BY_TWO, "hit")):
        text = pattern.sub(lambda match: word.ljust(len(match.group()), "_"), text)
    text, odd = _without_figures(note, text, module)
    tokens = list(re.finditer(r"[^\W_]['\w-]*|[,;.]", text))
    left = "".join(was if was.lower() == put else put
                   for was, put in zip(note, text, strict=False))
    written = [left[t.start():t.end()] for t in tokens]
    words, names = link_words([token.group() for token in tokens]), []
    grave, doubt = [], []
    for at, (token, word) in enumerate(zip(tokens, words, strict=True)):
        told = _told(word)
        found = NONE if told == NONE else _denial(words, at)
        if found != NONE and (_a_persons_name(written, at)
                              or told == ASK and _harm_in_a_name(written, at)):
            names.append(written[at])
        elif found != NONE:
            sure = told == found == GRAVE
            (grave if sure else doubt).append(note[token.start():token.end()])
    if grave or doubt:
        return Past(GRAVE, tuple(grave)) if grave else Past(ASK, tuple(doubt))
    return Past(NONE, unread=(*_unread(written, named), *names, *read_it, *odd))


def _without_places(note: str, text: str) -> tuple[str, tuple[str, ...]]:
    """The text with each town and colour, that might be a harm, a word of its own; and these.

    Examples:
        >>> _without_places("Van from Bath", "van from bath")
        ('van from 0___', ('Bath',))
    """
    spans = [match.span() for match in _READ_IT.finditer(text)]
    spans += [match.span("town") for match in _TOWN.finditer(note)]
    for start, end in spans:
        text = text[:start] + "0".ljust(end - start, "_") + text[end:]
    return text, tuple(note[start:end] for start, end in spans)


def _a_persons_name(words: Sequence[str], at: int) -> bool:
    """Whether a word stands after what leads to a person's name: "Mr Burns", "Frau Brand".

    Examples:
        >>> _a_persons_name(["Mr", ".", "Burns"], 2), _a_persons_name(["Mr", "Ley", "burnt"], 2)
        (True, False)
    """
    before = [word.lower() for word in words[max(at - 2, 0):at] if word != "."]
    return bool(before) and before[-1] in _LEADS_TO_A_PERSON and _may_be_name(words[at])


def _harm_in_a_name(words: Sequence[str], at: int) -> bool:
    """Whether a word that only sounds like harm stands as the name of a place: "Brand farm".

    Examples:
        >>> [_harm_in_a_name([word, "farm"], 0) for word in ("Brand", "Wet", "Bridgewater")]
        [True, False, True]
    """
    plain = words[at].lower()
    itself = plain.startswith((*PAST_STEMS, *DOUBT_STEMS)) or plain in DOUBT_WORDS
    return not itself and _may_be_name(words[at]) and _stands_as_name(words, at, _LAND)


def _without_figures(note: str, text: str, module: ModuleType | None
                     ) -> tuple[str, tuple[str, ...]]:
    """The text with each figure a word of its own, a drained one harm, and those to be read."""
    odd = []
    for start, end, found in tuple(told_figures(text, module)):
        put = "hit" if found == DRAINED else "0"  # stays a word between a denial and a harm
        text = text[:start] + put.ljust(end - start, "_") + text[end:]
        if found == UNREAD:
            odd.append(note[start:end])
    return text, tuple(odd)


def _unread(words: Sequence[str], named: bool = True) -> tuple[str, ...]:
    """Words known neither as harm nor as harmless; the name of a place or an owner is none.

    What denies a harmless word ("no cover") may tell of harm.

    Examples:
        >>> _unread(["Hollin", "farm", "donor"]), _unread(["Zapped", "barn"]), _unread(["Zap"])
        ((), ('Zapped',), ('Zap',))
    """
    found, linked = [], link_words(list(words))
    for at, word in enumerate(words):
        name = named and _stands_as_name(words, at)
        parts = re.split("[-_/]", linked[at].removesuffix("'s"))
        if denied := _denies_plain(words, at):
            found.append(denied)
        elif not all(_known(part.lower()) or name and _may_be_name(part) for part in parts):
            found.append(word)
    return tuple(found)


def _stands_as_name(words: Sequence[str], at: int, before: frozenset[str] = _OF_A_NAME) -> bool:
    """Whether a word stands where a name does: "Hollin farm", "van from Hollin farm".

    Args:
        words: of the note, as written.
        at: of the word.
        before: what a name stands before.

    Examples:
        >>> words = ["Zorch", "crate", "from", "Hollin", "farm"]
        >>> _stands_as_name(words, 0), _stands_as_name(words, 3)
        (False, True)
    """
    leads = at == 0 or words[at - 1].lower() in _BEFORE_A_NAME or words[at - 1] in ",;.("
    then = words[at + 1].lower() if at + 1 < len(words) else ""
    return leads and _among(then, before)


def _may_be_name(part: str) -> bool:
    return part.istitle() and not part.endswith("ed") and part.lower() not in _NO_NAME


def _denies_plain(words: Sequence[str], at: int) -> str:
    """A denial with the harmless word that it denies; empty where it is none.

    Examples:
        >>> _denies_plain(["Never", "been", "dry"], 0), _denies_plain(["no", "fire"], 0)
        ('Never been dry', '')
    """
    if words[at].lower() not in NEGATIONS:
        return ""
    end = at + 1
    while end < len(words) and words[end].lower() in _FILLERS:
        end += 1
    denied = end < len(words) and _plain(words[end].lower())
    return " ".join(words[at:end + 1]) if denied else ""


def _known(part: str) -> bool:
    """Whether a part of a word says something, be it a harm that is denied."""
    meant = _meant(part).word
    part = part if part in DENIALS else "".join(filter(str.isalpha, part))
    return (len(part) < 2 or part in DENIALS or part in _FILLERS or _plain(part) or _plain(meant)
            or _told(meant) != NONE
            or _told(part.removeprefix("un").removeprefix("non")) != NONE)


def _plain(word: str) -> bool:
    return _among(word, _PLAIN)


def _among(word: str, known: frozenset[str]) -> bool:
    """Whether a word is one of these, alone or as several of it."""
    return not known.isdisjoint((word, word.removesuffix("s")))


def read_yourself(notes: Iterable[tuple[str, str, ModuleType | None]]) -> str:
    """Every text with a word that says nothing here, once; empty where all are understood.

    Args:
        notes: (column, text, type) of each module.

    Examples:
        >>> read_yourself([("donor", "zap", None)] * 2 + [("storage", "dry shed", None)])
        'donor: zap (zap)'
    """
    texts = {(column, text, module and module.id): module for column, text, module in notes}
    found = dict.fromkeys(f"{column}: {text} ({', '.join(unread)})"
                          for (column, text, _), module in texts.items()
                          if (unread := weigh_past(text, module, column == "donor").unread))
    more = len(found) - MOST_TOLD
    return "; ".join(list(found)[:MOST_TOLD]) + (f"; and {more} more" if more > 0 else "")


def _guards(clause: str, text: str) -> str:
    """A clause with who and what stands by against fire blanked, or left as a word of doubt."""
    beside = re.findall(r"[^\W\d_]+", _GUARD.sub(" ", clause))
    harmless = _QUIET.issuperset(beside) and not _ACTS.search(text)
    return _GUARD.sub(
        lambda match: ("" if harmless else "crash").ljust(len(match.group()), "_"), clause)


@lru_cache(maxsize=4096)
def _told(word: str) -> str:
    """NONE, ASK or GRAVE, of one word alone: of each part that a hyphen joins, what is worst.

    Examples:
        >>> [_told(word) for word in ("half-submerged", "non-flooded", "seawater", "farm")]
        ['grave', 'none', 'ask', 'none']
        >>> [_told(word) for word in ("geschwollen", "rostig", "Hochwasser", "floodde")]
        ['grave', 'ask', 'ask', 'grave']
    """
    parts = [part for part in re.split("[-_]", word) if part]
    if in_english("".join(parts)).foreign:  # "court-circuit" is one word
        parts = ["".join(parts)]
    meant = [_meant(part) for part in parts]
    found = [_told_by_part([one.word for one in meant], at) for at in range(len(meant))]
    found = [ASK if told == GRAVE and not one.sure else told
             for told, one in zip(found, meant, strict=True)]
    return next((meaning for meaning in (GRAVE, ASK) if meaning in found), NONE)


@lru_cache(maxsize=4096)
def _meant(word: str) -> Meant:
    """What a word says: in English, and where it is one slip of the pen off a harm, that harm.

    Examples:
        >>> [_meant(word).word for word in ("Rost", "sweling", "brunt", "rested")]
        ['rust', 'swelling', 'burnt', 'rested']
    """
    meant = in_english(word)
    if meant.foreign or len(meant.word) < SHORTEST_SLIP or _plain(meant.word) \
            or meant.word in _NO_SLIPS or _is_grave(meant.word) \
            or _told_by_part([meant.word], 0) != NONE:
        return meant
    slips = (harm for harm in WRITTEN_WRONG if _one_slip(meant.word, harm))
    return next((Meant(harm, sure=False) for harm in slips), meant)


def _one_slip(word: str, right: str) -> bool:
    """Whether one letter is missing, too many, another or changed places, but not the first.

    Examples:
        >>> [_one_slip(word, "rusty") for word in ("rsuty", "rustty", "ruty", "rusti", "dusty")]
        [True, True, True, True, False]
    """
    if word[0] != right[0] or abs(len(word) - len(right)) > 1 or word == right:
        return False
    same = next((i for i, (a, b) in enumerate(zip(word, right, strict=False)) if a != b),
                min(len(word), len(right)))
    own, other = word[same:], right[same:]
    return (own[1:] == other[1:] or own[1:] == other or own == other[1:]
            or own[:2] == other[:2][::-1] and own[2:] == other[2:])


def _told_by_part(parts: list[str], at: int) -> str:
    part, tail = parts[at], "".join(parts[at:])  # of "over-heated" and "water-logged" the whole
    grave = tail.startswith(PAST_STEMS)
    inside = not part.startswith(("un", "non")) and any(stem in part for stem in INNER_STEMS)
    if not (grave or inside or tail.startswith(DOUBT_STEMS) or part in DOUBT_WORDS):
        return NONE
    denied = NONE if at and parts[at - 1] in ("non", "un") else _denial(parts, at)
    return ASK if denied == GRAVE and not grave else denied


def _denial(words: list[str], at: int) -> str:
    """NONE where the word is denied right before it, ASK where a denial stands near, else GRAVE.

    "Free" denies only what follows its "of": a free pack, or one free from a burnt house, may
    have cost nothing.
    """
    back = at - 1
    while back >= 0 and (words[back] in _FILLERS or words[back + 1] in ("or", "nor")
                         and _told(words[back]) != NONE):
        back -= 1
    if back >= 0 and words[back] in DENIALS:
        return ASK if words[back] == "free" and words[back + 1] != "of" else NONE
    near = words[max(at - DENIED_WITHIN - 1, 0):at] + words[at + 1:at + 2]
    return ASK if any(word in DENIALS for word in near) else GRAVE
