const STRIDE = 10

/**
 * The cycle that a key selects, null for a key that means nothing here.
 * @param {string} key as in KeyboardEvent.key
 * @param {number[]} cycles in rising order
 * @param {number} now
 * @returns {number | null}
 */
export function cycleAfter(key, cycles, now) {
  const last = cycles.length - 1
  const place = Math.max(0, cycles.indexOf(now))
  const steps = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -STRIDE, PageUp: STRIDE, Home: -last, End: last }
  if (!(key in steps) || last < 0) return null
  return cycles[Math.min(last, Math.max(0, place + steps[key]))]
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
