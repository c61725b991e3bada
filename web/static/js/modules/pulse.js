import { keepDrawn } from "beadline/charts.js"
import { pulseFigure } from "beadline/lib/pulse_figure.js"
import { dataOf, part } from "beadline/modules/parts.js"

/**
 * A tracer peak with the constructions on it; its data lie beside it.
 * @param {HTMLElement} root
 */
export function pulse(root) {
  const data = dataOf(root)
  return keepDrawn(part(root, "[data-plot]"), (theme) => pulseFigure(data, theme)).end
}
