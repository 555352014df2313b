// The list of what waits at the station: what was done here since the page was made, and the scanner.

import { start as startBar } from "./bar.js";
import { entries } from "./outbox.js";
import { start as startPeople } from "./people.js";
import { findPanel, listenForScanner, openCamera, readLabel, sentence } from "./scan.js";
import { learn, word } from "./words.js";

/** @param {string} id */
const read = (id) => JSON.parse(document.getElementById(id).textContent);

const words = read("page-words");
learn(words);
const labels = read("labels");
const station = document.querySelector("main [data-station]").dataset.station;
const said = /** @type {HTMLElement} */ (document.querySelector(".scan-said"));

/** Marks what has entries of this tablet that its page did not know yet. */
async function showEntered() {
  const unknown = (await entries()).filter(({ form, state, content }) => form === "readings" && content.station === station && state !== "kept");
  for (const link of document.querySelectorAll(".waiting a")) {
    const own = unknown.filter(({ content }) => `${content.item} ${content.id}` === link.dataset.item);
    const note = link.querySelector(".entered");
    note.hidden = own.length === 0;
    note.textContent = own.length ? word("enteredHere", { count: own.length }) : "";
  }
}

/** @param {string} text @returns {string | undefined} why it leads nowhere, where another label may be tried at once */
function scanned(text) {
  const found = findPanel(labels, readLabel(text), station);
  if ("address" in found) return location.assign(found.address);
  const why = sentence(words.scan[found.key], found.facts);
  tell(why, found.panels);
  return found.panels.length === 0 ? why : undefined;
}

/** @param {string} text @param {any[]} panels that may be opened all the same */
function tell(text, panels) {
  const links = panels.map(({ building, mark, address }) =>
    Object.assign(document.createElement("a"), { className: "button", href: address, textContent: word("open", { label: `${building}/${mark}` }) }));
  said.replaceChildren(text, " ", ...links);
  said.hidden = false;
}

listenForScanner(scanned);
document.querySelector("[data-scan-key]").addEventListener("click", () =>
  openCamera(document.querySelector("dialog.scan"), scanned, words.scan));
document.addEventListener("outbox:change", showEntered);
startPeople();
startBar();
await showEntered();
document.documentElement.dataset.ready = "";
