const scripts = new URL("../../web/static/js/", import.meta.url)

/** Resolve our own modules to their files; everything else as node does. */
export async function resolve(name, context, next) {
  if (!name.startsWith("beadline/")) return next(name, context)
  return { url: new URL(name.slice("beadline/".length), scripts).href, format: "module", shortCircuit: true }
}
