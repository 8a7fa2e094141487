"""Lists the standing cautions, which every page and the report show and the README opens with."""

from __future__ import annotations

CAUTIONS = (
    "Stay out of the line of pull, and out of every angle a rope could whip through.",
    "Never trust a reading or a prediction over a rating: what is written on rope, pulley and shackle "
    "stands.",
    "Chock the load before a pulley is moved.",
    "Never trust a hitch that has not been set.",
    "Tend the capture: somebody watches that it grips.",
    "Local codes and a qualified person come before anything that is shown here.",
)
