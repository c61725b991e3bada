import { appearance } from "beadline/modules/appearance.js"
import { curve } from "beadline/modules/curve.js"
import { cyclePanel } from "beadline/modules/cycle_panel.js"
import { draft } from "beadline/modules/draft.js"
import { feedback } from "beadline/modules/feedback.js"
import { fileForm } from "beadline/modules/file_form.js"
import { filterForm } from "beadline/modules/filter_form.js"
import { live } from "beadline/modules/live.js"
import { prospect } from "beadline/modules/prospect.js"
import { pulse } from "beadline/modules/pulse.js"
import { ribbon } from "beadline/modules/ribbon.js"
import { sortTable } from "beadline/modules/sort_table.js"
import { stepPlan } from "beadline/modules/step_plan.js"
import { trends } from "beadline/modules/trends.js"
import { tryProfile } from "beadline/modules/try_profile.js"
import { working } from "beadline/modules/working.js"

/** Every module by the name that `data-module` calls it. */
export const modules = { appearance, curve, cyclePanel, draft, feedback, fileForm, filterForm, live, prospect, pulse, ribbon, sortTable, stepPlan, trends, tryProfile, working }
