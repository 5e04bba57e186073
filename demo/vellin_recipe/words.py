"""The hand-written files of the demo yard: its rules and its README."""

RULES = """\
# Rules of the invented demo yard. What is not named here keeps its default.
yard = "Vellin Ridge"

[sampling]
nominal_m = 1.0
minimum_m = 0.3
maximum_m = 1.2
# Veins this thick are bagged on their own; thinner ones take wall rock with them.
minimum_vein_m = 0.3
sample_classes = ["low", "medium", "high", "visible"]
shoulder_m = 2.0

[controls]
# The recorded seed of the control plan; another number gives another layout.
seed = 4714
# This campaign asks how well two halves of the same core agree: both are bagged, under two numbers.
duplicate_every = 12
duplicate_types = { "half/half" = 1.0 }

[results]
# Coarse gold: two halves of the same core may differ by this factor before anybody wonders.
pair_slope = { "half/half" = 2.5 }

[mass]
# Half of a short vein is light: this laboratory takes bags from 0.2 kg.
minimum_kg = 0.2

# Rocks that wear a blade alike. Speeds and wear are invented starting values inside what the trade prints.
[[saws.classes]]
name = "quartz and dolerite"
rocks = ["QZV", "DOL"]
low_m_s = 20.0
high_m_s = 30.0
wear_mm_per_m2 = 0.30
wear_sd_mm_per_m2 = 0.10

[[saws.classes]]
name = "greywacke and siltstone"
rocks = ["GWK", "SLT", "ALT"]
low_m_s = 25.0
high_m_s = 35.0
wear_mm_per_m2 = 0.20
wear_sd_mm_per_m2 = 0.08
"""

README = """\
# Vellin Ridge: an invented yard

Nothing here is real. The place, the holes, the rocks, the grades and the materials are made up by a script from a
recorded seed, to show Trayside at work and to test it.

Eight inclined holes, 142 to 310 m deep, 1,660 m in all, fan out on three sections 40 m apart and cut quartz veins with
coarse visible gold. The core is NQ; VR-01 goes on as BQ below 247.5 m. Everything is in metres.

Two saws and a splitter stand in `saws.csv`, their blades in `blades.csv`; one blade has no stamp and one a stamp below the
spindles, and neither may run. Before a saw cuts, its pre-start card is signed on the Saws screen.

Some rows are wrong on purpose: blocks, tray tags, logged contacts, an orientation line, a density stick, a name.
`expected-findings.json` lists every finding the checks must give, and they must give no other. `stage` says when:
`load` as soon as the folder is read, `plan` once the holes that can be planned have a plan (VR-01, VR-02, VR-04 and
VR-O6; the others wait until their blocks, tags or logs are settled).

Do not edit the tables by hand. `python demo/generate_vellin_ridge.py` writes them again, byte for byte; the recipe,
with the list of planted faults, lies beside it in `vellin_recipe`.
"""
