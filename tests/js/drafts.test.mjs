import assert from "node:assert/strict"
import { test } from "node:test"

import { draftOf, readDraft, timeOf } from "beadline/lib/drafts.js"

const now = new Date(2026, 10, 25, 14, 5)
const typed = { name: "batch", value: "B-7", given: "" }
const untouched = { name: "packing", value: "3", given: "3" }

test("only what a person changed is kept", () => {
  assert.deepEqual(draftOf([typed, untouched], null, now), { at: now.toISOString(), fields: { batch: "B-7" } })
})

test("nothing changed is no draft", () => {
  assert.equal(draftOf([untouched, { name: "note", value: "", given: "" }], null, now), null)
})

test("what a refused form gave back still belongs to the draft", () => {
  const before = draftOf([typed], null, now)
  const returned = { ...typed, given: "B-7" }
  const note = { name: "note", value: "late", given: "" }
  assert.deepEqual(draftOf([returned, note], before, now)?.fields, { batch: "B-7", note: "late" })
})

test("a draft that was emptied again is none", () => {
  const before = draftOf([typed], null, now)
  assert.equal(draftOf([{ ...typed, value: "" }], before, now), null)
})

test("a stored draft is read back, a broken or old one is none", () => {
  const text = JSON.stringify(draftOf([typed], null, now))
  assert.deepEqual(readDraft(text, now)?.fields, { batch: "B-7" })
  assert.equal(readDraft(text, new Date(2026, 11, 25)), null)
  assert.equal(readDraft("{", now), null)
  assert.equal(readDraft('{"at": "2026-11-25T14:00:00Z", "fields": {"batch": 7}}', now), null)
  assert.equal(readDraft(null, now), null)
})

test("today's draft says the time, an older one the day too", () => {
  assert.equal(timeOf(now.toISOString(), now), "14:05")
  assert.equal(timeOf(new Date(2026, 10, 24, 9, 30).toISOString(), now), "24 Nov, 09:30")
})
