"""The words that every output carries; they live here and nowhere else."""

from __future__ import annotations

DEFERENCE = (
    "Candidates for review by a licensed electrician or certifier. This is a desk study "
    "under stated assumptions; it is not a permission to build. Local codes, the law where "
    "the vehicle is registered and the makers' data sheets come first: where they are "
    "stricter, they win."
)

SHORT = (
    "HIGH VOLTAGE, LETHAL DC. A battery cannot be switched off; its arcs do not go out by "
    "themselves. Results are candidates for review by a licensed electrician; local codes "
    "come first."
)

SHORT_CLASS_A = (
    "LETHAL DC, at most 60 V (voltage class A): a short-circuit still welds, burns, arcs and "
    "sets fire. A battery cannot be switched off; its arcs do not go out by themselves. Results "
    "are candidates for review by a licensed electrician; local codes come first."
)

CAUTIONS = (
    "A battery cannot be switched off: every terminal inside the pack stays live whatever "
    "the contactors do. More than 60 V DC can kill, and sections below 60 V still burn.",
    "DC arcs do not go out by themselves. Never break or make a joint under load; never "
    "work alone on energised traction parts.",
    "Both poles count as live to the chassis. A first insulation fault is silent and makes "
    "the second lethal.",
    "Isolate, wait, prove the meter, measure all pairs and both poles to the chassis, prove "
    "the meter again. Waiting is no proof that capacitors are discharged.",
    "Ratings, insulation, distances and gloves go by the highest working voltage, never by "
    "the label voltage. An AC rating says nothing about DC.",
    "Salvaged modules have a hidden past: crash, water, heat, deep discharge. Test each one, "
    "reject on doubt.",
    "Charge only with the management system awake and a person able to stop it, away from "
    "anything that burns. Vented gas burns and poisons.",
)
