import assert from "node:assert/strict"
import { test } from "node:test"

import { addressOf, chosen, cycleAfter, readSelection, withQuery, zoomAfter } from "beadline/lib/selection.js"

const cycles = [1, 2, 3, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14]

test("arrows step through the cycles that exist", () => {
  assert.equal(cycleAfter("ArrowRight", cycles, 3), 5)
  assert.equal(cycleAfter("ArrowLeft", cycles, 5), 3)
})

test("the ends hold", () => {
  assert.equal(cycleAfter("ArrowLeft", cycles, 1), 1)
  assert.equal(cycleAfter("PageUp", cycles, 10), 14)
  assert.equal(cycleAfter("Home", cycles, 9), 1)
  assert.equal(cycleAfter("End", cycles, 2), 14)
})

test("other keys and empty beds mean nothing", () => {
  assert.equal(cycleAfter("a", cycles, 3), null)
  assert.equal(cycleAfter("ArrowRight", [], 3), null)
})

test("a query is set beside what is there, and taken out by an empty value", () => {
  assert.equal(withQuery("http://a/b?x=1", "cycle", 7), "http://a/b?x=1&cycle=7")
  assert.equal(withQuery("http://a/b?x=1&cycle=7", "cycle", ""), "http://a/b?x=1")
})

const now = { cycle: 5, others: [2], zoom: null }

test("a plain choice selects one cycle alone", () => {
  assert.deepEqual(chosen(now, 7, false), { cycle: 7, others: [], zoom: null })
})

test("an added cycle comes first and the one before stays beside it; a second press leaves it out", () => {
  assert.deepEqual(chosen(now, 7, true), { cycle: 7, others: [5, 2], zoom: null })
  assert.deepEqual(chosen(now, 2, true), { cycle: 5, others: [], zoom: null })
  assert.deepEqual(chosen(now, 5, true), now)
})

test("no more cycles stay than can be told apart", () => {
  const full = { cycle: 9, others: [1, 2, 3, 4, 5, 6], zoom: null }
  assert.deepEqual(chosen(full, 10, true).others, [9, 1, 2, 3, 4, 5])
})

test("plus zooms about the selected cycle, minus and zero lead back", () => {
  const half = zoomAfter("+", now, cycles)
  assert.ok(half && half[0] < 5 && half[1] > 5)
  assert.ok(half[1] - half[0] < 14)
  assert.equal(zoomAfter("-", { ...now, zoom: half }, cycles), null)
  assert.equal(zoomAfter("0", { ...now, zoom: half }, cycles), null)
  assert.equal(zoomAfter("a", now, cycles), undefined)
})

test("an address leads back to the whole selection", () => {
  const all = { cycle: 5, others: [2, 9], zoom: [3.5, 10] }
  const address = addressOf("http://a/b?packing=1", all)
  assert.deepEqual(readSelection(address), { others: [2, 9], zoom: [3.5, 10] })
  assert.equal(new URL(address).searchParams.get("cycle"), "5")
  assert.equal(addressOf(address, { cycle: 5, others: [], zoom: null }), "http://a/b?packing=1&cycle=5")
})

test("what an address says wrongly is not taken", () => {
  assert.deepEqual(readSelection("http://a/b?with=x~-1&zoom=9~2"), { others: [], zoom: null })
})

test("the part that is shown follows a cycle that is chosen outside of it", () => {
  assert.deepEqual(chosen({ ...now, zoom: [4, 8] }, 7, false).zoom, [4, 8])
  assert.deepEqual(chosen({ ...now, zoom: [4, 8] }, 12, false).zoom, [8.5, 12.5])
  assert.deepEqual(chosen({ ...now, zoom: [4, 8] }, 1, true).zoom, [0.5, 4.5])
})
