import assert from "node:assert/strict"
import { test } from "node:test"

import { draggedTo, planFigure } from "beadline/lib/plan_figure.js"

const theme = new Proxy({}, { get: (_, name) => `colour of ${String(name)}` })
const windows = [
  { row: 0, name: "wash to strip", switch: 3, from: 2.8, to: 5 },
  { row: 1, name: "strip to rinse", switch: 6, from: 5.8, to: 8 },
]
const signals = [{ name: "Cond", unit: "mS/cm", cv: [0, 1], value: [1, 2] }, { name: "UV", unit: "mAU", cv: [0, 1], value: [1, 2] }]
const close = (found, wanted) => Object.entries(wanted).forEach(([key, value]) => assert.ok(Math.abs(found[key] - value) < 1e-9, `${key} is ${found[key]}`))

test("each window can be dragged and its switch can't; each signal has an axis of its own", () => {
  const { data, layout } = planFigure({ signals, windows }, theme)
  assert.deepEqual(layout.shapes.map(({ editable }) => editable), [true, false, true, false])
  assert.deepEqual(data.map(({ yaxis }) => yaxis), ["y", "y2"])
  assert.ok(layout.yaxis.domain[0] > layout.yaxis2.domain[1])
})

test("an edge that is dragged moves that end of the window", () => {
  close(draggedTo({ "shapes[2].x1": 7.5 }, windows, () => false), { window: 1, switch: 6, start: -0.2, end: 1.5 })
})

test("an edge that is dragged past the other one turns the window round", () => {
  close(draggedTo({ "shapes[0].x0": 6 }, windows, () => false), { window: 0, start: 2, end: 3 })
})

test("a window that is moved as a whole takes its switch along only if a volume says where that is", () => {
  const change = { "shapes[0].x0": 3.8, "shapes[0].x1": 6, "shapes[0].y0": 0 }
  close(draggedTo(change, windows, () => true), { window: 0, switch: 4, start: -0.2, end: 2 })
  close(draggedTo(change, windows, () => false), { window: 0, switch: 3, start: 0.8, end: 3 })
})

test("other changes of the chart move nothing", () => {
  assert.equal(draggedTo({ "xaxis.range[0]": 1 }, windows, () => true), null)
  assert.equal(draggedTo({ "shapes[8].x0": 1 }, windows, () => true), null)
})
