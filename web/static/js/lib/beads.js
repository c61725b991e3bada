/** How beads look in a chart: the same shapes as in the pages. */

/** @type {Record<string, string>} */
const WORDS = { ok: "in limits", watch: "past alert limit", act: "past action limit", void: "not usable", out: "excluded" }

/** Every kind, quiet ones first, so that what is abnormal is drawn on top. */
export const KINDS = ["ok", "out", "void", "watch", "act"]

/**
 * What a kind means, in words.
 * @param {string} kind
 */
export function verdictOf(kind) {
  return WORDS[kind]
}

/**
 * The marker of a kind.
 * @param {string} kind
 * @param {import("beadline/theme.js").Theme} theme
 * @param {number} crowd how many beads share the axis; many are drawn smaller
 */
export function marker(kind, theme, crowd) {
  const size = crowd > 150 ? 5 : crowd > 80 ? 6 : 7.5
  const line = { color: theme[/** @type {keyof typeof theme} */ (kind)], width: 1.5 }
  if (kind === "act") return { symbol: "diamond", size: size + 2.5, color: theme.act, line: { width: 0 } }
  if (kind === "out") return { symbol: "circle-x-open", size: size + 1, color: theme.out, line: { ...line, width: 1.2 } }
  if (kind === "void") return { symbol: "x-thin", size: size - 1, color: theme.void, line }
  if (kind === "watch") return { symbol: "circle", size: size + 0.5, color: theme.sheet, line, gradient: halfFilled(theme) }
  return { symbol: "circle", size, color: theme.sheet, line }
}

/** @param {import("beadline/theme.js").Theme} theme */
function halfFilled(theme) {
  return { type: "horizontal", color: theme.watch }
}
