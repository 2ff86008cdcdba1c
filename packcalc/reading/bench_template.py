"""Words of the sections `[bench]` and `[donor]` for the starter brief and the reference table."""

from __future__ import annotations

from packcalc.entry_key import Key

OPTIONAL_SECTIONS: dict[str, str] = {"bench": "[bench]", "donor": "[donor]"}

# (section, name, meaning, example, form, what its absence means)
OPTIONAL_PLAIN: tuple[tuple[str, str, str, str, str, str], ...] = (
    ("bench", "file", "the bench sheet, a CSV file beside the brief", '"bench.csv"', "text",
     "no module was measured: the type's own figures count"),
    ("bench", "pins_together", "marks of one group or string: all placed, or all left out",
     '[["M07", "M12"]]', "list of lists", "nothing is pinned"),
    ("bench", "pins_apart", "marks that must not share a group or string", '[["M04", "M09"]]',
     "list of lists", "nothing is pinned"),
    ("bench", "pins_not_in", "a mark and the box that it must stay out of", '[["M03", "rear"]]',
     "list of pairs", "nothing is pinned"),
    ("bench", "boxes", "first and last group of each box, for pins; in strings: positions",
     "{ rear = [9, 16] }",
     "table of pairs", "the pack is one box"),
    ("donor", "title", "name of the donor pack", '"donor of the red car"', "text", "no name"),
    ("donor", "record", "record of its modules, of the library or of your own by its file",
     '"nmc-6s-240ah"', "text", "the label counts"),
    ("donor", "label", "label of its modules instead of a record", '"6s 240 Ah NMC"', "text",
     "needed for a teardown sheet, or a record"),
    ("donor", "sections", "steps of the chain in each section, from the minus end", "[9, 9]",
     "list of counts", "needed for a teardown sheet"),
)

# Examples of entries that have no default, or whose default would show nothing.
_EXAMPLES: dict[str, str] = {
    "bench.modules_in_pack": "16",
    "bench.pack_voltage": '"410 V"',
    "donor.service_plug_after": "1",
    "donor.charge": '"45 %"',
    "donor.total_voltage": '"352 V"',
    "donor.isolation": '"2 MΩ"',
    "donor.crash": '"no"',
    "donor.water": '"no"',
}


def optional_example(key: Key) -> str:
    """How an entry is written: its own example, else its default."""
    if key.dotted in _EXAMPLES:
        return _EXAMPLES[key.dotted]
    return f"{key.safe:g}" if key.dimension == "number" else f'"{key.safe} {key.unit}"'.replace(
        ' "', '"')


ABOUT: dict[str, str] = {
    "bench": "The bench sheet, and the thresholds that its modules are graded by. Take away one "
             "mark before each line that you change; the values shown are the defaults, but for "
             "modules_in_pack and pack_voltage.",
    "donor": "The pack that the modules come out of; `packcalc teardown` needs it. Take away one "
             "mark before each line.",
}
