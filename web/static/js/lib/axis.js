/**
 * The range of an axis that shows every number given, with some air.
 * @param {(number | null | undefined)[]} numbers
 * @param {number} [air] share of the span left free at either end
 * @returns {[number, number]}
 */
export function rangeOf(numbers, air = 0.08) {
  const known = numbers.flatMap((number) => (typeof number === "number" && Number.isFinite(number) ? [number] : []))
  if (!known.length) return [0, 1]
  const low = Math.min(...known)
  const high = Math.max(...known)
  const span = high - low || Math.abs(high) * 0.1 || 1
  return [low - air * span, high + air * span]
}

/**
 * Move labels apart that would lie on one another; their order stays, they move as little as simple sweeps find.
 * @param {number[]} places where each label should be, in pixels
 * @param {number} apart least distance, in pixels
 * @returns {number[]}
 */
export function spread(places, apart) {
  const order = places.map((_, i) => i).sort((a, b) => places[a] - places[b])
  const moved = [...places]
  for (let i = 1; i < order.length; i++) {
    const under = moved[order[i - 1]]
    const over = moved[order[i]]
    if (over - under >= apart) continue
    const middle = (under + over) / 2
    moved[order[i - 1]] = middle - apart / 2
    moved[order[i]] = middle + apart / 2
  }
  for (let i = 1; i < order.length; i++) {
    moved[order[i]] = Math.max(moved[order[i]], moved[order[i - 1]] + apart)
  }
  return moved
}
