/**
 * The colours of tokens.css as a chart needs them.
 * @typedef {{text: string, quiet: string, markQuiet: string, rule: string, ruleSoft: string, sheet: string, data: string,
 *   dataPale: string, band: string, font: string, ok: string, watch: string, act: string, void: string, out: string}} Theme
 */

const TOKENS = {
  text: "--text",
  quiet: "--text-quiet",
  markQuiet: "--mark-quiet",
  rule: "--rule",
  ruleSoft: "--rule-soft",
  sheet: "--sheet",
  data: "--data",
  dataPale: "--data-pale",
  band: "--baseline-band",
  ok: "--in-limits",
  watch: "--past-alert-limit",
  act: "--past-action-limit",
  void: "--not-usable",
  out: "--left-out",
}

/**
 * Read the colours that hold now, light or dark, as rgb().
 * @returns {Theme}
 */
export function readTheme() {
  const probe = document.createElement("span")
  probe.hidden = true
  document.body.append(probe)
  /** @type {Record<string, string>} */
  const theme = { font: getComputedStyle(document.body).fontFamily }
  for (const [name, token] of Object.entries(TOKENS)) {
    probe.style.color = `var(${token})`
    theme[name] = getComputedStyle(probe).color
  }
  probe.remove()
  return /** @type {Theme} */ (theme)
}
