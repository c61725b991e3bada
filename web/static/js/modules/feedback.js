const SETTLE_MS = 350

/**
 * Show beside a form what its values come to while they are typed; the server computes it.
 * @param {HTMLFormElement} root
 */
export function feedback(root) {
  const part = /** @type {HTMLElement} */ (document.querySelector("[data-feedback]"))
  const box = /** @type {HTMLElement} */ (part.querySelector("[data-fragment]"))
  let running = new AbortController()
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let settling

  async function look() {
    running.abort()
    running = new AbortController()
    try {
      const answer = await fetch(root.dataset.look ?? "", { method: "POST", body: new FormData(root), signal: running.signal })
      if (answer.ok) box.replaceChildren(...new DOMParser().parseFromString(await answer.text(), "text/html").body.childNodes)
    } catch (error) {
      if (error instanceof DOMException && error.name === "AbortError") return
      box.replaceChildren("The server does not answer.")
    }
  }

  part.hidden = false
  root.addEventListener("input", () => {
    clearTimeout(settling)
    settling = setTimeout(look, SETTLE_MS)
  })
  look()
}
