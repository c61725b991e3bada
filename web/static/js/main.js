import { mount } from "beadline/mount.js"
import { modules } from "beadline/modules.js"

mount(document, modules)
