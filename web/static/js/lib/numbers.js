/**
 * Write a number with so many significant digits, as the pages do.
 * @param {number | null} value
 * @param {number} digits
 */
export function written(value, digits) {
  if (value === null || !Number.isFinite(value)) return ""
  if (value === 0) return "0"
  const size = Math.floor(Math.log10(Math.abs(value)))
  return value.toFixed(Math.min(20, Math.max(0, digits - 1 - size))).replace("-", "−")
}
