import { scaleOf } from "beadline/lib/scales.js"
import { axes, yAxes } from "beadline/lib/sketch_axes.js"
import { dashed, line, marksOf, text } from "beadline/lib/sketch_marks.js"

/** @typedef {import("beadline/lib/scales.js").Scale} Scale */
/** @typedef {import("beadline/lib/sketch_marks.js").Mark} Mark */
/** @typedef {import("beadline/charts.js").Figure} Figure */
/**
 * A figure's places on a sheet: where its area lies, and the scales of its axes by the names that traces use.
 * @typedef {{ left: number, right: number, top: number, bottom: number, x: Scale, range: [number, number], ys: Record<string, Scale> }} Places
 */

const ANCHORS = { left: "start", right: "end", center: "middle" }
/** @type {Record<string, string>} */
const BASELINES = { top: "text-before-edge", bottom: "text-after-edge", middle: "central" }

/**
 * A figure as plain SVG marks, at the places where the plotting library draws it: what is seen until that is there.
 * It knows what our charts of lines and beads are made of, not all that the library can draw.
 * @param {Figure} figure
 * @param {number} width in px
 * @returns {{ axes: Mark[], shapes: Mark[], traces: Mark[], labels: Mark[], places: Places }} from the bottom to the top
 */
export function sketchOf({ data, layout }, width) {
  const places = placesOf({ data, layout }, width)
  const [low, high] = places.range
  const inSight = layout.annotations.filter((/** @type {any} */ { xref, x }) => xref === "paper" || (low <= x && x <= high))
  return {
    axes: axes(layout, places),
    shapes: (layout.shapes ?? []).map((/** @type {any} */ shape) => shapeMark(shape, places)),
    traces: data.flatMap((trace, i) => marksOf(trace, places.x, places.ys[trace.yaxis ?? "y"], data[i - 1])),
    labels: inSight.map((/** @type {any} */ one) => label(one, layout, places)),
    places,
  }
}

/**
 * @param {Figure} figure
 * @param {number} width
 * @returns {Places}
 */
export function placesOf({ data, layout }, width) {
  const { l, r, t, b } = layout.margin
  const [left, right, top, bottom] = [l, Math.max(l + 1, width - r), t, layout.height - b]
  const range = layout.xaxis.range ?? spanOf(data)
  /** @type {Record<string, Scale>} */
  const ys = {}
  for (const [name, axis] of yAxes(layout)) ys[name] = scaleOf(axis.range, endsOf(axis.domain, top, bottom))
  return { left, right, top, bottom, range, x: scaleOf(range, [left, right]), ys }
}

/**
 * The value of the figure that lies nearest to a place, null if none is near.
 * @param {Figure} figure
 * @param {number} width
 * @param {number} at px from the left
 * @param {number} near px
 */
export function valueAt(figure, width, at, near) {
  const { x } = placesOf(figure, width)
  const values = /** @type {number[]} */ (figure.data.flatMap((trace) => trace.x))
  const away = (/** @type {number} */ value) => Math.abs(x(value) - at)
  const nearest = values.reduce((best, value) => (away(value) < away(best) ? value : best), Infinity)
  return away(nearest) <= near ? nearest : null
}

/**
 * @param {[number, number]} domain
 * @param {number} top
 * @param {number} bottom
 * @returns {[number, number]}
 */
function endsOf(domain, top, bottom) {
  const [low, high] = domain.map((share) => bottom - share * (bottom - top))
  return [low, high]
}

/** @param {any[]} data @returns {[number, number]} */
function spanOf(data) {
  const all = data.flatMap((trace) => trace.x)
  return [Math.min(...all), Math.max(...all)]
}

/** @param {any} shape @param {Places} places @returns {Mark} */
function shapeMark(shape, places) {
  const [x0, x1] = [places.x(shape.x0), places.x(shape.x1)]
  const y = shape.yref === "paper" ? endsScale(places) : places.ys[shape.yref]
  const [y0, y1] = [y(shape.y0), y(shape.y1)]
  if (shape.type === "line") return line(x0, y0, x1, y1, shape.line.color, shape.line.width, dashed(shape.line.dash))
  return { tag: "rect", at: { x: x0, y: Math.min(y0, y1), width: Math.max(0, x1 - x0), height: Math.abs(y1 - y0), fill: shape.fillcolor, opacity: shape.opacity ?? 1 } }
}

/** @param {Places} places */
function endsScale({ top, bottom }) {
  return scaleOf([0, 1], [bottom, top])
}

/**
 * @param {any} one an annotation
 * @param {any} layout
 * @param {Places} places
 * @returns {Mark}
 */
function label(one, layout, places) {
  const x = one.xref === "paper" ? places.left + one.x * (places.right - places.left) : places.x(one.x)
  const y = (one.yref === "paper" ? endsScale(places) : places.ys[one.yref])(one.y)
  const { size, color, weight } = { ...layout.font, ...one.font }
  const anchor = ANCHORS[/** @type {keyof typeof ANCHORS} */ (one.xanchor ?? "center")]
  const mark = text(x + (one.xshift ?? 0), y - (one.yshift ?? 0), one.text, color, size, anchor)
  return { ...mark, at: { ...mark.at, "dominant-baseline": BASELINES[one.yanchor ?? "middle"], ...(weight ? { "font-weight": weight } : {}) } }
}
