/** Writes a figure as an SVG element, at once and without the plotting library. */
import { sketchOf } from "beadline/lib/sketch.js"

const SVG = "http://www.w3.org/2000/svg"
const BEYOND = 6 // px that a bead at the edge may reach out

/** @typedef {import("beadline/lib/sketch_marks.js").Mark} Mark */

/**
 * Put a sketch of a figure into `plot`, in place of one that is there.
 * @param {HTMLElement} plot
 * @param {import("beadline/charts.js").Figure} figure
 * @param {number} [width] in px; the plot's own if none is given
 */
export function sketch(plot, figure, width = plot.clientWidth) {
  const { axes, shapes, traces, labels, places } = sketchOf(figure, width)
  const { height, font } = figure.layout
  const [left, wide] = [places.left - BEYOND, places.right - places.left + 2 * BEYOND]
  const inner = element({ tag: "svg", at: { x: left, width: wide, height, viewBox: `${left} 0 ${wide} ${height}` } })
  inner.append(...shapes.map(element), ...traces.map(element))
  const outer = element({ tag: "svg", at: { class: "sketch", width, height, "font-family": font.family, "aria-hidden": "true" } })
  outer.append(...axes.map(element), inner, ...labels.map(element))
  unsketch(plot)
  plot.append(outer)
}

/**
 * Take the sketch out again.
 * @param {HTMLElement} plot
 */
export function unsketch(plot) {
  plot.querySelector(":scope > .sketch")?.remove()
}

/** @param {Mark} mark */
function element({ tag, at, text }) {
  const made = document.createElementNS(SVG, tag)
  for (const [name, value] of Object.entries(at)) made.setAttribute(name, String(value))
  if (text !== undefined) made.textContent = text
  return made
}
