import { withQuery } from "beadline/lib/selection.js"
import { mount, unmount } from "beadline/mount.js"
import { curve } from "beadline/modules/curve.js"
import { onSelect, select } from "beadline/modules/page_data.js"

/**
 * The selected cycle: fetched as it is chosen, its number kept in the address so that a link leads back to it.
 * @param {HTMLElement} root
 */
export function cyclePanel(root) {
  const box = root.querySelector("[data-fragment]")
  const said = root.querySelector("[data-said]")
  const list = root.querySelector("select")
  let running = new AbortController()

  root.querySelector("[data-submit]").hidden = true
  for (const button of root.querySelectorAll("[data-step]")) {
    button.hidden = false
    button.addEventListener("click", () => {
      const option = list.options[list.selectedIndex + Number(button.dataset.step)]
      if (option) select(Number(option.value))
    })
  }
  list.addEventListener("change", () => select(Number(list.value)))
  const markEnds = () => {
    root.querySelector("[data-step='-1']").disabled = list.selectedIndex === 0
    root.querySelector("[data-step='1']").disabled = list.selectedIndex === list.options.length - 1
  }
  markEnds()

  async function show(cycle) {
    list.value = String(cycle)
    markEnds()
    history.replaceState(null, "", withQuery(location.href, "cycle", cycle))
    running.abort()
    running = new AbortController()
    box.dataset.busy = "true"
    try {
      const answer = await fetch(`${root.dataset.base}${cycle}?${root.dataset.query}`, { signal: running.signal })
      if (!answer.ok) throw new Error(`The server answered ${answer.status}.`)
      put(await answer.text())
      said.textContent = `Cycle ${cycle} shown.`
      box.dataset.busy = "false"
    } catch (error) {
      if (error.name === "AbortError") return
      box.dataset.busy = "false"
      said.textContent = `Cycle ${cycle} could not be loaded.`
      console.error(error)
      location.reload()
    }
  }

  function put(fragment) {
    unmount(box)
    box.replaceChildren(...new DOMParser().parseFromString(fragment, "text/html").body.childNodes)
    mount(box, { curve })
  }

  return onSelect(show)
}
