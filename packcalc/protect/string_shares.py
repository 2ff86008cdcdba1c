"""What one string's fuse and contactors see of a fault that several strings feed together."""

from __future__ import annotations

from packcalc.findings import formula


@formula(
    title="share of one of several equal strings in a fault that all feed", symbol="I_s",
    unit="A", text="I_s = I/(1 + (n − 1)·R_c·I/(1000·U))",
    inputs={"alone": "I [A] of the fault with one string alone in",
            "strings": "n [] strings in",
            "common": "R_c [mΩ] that the current of all strings passes",
            "voltage": "U [V] that drives it"},
    basis="definition", valid="equal strings; R_c is a part of U/I, the loop of one string alone",
    safe_side="largest R_c: each string's share is smaller")
def string_share(alone, strings, common, voltage):
    """Less than one string gives alone: the others raise the voltage over what all pass.

    Examples:
        >>> string_share(1000.0, 3, 0.1, 400.0)  # 400 V over 0.4 Ω and 0.2 Ω more
        666.6666666666666
    """
    return alone / (1.0 + (strings - 1.0) * common * alone / voltage)
