import { part } from "beadline/modules/parts.js"

const YEAR_S = 365 * 24 * 3600

/**
 * Let a person choose light or dark; the server reads the cookie, so that the next page comes in it at once.
 * @param {HTMLElement} root
 */
export function appearance(root) {
  const select = /** @type {HTMLSelectElement} */ (part(root, "select"))
  root.hidden = false
  select.addEventListener("change", () => {
    document.cookie = `beadline_theme=${select.value}; Path=/; SameSite=Lax; Max-Age=${select.value ? YEAR_S : 0}`
    if (select.value) document.documentElement.dataset.theme = select.value
    else delete document.documentElement.dataset.theme
    document.dispatchEvent(new CustomEvent("beadline:appearance"))
  })
}
