"""What the strings that are left must bear when one of several is out.

The pack then runs only as far as the management system cuts the power: each check says what
one string's modules bear, and to what the pack's current must be cut.
"""

from __future__ import annotations

from packcalc.checks import CAUTION, FAIL, NOT_EVALUATED, Check, judge
from packcalc.electrical import series_voltage
from packcalc.feeds import Feeds
from packcalc.findings import Finding, Origin, leaf, trace
from packcalc.layout_findings import count
from packcalc.loads import peak_drawn
from packcalc.protect.strings import StringsDuty, best_string_share, shared_current
from packcalc.value import replace

STAGE = "thermal load"
NO_LIMIT = "the module's limit is not known: enter it from the donor's or maker's data"


def one_string_out(feeds: Feeds, duty: StringsDuty) -> tuple[Check, ...]:
    """Currents of the best string left against its modules, and the voltage that is left.

    A shortfall is a caution, not a failure: the pack runs on, with less.
    """
    pack = feeds.pack
    rows = ((duty.peak, pack.peak_current, pack.module_peak_limit, "peak"),
            (duty.continuous, pack.continuous_current, pack.module_continuous_limit, "continuous"),
            (duty.charging, pack.charging_current, pack.module_charge_limit, "charging"),
            (duty.braking, pack.regeneration_current, pack.module_charge_limit, "braking"))
    return (*(_within(feeds, *row) for row in rows), _held_up(feeds))


def _within(feeds: Feeds, current: Finding, whole: Finding, limit: Finding, word: str) -> Check:
    title = f"one string out: {word} current within the limit of the modules left"
    check = judge(title, STAGE, current, "at most", limit, missing=NO_LIMIT)
    if check.verdict != FAIL:
        return check
    most = trace(series_voltage, f"most {word} current of the pack, one string out", symbol="I",
                 unit="A", series=count("strings left", "n", feeds.strings - 1),
                 module_voltage=limit)
    return replace(check, verdict=CAUTION, reason=_all_in(feeds, whole, limit),
                   remedy=f"the management system must cut the pack to {most.shown} {word} as soon "
                          "as a string is out, less where the strings share unevenly")


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
