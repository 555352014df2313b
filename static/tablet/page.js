// The entry page: one step at a time, from what is typed to the tablet's outbox, and on to the next step.

import { inInches } from "../measure/length.js";
import { formatAmount, formatDeviationOf } from "../measure/quantity.js";
import { start as startBar } from "./bar.js";
import { newUuid } from "./entry.js";
import { keyOf, newestReadings } from "./entered.js";
import { agree, isFarOff } from "./judge.js";
import { Keypad } from "./keypad.js";
import { measuredShape, signed } from "./measured_shape.js";
import { entry as storedEntry, photosIn, writeEntry } from "./outbox.js";
import { author, start as startPeople } from "./people.js";
import { completeUnit, FieldRefused, said, Step } from "./step.js";
import { learn, word } from "./words.js";

/** @param {string} id */
const read = (id) => JSON.parse(document.getElementById(id).textContent);

const words = read("page-words");
learn(words);
const facts = read("facts");
const form = /** @type {HTMLFormElement} */ (document.querySelector("form.entry"));
const pad = /** @type {HTMLElement} */ (form.querySelector(".keypad"));
const units = { system: pad.dataset.mode, denominator: Number(pad.dataset.denominator) };
const nominal = { length: inInches(BigInt(facts.size.length)), width: inInches(BigInt(facts.size.width)) };
const keypad = new Keypad(pad, words.keypad);
const steps = facts.steps.map((/** @type {any} */ asked, /** @type {number} */ n) => new Step(n + 1, asked, facts, units));
const done = document.getElementById("done");
const result = form.querySelector(".result");
const doubt = form.querySelector(".doubt");
const saveKey = form.querySelector(".save");
const HALF_TYPED = `half typed ${location.pathname}`;

/** @type {Map<string, any>} */
let newest = new Map();
/** @type {Step | null} */
let current = null;
let isSaving = false;
/** What was doubted when it came first: entered again, it is believed. @type {Map<string, bigint | string>} */
const doubted = new Map();
/** The refused entry that is being put right. @type {string | null} */
let refusedEntry = null;

// Showing a step

/** @param {number} number */
const address = (number) => `#step-${number}`;

/** Shows what the address names, or else what is due first. */
function open() {
  const number = Number(/^#step-(\d+)$/.exec(location.hash)?.[1] ?? 0);
  show(steps[number - 1] ?? nextStep(0));
}

/** @param {Step | null} step */
function show(step) {
  for (const section of form.querySelectorAll(".step")) section.hidden = true;
  current = step;
  doubt.hidden = true;
  (step?.section ?? done).hidden = false;
  form.classList.toggle("is-done", step === null);
  showNewest(step);
  for (const link of document.querySelectorAll(".steps a")) {
    const isHere = numbersOf(link).includes(step?.number);
    if (isHere) link.setAttribute("aria-current", "step");
    else link.removeAttribute("aria-current");
    if (isHere) showBay(link);
  }
  focusFirst(step);
}

/** Brings a bay into sight where the glass is too narrow for all of them. @param {Element} link */
function showBay(link) {
  const bays = link.closest(".bays");
  if (!bays) return;
  const [whole, bay] = [bays.getBoundingClientRect(), link.getBoundingClientRect()];
  bays.scrollLeft += bay.left + bay.width / 2 - (whole.left + whole.width / 2);
}

/** @param {Step | null} step */
function focusFirst(step) {
  const inputs = step?.typedInputs ?? [];
  const field = inputs.find((input) => !input.value) ?? inputs.at(-1) ?? null;
  showKeys(step, field);
  const place = field ?? step?.section.querySelector("fieldset input") ?? (step?.section ?? done).querySelector("h2");
  place?.focus({ preventScroll: true });
  // After the browser has gone to the address.
  requestAnimationFrame(() => requestAnimationFrame(() => place?.scrollIntoView({ block: "nearest" })));
}

/** The keypad where something is typed, otherwise one key to save. @param {Step | null} step @param {HTMLInputElement | null} field */
function showKeys(step, field) {
  const isTyped = field !== null || Boolean(step?.typedInputs.length);
  form.classList.toggle("is-typed", isTyped);
  if (field) keypad.serve(field);
}

/** The step after `number` that has no reading yet, or else the first that is not proven. @param {number} number */
function nextStep(number) {
  const order = [...steps.slice(number), ...steps.slice(0, number)];
  return order.find((step) => stateOf(step) === "none") ?? steps.find((step) => !SETTLED.includes(stateOf(step))) ?? null;
}

/** @param {Step} step */
function stateOf(step) {
  const states = step.asked.map((asked) => stateOfReading(newest.get(keyOf(asked))));
  return ["attention", "none", "outside", "unclear", "accepted"].find((state) => states.includes(state)) ?? "within";
}

/** What was accepted as it is counts as settled, whatever its verdict. @param {import("./entered.js").Newest | undefined} reading */
const stateOfReading = (reading) => (reading?.isAccepted ? "accepted" : reading?.verdict ?? "none");

const SETTLED = ["within", "accepted"];
const SIGNS = { accepted: "✓", within: "✓", outside: "✕", unclear: "!", attention: "!", none: "–" };

/** @param {Element} link @returns {number[]} */
const numbersOf = (link) => (link.dataset.steps ?? link.dataset.step).split(" ").map(Number);

function showStates() {
  for (const link of document.querySelectorAll(".steps a")) {
    const states = numbersOf(link).map((number) => stateOf(steps[number - 1]));
    const state = ["attention", "outside", "unclear", "none", "accepted"].find((wanted) => states.includes(wanted)) ?? "within";
    const part = link.hasAttribute("data-steps") && state === "none" && states.some((one) => SETTLED.includes(one)) ? "part" : state;
    link.querySelector(".state").textContent = SIGNS[state];
    link.dataset.state = part;
    if (state === "accepted") link.dataset.note = word(state);
    else delete link.dataset.note;
    link.dataset.name ??= link.getAttribute("aria-label") ?? link.querySelector(".name").textContent;
    link.setAttribute("aria-label", word("stepState", { name: link.dataset.name, state: word(state) }));
  }
}

/** What was measured before, and the way to correct what was typed. @param {Step | null} step */
function showNewest(step) {
  const before = step && newest.get(keyOf(step.asked[0]));
  const line = step?.section.querySelector(".newest");
  if (!line) return;
  line.hidden = !before;
  if (!before) return;
  const { fields } = step.asked[0];
  const typed = Object.entries(before.entries).map(([name, text]) => inWords(fields[name], text)).filter(Boolean).join(" · ");
  line.replaceChildren(word("newest", { verdict: word(stateOfReading(before)), amount: typed }), " ", correctKey(step, before));
}

/** What was typed as the page says it: an answer by its label, marks on the drawing not at all. @param {string} id @param {string} text */
function inWords(id, text) {
  const field = document.getElementById(id);
  if (field?.matches("fieldset")) return field.querySelector(`[value="${CSS.escape(text)}"] + label`)?.textContent ?? text;
  return field?.matches("[type=hidden]") ? "" : text;
}

/** @param {Step} step @param {any} before */
function correctKey(step, before) {
  const key = Object.assign(document.createElement("button"), { type: "button", className: "quiet", textContent: word("correct") });
  key.hidden = !before.uuid || before.verdict === "attention";
  key.addEventListener("click", () => {
    step.correct();
    focusFirst(step);
  });
  return key;
}

// Saving

/** @param {Event} event */
async function next(event) {
  event.preventDefault();
  if (isSaving || current === null) return;
  const inputs = current.typedInputs;
  for (const input of inputs) completeUnit(input, units.system);
  const at = inputs.indexOf(/** @type {HTMLInputElement} */ (event.target));
  // One key leads from field to field and saves after the last.
  const following = inputs.slice(at + 1).find(({ value }) => !value) ?? null;
  if (event.type === "keypad:next" && at >= 0 && inputs[at].value && following) return following.focus();
  await save(current);
}

/** @param {Step} step */
async function save(step) {
  isSaving = true;
  saveKey.setAttribute("aria-disabled", "true");
  try {
    const readings = step.judgeAll();
    if (step.isCorrection && !step.reason) throw new FieldRefused(`${step.section.id}-reason`, word("enterReason"));
    const isBelieved = wasDoubted(step, readings);
    if (isBelieved === null) return;
    await keep(step, readings, isBelieved);
  } catch (refused) {
    if (!(refused instanceof FieldRefused)) throw refused;
    step.refuse(refused);
  } finally {
    isSaving = false;
    saveKey.removeAttribute("aria-disabled");
  }
}

/** @param {Step} step @param {any[]} readings @param {boolean} isBelieved */
async function keep(step, readings, isBelieved) {
  const shape = step.shape();
  try {
    const person = await author();
    if (person === null) return;
    await step.photosMade;
    await writeEntry(entryOf(step, readings, isBelieved, person.id));
  } catch (failed) {
    step.refuse(new FieldRefused(null, word("saveFailed", { sentence: failed.message })));
    return;
  }
  refusedEntry = null;
  step.rememberWords();
  step.empty();
  for (const other of steps) other.repeatWords();
  remember();
  newest = await newestReadings(facts);
  showStates();
  tell(step, readings, shape);
}

/** @param {Step} step @param {any[]} readings @param {boolean} isBelieved @param {number} person */
function entryOf(step, readings, isBelieved, person) {
  const photos = step.photos.map(({ sha256 }) => sha256);
  const content = {
    station: facts.station, item: facts.item, id: facts.id, plan: facts.plan,
    readings: readings.map(({ asked, entries, verdict }, n) => ({
      uuid: newUuid(), characteristic: asked.characteristic, place: asked.place, entries, verdict,
      supersedes: step.isCorrection ? supersededBy(asked) : null, photos: n === 0 ? photos : [],
    })),
    instruments: step.instruments.map(({ id }) => id), note: step.note, reason: step.reason, doubted: isBelieved,
  };
  return {
    form: /** @type {const} */ ("readings"), content, person, photos: step.photos, replaces: refusedEntry,
    title: `${facts.mark} · ${step.name}`, address: location.pathname + location.search,
  };
}

/** The server never had a refused reading: what that was to correct is corrected now. @param {any} asked */
function supersededBy(asked) {
  const before = newest.get(keyOf(asked));
  return (before?.verdict === "attention" ? before.supersedes : before?.uuid) ?? null;
}

// Doubts: a slip of the tape is caught by measuring again, not by a question

/** Whether readings that were doubted came again; null while they are to be measured again. @param {Step} step @param {any[]} readings */
function wasDoubted(step, readings) {
  const shape = step.shape();
  return shape && !shape.isConsistent ? misfitCameAgain(step, readings, shape) : farOffCameAgain(readings);
}

/** @param {Step} step @param {any[]} readings @param {any} shape */
function misfitCameAgain(step, readings, shape) {
  const texts = JSON.stringify(readings.map(({ entries }) => entries));
  if (doubted.get(step.section.id) === texts) return true;
  doubted.set(step.section.id, texts);
  const by = signed(shape.misclosure, units);
  showDoubt([word("misfit", { by }), ...shape.suspects.slice(0, 2).map(suspicion), word("savedNothing")]);
  return null;
}

/** @param {any} suspect */
function suspicion({ reading, change, slip }) {
  const by = signed(Math.abs(change), units).replace(/^\+/, "");
  const named = slip ? ` (${word("sentences")[slip] ?? slip})` : "";
  return word(change > 0 ? "suspectShort" : "suspectLong", { line: reading, by, slip: named });
}

/** @param {any[]} readings */
function farOffCameAgain(readings) {
  const far = readings.find(({ asked, ...reading }) => isFarOff(asked, reading));
  if (!far) return false;
  const { asked, amount, deviation } = far;
  const first = doubted.get(keyOf(asked));
  if (typeof first === "bigint" && agree(asked, first, amount)) return true;
  doubted.set(keyOf(asked), amount);
  const value = formatAmount(asked.quantity, amount, units);
  showDoubt([word("farOff", { value, by: formatDeviationOf(asked.quantity, deviation, units) })]);
  current.fill(Object.fromEntries(Object.values(asked.fields).map((id) => [id, ""])));
  focusFirst(current);
  return null;
}

/** @param {string[]} sentences @param {string} [title] */
function showDoubt(sentences, title = word("doubtTitle")) {
  doubt.replaceChildren(heading(title), ...sentences.map(paragraph));
  doubt.hidden = false;
  result.hidden = true;
  doubt.scrollIntoView({ block: "nearest" });
}

// The result

/** @param {Step} step @param {any[]} readings @param {any} shape */
function tell(step, readings, shape) {
  const out = readings.filter(({ verdict }) => verdict !== "within");
  const state = out.find(({ verdict }) => verdict === "outside") ? "outside" : out.length ? "unclear" : "within";
  const stays = state !== "within" || shape !== null;
  result.replaceChildren(heading(headline(step, readings, out), state), ...details(readings, out).map(paragraph));
  if (shape) result.append(measuredShape(shape, nominal, units));
  result.className = `result ${state}${stays ? " stays" : ""}`;
  result.hidden = false;
  const following = nextStep(step.number);
  if (stays) return offer(step, following, state);
  goTo(following);
}

/** What to do with a result that is looked at first: measure again, or go on. @param {Step} step @param {Step | null} following @param {string} state */
function offer(step, following, state) {
  for (const section of form.querySelectorAll(".step")) section.hidden = true;
  current = null;
  form.classList.remove("is-typed");
  const again = key(word("measureAgain"), () => goTo(step));
  const onward = key(word("goOn"), () => goTo(following === step ? nextAfter(step) : following));
  const keys = Object.assign(document.createElement("p"), { className: "ways" });
  keys.append(...(state === "within" ? [onward, again] : [again, onward]));
  keys.firstElementChild.classList.add("primary");
  result.append(keys);
  keys.firstElementChild.focus();
}

/** @param {Step} step */
const nextAfter = (step) => steps[step.number % steps.length] ?? null;

/** @param {Step | null} step */
function goTo(step) {
  if (result.classList.contains("stays")) result.hidden = true;
  const hash = step ? address(step.number) : "#done";
  if (location.hash !== hash) location.hash = hash;
  // At once, in the same picture as the result above it: nothing is pushed down first.
  show(step);
}

/** @param {Step} step @param {any[]} readings @param {any[]} out */
function headline(step, readings, out) {
  if (readings.length === 1) return word("said", { name: step.name, verdict: word(readings[0].verdict) });
  return out.length ? word("someOut", { out: out.length, all: readings.length }) : word("allWithin", { count: readings.length });
}

/** @param {any[]} readings @param {any[]} out */
function details(readings, out) {
  const told = readings.length === 1 ? readings : out;
  const lines = told.filter(({ asked }) => asked.quantity !== "count").map((reading) => detail(reading, readings.length > 1));
  return readings.length === 1 && readings[0].outcome.advice ? [...lines, said({ sentence: readings[0].outcome.advice, facts: {} })] : lines;
}

/** @param {any} reading @param {boolean} isNamed */
function detail({ asked, amount, deviation }, isNamed) {
  const name = isNamed ? `${asked.name}: ` : "";
  const off = deviation === null ? "" : ` · ${word("fromTarget", { by: formatDeviationOf(asked.quantity, deviation, units) })}`;
  return `${name}${formatAmount(asked.quantity, amount, units)}${off}`;
}

/** @param {string} text @param {string} [state] */
function heading(text, state) {
  const made = Object.assign(document.createElement("p"), { className: "headline", textContent: text });
  if (state) made.prepend(Object.assign(document.createElement("span"), { className: `sign ${state}`, textContent: SIGNS[state], ariaHidden: "true" }), " ");
  return made;
}

/** @param {string} text */
const paragraph = (text) => Object.assign(document.createElement("p"), { textContent: text });

/** @param {string} text @param {() => void} pressed */
function key(text, pressed) {
  const made = Object.assign(document.createElement("button"), { type: "button", className: "button", textContent: text });
  made.addEventListener("click", pressed);
  return made;
}

// What is half typed outlives a reload

function remember() {
  const typed = steps.map((/** @type {Step} */ step) => step.typed).filter(Boolean);
  if (typed.length) localStorage.setItem(HALF_TYPED, JSON.stringify(typed));
  else localStorage.removeItem(HALF_TYPED);
}

function restore() {
  for (const typed of JSON.parse(localStorage.getItem(HALF_TYPED) ?? "[]")) stepOf(typed)?.putBack(typed);
}

/** The step that asks for what was typed; none if nothing does any more. @param {import("./step.js").Typed} typed @returns {Step | undefined} */
function stepOf({ readings }) {
  const keys = readings.map(keyOf);
  return steps.find((/** @type {Step} */ { asked }) => asked.some((one) => keys.includes(keyOf(one))));
}

/** Puts an entry back to where it was typed: one undone, or one that the server refused. @param {any} entry */
async function bringBack(entry) {
  const step = stepOf(entry.content);
  if (!step) return;
  const isCorrection = entry.content.readings.some((/** @type {any} */ { supersedes }) => supersedes);
  step.putBack({ ...entry.content, isCorrection }, await photosIn(entry));
  show(step);
  return step;
}

/** @param {string} uuid */
async function putRight(uuid) {
  const entry = await storedEntry(uuid);
  if (entry?.form === "lot_use") return openLots(entry);
  if (entry?.form !== "readings") return;
  // Of a check that is not asked for any more nothing can be brought back; then the reasons alone are shown.
  if (await bringBack(entry)) refusedEntry = uuid;
  const reasons = entry.answer?.reasons ?? [];
  showDoubt(reasons.map((/** @type {any} */ { sentence }) => sentence), word("refusedTitle"));
}

// The lots that went into the panel

/** @param {any} [refused] an entry to be put right */
async function openLots(refused) {
  const lots = await import("./lots_used.js");
  await lots.open(facts, refused);
}

// Starting

async function start() {
  newest = await newestReadings(facts);
  showStates();
  open();
  const refused = /^#entry=([0-9a-f-]+)$/.exec(location.hash)?.[1];
  if (refused) await putRight(refused);
  // What was typed over an entry to be put right is newer than the entry.
  restore();
}

document.querySelector("[data-lot-key]")?.addEventListener("click", () => openLots());
form.addEventListener("keypad:next", next);
form.addEventListener("submit", next);
form.addEventListener("input", remember);
form.addEventListener("focusin", ({ target }) => current?.typedInputs.includes(target) && showKeys(current, target));
addEventListener("resize", () => document.activeElement?.closest("form.entry") && document.activeElement.scrollIntoView({ block: "nearest" }));
addEventListener("hashchange", () => {
  if (!location.hash.startsWith("#entry=")) open();
});
document.addEventListener("outbox:undone", async ({ detail }) => {
  newest = await newestReadings(facts);
  showStates();
  result.hidden = true;
  if (detail.form !== "readings" || detail.content.item !== facts.item || detail.content.id !== facts.id) return;
  if (await bringBack(detail)) refusedEntry = detail.replaces;
  remember();
});
document.addEventListener("outbox:change", async () => {
  newest = await newestReadings(facts);
  showStates();
});
startPeople();
startBar();
await start();
document.documentElement.dataset.ready = "";
performance.mark("ready");
