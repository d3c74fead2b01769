"""Words of the planning core that no sentence of its source holds: the catalogue has them beside those (`core`)."""

from __future__ import annotations

# Single words that stand in sentences as values: in the core's source nothing tells them from codes.
WORDS = (
    "wall", "stud", "rafter", "joist", "cell", "member", "studs", "rafters", "rim board", "joists", "left", "right",
    "up", "down", "cloth", "door", "stop", "caution", "note", "stepladder", "ladder", "embedment", "noon", "inner",
    "unknown", "gray", "Survey", "job", "stops", "cautions", "notes", "standing cautions",
    "obstacles", "Stop", "Caution", "Note", "window", "light", "spout", "vent", "outlet", "meter", "box", "lamp",
    "wood studs", "stucco on studs", "solid masonry", "hollow block", "concrete", "brick veneer", "fascia", "wet",
    "lead paint?",
    "dry", "gusts", "wind", "rain", "heat", "cold", "thunder", "thunder wait", "lag", "valance", "GFCI-protected",
    "material-lift", "hammer-drill", "ladder-{size}", "stepladder-{size}", "spruce pine fir", "douglas fir larch",
    "hem fir", "southern pine", "spruce-pine-fir", "douglas-fir-larch", "hem-fir", "southern-pine",
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
    "morning", "afternoon", "{name} is in the yard on {day}", "no crew", "and", "equipment", "parts", "helpers",
    "Not planned so far; the search is still under way.",
    "Put off to another day, its crew ran late.",
    # Three sentences of the drawing in words that stand in one: taken apart, the middle one is read wrongly.
    "Bracket {number}: {wall} from the wall's zero, {at} from the awning's left end, on {word} {member} from the left, "
    "outer bracket of arm {arm}",
)  # fmt: skip


# Pieces and tools as the usual lists have them, one by one.
ITEMS = (
    "awning",
    "bracket",
    "hand crank",
    "hand transmitter",
    "hood",
    "hood end cap",
    "hood support",
    "instructions",
    "wind sensor",
    "shim",
    "washer {size} in",
    "sealant cartridge",
    "arm",
    "cloth",
    "motor",
    "end cap",
)
# What rows of the tables of weather limits and task times are called, part by part.
ROWS = (
    "Reason",
    "Source",
    "Keep",
    "Shared",
    "Time",
    "Limit",
    "Steady wind, at most",
    "Gusts, at most",
    "Rain in an hour, at most",
    "Chance of rain, at most",
    "Chance of thunder, at most",
    "Wait after the last thunder",
    "Heat index, at most",
    "Air, at least",
    "Away from dawn and dusk",
    "for installs",
    "for surveys",
    "for repairs",
    "from a tall ladder",
    "for large awnings",
    "with sealant",
    "What suffices four times in five",
    "open and set out",
    "drill",
    "brackets",
    "lift",
    "wire and test",
    "clean up",
    "measure and talk",
    "find structure",
    "find the fault",
    "mend and test",
    "wire and test, each {per}",
    "measure and talk, each {per}",
    "mend and test, each {per}",
    "open and set out, each {per}",
    "each {per}",
    "visit",
    "hole in {wall}",
    "hood, each meter of hood",
    "meter of width",
    "meter of hood",
    "meter above 2.5 m",
    "material lift",
    "lead",
    "learner",
    "helper",
)

# What stands in refusals as a value, or is said by what reads a form.
REFUSED = (
    "Nothing lies at this address.", "This address does not take such a request.", "is missing",
    "is unknown here; leave it out", "write it as 12' 6 1/2\", 150 1/2 in, 3810 mm or 3.81 m", "open", "done",
    "cancelled", "verified", "short", "uncounted", "loaded", "job", "crew", "visit", "customer", "site", "order",
    "yard", "van", "person", "the office", "the manager",
)  # fmt: skip
