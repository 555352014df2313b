// Books in a lot: its mark and the nominal size of its members go into the outbox.

import { checkFields, form, start, valueOf } from "./entry_form.js";

const KEYS = ["kind", "mark", "length", "width", "depth"];

start(() => {
  checkFields();
  const content = Object.fromEntries(KEYS.map((key) => [key, valueOf(key)]));
  return { form: "lot", content, title: form.dataset.title.replace("{mark}", content.mark) };
});
