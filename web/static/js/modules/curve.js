import { keepDrawn } from "beadline/charts.js"
import { curveFigure } from "beadline/lib/curve_figure.js"
import { dataOf, part } from "beadline/modules/parts.js"

/**
 * One cycle's curve over the baseline envelope; its data lie beside it.
 * @param {HTMLElement} root
 */
export function curve(root) {
  const data = dataOf(root)
  const chart = keepDrawn(part(root, "[data-plot]"), (theme) => curveFigure(data, theme), { first: "sketch" })
  return chart.end
}
