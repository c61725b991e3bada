import { mount, unmount } from "beadline/mount.js"
import { curve } from "beadline/modules/curve.js"
import { pulse } from "beadline/modules/pulse.js"

/**
 * Show what the file of a run or a pulse test holds, and what the verdict will be, before it is recorded; take the file
 * wherever it is dropped.
 * What the file tells of its start and place is filled in, and marked so in `data-told`.
 * @param {HTMLFormElement} root
 */
export function fileForm(root) {
  const input = /** @type {HTMLInputElement} */ (root.querySelector("input[type=file]"))
  const drop = /** @type {HTMLElement} */ (root.querySelector("[data-drop]"))
  const box = /** @type {HTMLElement} */ (document.querySelector("[data-seen] [data-fragment]"))
  const told = /** @type {HTMLInputElement[]} */ ([...root.querySelectorAll("[name=started_at], [name=performed_at], [name=number]")])
  const ending = new AbortController()
  const hint = /** @type {HTMLElement} */ (root.querySelector("[data-drop-hint]"))
  let running = new AbortController()
  hint.hidden = false

  async function look() {
    running.abort()
    if (!input.files?.length) return
    running = new AbortController()
    const kept = { focus: document.activeElement?.id, open: corrections()?.open }
    const body = new FormData(root)
    for (const field of told) if (field.dataset.told && field.value === field.dataset.told) body.set(field.name, "")
    box.dataset.busy = "true"
    if (!kept.open) empty(saying(`Reading ${input.files[0].name} …`))
    try {
      const answer = await fetch(root.dataset.look ?? "", { method: "POST", body, signal: running.signal })
      put(new DOMParser().parseFromString(await answer.text(), "text/html"), kept)
    } catch (error) {
      if (error instanceof DOMException && error.name === "AbortError") return
      box.replaceChildren(saying("The server did not answer. It can still be recorded when it does."))
    }
    box.dataset.busy = "false"
  }

  const corrections = () => /** @type {HTMLDetailsElement | null} */ (box.querySelector("[data-corrections]"))

  /** @param {Node[]} instead */
  function empty(...instead) {
    unmount(box)
    box.replaceChildren(...instead)
  }

  /** Another file: what was corrected in the last one does not hold for it. */
  function lookAfresh() {
    empty()
    look()
  }

  /**
   * @param {Document} page
   * @param {{focus: string | undefined, open: boolean | undefined}} kept
   */
  function put(page, { focus, open }) {
    const whole = page.querySelector("main h1")
    empty(...(whole ? [saying(whole.textContent ?? "")] : page.body.childNodes))
    mount(box, { curve, pulse })
    const facts = /** @type {HTMLElement | null} */ (box.querySelector("[data-started-at]"))?.dataset
    for (const field of told) fillIn(field, (field.name === "number" ? facts?.number : facts?.startedAt) ?? "")
    if (open) corrections()?.setAttribute("open", "")
    const before = focus ? document.getElementById(focus) : null
    if (before && box.contains(before)) before.focus()
  }

  /**
   * What the file tells, unless a person wrote otherwise.
   * @param {HTMLInputElement} field
   * @param {string} value
   */
  function fillIn(field, value) {
    if (field.value && field.value !== field.dataset.told) return
    field.value = value
    field.dataset.told = value
  }

  /** @param {boolean} is */
  const over = (is) => (/** @type {DragEvent} */ event) => {
    if (!event.dataTransfer?.types.includes("Files")) return
    event.preventDefault()
    drop.dataset.over = String(is)
  }
  const { signal } = ending
  document.addEventListener("dragover", over(true), { signal })
  document.addEventListener("dragleave", over(false), { signal })
  document.addEventListener("drop", (event) => {
    over(false)(event)
    if (!event.dataTransfer?.files.length) return
    input.files = event.dataTransfer.files
    lookAfresh()
  }, { signal })
  input.addEventListener("change", lookAfresh)
  box.addEventListener("change", look)
  for (const field of root.querySelectorAll("[name=packing], [name=injection_ml]")) field.addEventListener("change", look)
  return () => ending.abort()
}

/** @param {string} text */
function saying(text) {
  const line = document.createElement("p")
  line.className = "quiet"
  line.textContent = text
  return line
}
