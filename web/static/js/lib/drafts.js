/**
 * What a form holds that its server does not have yet: field name to value, and since when.
 * @typedef {{ at: string, fields: Record<string, string> }} Draft
 */

const KEPT_DAYS = 14
const DAY_MS = 24 * 3600 * 1000

/**
 * The draft after a change: fields that differ from what the server gave, and those that the draft held before.
 * @param {{ name: string, value: string, given: string }[]} fields
 * @param {Draft | null} before
 * @param {Date} now
 * @returns {Draft | null} null if there is nothing to keep
 */
export function draftOf(fields, before, now) {
  const kept = fields.filter(({ name, value, given }) => value !== given || name in (before?.fields ?? {}))
  if (!kept.some(({ value, given }) => value !== given || value !== "")) return null
  return { at: now.toISOString(), fields: Object.fromEntries(kept.map(({ name, value }) => [name, value])) }
}

/**
 * Read a draft as it was stored; what is broken, foreign or too old is none.
 * @param {string | null} text
 * @param {Date} now
 * @returns {Draft | null}
 */
export function readDraft(text, now) {
  try {
    const { at, fields } = JSON.parse(text ?? "null") ?? {}
    const age = now.getTime() - Date.parse(at)
    const sound = age >= 0 && age < KEPT_DAYS * DAY_MS && Object.values(fields).every((value) => typeof value === "string")
    return sound ? { at, fields } : null
  } catch {
    return null
  }
}

/**
 * When a draft was written: the time of day, with the day if that is not today.
 * @param {string} at
 * @param {Date} now
 */
export function timeOf(at, now) {
  const then = new Date(at)
  const time = then.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" })
  if (then.toDateString() === now.toDateString()) return time
  return `${then.toLocaleDateString("en-GB", { day: "numeric", month: "short" })}, ${time}`
}
