"""A study file to fill in."""

from rig.guide import script
from rig.study.register.responses import KINDS
from rig.study.statistics.data import LESS, LOG, MORE, NEITHER

WAYS = {MORE: "more is better", LESS: "less is better", NEITHER: "neither way is better"}

TEMPLATE = """\
# A study: which blades, what was done to them, what is compared. Change everything that differs.

title = "Second temper"
question = "Does a second temper make tips harder to break at the same edge life?"
primary = "pry_torque"          # the one response that settles the question
hours_a_day = 6                 # at the bench: the plan lays the trials out by days

[[group]]
name = "one temper"
control = true
steel = "plain carbon, 1 %"

[[group.treatment]]
what = "austenitise"
temperature = "1475 F"
hold = "10 min"

[[group.treatment]]
what = "quench"
medium = "fast oil"

[[group.treatment]]
what = "temper"
temperature = "400 F"
hold = "2 h"

[[group]]
name = "two tempers"
steel = "plain carbon, 1 %"

[[response]]                    # what is compared, and how much of it matters
name = "pry_torque"
smallest = 1.25                 # a ratio this large matters
margin = 1.15                   # a ratio below this counts as none
scatter = 0.12                  # of blades alike, from a pilot or experience (0.12 = 12 %)
load_scatter = 0.08             # of furnace loads alike; left out, as large as that of blades
repeats = 1                     # runs on each blade: so many count, no more

[[response]]
name = "hardness"
smallest = 1.0                  # hardness is compared as a difference, in HRC
margin = 1.0
scatter = 0.4
parity = true                   # the groups should start equal in this

[settings.pry_to_failure]       # for every blade alike; what you leave out keeps its default
schedule = "hardwood"           # another value typed at the bench is refused

# With a response of the drop (impact_damage, energy_not_returned) take the # off these two:
# [settings.drop_impact]
# energy = "5 J"                # the same for every blade

[[blade]]
name = "A1"
group = "one temper"
load = "furnace 1"              # which furnace load, or "unknown"; needed for every blade:
                                # blades of one load are not independent (see below)
angle_deg = 15.0                # per side
thickness = "0.30 mm"           # behind the edge
tip_thickness = "2.0 mm"
finish = "400 grit"
batch = "bar 3"

[[blade]]
name = "B1"
group = "two tempers"
load = "furnace 1"
"""

LOADS = """
# Furnace loads: best is every recipe in every load, in three loads or more; next best are two loads
# or more of each recipe's own. With one load a recipe, or "unknown", a difference between recipes
# cannot be told from one between loads. Blades that were dealt to the groups after the furnace
# (another edge angle, another grind) have the load they came from, whatever their group.
"""


def template() -> str:
    """A study file to fill in, with every response that can be asked for."""
    known = "".join(
        f"#   {kind.name:20} {kind.title}, {kind.unit}; as a "
        f"{'ratio' if kind.scale == LOG else 'difference in ' + kind.unit}; {WAYS[kind.better]}\n"
        for kind in KINDS.values()
    )
    return (
        f"{TEMPLATE}{LOADS}\n# What can be compared, which way is better (is yours another, say\n"
        '# so with the response: better = "less" and better_because = "why"):\n'
        f"{known}\n# Settings that change what is measured, by procedure; ! must be stated:\n"
        f"{_settings()}"
    )


def _settings() -> str:
    """Every setting of every procedure that a response may come from, with its default."""
    told = ""
    for procedure in dict.fromkeys(kind.procedure for kind in KINDS.values()):
        told += f"#   [settings.{procedure}]\n"
        for one in script.load(procedure).parameters:
            if one.measures:
                usual = "!" if one.default is None else f'"{one.default}"'
                told += f"#     {one.name} = {usual}  {one.help}\n"
    return told
