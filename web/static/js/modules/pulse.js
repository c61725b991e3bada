import { keepDrawn } from "beadline/charts.js"
import { pulseFigure } from "beadline/lib/pulse_figure.js"

/**
 * A tracer peak with the constructions on it; its data lie beside it.
 * @param {HTMLElement} root
 */
export function pulse(root) {
  const data = JSON.parse(root.querySelector("script[type='application/json']").textContent)
  return keepDrawn(root.querySelector("[data-plot]"), (theme) => pulseFigure(data, theme)).end
}
