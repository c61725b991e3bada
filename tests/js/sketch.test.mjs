import assert from "node:assert/strict"
import { test } from "node:test"

import { curveFigure } from "beadline/lib/curve_figure.js"
import { scaleOf, ticksOf, tickText } from "beadline/lib/scales.js"
import { sketchOf, valueAt } from "beadline/lib/sketch.js"
import { trendFigure } from "beadline/lib/trend_figure.js"

const theme = new Proxy({}, { get: (_, name) => `colour of ${String(name)}` })
const limits = { alert: [null, 1.9], action: [0.2, 2.5], by_procedure: { alert: [null, null], action: [null, null] } }
const trend = { key: "hetp", title: "HETP", unit: "cm", digits: 3, cycle: [1, 2, 3, 4, 5], value: [1, 2, 3, null, 1.5], u: [0.1, 0.1, null, null, 0], ewma: [1, 1.2, 1.6, null, 1.5], kind: ["ok", "watch", "act", "void", "out"], band: [0.8, 1.2], ...limits }
const bed = { trends: [trend], events: [{ place: 3, mark: "▾", label: "Repacked" }], cycles: [1, 2, 3, 4, 5], compared: null }
const figure = (more = {}) => trendFigure(bed, { theme, shown: ["hetp"], selection: { cycle: 2, others: [], zoom: null, ...more } })
const WIDTH = 800

test("ticks are round numbers within the range, written with the decimals that tell them apart", () => {
  const ticks = ticksOf([0.0312, 0.0521], 5)
  assert.deepEqual(ticks.map((tick) => tickText(tick, ticks)), ["0.035", "0.04", "0.045", "0.05"])
  const cycles = ticksOf([-5, 306], 10)
  assert.deepEqual(cycles.map((tick) => tickText(tick, cycles)), ["0", "50", "100", "150", "200", "250", "300"])
  const signed = ticksOf([-1, 1], 4)
  assert.deepEqual(signed.map((tick) => tickText(tick, signed)), ["−1", "0", "1"])
})

test("a scale leads from the ends of a range to the ends of its pixels", () => {
  const scale = scaleOf([10, 20], [100, 0])
  assert.deepEqual([10, 15, 20].map(scale), [100, 50, 0])
})

test("every kind of bead has its own shape, each cycle one bead", () => {
  const { traces, places } = sketchOf(figure(), WIDTH)
  const marks = traces.filter(({ at }) => at.fill !== "none" || at.stroke !== "colour of text")
  const starts = marks.flatMap(({ at }) => String(at.d).match(/M[^M]*/g) ?? [])
  assert.equal(starts.filter((one) => one.includes("a")).length, 4) // ring, ring and half of it, struck ring
  assert.equal(starts.filter((one) => /l.*l.*l.*z/.test(one)).length, 1) // the diamond
  const diamond = marks.find(({ at }) => at.fill === "colour of act")
  assert.ok(Math.abs(Number(String(diamond.at.d).match(/M([\d.]+)/)[1]) - places.x(3)) < 0.01)
})

test("whiskers reach one uncertainty up and down, and none is drawn where none is known", () => {
  const { traces, places } = sketchOf(figure(), WIDTH)
  const whiskers = traces.filter(({ at }) => at.stroke === "colour of markQuiet" && /V/.test(String(at.d)))
  const [x, from, to] = String(whiskers[0].at.d).match(/[\d.]+/g).map(Number)
  assert.ok(Math.abs(x - places.x(1)) < 0.01)
  assert.ok(Math.abs(from - places.ys.y(0.9)) < 0.01 && Math.abs(to - places.ys.y(1.1)) < 0.01)
  assert.equal(whiskers.reduce((sum, { at }) => sum + String(at.d).split("V").length - 1, 0), 2)
})

test("limits, band and the selected cycle lie where the figure says, labels beside them", () => {
  const { shapes, labels, places } = sketchOf(figure(), WIDTH)
  const action = shapes.find(({ tag, at }) => tag === "line" && at.stroke === "colour of act")
  assert.equal(action.at.y1, places.ys.y(0.2))
  assert.equal(action.at["stroke-dasharray"], undefined)
  assert.ok(shapes.some(({ at }) => at["stroke-dasharray"] && at.stroke === "colour of watch"))
  const selected = shapes.find(({ tag, at }) => tag === "rect" && at.fill === "colour of dataPale")
  assert.ok(Math.abs(selected.at.x - places.x(1.5)) < 1e-9 && selected.at.height > 100)
  assert.ok(labels.some(({ text, at }) => text === "alert 1.90" && at.x > places.right))
})

test("a part of the axis leaves out the marks of events beyond it", () => {
  const words = (zoom) => sketchOf(figure({ zoom }), WIDTH).labels.map(({ text }) => text)
  assert.ok(words(null).includes("▾"))
  assert.ok(!words([3.5, 5.5]).includes("▾"))
})

test("a press means the nearest cycle, and nothing far from all", () => {
  const { places } = sketchOf(figure(), WIDTH)
  assert.equal(valueAt(figure(), WIDTH, places.x(4) + 9, 24), 4)
  assert.equal(valueAt(figure(), WIDTH, places.x(5) + 90, 24), null)
})

test("a curve fills its envelope and goes from end to end of its volumes", () => {
  const curve = { grid: [0, 0.5, 1], fraction: [0, 0.5, 1], low: [0, 0.4, 0.9], high: [0.1, 0.6, 1], density: [0, 2, 0], baseline: [0, 1.8, 0] }
  const { traces, places } = sketchOf(curveFigure(curve, theme), 400)
  const filled = traces.filter(({ at }) => at.fill === "colour of dataPale")
  assert.equal(filled.length, 1)
  assert.ok(String(filled[0].at.d).endsWith("z"))
  assert.deepEqual([places.x(0), places.x(1)], [places.left, places.right])
})
