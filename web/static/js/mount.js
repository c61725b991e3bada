/**
 * @typedef {(root: any) => (void | (() => void))} Module
 * Starts what a part of the page does; may return how to end it.
 */

/** @type {WeakMap<Element, () => void>} */
const endings = new WeakMap()

/**
 * Start every [data-module] at and below `page`; one that fails must not stop the rest.
 * @param {ParentNode} page
 * @param {Record<string, Module>} modules
 * @param {(...told: unknown[]) => void} [report]
 */
export function mount(page, modules, report = console.error) {
  for (const root of partsOf(page)) {
    if (root.dataset.state) continue
    try {
      const end = modules[String(root.dataset.module)](root)
      if (end) endings.set(root, end)
      if (!root.dataset.state) root.dataset.state = "ready"
    } catch (error) {
      root.dataset.state = "failed"
      report(root.dataset.module, error)
    }
  }
}

/**
 * End what runs below `page`, before its content is replaced.
 * @param {ParentNode} page
 */
export function unmount(page) {
  for (const root of partsOf(page)) {
    endings.get(root)?.()
    endings.delete(root)
  }
}

/**
 * @param {ParentNode} page
 * @returns {NodeListOf<HTMLElement>}
 */
function partsOf(page) {
  return page.querySelectorAll("[data-module]")
}
