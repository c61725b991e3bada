import { part } from "beadline/modules/parts.js"

/**
 * Send a form of choices as soon as one changes; its button is for those without script.
 * @param {HTMLFormElement} root
 */
export function filterForm(root) {
  part(root, "button[type=submit]").hidden = true
  root.addEventListener("change", () => root.requestSubmit())
}
