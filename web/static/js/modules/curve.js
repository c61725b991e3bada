import { keepDrawn } from "beadline/charts.js"
import { curveFigure } from "beadline/lib/curve_figure.js"

/**
 * One cycle's curve over the baseline envelope; its data lie beside it.
 * @param {HTMLElement} root
 */
export function curve(root) {
  const data = JSON.parse(root.querySelector("script[type='application/json']").textContent)
  const chart = keepDrawn(root.querySelector("[data-plot]"), (theme) => curveFigure(data, theme))
  return chart.end
}
