/**
 * Show what a changed reading profile makes of a file, while it is being changed.
 * @param {HTMLFormElement} root
 */
export function tryProfile(root) {
  const box = /** @type {HTMLElement} */ (document.querySelector("[data-tried]"))
  let running = new AbortController()

  async function look() {
    running.abort()
    running = new AbortController()
    const body = new FormData(root)
    body.set("part", "yes")
    box.dataset.busy = "true"
    try {
      const answer = await fetch(root.dataset.try ?? "", { method: "POST", body, signal: running.signal })
      const page = new DOMParser().parseFromString(await answer.text(), "text/html")
      const whole = page.querySelector("main .notice")
      box.replaceChildren(...(page.querySelector("main") ? [whole ?? ""] : page.body.childNodes))
    } catch (error) {
      if (error instanceof DOMException && error.name === "AbortError") return
      box.textContent = "The server did not answer; try again when it does."
    }
    box.dataset.busy = "false"
  }

  const free = new Set(["name", "why"])
  /** @param {Event} event */
  const changed = (event) => {
    if (!free.has(/** @type {HTMLInputElement} */ (event.target).name)) look()
  }
  root.addEventListener("change", changed)
  return () => {
    running.abort()
    root.removeEventListener("change", changed)
  }
}
