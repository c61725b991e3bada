import { appearance } from "beadline/modules/appearance.js"
import { filterForm } from "beadline/modules/filter_form.js"
import { sortTable } from "beadline/modules/sort_table.js"

/** Every module by the name that `data-module` calls it. */
export const modules = { appearance, filterForm, sortTable }
