import { draftOf, readDraft, timeOf } from "beadline/lib/drafts.js"
import { send } from "beadline/modules/sending.js"

const SETTLE_MS = 250
const NOT_KEPT = ["hidden", "file", "submit", "button", "checkbox"]

/**
 * Keep what is typed into the form around this on the device, by person and form, until the server has it.
 * @param {HTMLElement} root
 */
export function draft(root) {
  const form = /** @type {HTMLFormElement} */ (root.closest("form"))
  const said = /** @type {HTMLElement} */ (root.querySelector("[data-kept]"))
  const discard = /** @type {HTMLButtonElement} */ (root.querySelector("[data-discard]"))
  const asked = new URLSearchParams(location.search).get("packing") ?? ""
  const place = ["beadline draft", root.dataset.person, root.dataset.draft, asked].join("/")
  const stored = () => readDraft(localStorage.getItem(place), new Date())
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let settling

  /** @param {string} text */
  function say(text) {
    said.textContent = text
    root.hidden = !text
  }

  function keep() {
    settling = undefined
    const found = draftOf(fieldsOf(form), stored(), new Date())
    if (!found) return drop()
    localStorage.setItem(place, JSON.stringify(found))
    say(`Draft from ${timeOf(found.at, new Date())} kept on this device.`)
  }

  function drop() {
    clearTimeout(settling)
    settling = undefined
    localStorage.removeItem(place)
    say("")
  }

  const restored = stored()
  if (restored) {
    putBack(form, restored.fields)
    const again = form.querySelector("input[type=file]") ? " The file has to be chosen again." : ""
    say(`Draft from ${timeOf(restored.at, new Date())}, kept on this device, is back in the form.${again}`)
  }
  const soon = () => {
    clearTimeout(settling)
    settling = setTimeout(keep, SETTLE_MS)
  }
  form.addEventListener("input", soon)
  form.addEventListener("submit", (event) => {
    event.preventDefault()
    keep()
    send(form, root.parentElement?.querySelector("[data-sending]") ?? root, drop)
  })
  discard.addEventListener("click", () => {
    drop()
    form.reset()
    form.dispatchEvent(new Event("change", { bubbles: true }))
  })
  addEventListener("pagehide", keepNow)
  return () => removeEventListener("pagehide", keepNow)

  function keepNow() {
    if (settling) keep()
  }
}

/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Field */

/**
 * The fields of a form that a person fills in; what a script took from the file is not theirs.
 * @param {HTMLFormElement} form
 */
function fieldsOf(form) {
  const fields = /** @type {Field[]} */ ([...form.elements].filter((field) => "value" in field && form.contains(field)))
  return fields
    .filter((field) => field.name && !NOT_KEPT.includes(field.type) && field.dataset.told !== field.value)
    .map((field) => ({ name: field.name, value: field.value, given: givenOf(field) }))
}

/** @param {Field} field */
function givenOf(field) {
  if (!(field instanceof HTMLSelectElement)) return field.defaultValue
  return ([...field.options].find((option) => option.defaultSelected) ?? field.options[0])?.value ?? ""
}

/**
 * @param {HTMLFormElement} form
 * @param {Record<string, string>} values
 */
function putBack(form, values) {
  for (const [name, value] of Object.entries(values)) {
    const field = form.elements.namedItem(name)
    if (field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement) field.value = value
    if (field instanceof HTMLSelectElement && [...field.options].some((option) => option.value === value)) field.value = value
  }
}
