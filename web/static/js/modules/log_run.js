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

  async function look() {
    running.abort()
    if (!input.files.length) return
    running = new AbortController()
    box.dataset.busy = "true"
    box.replaceChildren(saying(`Reading ${input.files[0].name} …`))
    try {
      const answer = await fetch(root.dataset.look, { method: "POST", body: new FormData(root), signal: running.signal })
      const page = new DOMParser().parseFromString(await answer.text(), "text/html")
      const refused = page.querySelector("main .lede, main h1")
      box.replaceChildren(...(page.querySelector("main") ? [saying(refused.textContent)] : page.body.childNodes))
    } catch (error) {
      if (error.name === "AbortError") return
      box.replaceChildren(saying("The server did not answer. The run can still be recorded when it does."))
    }
    box.dataset.busy = "false"
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
    look()
  })
  input.addEventListener("change", look)
  root.querySelector("[name=packing]").addEventListener("change", look)
  root.addEventListener("submit", () => (root.querySelector("button[type=submit]").disabled = true))
}

function saying(text) {
  const line = document.createElement("p")
  line.className = "quiet"
  line.textContent = text
  return line
}
