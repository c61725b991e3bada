/** Scales and ticks by the plotting library's own rules, so that a sketch and the chart after it lie on one another. */

const ROUND = [2, 5, 10]
const LEAST_APART = 80 // px between labels along the axis of cycles or volumes

/** @typedef {(value: number) => number} Scale */

/**
 * @param {[number, number]} range
 * @param {[number, number]} pixels where the range begins and ends
 * @returns {Scale}
 */
export function scaleOf([low, high], [start, end]) {
  return (value) => start + ((value - low) / (high - low)) * (end - start)
}

/**
 * Round numbers within a range, about so many.
 * @param {[number, number]} range
 * @param {number} many
 * @returns {number[]}
 */
export function ticksOf([low, high], many) {
  const step = stepOf(high - low, many)
  const first = Math.ceil(low / step - 1e-9)
  const last = Math.floor(high / step + 1e-9)
  return Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => (first + i) * step)
}

/**
 * How many labels an axis of this length has room for.
 * @param {number} length in px
 */
export function roomFor(length) {
  return Math.min(9, Math.max(4, length / LEAST_APART)) + 1
}

/**
 * Write a tick with no more decimals than tell it from its neighbour.
 * @param {number} tick
 * @param {number[]} ticks
 */
export function tickText(tick, ticks) {
  const step = ticks.length > 1 ? ticks[1] - ticks[0] : Math.abs(tick)
  const decimals = step ? Math.max(0, Math.ceil(-Math.log10(step) - 1e-9)) : 0
  const written = String(Number(Math.abs(tick).toFixed(Math.min(12, decimals))))
  return tick < 0 && written !== "0" ? `−${written}` : written
}

/**
 * @param {number} span
 * @param {number} many
 */
function stepOf(span, many) {
  const rough = span / many
  const base = 10 ** Math.floor(Math.log10(rough))
  return base * (ROUND.find((one) => one > rough / base) ?? 10)
}
