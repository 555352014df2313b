// Books in a lot of material as it arrived: it goes into the outbox.

import { checkFields, form, setValue, start, valueOf } from "./entry_form.js";

const KEYS = ["material", "mark", "supplier", "moisture", "remark"];
const moisture = document.getElementById("moisture");

/** The moisture of studs is always measured. */
function askMoisture() {
  moisture.toggleAttribute("data-optional", valueOf("material") !== "studs");
}

document.getElementById("material").addEventListener("change", askMoisture);
askMoisture();
/** @param {Record<string, any>} content */
function fillIn(content) {
  for (const key of KEYS) setValue(key, content[key]);
  askMoisture();
}

start(() => {
  checkFields();
  const content = Object.fromEntries(KEYS.map((key) => [key, valueOf(key)]));
  return { form: "material", content, title: form.dataset.title.replace("{mark}", content.mark) };
}, fillIn);
