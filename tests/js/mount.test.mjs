import assert from "node:assert/strict"
import { test } from "node:test"

import { mount, unmount } from "beadline/mount.js"

const part = (name) => ({ dataset: { module: name } })
const page = (...parts) => ({ querySelectorAll: () => parts })

test("one part that fails leaves the rest running, and says so", () => {
  const broken = part("broken")
  const sound = part("sound")
  const told = []
  const modules = {
    broken: () => {
      throw new Error("no")
    },
    sound: () => {},
  }
  mount(page(broken, sound), modules, (name) => told.push(name))
  assert.equal(broken.dataset.state, "failed")
  assert.equal(sound.dataset.state, "ready")
  assert.deepEqual(told, ["broken"])
})

test("a name without a module fails like any other", () => {
  const unknown = part("unknown")
  mount(page(unknown), {}, () => {})
  assert.equal(unknown.dataset.state, "failed")
})

test("a part is started once, and ended when its page goes", () => {
  const once = part("once")
  let starts = 0
  let ends = 0
  const modules = {
    once: () => {
      starts += 1
      return () => (ends += 1)
    },
  }
  mount(page(once), modules)
  mount(page(once), modules)
  unmount(page(once))
  unmount(page(once))
  assert.deepEqual([starts, ends], [1, 1])
})
