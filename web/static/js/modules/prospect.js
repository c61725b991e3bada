import { keepDrawn } from "beadline/charts.js"
import { prospectFigure } from "beadline/lib/prospect_figure.js"
import { isNarrow } from "beadline/modules/page_data.js"

/**
 * The metrics of a campaign review with their forecast; its data lie beside it.
 * @param {HTMLElement} root
 */
export function prospect(root) {
  const forecasts = JSON.parse(root.querySelector("script[type='application/json']").textContent)
  const figure = (theme) => prospectFigure(forecasts, { theme, narrow: isNarrow() })
  return keepDrawn(root.querySelector("[data-plot]"), figure).end
}
