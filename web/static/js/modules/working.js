import { keepDrawn } from "beadline/charts.js"
import { workingFigure } from "beadline/lib/working_figure.js"

/**
 * A transition with what was drawn on it; its data lie beside it.
 * @param {HTMLElement} root
 */
export function working(root) {
  const data = JSON.parse(root.querySelector("script[type='application/json']").textContent)
  return keepDrawn(root.querySelector("[data-plot]"), (theme) => workingFigure(data, theme)).end
}
