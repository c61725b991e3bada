import { mount, unmount } from "beadline/mount.js"
import { curve } from "beadline/modules/curve.js"

/**
 * Show what a file holds and what the verdict will be before it is recorded; take the file wherever it is dropped.
 * @param {HTMLFormElement} root
 */
export function logRun(root) {
  const input = root.querySelector("input[type=file]")
  const drop = root.querySelector("[data-drop]")
  const box = document.querySelector("[data-seen] [data-fragment]")
  let running = new AbortController()
  root.querySelector("[data-drop-hint]").hidden = false
  const filled = new Map(["started_at", "number"].map((name) => [root.querySelector(`[name=${name}]`), ""]))

  async function look() {
    running.abort()
    if (!input.files.length) return
    running = new AbortController()
    const kept = { focus: document.activeElement?.id, open: box.querySelector("[data-corrections]")?.open }
    const body = new FormData(root)
    for (const [field, told] of filled) if (told && field.value === told) body.set(field.name, "")
    box.dataset.busy = "true"
    if (!kept.open) empty(saying(`Reading ${input.files[0].name} …`))
    try {
      const answer = await fetch(root.dataset.look, { method: "POST", body, signal: running.signal })
      put(new DOMParser().parseFromString(await answer.text(), "text/html"), kept)
    } catch (error) {
      if (error.name === "AbortError") return
      box.replaceChildren(saying("The server did not answer. The run can still be recorded when it does."))
    }
    box.dataset.busy = "false"
  }

  function empty(...instead) {
    unmount(box)
    box.replaceChildren(...instead)
  }

  /** Another file: what was corrected in the last one does not hold for it. */
  function lookAfresh() {
    empty()
    look()
  }

  function put(page, { focus, open }) {
    const whole = page.querySelector("main h1")
    unmount(box)
    box.replaceChildren(...(whole ? [saying(whole.textContent)] : page.body.childNodes))
    mount(box, { curve })
    const facts = box.querySelector("[data-started-at]")?.dataset
    for (const [field] of filled) fillIn(field, (field.name === "number" ? facts?.number : facts?.startedAt) ?? "")
    if (open) box.querySelector("[data-corrections]")?.setAttribute("open", "")
    if (focus && box.contains(document.getElementById(focus))) document.getElementById(focus).focus()
  }

  /** What the file tells of its start and place, unless a person wrote otherwise. */
  function fillIn(field, value) {
    if (field.value && field.value !== filled.get(field)) return
    field.value = value
    filled.set(field, value)
  }

  const over = (is) => (event) => {
    if (!event.dataTransfer?.types.includes("Files")) return
    event.preventDefault()
    drop.dataset.over = String(is)
  }
  document.addEventListener("dragover", over(true))
  document.addEventListener("dragleave", over(false))
  document.addEventListener("drop", (event) => {
    over(false)(event)
    if (!event.dataTransfer.files.length) return
    input.files = event.dataTransfer.files
    lookAfresh()
  })
  input.addEventListener("change", lookAfresh)
  box.addEventListener("change", look)
  root.querySelector("[name=packing]").addEventListener("change", look)
  root.addEventListener("submit", () => (root.querySelector("button[type=submit]").disabled = true))
}

function saying(text) {
  const line = document.createElement("p")
  line.className = "quiet"
  line.textContent = text
  return line
}
