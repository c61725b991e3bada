// Lets node find `beadline/NAME.js`, as the import map lets a browser: node --import ./tests/js/resolve.mjs --test tests/js/
import { register } from "node:module"

register("./hooks.mjs", import.meta.url)
