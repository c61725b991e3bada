/**
 * @typedef {{ thing: string, said: string }} News
 */

/**
 * What an open page says of news: the last sentence, and how many came with it.
 * @param {News[]} news
 */
export function told(news) {
  if (news.length === 0) return ""
  const last = news[news.length - 1].said
  return news.length === 1 ? `New: ${last}.` : `New: ${last}, and ${news.length - 1} more.`
}

/**
 * Whether a page that is about one bed should speak of this.
 * @param {News} one
 * @param {string | undefined} bed the column's name; undefined on pages about all
 */
export function concerns(one, bed) {
  if (!bed) return true
  const letter = /[\p{L}\p{N}_-]/u
  for (let at = one.said.indexOf(bed); at >= 0; at = one.said.indexOf(bed, at + 1)) {
    const around = [one.said[at - 1] ?? "", one.said[at + bed.length] ?? ""]
    if (!around.some((character) => letter.test(character))) return true
  }
  return false
}
