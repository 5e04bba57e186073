"""Every kind of finding, in one list. `stop` keeps a sheet from being issued; `warn` wants a look; `note` informs."""

from __future__ import annotations

from .finding import Finding, FindingKind

KINDS: tuple[FindingKind, ...] = (
    # loading
    FindingKind("hole.unchecked", "stop", "Loaded, but not checked yet", "Run the checks: they look at what was loaded."),
    # runs and blocks
    FindingKind("run.gain_beside_loss", "warn", "More core than drilled, beside a run that lost core",
                "Core left in the hole was probably picked up by the next run: agree with the driller and net the two."),
    FindingKind("run.over_full", "warn", "More core than drilled",
                "Measure the core again; swelling, caved core or a wrong block can cause it."),
    FindingKind("run.stub_open", "warn", "The first runs hold more core than the hole could give",
                "A block or a measured length near the top is wrong: tape the first runs again."),
    FindingKind("run.rod_extra", "stop", "A rod was probably counted that was not drilled",
                "Ask the driller for the rod count at this block; depths below are too deep by the step."),
    FindingKind("run.rod_missing", "stop", "A drilled rod was probably not counted",
                "Ask the driller for the rod count at this block; depths below are too shallow by the step."),
    FindingKind("run.block_in_feet", "stop", "A block that reads like feet in a hole in metres",
                "Read the block again; if it is in feet, enter it in a _ft column or convert it."),
    FindingKind("run.hole_in_feet", "stop", "All blocks of this hole read like feet",
                "Enter the hole's runs in _ft columns."),
    FindingKind("run.overlap", "stop", "A run starts above the end of the run before",
                "Compare both blocks with the driller's sheet and correct the wrong one."),
    FindingKind("run.gap", "stop", "Depth without a run", "Find the missing run or block, or enter the run with no core."),
    FindingKind("run.out_of_order", "stop", "A block that does not go deeper",
                "Blocks are swapped or misread: put them in order with the driller's sheet."),
    FindingKind("run.low_recovery", "note", "Low recovery",
                "Sample it apart and give its assays the low-recovery note; the missing part may not be like the rest."),
    FindingKind("run.beyond_hole", "stop", "A run deeper than the hole", "Correct the block or the hole's total depth."),
    FindingKind("run.rqd_impossible", "stop", "RQD or solid length longer than the core recovered",
                "Measure the pieces of this run again."),
    FindingKind("run.unknown_size", "stop", "A core size without a diameter",
                "Add it to the core sizes and load them, or correct the run."),
    # losses
    FindingKind("loss.outside_runs", "stop", "A loss outside any run", "Correct its depth."),
    FindingKind("loss.more_than_missing", "stop", "Losses placed in a run add up to more than the run is missing",
                "Correct the loss or the recovered length."),
    FindingKind("loss.unplaced", "note", "A loss nobody placed",
                "Look for where the core is ground or the pieces do not fit; until then the yard's default place is used."),
    # trays
    FindingKind("tray.gap", "stop", "Depth between two trays", "A tray is missing or a tag is wrong: look at both tags."),
    FindingKind("tray.overlap", "stop", "Two trays claim the same depth", "Look at both tags and correct one."),
    FindingKind("tray.doubled", "stop", "A tray number used twice", "Renumber one of the two trays."),
    FindingKind("tray.reversed", "stop", "A tray whose tag runs uphole",
                "Check which end is the start; the core may lie the wrong way round."),
    FindingKind("tray.number_missing", "warn", "A tray number that is not there", "Look for the tray on the floor and the truck."),
    FindingKind("tray.overfull", "warn", "More core than the tray can hold", "Check the tag depths and the row length."),
    FindingKind("tray.short_of_core", "stop", "Core without a tray", "Tag the missing trays, or correct the last tag."),
    # rock log
    FindingKind("rock.gap", "warn", "Depth without a log", "Log it, or it cannot be planned."),
    FindingKind("rock.overlap", "stop", "Two logged intervals overlap", "Correct the contact depth."),
    FindingKind("rock.beyond_core", "stop", "Logged deeper than any run", "Correct the log or enter the runs."),
    FindingKind("rock.unknown_class", "stop", "A grade class the rules do not know", "Add it to rules.toml or correct the log."),
    FindingKind("rock.unknown_code", "stop", "A rock code without a density",
                "Add it to the rock codes and load them, or correct the log."),
    # orientation and density
    FindingKind("orientation.mismatch", "warn", "An orientation mark disagrees with the line",
                "Check the joint for spin; without a second mark that agrees the line is dashed at best."),
    FindingKind("orientation.drift", "warn", "The drawn line turns along the hole",
                "Fit the pieces again from the last mark that agrees and redraw the line."),
    FindingKind("density.outside_rock", "warn", "A density unlike its rock",
                "Weigh the stick again, dry; check the balance with its check mass."),
    FindingKind("survey.beyond_hole", "stop", "A survey deeper than the hole", "Correct the depth."),
    # the plan
    FindingKind("plan.too_short", "warn", "A sample shorter than the minimum",
                "Join it to a neighbour, or accept it with a reason."),
    FindingKind("plan.too_long", "warn", "A sample longer than the maximum", "Split it."),
    FindingKind("plan.overlap", "stop", "Two samples overlap", "Move one boundary."),
    FindingKind("plan.gap", "stop", "Ground to be sampled without a sample", "Extend a neighbour or add a sample."),
    FindingKind("plan.outside_ground", "stop", "A sample reaches into ground that is not to be sampled", "Move its end."),
    FindingKind("plan.crosses_contact", "stop", "A sample crosses a hard contact", "Put a boundary on the contact."),
    FindingKind("plan.crosses_loss", "stop", "A sample crosses a core loss", "End the samples at the loss."),
    FindingKind("plan.crosses_core_size", "stop", "A sample crosses a change of core size", "Put a boundary on the change."),
    FindingKind("plan.vein_widened", "note", "A vein too thin to stand alone was widened",
                "Decide whether the wall rock taken with it is wanted."),
    FindingKind("plan.vein_not_isolated", "warn", "A vein shares its sample with its walls",
                "Put boundaries on both walls of the vein."),
    FindingKind("plan.bag_heavy", "warn", "A bag above the laboratory's price tier", "Split the sample or accept the higher tier."),
    FindingKind("plan.bag_light", "warn", "A bag lighter than the laboratory wants", "Lengthen it or take more of the core."),
    FindingKind("plan.shoulder_short", "warn", "A barren shoulder is shorter than the rule",
                "Extend the sampling if there is core, or note why not."),
    FindingKind("plan.low_recovery", "note", "A sample with little core in it", "Its assay carries a low-recovery note."),
    FindingKind("plan.unmet", "warn", "A rule that could not be kept here", "Look at the place and decide by hand."),
    FindingKind("plan.stale", "stop", "The hole changed after this plan was made", "Plan it again, or check it line by line."),
    # controls, numbers, stock
    FindingKind("control.shortfall", "warn", "A control rule that could not be kept", "Refill the stock or change the rule."),
    FindingKind("control.guessable", "warn", "The places of the controls can be guessed", "Plan again with another seed."),
    FindingKind("control.power", "note", "What this layout of controls would miss",
                "Rely on scanning the tag after the core is in the bag and on bag mass for the rest."),
    FindingKind("number.range_overlap", "stop", "Two ticket ranges share numbers",
                "Give one crew another range; void the shared numbers that are printed twice."),
    FindingKind("number.look_alike", "note", "Names that are easily taken for each other",
                "Say the hole aloud with its depth when handing over; rename while it is still possible."),
    FindingKind("stock.low", "warn", "A standard or blank is running out", "Order more before the next hole."),
)  # fmt: skip
BY_CODE: dict[str, FindingKind] = {kind.code: kind for kind in KINDS}


def found(code: str, message: str, *, hole_id: str | None = None, evidence: dict | None = None, **place) -> Finding:
    """A finding of a listed kind, with its severity and remedy filled in."""
    kind = BY_CODE[code]
    return Finding(code, kind.severity, message, kind.remedy, hole_id=hole_id, evidence=evidence or {}, **place)
