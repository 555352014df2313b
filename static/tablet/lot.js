// Books in a lot: its mark and the nominal size of its members go into the outbox.

import { checkFields, form, setValue, start, valueOf } from "./entry_form.js";

const KEYS = ["kind", "mark", "length", "width", "depth"];

/** @param {Record<string, any>} content */
function fillIn(content) {
  for (const key of KEYS) setValue(key, content[key]);
}

start(() => {
  checkFields();
  const content = Object.fromEntries(KEYS.map((key) => [key, valueOf(key)]));
  return { form: "lot", content, title: form.dataset.title.replace("{mark}", content.mark) };
}, fillIn);
