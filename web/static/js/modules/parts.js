/**
 * The part of the page that a module can't do without.
 * @param {ParentNode} root
 * @param {string} selector
 * @returns {HTMLElement}
 */
export function part(root, selector) {
  const found = root.querySelector(selector)
  if (found instanceof HTMLElement) return found
  throw new Error(`The page has no ${selector}.`)
}

/**
 * The data that the server wrote beside a chart.
 * @param {ParentNode} root
 * @returns {any}
 */
export function dataOf(root) {
  return JSON.parse(part(root, "script[type='application/json']").textContent ?? "")
}
