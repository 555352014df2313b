/** The outbox in words, and the ways out of it: send now, correct, set aside, save to a file. */

import { start as startBar } from "./bar.js";
import { element, mark } from "./element.js";
import { entries, exportFile, needsAttention, send, setAside, status } from "./outbox.js";
import { start as startPeople } from "./people.js";
import { fact, storage } from "./store.js";
import { age, learn, when, word } from "./words.js";

/** @typedef {import("./entry.js").Entry} Entry */

const MEGABYTE = 1024 * 1024;
const MINUTE = 60_000;
/** A clock further off than this is worth setting, in milliseconds. */
const CLOCK_MATTERS = 120_000;

learn(JSON.parse(find("#outbox-words").textContent ?? "{}"));

/** @type {Map<number, string>} */
let names = new Map();

/** @param {string} selector */
function find(selector) {
  return /** @type {HTMLElement} */ (document.querySelector(selector));
}

async function show() {
  names = await knownNames();
  const all = (await entries()).reverse();
  const isOver = (/** @type {Entry} */ each) => each.state === "refused" && !needsAttention(each);
  list("refused", all.filter(needsAttention), refusedWays);
  list("waiting", all.filter(({ state }) => ["holding", "waiting"].includes(state)).reverse());
  list("kept", all.filter((each) => each.state === "kept" && isOfToday(each)));
  list("aside", all.filter(isOver));
  find("[data-nothing]").hidden = document.querySelector("[data-section]:not([hidden])") !== null;
  await showTablet();
}

async function knownNames() {
  const [hello, who] = [await fact("hello"), await fact("who")];
  const people = [...(hello?.people ?? []), hello?.person, who].filter((person) => person);
  return new Map(people.map(({ id, name }) => [id, name]));
}

/** @param {Entry} entry */
const isOfToday = ({ entered_at }) => new Date(entered_at).toDateString() === new Date().toDateString();

/** Rows stay the same nodes while nothing changed in them, so that a half-written reason is not lost. */
const drawn = new Map();

/**
 * @param {string} section
 * @param {Entry[]} shown
 * @param {(entry: Entry) => Node[]} [ways]
 */
function list(section, shown, ways = () => []) {
  const place = find(`[data-section=${section}]`);
  place.hidden = shown.length === 0;
  const rows = shown.map((entry) => {
    const said = JSON.stringify([section, entry, names.get(entry.person)]);
    const before = drawn.get(entry.uuid);
    const row = before?.said === said ? before.row : drawRow(entry, ways(entry));
    drawn.set(entry.uuid, { said, row });
    return row;
  });
  const ul = /** @type {HTMLElement} */ (place.querySelector("ul"));
  if (rows.length !== ul.children.length || rows.some((row, number) => row !== ul.children[number])) {
    ul.replaceChildren(...rows);
  }
}

/**
 * @param {Entry} entry
 * @param {Node[]} ways
 */
function drawRow(entry, ways) {
  const name = names.get(entry.person) ?? word("person_unknown", { id: entry.person });
  const by = element("span", { className: "by" }, `${name} · ${when(new Date(entry.entered_at))}`);
  const said = sentences(entry).map((sentence) => element("p", {}, sentence));
  return element("li", {}, mark(stateOf(entry)), element("div", {}, element("strong", {}, entry.title), " ", by, ...said), ...ways);
}

/** @param {Entry} entry */
function stateOf(entry) {
  if (entry.state === "kept") {
    return "within";
  }
  return needsAttention(entry) ? "outside" : "none";
}

/**
 * @param {Entry} entry
 * @returns {string[]}
 */
function sentences(entry) {
  const { state, answer, sentence, tries, set_aside, replaced_by } = entry;
  if (state === "kept") {
    const told = (answer?.readings ?? []).map((/** @type {any} */ reading) => reading.sentence);
    return [word("is_kept"), ...told, ...(answer?.remarks ?? [])].filter((each) => each);
  }
  if (state === "refused") {
    const aside = set_aside === undefined ? [] : [word("is_aside", { reason: set_aside.reason })];
    const replaced = replaced_by === undefined ? [] : [word("is_replaced")];
    return [word("is_refused"), ...(answer?.reasons ?? []).map((/** @type {any} */ each) => each.sentence), ...aside, ...replaced];
  }
  const times = tries > 0 ? [word("sent_times", { count: tries })] : [];
  return [sentence ?? word(state === "holding" ? "is_held" : "is_waiting"), ...times];
}

/** @param {Entry} entry */
function refusedWays(entry) {
  const correct = element("a", { className: "button primary", href: `${entry.address}#entry=${entry.uuid}` }, word("correct_entry"));
  const id = `why-${entry.uuid}`;
  const why = element("input", { type: "text", id, required: true });
  const form = element("form", { className: "aside-form", hidden: true }, element("label", { htmlFor: id }, word("why_aside")), why, element("button", { type: "submit" }, word("set_aside")));
  const open = () => {
    form.hidden = !form.hidden;
    aside.setAttribute("aria-expanded", String(!form.hidden));
    why.focus();
  };
  const aside = element("button", { type: "button", className: "quiet", "aria-expanded": "false", on: { click: open } }, word("set_aside"));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    setAside(entry.uuid, why.value.trim());
  });
  return [element("div", { className: "ways-out" }, correct, aside), form];
}

async function showTablet() {
  const { persisted, usage, quota } = await storage();
  const [hello, last] = [await fact("hello"), await fact("last sent")];
  find("[data-persisted]").textContent = word(persisted ? "persisted" : "not_persisted");
  find("[data-room]").textContent = quota > 0 ? word("room", { left: Math.round((quota - usage) / MEGABYTE) }) : word("room_unknown");
  find("[data-contact]").textContent = last === undefined ? word("never") : when(new Date(last));
  find("[data-clock]").textContent = hello === undefined ? word("never") : clockInWords(hello.ahead);
  find("[data-hand-in]").hidden = !hello?.person || hello.tablet !== null;
}

/** @param {number} ahead of the server, in milliseconds */
function clockInWords(ahead) {
  if (Math.abs(ahead) <= CLOCK_MATTERS) {
    return word("clock_right");
  }
  const minutes = Math.round(Math.abs(ahead) / MINUTE);
  return word(ahead > 0 ? "clock_fast" : "clock_slow", { age: age(minutes * MINUTE) });
}

/** @param {string} text */
function say(text) {
  find(".outbox-said").textContent = text;
}

async function sendNow() {
  say(word("sending"));
  await send();
  say((await status()).trouble === "unreached" ? word("unreached") : "");
}

async function saveFile() {
  const { count, file } = await exportFile();
  if (count === 0) {
    say(word("nothing_to_save"));
    return;
  }
  const day = new Date().toISOString().slice(0, 10);
  const link = element("a", { href: URL.createObjectURL(file), download: `outbox-${day}.json` });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  say(word("file_saved", { count }));
}

find("[data-send]").addEventListener("click", sendNow);
find("[data-save-file]").addEventListener("click", saveFile);
document.addEventListener("outbox:change", show);
startPeople();
startBar();
await show();
document.documentElement.dataset.ready = "";
