const STRIDE = 10
const MOST = 6
const ZOOM_KEYS = { "+": 0.5, "=": 0.5, "-": 2, _: 2, 0: Infinity }

/**
 * What is selected on a bed's page: one cycle, others beside it, and the part of the axis that is shown (null: all).
 * @typedef {{ cycle: number | null, others: number[], zoom: [number, number] | null }} Selection
 */

/**
 * The cycle that a key selects, null for a key that means nothing here.
 * @param {string} key as in KeyboardEvent.key
 * @param {number[]} cycles in rising order
 * @param {number | null} now
 * @returns {number | null}
 */
export function cycleAfter(key, cycles, now) {
  const last = cycles.length - 1
  const place = Math.max(0, now === null ? last : cycles.indexOf(now))
  /** @type {Record<string, number>} */
  const steps = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -STRIDE, PageUp: STRIDE, Home: -last, End: last }
  if (!(key in steps) || last < 0) return null
  return cycles[Math.min(last, Math.max(0, place + steps[key]))]
}

/**
 * Select a cycle; if it is added, the one before stays beside it, and one that is selected already is left out.
 * @param {Selection} now
 * @param {number} cycle
 * @param {boolean} add
 * @returns {Selection}
 */
export function chosen(now, cycle, add) {
  const zoom = around(now.zoom, cycle)
  if (!add || now.cycle === null) return { cycle, others: [], zoom }
  if (now.others.includes(cycle)) return { ...now, others: now.others.filter((other) => other !== cycle) }
  if (now.cycle === cycle) return now
  return { cycle, others: [now.cycle, ...now.others].slice(0, MOST), zoom }
}

/**
 * The part of the axis that is shown, moved so far that a cycle is in it.
 * @param {[number, number] | null} zoom
 * @param {number} cycle
 * @returns {[number, number] | null}
 */
function around(zoom, cycle) {
  if (!zoom || (zoom[0] <= cycle && cycle <= zoom[1])) return zoom
  const move = cycle < zoom[0] ? cycle - 0.5 - zoom[0] : cycle + 0.5 - zoom[1]
  return [zoom[0] + move, zoom[1] + move]
}

/**
 * The part of the axis after a key that zooms: + and - about the selected cycle, 0 for all; null for all.
 * @param {string} key
 * @param {Selection} now
 * @param {number[]} cycles
 * @returns {[number, number] | null | undefined} undefined for a key that does not zoom
 */
export function zoomAfter(key, now, cycles) {
  if (!(key in ZOOM_KEYS) || !cycles.length) return undefined
  const factor = ZOOM_KEYS[/** @type {keyof typeof ZOOM_KEYS} */ (key)]
  const [first, last] = [cycles[0] - 0.5, cycles[cycles.length - 1] + 0.5]
  const [from, to] = now.zoom ?? [first, last]
  const width = Math.max(4, (to - from) * factor)
  if (width >= last - first) return null
  const start = Math.min(Math.max((now.cycle ?? to) - width / 2, first), last - width)
  return [start, start + width]
}

/**
 * Read what an address says of zoom and of the cycles beside the selected one.
 * @param {string} address
 * @returns {{ others: number[], zoom: [number, number] | null }}
 */
export function readSelection(address) {
  const asked = new URL(address).searchParams
  const others = (asked.get("with") ?? "").split("~").map(Number).filter((cycle) => Number.isInteger(cycle) && cycle > 0)
  const [from, to] = (asked.get("zoom") ?? "").split("~").map(Number)
  return { others, zoom: to > from ? [from, to] : null }
}

/**
 * An address that leads back to a selection.
 * @param {string} address
 * @param {Selection} now
 */
export function addressOf(address, { cycle, others, zoom }) {
  const selected = withQuery(withQuery(address, "cycle", cycle ?? ""), "with", others.join("~"))
  return withQuery(selected, "zoom", zoom ? zoom.map((end) => end.toFixed(1)).join("~") : "")
}

/**
 * An address with one part of its query set, or taken out when the value is empty.
 * @param {string} address
 * @param {string} name
 * @param {string | number} value
 */
export function withQuery(address, name, value) {
  const url = new URL(address)
  if (value === "") url.searchParams.delete(name)
  else url.searchParams.set(name, String(value))
  return url.href
}
