/**
 * What a press on a heading makes of its order: ascending, descending, then as given.
 * @param {string | null} now
 * @returns {"ascending" | "descending" | null}
 */
export function nextDirection(now) {
  if (now === "ascending") return "descending"
  return now === "descending" ? null : "ascending"
}

/**
 * The order of rows by their numbers; rows without a number stay last either way, equal rows as given.
 * @param {string[]} values
 * @param {"ascending" | "descending" | null} direction
 * @returns {number[]} places of the rows
 */
export function orderOf(values, direction) {
  const places = values.map((_, place) => place)
  if (!direction) return places
  const sign = direction === "ascending" ? 1 : -1
  return places.sort((a, b) => {
    if (values[a] === "" || values[b] === "") return Number(values[a] === "") - Number(values[b] === "")
    return sign * (Number(values[a]) - Number(values[b])) || a - b
  })
}
