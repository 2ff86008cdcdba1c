"""Phrases of harm, of none and of both, in several languages, with what each must come to.

All phrases, places and owners are invented. A harm that stays quiet is the gravest fault, a
harmless word that is rejected the next, one that is asked about the least.
"""

from __future__ import annotations

import time

import pytest

from packcalc.bench.damage import weigh, weigh_past
from packcalc.bench.foreign_harm import SURE, UNSURE, in_english

from .rows import graded

# (phrase, as damage, as donor or storage). As damage: none, plain (quarantine), ask, grave
# (reject). As past: quiet, told (to be read), ask, grave (quarantine).
PHRASES = (
    # English harm
    ("swollen", "grave", "grave"), ("case swollen", "grave", "grave"),
    ("bulging lid", "grave", "grave"), ("melted corner", "grave", "grave"),
    ("leaks at one seam", "grave", "ask"), ("burnt connector", "grave", "grave"),
    ("flooded", "grave", "grave"), ("stood under water", "grave", "grave"),
    ("rusty terminals", "plain", "ask"), ("verdigris on the lugs", "plain", "ask"),
    ("oxidised terminals", "plain", "ask"), ("green terminals", "plain", "ask"),
    ("green corrosion", "plain", "ask"), ("terminals gone green", "plain", "ask"),
    ("terminals are green", "plain", "ask"), ("posts gone green", "plain", "ask"),
    ("tabs turned green", "plain", "ask"), ("crashed van", "plain", "ask"),
    ("lid not flat", "plain", "ask"), ("not flat", "ask", "ask"),
    ("case not flat, stored upright", "plain", "ask"), ("lid not sealed", "grave", "ask"),
    ("swollen, not dented", "grave", "grave"), ("not dented but swollen", "ask", "ask"),
    ("no cover, flooded", "ask", "ask"), ("still swollen", "grave", "grave"),
    ("non-runner; flooded", "grave", "grave"), ("non swollen", "grave", "grave"),
    ("lay flat for two years", "plain", "ask"), ("taken from pool", "plain", "ask"),
    ("from the bath", "plain", "ask"), ("in bath", "plain", "ask"),
    # German
    ("geschwollen", "grave", "grave"), ("angeschwollene Zelle", "grave", "grave"),
    ("gebläht", "grave", "grave"), ("geblaeht", "grave", "grave"), ("geblaht", "grave", "grave"),
    ("aufgebläht", "grave", "grave"), ("aufgeblaehte Zelle", "grave", "grave"),
    ("Gehäuse AUFGEBLÄHT", "grave", "grave"), ("ausgebeult", "grave", "grave"),
    ("rostig", "plain", "ask"), ("rostige Pole", "plain", "ask"), ("Rost", "plain", "ask"),
    ("verrostet", "plain", "ask"), ("Kollision", "plain", "ask"), ("Unfall", "plain", "ask"),
    ("Auffahrunfall", "plain", "ask"), ("Unfallwagen", "plain", "ask"),
    ("verbrannt", "grave", "grave"), ("ausgebrannter Wagen", "grave", "grave"),
    ("geschmolzen", "grave", "grave"), ("angeschmolzenes Kabel", "grave", "grave"),
    ("undicht", "grave", "ask"), ("nicht dicht", "grave", "ask"),
    ("nicht mehr dicht", "grave", "ask"), ("ausgelaufen", "grave", "ask"),
    ("Elektrolyt ausgelaufen", "grave", "grave"), ("überhitzt", "grave", "grave"),
    ("ueberhitzt", "grave", "grave"), ("überflutet", "grave", "grave"),
    ("Ueberschwemmung", "grave", "ask"), ("Hochwasser", "grave", "ask"),
    ("Brandschaden", "grave", "ask"), ("Wasserschaden", "plain", "ask"),
    ("stand im Wasser", "grave", "ask"), ("unter Wasser", "grave", "ask"),
    ("geplatzt", "plain", "ask"), ("stinkt", "grave", "ask"), ("durchnässt", "grave", "grave"),
    ("noch geschwollen", "grave", "grave"), ("seit Mai geschwollen", "grave", "grave"),
    ("nicht nur gebläht", "ask", "ask"), ("nicht mehr geschwollen", "ask", "ask"),
    ("keine Frage, geschwollen", "ask", "ask"), ("tiefentladen", "plain", "ask"),
    # French, Spanish, Italian, Dutch, Scandinavian
    ("gonflé", "grave", "grave"), ("cellules gonflées", "grave", "grave"),
    ("gonfle", "grave", "grave"), ("rouillé", "plain", "ask"), ("fuite", "grave", "ask"),
    ("fuite d'électrolyte", "grave", "grave"), ("brûlé", "grave", "grave"),
    ("fondu", "grave", "grave"), ("inondé", "grave", "grave"), ("dans l'eau", "grave", "ask"),
    ("court-circuit", "plain", "ask"), ("dégât des eaux", "plain", "ask"),
    ("hinchado", "grave", "grave"), ("hinchadas", "grave", "grave"),
    ("oxidado", "plain", "ask"), ("fuga", "grave", "ask"), ("quemado", "grave", "grave"),
    ("inundado", "grave", "grave"), ("gonfio", "grave", "grave"),
    ("rigonfiamento", "grave", "grave"), ("perdita", "grave", "ask"),
    ("bruciato", "grave", "grave"), ("arrugginito", "plain", "ask"),
    ("gezwollen", "grave", "grave"), ("opgezwollen", "grave", "grave"), ("lek", "grave", "ask"),
    ("lekkend", "grave", "ask"), ("verroest", "plain", "ask"), ("aanrijding", "plain", "ask"),
    ("pas gezwollen", "grave", "grave"), ("na brand", "grave", "ask"),
    ("brandskade", "grave", "ask"), ("vandskade", "plain", "ask"),
    # slips of the pen
    ("swolen", "grave", "grave"), ("sweling", "grave", "ask"), ("buldging", "grave", "ask"),
    ("leking", "grave", "ask"), ("leeking", "grave", "ask"), ("brunt", "grave", "ask"),
    ("crahsed", "plain", "ask"), ("rutsy", "plain", "ask"), ("corosion", "plain", "ask"),
    ("flodded", "grave", "grave"), ("geschwolen", "grave", "grave"),
    # denied
    ("no swelling", "ask", "quiet"), ("not swollen", "ask", "quiet"),
    ("not swolen", "ask", "quiet"), ("never flooded", "ask", "quiet"),
    ("neither swollen nor rusty", "ask", "quiet"), ("leak-free", "ask", "quiet"),
    ("non-flooded", "grave", "quiet"), ("swelling: none", "ask", "ask"),
    ("rust: none", "ask", "ask"), ("leaks: no", "ask", "ask"), ("Schwellung: keine", "ask", "ask"),
    ("kein Rost", "ask", "quiet"), ("keine Schwellung", "ask", "quiet"),
    ("nicht gebläht", "ask", "quiet"), ("nicht aufgeblaeht", "ask", "quiet"),
    ("ohne Rost", "ask", "quiet"), ("nie geflutet", "ask", "quiet"),
    ("weder geschwollen noch rostig", "ask", "quiet"), ("sans fuite", "ask", "quiet"),
    ("pas gonflé", "ask", "quiet"), ("n'est pas gonflé", "ask", "quiet"),
    ("aucune trace de rouille", "ask", "quiet"), ("pas d'eau", "ask", "quiet"),
    ("sin fugas", "ask", "quiet"), ("no hinchado", "ask", "quiet"),
    ("senza perdite", "ask", "quiet"), ("non gonfio", "ask", "quiet"),
    ("niet gezwollen", "ask", "quiet"), ("geen roest", "ask", "quiet"),
    ("unfallfrei", "plain", "quiet"), ("rostfrei", "plain", "quiet"),
    ("unbeschädigt", "plain", "quiet"),
    # nothing at all
    ("none", "none", "quiet"), ("keine", "none", "quiet"), ("nein", "none", "quiet"),
    ("nichts", "none", "quiet"), ("niente", "none", "quiet"), ("geen", "none", "quiet"),
    # harmless
    ("same brand", "plain", "quiet"), ("brand new pack", "plain", "quiet"),
    ("brand: none", "plain", "quiet"), ("two packs of another brand", "plain", None),
    ("Brand farm", None, "told"), ("Brand farm donor (invented)", None, "told"),
    ("van from Rost farm", None, "told"), ("Feu street", None, "told"),
    ("Bridgewater farm", None, "told"), ("Brandon farm", None, "quiet"),
    ("Miller's barn", None, "quiet"), ("green post", "plain", "told"),
    ("red and green post, capped", "plain", "told"), ("box with green tab", "plain", "told"),
    ("green connector", "plain", "told"), ("green caps", "plain", "quiet"),
    ("green terminal caps", "plain", "quiet"), ("green terminal cover", "plain", "quiet"),
    ("terminal green-capped", "plain", None), ("green van", "plain", "quiet"),
    ("lay flat on bench", "plain", "quiet"), ("stored flat on the shelf", "plain", "quiet"),
    ("stored upright, not flat", "plain", "quiet"),
    ("stored not flat but upright", "plain", "quiet"), ("from Bath", "plain", "told"),
    ("Van from Pool, 2019", "plain", "ask"), ("rested a week indoors", "plain", "quiet"),
    ("non runner, flooded", "grave", "grave"), ("Non runner. Burnt out", "grave", "grave"),
    ("sin, flooded", "grave", "grave"),
    ("leak: no, swollen", "grave", "ask"), ("Leak: none. Swelling: yes", "grave", "ask"),
    ("swelling: no; leak: yes", "grave", "ask"), ("Leaking: no. Burnt.", "grave", "ask"),
    ("Van from Canal", "plain", "ask"), ("From Harbour", "plain", "ask"),
    ("leading edge up", "plain", None), ("dry shed, half charge", "plain", "quiet"),
    ("warm dry room", None, "quiet"), ("zorched", "plain", "told"),
    # owners
    ("Mr Burns, Leeds road", None, "told"), ("Mr. Frost's garage", None, "told"),
    ("from Herr Brand", None, "told"), ("Mr Ley, burnt", None, "grave"),
    ("Mr Ley's flooded barn", None, "grave"), ("Noyes farm donor", None, "told"),
    ("accident-free van", None, "quiet"), ("isnt swollen", "ask", "quiet"),
    # a place that burns, or that is under water, is no name
    ("Brand garage", "grave", "ask"), ("Hochwasser cellar", "grave", "ask"),
    ("Wet farm", "plain", "ask"), ("Flood farm", "grave", "grave"),
)


def _past(note: str) -> str:
    found = weigh_past(note)
    return found.meaning if found.meaning != "none" else "told" if found.unread else "quiet"


def test_there_are_enough_of_them_and_each_once():
    assert len({note for note, _, _ in PHRASES}) == len(PHRASES) >= 120


@pytest.mark.parametrize(("note", "damage", "past"), PHRASES)
def test_a_phrase_comes_to_what_it_says(note, damage, past):
    """Foreign harm was told to be read, places and colours were asked about, slips were told."""
    if damage is not None:
        assert weigh(note) == damage
    if past is not None:
        assert _past(note) == past
    else:
        assert _past(note) in ("quiet", "told")


WORDS = [(word.replace("*", ""), english, table is SURE)
         for table in (SURE, UNSURE) for english, words in table.items() for word in words.split()]


@pytest.mark.parametrize(("word", "english", "sure"), WORDS)
def test_a_foreign_word_weighs_what_its_english_one_does(word, english, sure):
    """As damage the same grade; in the past the same, or asked about where it may be a name."""
    assert in_english(word).foreign
    grades = ("none", "plain", "ask", "grave")
    assert grades.index(weigh(word)) >= grades.index(weigh(english)), in_english(word)
    own, same = weigh_past(word).meaning, weigh_past(english).meaning
    assert own in (same, "grave") if sure else own != "none"
    if "'" not in word:
        assert weigh_past(f"kein {word}").meaning == weigh_past(f"no {word}").meaning == "none"


@pytest.mark.parametrize("umlaut", ["gebläht", "überhitzt", "ausläuft", "gewölbt"])
def test_an_umlaut_may_be_written_in_three_ways(umlaut):
    for two in (umlaut, umlaut.translate({228: "ae", 246: "oe", 252: "ue"}),
                umlaut.translate({228: "a", 246: "o", 252: "u"})):
        assert weigh(two) == "grave", two


@pytest.mark.parametrize(("changes", "grade"), [
    ({"damage": "Zelle geschwollen"}, "reject"), ({"damage": "nicht gebläht"}, "undecided"),
    ({"damage": "keine"}, "keep"), ({"storage": "geschwollen"}, "quarantine"),
    ({"storage": "same brand; stored upright and not flat"}, "keep"),
    ({"storage": "kein Rost"}, "keep"), ({"donor": "Brand farm donor"}, "keep"),
    ({"storage": "fuite"}, "undecided")])
def test_it_grades_its_module(changes, grade):
    assert graded(**changes).grade == grade


@pytest.mark.benchmark
def test_the_words_of_400_rows_take_well_under_half_a_second():
    notes = [f"{note}, box {i}" for i in range(400 // len(PHRASES) + 1) for note, _, _ in PHRASES]
    begun = time.process_time()
    for note in notes[:400]:
        weigh(note)
        weigh_past(note)
        weigh_past(f"shed, {note}")
    assert time.process_time() - begun < 0.5
