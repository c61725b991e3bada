import { keepDrawn } from "beadline/charts.js"
import { workingFigure } from "beadline/lib/working_figure.js"
import { dataOf, part } from "beadline/modules/parts.js"

/**
 * A transition with what was drawn on it; its data lie beside it.
 * @param {HTMLElement} root
 */
export function working(root) {
  const data = dataOf(root)
  return keepDrawn(part(root, "[data-plot]"), (theme) => workingFigure(data, theme)).end
}
