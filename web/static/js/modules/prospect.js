import { keepDrawn } from "beadline/charts.js"
import { prospectFigure } from "beadline/lib/prospect_figure.js"
import { isNarrow } from "beadline/modules/page_data.js"
import { dataOf, part } from "beadline/modules/parts.js"

/**
 * The metrics of a campaign review with their forecast; its data lie beside it.
 * @param {HTMLElement} root
 */
export function prospect(root) {
  const forecasts = dataOf(root)
  const figure = (/** @type {import("beadline/theme.js").Theme} */ theme) => prospectFigure(forecasts, { theme, narrow: isNarrow() })
  return keepDrawn(part(root, "[data-plot]"), figure).end
}
