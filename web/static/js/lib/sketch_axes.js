import { roomFor, tickText, ticksOf } from "beadline/lib/scales.js"
import { line, text } from "beadline/lib/sketch_marks.js"

/** @typedef {import("beadline/lib/scales.js").Scale} Scale */
/** @typedef {import("beadline/lib/sketch_marks.js").Mark} Mark */
/** @typedef {import("beadline/lib/sketch.js").Places} Places */

/**
 * The upright axes of a layout.
 * @param {any} layout
 * @returns {[string, any][]} by the name that traces use: y, y2, …
 */
export function yAxes(layout) {
  return Object.entries(layout).flatMap(([key, axis]) => (key.startsWith("yaxis") ? [[key.replace("axis", ""), axis]] : []))
}

/**
 * The axis of cycles or volumes, and the grid of each panel.
 * @param {any} layout
 * @param {Places} places
 * @returns {Mark[]}
 */
export function axes(layout, places) {
  const { left, right, bottom, range, x } = places
  const { size, color } = layout.font
  const across = ticksOf(range, roomFor(right - left))
  const title = layout.xaxis.title.text
  const upright = layout.xaxis.showgrid === false ? [] : across.filter((at) => x(at) > left)
  return [
    ...upright.map((at) => line(x(at), places.top, x(at), bottom, layout.xaxis.gridcolor, 1)),
    ...yAxes(layout).flatMap(([name, axis]) => lines(axis, axis.tickvals ?? ticksOf(axis.range, axis.nticks), places, places.ys[name], color)),
    ...(layout.xaxis.showline ? [line(left, bottom, right, bottom, layout.xaxis.linecolor, 1)] : []),
    ...across.map((at) => text(x(at), bottom + 8 + size / 2, tickText(at, across), color, layout.xaxis.tickfont?.size ?? size, "middle")),
    text((left + right) / 2, layout.height - Math.max(8, layout.margin.b - 34), title, color, size * 1.17, "middle"),
  ]
}

/**
 * The grid of a panel with its numbers.
 * @param {any} axis
 * @param {number[]} ticks
 * @param {Places} places
 * @param {Scale} y
 * @param {string} color
 */
function lines(axis, ticks, { left, right }, y, color) {
  return ticks.flatMap((at) => [
    line(left, y(at), right, y(at), axis.gridcolor, 1),
    text(left - 3, y(at), tickText(at, ticks), color, axis.tickfont.size, "end"),
  ])
}
