import { mount, unmount } from "beadline/mount.js"
import { curve } from "beadline/modules/curve.js"
import { onSelect, select } from "beadline/modules/page_data.js"

/**
 * The selected cycles: fetched as they are chosen; the first one is stepped through by buttons and a list.
 * @param {HTMLElement} root
 */
export function cyclePanel(root) {
  const box = /** @type {HTMLElement} */ (root.querySelector("[data-fragment]"))
  const said = /** @type {HTMLElement} */ (root.querySelector("[data-said]"))
  const list = /** @type {HTMLSelectElement} */ (root.querySelector("select"))
  const steps = /** @type {HTMLButtonElement[]} */ ([...root.querySelectorAll("[data-step]")])
  let running = new AbortController()

  root.querySelector("[data-submit]")?.setAttribute("hidden", "")
  const stepped = (/** @type {HTMLButtonElement} */ button) => list.options[list.selectedIndex + Number(button.dataset.step)]
  for (const button of steps) {
    button.hidden = false
    button.addEventListener("click", () => select(Number(stepped(button)?.value ?? list.value)))
  }
  list.addEventListener("change", () => select(Number(list.value)))
  box.addEventListener("click", ({ target }) => {
    const drop = target instanceof Element ? target.closest("[data-drop]") : null
    if (drop instanceof HTMLElement) select(Number(drop.dataset.drop), true)
  })
  const markEnds = () => {
    for (const button of steps) button.disabled = !stepped(button)
  }
  markEnds()

  /** @param {import("beadline/lib/selection.js").Selection} selection */
  async function show({ cycle, others }) {
    list.value = String(cycle)
    markEnds()
    running.abort()
    running = new AbortController()
    box.dataset.busy = "true"
    const more = others.length ? `&with=${others.join("~")}` : ""
    try {
      const answer = await fetch(`${root.dataset.base}${cycle}?${root.dataset.query}${more}`, { signal: running.signal })
      if (!answer.ok) throw new Error(`The server answered ${answer.status}.`)
      put(await answer.text())
      said.textContent = others.length ? `Cycle ${cycle} shown beside ${others.join(", ")}.` : `Cycle ${cycle} shown.`
      box.dataset.busy = "false"
    } catch (error) {
      if (error instanceof DOMException && error.name === "AbortError") return
      box.dataset.busy = "false"
      said.textContent = `Cycle ${cycle} could not be loaded.`
      console.error(error)
      location.reload()
    }
  }

  /** @param {string} fragment */
  function put(fragment) {
    unmount(box)
    box.replaceChildren(...new DOMParser().parseFromString(fragment, "text/html").body.childNodes)
    mount(box, { curve })
  }

  return onSelect((after, before) => {
    if (after.cycle !== before.cycle || after.others !== before.others) show(after)
  })
}
