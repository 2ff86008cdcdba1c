"""Words for harm in languages that sellers of salvaged packs write, each as its English word.

`in_english` gives the English word of the same harm, so that both are judged by one list. What
is often a name here (Brand, Feu) or only a word near one of harm is unsure: in a module's past
it is asked about and never more. `link_word` does the same for what denies ("kein", "sans").
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

from packcalc.value import value_object

# English word: words of that harm. "x*" begins a word, "*x*" stands in it, "x" is all of it;
# an umlaut stands for all three spellings (ä, ae, a), other accents are left out.
# German, Dutch, French, Spanish, Italian, Portuguese, Scandinavian, Polish and Czech, in turn.
# The milder first: a word that two lines fit ("Brandschaden") says the graver, see `in_english`.
SURE = {
    "deformed": "verformt* verbogen* deformier* vervormd*",
    "cracked": "gerissen* riss risse gescheurd* fissur* fendu* agrietad* rajad* crepat* "
               "fessurat* incrinat*",
    "corroded": "korro* grünspan* oxidad* oxido oxydier* oxidier* oxyde oxydee* ossid* "
                "geoxideerd*",
    "rust": "rost rostig* rostet* rostend* *gerost* *verrost* rostfleck* rostspur* rostbefall* "
            "roest roestig* roestplek* *verroest* *geroest* *doorroest* rouill* enrouill* "
            "herrumbr* ruggin* arruggin* ferrugem enferruj* rdza zardzew*",
    "collision": "kollision* kollidier* zusammensto* zusammenprall* *aufprall* *aanrijding* "
                 "aangered* botsing* gebotst* percut* heurte* tamponn* carambol* colision* "
                 "chocad* golpead* scontr* tamponat* urtat* schiant*",
    "accident": "verunfall* acident*",
    "hot": "heiss heisse heisser heisses heet caliente* rovente* bollente*",
    "burst": "*geplatzt* *geborst* gebarst* eclate* reventad* scoppiat*",
    "swollen": "*geschwol* schwillt *schwellung* *anschwell* *gebläh* *bläht* aufbläh* blähung* "
               "*gequoll* ausgebeul* ausbeul* gewölbt* aufgewölbt* vorgewölbt* *gezwol* "
               "zwelling* zwell* zwelt opzwel* opgeblazen opgebold* bolstaand* gonfl* regonfl* "
               "bombe bombee* bombes boursoufl* enfle enflee* enfles ballonn* hinchad* hincha "
               "hincho hinchaz* inflad* abombad* abultad* gonfi gonfio gonfia gonfie gonfiat* "
               "gonfior* rigonfi* bombat* inchad* estufad* svullen svullet svullna* svulm* "
               "oppsvulm* opsvulm* opsvull* spuchni* napuchni* speczni* nafoukl*",
    "burnt": "*brannt* *verbrenn* brennt brennend* brennen brenzlig* *kohlt* *verschmor* "
             "*geschmor* angesengt* versengt* brandspur* brandfleck* *verbrand* *gebrand* "
             "*geblakerd* verkool* *schroei* brule brulee* brules bruler brulait brulure* "
             "brulant* calcin* carbonis* roussi* quemad* quemadur* carbonizad* chamuscad* "
             "bruciat* bruciacch* carbonizz* queimad* spalon* nadpalon*",
    "melted": "*geschmolz* schmilzt schmolz* *gesmolt* fondu fondue fondus fondues derretid* "
              "fundid* fuso fusa fusi sciolt* derretend* stopion*",
    "leak": "undicht* *ausgelauf* auslaufend* ausläuft leck lecks leckt leckage* leckend* "
            "leckstell* ausgetret* *austritt* tropft tropfend* lek lekt lekke lekken lekte "
            "lekkend* lekkag* lekkasj* gelekt* uitgelop* uitgelekt* fuite* fuit fuient fuyait "
            "fuyant* suint* coulure* coulant* fuga fugas gotea* goteo* goteando derram* perdita "
            "perdite perde perdono perdent* trafila* trasud* gocciol* fuoriuscit* vazament* "
            "vazando vazou vazad* wyciek* vytek*",
    "electrolyte": "*elektrolyt* electrolit* elettrolit*",
    "crushed": "*quetscht* zerdrückt* verbrijzel* geplet ecrase* aplastad* schiacciat*",
    "punctured": "durchstoch* durchbohr* perforier* doorboord* perce percee* perfore* perforad* "
                 "pinchad* perforat* forato forata bucat*",
    "overheated": "überhitz* heissgelauf* oververhit* surchauff* sobrecalent* recalentad* "
                  "surriscald* superaquec*",
    "smell": "riecht* gerochen geruch* *gestank* stinkt* ruikt* huele* olor* puzza*",
    "gassing": "ausgegast* ausgasung* entgast* degaz*",
    "explosion": "verpuff* explodier* esplos* esplod*",
    "flooded": "überschwemmt* überflutet* geflutet* *overstroomd* inonde inondee* inondes inunda "
               "inundo inundad* sumergid* anegad* allagat* sommers* annegat* alagad* zalan "
               "zalana zalane zalany zalano abgesoff* ersoff* durchnäss* doorweekt* ondergelop* "
               "detremp* empapad* fradici*",
}
UNSURE = {
    "damaged": "*beschädig* *schaden* *schäden* defekt* kaputt* zerstör* schade kapot* endommag* "
               "abime* degat* casse cassee* danad* dano danos averiad* estropead* danneggiat* "
               "danno danni guast*",
    "dropped": "sturz* gestürzt* abgestürzt* heruntergefall* runtergefall* herabgefall* tombe "
               "tombee* cadut* caida*",
    "wreck": "*totalschad* epave*",
    "shorted": "kurzschl* kurzgeschl* kortsluit* kortgesl* cortocircuit* courtcircuit* "
               "curtocircuit* kortslut* zwarci* zkrat*",
    "welded": "verschweiss* vastgelast*",
    "coolant": "*kühlmittel* *kühlflüssig* *koelvloeist* *koelmiddel* glykol* glicol* glikol* "
               "refrigerante* kylvätsk* kjolevaesk* kolevaesk*",
    "soot": "russ russig* *verrusst* roet roetig* *roetaanslag* beroet* suie suies tiznad* "
            "fuliggin* fuligem sot sotig* nedsot* sadza sadze saze sazemi",
    "deepdischarged": "tiefentlad* diepontlad*",
    "overcharged": "überlad* overlad* sobrecarg* surcharg*",
    "crash": "choc chocs choque* golpe golpes urto urti siniestr* sinistr* volcad* überschlag* "
             "überschlug*",
    "accident": "*unfall* *ongeval* ongeluk* olyck* ulykk* wypadek* wypadk* nehod*",
    "wet": "nass nasse nasser nasses nässe feucht* nat natte vocht vochtig* mouill* trempe "
           "trempee* mojad* humed* bagnat* umid* molhad*",
    "smoke": "rauch* verraucht* qualm* gerookt* rook rookschad* fumee* enfum* humo ahumad* fumo "
             "affumicat* fumaca*",
    "water": "*wasser* *waterschad* vann vannskad* vand vandskad* vatten* eau eaux agua aguas "
             "acqua acque",
    "flood": "hochwasser* hoogwater* überschwemm* überflut* flut fluten versunken* getaucht* "
             "*overstrom* *overstroom* verdronk* verzop* inond* noye* immerg* crue crues "
             "inundac* ahogad* sumerg* allag* alluvion* alagament* oversväm* oversvom* powodz* "
             "povoden* povodn*",
    "fire": "feuer* brand brände bränden brandfall* *brandschad* *brandskad* *brand flamme "
            "flammen flammes gelöscht* feu feux incend* fuego* fuoco fiamm* fogo brann "
            "brannskad* pozar*",
}
# What only sounds like harm, also where it holds one of the words above.
_SOUND = re.compile(
    r"(?:unfall|rost|rauch|brand|schaden|wasser|korrosions|leck|riss|geruchs?)frei(?:e[nrs]?)?|"
    r"(?:roest|schade|lek|rook)vrije?|nichtraucher\w*|rauch(?:warn)?melder\w*|feuerfest\w*|"
    r"wasserdicht\w*|wassergekue?hlt\w*|geruch(?:s)?los\w*|unbeschae?digt\w*")
_LINKS = {
    "not": "nicht niet nao ikke inte",
    "no": "kein keine keinen keiner keines keinem keinerlei nein geen nee aucun aucune ningun "
          "ninguna ninguno nessun nessuna nessuno nenhum nenhuma ingen inget",
    "nothing": "nichts rien nada niente niets",
    "never": "nie niemals nooit jamais nunca jamas aldrig aldri",
    "without": "ohne sans senza sem zonder uten utan uden bez",
    "neither": "weder", "nor": "ni", "or": "oder ou oppure",
    "signs": "anzeichen zeichen signe signes senal senales signos segni segno tekenen tekens",
    "traces": "spur spuren traces tracce traccia rastro rastros sporen",
    "of": "von de di du d", "a": "ein eine einen einer une een", "visible": "sichtbar sichtbare "
    "sichtbaren sichtbarer zichtbare visibles visibile visibili",
    "in": "im ins dans", "under": "unter sous onder bajo sotto sob", "the": "dem het el il l",
    "is": "ist est n'est",
}
_LINK = {word: english for english, words in _LINKS.items() for word in words.split()}
# Denials that mean something else in another language: Dutch "pas", just now; German "Mai"; an
# English "non runner", a serial "SIN".
_ONLY_BEFORE = {"pas": "not", "mai": "never", "non": "not", "sin": "without"}
_ITALIAN = re.compile("gonfi|rigonfi|bruciat|perdit|fus[oai]|ossid|arruggin|ruggin|allag|bagnat|"
                      "incident|incend|dannegg|acqua|fuoco|urtat|alluvion|deform")
_OF_ITS_LANGUAGE = {
    "pas": re.compile("gonfl|bomb|boursoufl|enfl|brul|calcin|fond|fuit|rouill|oxyd|inond|noye|"
                      "mouill|humid|incend|accident|choc|endommag|abim|casse|eau|feu|perce|surch|"
                      "deform|sinistr|explos"),
    "mai": _ITALIAN, "non": _ITALIAN,
    "sin": re.compile("hinch|abomb|abult|oxid|corros|fug|derram|inund|incend|accident|choq|colis|"
                      "quem|fund|agua|fuego|golp|dan[oa]|danad|humed|mojad|explos|deform|sulfat"),
}
_ELIDED = re.compile(r"^(?:[dlns]|un|dell|nell|sull|all|sott)'(?=\w)")
_OF_ITS_OWN = str.maketrans({"ø": "o", "ł": "l", "ß": "ss", "æ": "ae", "œ": "oe"})
_UMLAUT = {"ä": "ae?", "ö": "oe?", "ü": "ue?"}


@value_object
class Meant:
    """What a word says in English.

    Attributes:
        word: the English word of the same harm; the word itself where it tells none here.
        sure: whether it says so for certain.
        foreign: whether it was read as a word of another language.
    """

    word: str
    sure: bool = True
    foreign: bool = False


@lru_cache(maxsize=4096)
def plain_letters(word: str) -> str:
    """A word in small letters, without its accents.

    Examples:
        >>> plain_letters("Überflutung"), plain_letters("oversvømmelse")
        ('uberflutung', 'oversvommelse')
    """
    apart = unicodedata.normalize("NFKD", word.lower().translate(_OF_ITS_OWN))
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


def _pattern(words: str) -> str:
    """The regular expression of a line of words, each with its stars."""
    spelt = re.sub("[äöü]", lambda match: _UMLAUT[match.group()], words)
    return "|".join(word.replace("*", r"\w*") for word in spelt.split())


_READ = tuple((english, table is SURE, re.compile(_pattern(words)))
              for table in (UNSURE, SURE) for english, words in table.items())


@lru_cache(maxsize=4096)
def in_english(word: str) -> Meant:
    """The English word of the same harm; the word itself, without accents, where it tells none.

    Where two would fit, the one further down counts.

    Examples:
        >>> [in_english(word).word for word in ("aufgebläht", "geblaeht", "rostfrei", "farm")]
        ['swollen', 'swollen', 'sound', 'farm']
        >>> in_english("Brand").sure, in_english("verbrannt").sure
        (False, True)
    """
    plain = _ELIDED.sub("", plain_letters(word))
    if _SOUND.fullmatch(plain):
        return Meant("sound", foreign=True)
    found = [Meant(english, sure, True) for english, sure, pattern in _READ
             if pattern.fullmatch(plain)]
    return found[-1] if found else Meant(plain)


def link_words(words: list[str]) -> list[str]:
    """The words with what denies, and what stands between that and a harm, in English.

    Examples:
        >>> link_words(["kein", "Rost"]), link_words(["pas", "gonflé"]), link_words(["pas", "lek"])
        (['no', 'Rost'], ['not', 'gonflé'], ['pas', 'lek'])
    """
    found = []
    for at, word in enumerate(words):
        plain = plain_letters(word)
        only = _OF_ITS_LANGUAGE.get(plain)
        near = (_ELIDED.sub("", plain_letters(w)) for w in words[at + 1:at + 4])
        if only is not None:
            found.append(_ONLY_BEFORE[plain] if any(map(only.match, near)) else word)
        elif plain == "noch" and "neither" in found:  # alone it says "still"
            found.append("nor")
        else:
            found.append(_LINK.get(plain, word))
    return found
