/** Traces as SVG marks: one path for all that looks the same. */

/** @typedef {import("beadline/lib/scales.js").Scale} Scale */
/** @typedef {{ tag: string, at: Record<string, string | number>, text?: string }} Mark an SVG element */

/** @type {Record<string, string>} */
const DASHES = { dot: "3 3", dash: "9 9", dashdot: "9 3 3 3", longdash: "15 15", longdashdot: "15 3 3 3" }

/**
 * A trace of the kinds that our charts have: a line, a line filled down to the one before, or beads with whiskers.
 * @param {any} trace
 * @param {Scale} x
 * @param {Scale} y
 * @param {any} before the trace before it
 * @returns {Mark[]}
 */
export function marksOf(trace, x, y, before) {
  if (trace.mode === "markers") return [whiskers(trace, x, y), ...beads(trace, x, y)]
  const line = lineMark(trace, x, y)
  return trace.fill === "tonexty" ? [filled(trace, before, x, y), line] : [line]
}

/**
 * @param {string | undefined} dash
 * @returns {Record<string, string>}
 */
export function dashed(dash) {
  return dash && dash !== "solid" ? { "stroke-dasharray": DASHES[dash] ?? dash.replaceAll("px", "") } : {}
}

/**
 * A straight line.
 * @param {number} x1 @param {number} y1 @param {number} x2 @param {number} y2
 * @param {string} color @param {number} width @param {Record<string, string>} [more]
 * @returns {Mark}
 */
export function line(x1, y1, x2, y2, color, width, more = {}) {
  return { tag: "line", at: { x1, y1, x2, y2, stroke: color, "stroke-width": width, ...more } }
}

/**
 * Words, their middle at a height.
 * @param {number} x @param {number} y @param {string} words
 * @param {string} color @param {number} size @param {string} anchor
 * @returns {Mark}
 */
export function text(x, y, words, color, size, anchor) {
  return { tag: "text", at: { x, y, fill: color, "font-size": size, "text-anchor": anchor, "dominant-baseline": "central" }, text: words }
}

/** @param {any} trace @param {Scale} x @param {Scale} y @returns {Mark} */
function lineMark({ x: across, y: up, line }, x, y) {
  return { tag: "path", at: { d: pathOf(across, up, x, y), fill: "none", stroke: line.color, "stroke-width": line.width, ...dashed(line.dash) } }
}

/** @param {any} trace @param {any} under @param {Scale} x @param {Scale} y @returns {Mark} */
function filled(trace, under, x, y) {
  const back = pathOf([...under.x].reverse(), [...under.y].reverse(), x, y).replace("M", "L")
  return { tag: "path", at: { d: `${pathOf(trace.x, trace.y, x, y)}${back}z`, fill: trace.fillcolor } }
}

/**
 * A path over gaps, as our lines are drawn.
 * @param {number[]} across
 * @param {(number | null)[]} up
 * @param {Scale} x
 * @param {Scale} y
 */
function pathOf(across, up, x, y) {
  const places = across.flatMap((at, i) => (up[i] === null ? [] : [`${px(x(at))} ${px(y(Number(up[i])))}`]))
  return places.length ? `M${places.join("L")}` : ""
}

/** @param {any} trace @param {Scale} x @param {Scale} y @returns {Mark} */
function whiskers({ x: across, y: up, error_y: { array, color, thickness } }, x, y) {
  const each = (/** @type {number} */ at, /** @type {number} */ i) => (array[i] ? `M${px(x(at))} ${px(y(up[i] - array[i]))}V${px(y(up[i] + array[i]))}` : "")
  return { tag: "path", at: { d: across.map(each).join(""), stroke: color, "stroke-width": thickness } }
}

/** @param {any} trace @param {Scale} x @param {Scale} y @returns {Mark[]} */
function beads({ x: across, y: up, marker }, x, y) {
  const { symbol, size, color, line, gradient } = marker
  const r = size / 2
  const all = (/** @type {(x: number, y: number) => string} */ shape) => across.map((/** @type {number} */ at, /** @type {number} */ i) => shape(x(at), y(up[i]))).join("")
  const outline = { stroke: line.color ?? "none", "stroke-width": line.width }
  if (symbol === "diamond") return [{ tag: "path", at: { d: all((cx, cy) => diamond(cx, cy, 1.3 * r)), fill: color } }]
  if (symbol === "x-thin") return [{ tag: "path", at: { d: all((cx, cy) => cross(cx, cy, r)), fill: "none", ...outline } }]
  if (symbol === "circle-x-open") return [{ tag: "path", at: { d: all((cx, cy) => circle(cx, cy, r) + cross(cx, cy, r * Math.SQRT1_2)), fill: "none", ...outline } }]
  const rings = { tag: "path", at: { d: all((cx, cy) => circle(cx, cy, r)), fill: color, ...outline } }
  if (!gradient) return [rings]
  return [rings, { tag: "path", at: { d: all((cx, cy) => rightHalf(cx, cy, r)), fill: gradient.color } }]
}

/** @param {number} x @param {number} y @param {number} r */
const circle = (x, y, r) => `M${px(x - r)} ${px(y)}a${px(r)} ${px(r)} 0 1 0 ${px(2 * r)} 0a${px(r)} ${px(r)} 0 1 0 ${px(-2 * r)} 0z`

/** @param {number} x @param {number} y @param {number} r */
const rightHalf = (x, y, r) => `M${px(x)} ${px(y - r)}a${px(r)} ${px(r)} 0 0 1 0 ${px(2 * r)}z`

/** @param {number} x @param {number} y @param {number} r */
const diamond = (x, y, r) => `M${px(x)} ${px(y - r)}l${px(r)} ${px(r)}l${px(-r)} ${px(r)}l${px(-r)} ${px(-r)}z`

/** @param {number} x @param {number} y @param {number} r */
const cross = (x, y, r) => `M${px(x - r)} ${px(y - r)}l${px(2 * r)} ${px(2 * r)}m0 ${px(-2 * r)}l${px(-2 * r)} ${px(2 * r)}`

/** @param {number} value */
function px(value) {
  return Math.round(value * 100) / 100
}
