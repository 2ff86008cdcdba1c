"""What the strings that are left must bear when one of several is out.

The pack then runs only as far as the management system cuts the power: each check says what
one string's modules bear, and to what the pack's current must be cut.
"""

from __future__ import annotations

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, Check, judge
from packcalc.electrical import series_voltage
from packcalc.feeds import Feeds
from packcalc.findings import Finding, Origin, leaf, smallest, trace
from packcalc.layout_findings import count
from packcalc.loads import peak_drawn
from packcalc.pack_charging import by_temperature, module_limits
from packcalc.protect.strings import StringsDuty, best_string_share, shared_current
from packcalc.value import replace

STAGE = "thermal load"
NO_LIMIT = "the module's limit is not known: enter it from the donor's or maker's data"


def one_string_out(feeds: Feeds, duty: StringsDuty) -> tuple[Check, ...]:
    """Currents of the best string left against its modules, and the voltage that is left.

    A shortfall is a caution, not a failure: the pack runs on, with less.
    """
    pack = feeds.pack
    least, most = _charged(feeds)
    rows = ((duty.peak, pack.peak_current, pack.module_peak_limit, "peak"),
            (duty.continuous, pack.continuous_current, pack.module_continuous_limit, "continuous"),
            (duty.charging, pack.charging_current, least, "charging", most),
            (duty.braking, pack.regeneration_current, least, "braking", most))
    return (*(_within(feeds, *row) for row in rows), _held_up(feeds))


def _charged(feeds: Feeds) -> tuple[Finding, str]:
    """(least charge limit of one module, what the strings left bear by temperature, in words).

    Cells bear far less in the cold and the heat. The least counts of where contactors may close:
    who may close them may also charge and brake there.
    """
    limits = module_limits(feeds.brief, feeds.pack.layout, beyond=True)
    in_use = [limit for edge, limit in limits
              if edge.number <= feeds.brief.battery.hottest.number]
    return (smallest(in_use, "least charge limit of one module where contactors may close"),
            by_temperature(tuple((edge, _of_all_left(feeds, limit, "charge")) for edge, limit in
                                 limits)))


def _of_all_left(feeds: Feeds, limit: Finding, word: str) -> Finding:
    return trace(series_voltage, f"most {word} current of the pack, one string out", symbol="I",
                 unit="A", series=count("strings left", "n", feeds.strings - 1),
                 module_voltage=limit)


def _within(feeds: Feeds, current: Finding, whole: Finding, limit: Finding, word: str,
            most: str = "") -> Check:
    """One current of the best string left.

    Args:
        feeds: of the layout.
        current, whole: of the best string; of the pack.
        limit: of one module.
        word: which current.
        most: what the pack must be cut to, in words; empty for what the limit alone says.
    """
    title = f"one string out: {word} current within the limit of the modules left"
    check = judge(title, STAGE, current, "at most", limit, missing=NO_LIMIT)
    if check.verdict != FAIL:
        return check
    cut = f"the pack's {word} current to {most}, less the sensor's error," if most else \
        f"the pack to {_of_all_left(feeds, limit, word).shown} {word}"
    return replace(check, verdict=CAUTION, reason=_all_in(feeds, whole, limit),
                   remedy=f"the management system must cut {cut} as soon as a string is out, less "
                          "where the strings share unevenly")


def _all_in(feeds: Feeds, whole: Finding, limit: Finding) -> str:
    """What the best string carries with nobody out: a limit may be passed even then."""
    best = trace(shared_current, current=whole, share=trace(
        best_string_share, strings=feeds.pack.parallel, mismatch=feeds.brief.strings.mismatch))
    return f"with all strings in {best.shown}, " + (
        "within it" if best.number <= limit.number else "above it as well")


def _held_up(feeds: Feeds) -> Check:
    title = "one string out: full power at the end of the peak, cold and nearly empty"
    pack, left = feeds.pack, feeds.strings - 1
    worst = min((c for c in pack.corners if c.strings == left), key=lambda c: c.available,
                default=None)
    if worst is None:
        return Check(title, STAGE, NOT_EVALUATED, reason="no corner with one string out")
    held = leaf("power with the bus held at its lower limit, one string out", "P_av", "kW",
                max(worst.available, 0.0), "computed", source="packcalc-rule",
                origin=Origin("corners of the layout"))
    check = judge(title, STAGE, held, "at least", peak_drawn(feeds.brief))
    return check if check.verdict != FAIL else replace(
        check, verdict=CAUTION, reason="the pack runs on, with less",
        remedy=f"the management system must cut the power to {held.shown} as soon as a string is "
               "out")
