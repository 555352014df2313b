// The tablet's own keypad, for gloved hands: it types into the page's real input, which keeps the focus, so that
// hardware keyboards, hand scanners and screen readers work as ever. Keys act on touch, not on release: faster with
// gloves, and the delete key takes it back (WCAG 2.2, 2.5.2, counts an emulated keypad as essential).

/** Every word on the keypad, in English; the page gives translations under the same names. */
export const WORDS = {
  keypad: "Keypad",
  next: "Next",
  clear: "Clear",
  putBack: "Put back",
  back: "Delete last",
  feet: "Feet",
  inches: "Inches",
  point: "Decimal point",
  fraction: "{fraction} inch",
  sixteenths: "Show 16ths",
  thirtySeconds: "Show 32nds",
  mm: "Millimetres",
  g: "Grams",
  kg: "Kilograms",
  oz: "Ounces",
  lb: "Pounds",
  // Why a key cannot be pressed now.
  chooseField: "Choose a field first.",
  ownKeyboard: "Words are typed on the tablet's own keyboard.",
  nothingToDelete: "There is nothing to delete.",
  ended: "Nothing can follow the fraction, the inches or the unit.",
  numberFirst: "Type the number first.",
  feetOnce: "The feet are there already.",
  inchesOnce: "The inches are there already.",
  inchesTo11: "Beside feet, inches go to 11.",
  fractionOnce: "There is a fraction already.",
  fractionLast: "A fraction stands at the end.",
  pointOnce: "There is a decimal point already.",
  unitOnce: "There is a unit already.",
};

/** A wet or trembling finger touches twice; two meant touches of one key are further apart. Milliseconds. */
const GHOST_TOUCH = 60;
const FLASH = 120;

/** The kinds of number, and with `length` split by the shop's units, which keys they need. */
const KEYS_OF = {
  imperial: ["digit", "feet", "inches", "fraction", "thirtySeconds", "sixteenths"],
  metric: ["digit", "point", "mm"],
  mass: ["digit", "point", "unit"],
  percent: ["digit", "point"],
  count: ["digit"],
  text: ["digit"],
};
const EDITING = ["back", "clear", "next"];
const UNITS = { imperial: ["g", "oz", "lb", "kg"], metric: ["g", "kg"] };

const ENDED = /\/(?:[248]|16|32|64)\D*$|["a-z]/i;
const PIECE = / ?(?:\d+\/\d+|[a-z]+|.)$/iu;
const CHARACTER = /.$/u;

/** @typedef {{start: number, end: number, before: string, after: string}} Place where a key would type */

export class Keypad {
  #words;
  /** @type {HTMLInputElement | null} */
  #input = null;
  #showsThirtySeconds = false;
  /** What was cleared from an input, until something else is typed. @type {WeakMap<HTMLInputElement, string>} */
  #cleared = new WeakMap();
  #lastTouch = { key: null, time: -Infinity };
  /** A touch is followed by a click, maybe on another key that has come in the place of the first. */
  #awaitsClick = false;
  /** Keys that flash, each with the timer that ends it. @type {Map<HTMLElement, number>} */
  #flashes = new Map();
  #hasTyped = false;

  /**
   * Builds the keypad, and makes it follow the focus among `input[data-keypad]` of the same form.
   *
   * @param {HTMLElement} container `data-mode` imperial or metric, `data-denominator` 16 or 32
   * @param {Partial<typeof WORDS>} [words]
   */
  constructor(container, words = {}) {
    this.container = container;
    this.form = container.closest("form");
    this.#words = { ...WORDS, ...words };
    this.#build();
    for (const input of this.#fields()) withoutSystemKeyboard(input);
    this.#listen();
    this.#refresh();
  }

  /** Types into `input` from now on. @param {HTMLInputElement} input */
  serve(input) {
    if (input === this.#input) return;
    this.#input = input;
    withoutSystemKeyboard(input);
    this.#keepRoom(this.#layout(input));
    if (document.activeElement !== input) input.setSelectionRange(input.value.length, input.value.length);
    this.#say("");
    this.#refresh();
  }

  get #mode() {
    return this.container.dataset.mode === "metric" ? "metric" : "imperial";
  }

  /** @param {HTMLInputElement} input @returns {keyof typeof KEYS_OF} */
  #layout(input) {
    const kind = input.dataset.keypad;
    if (kind === "length") return this.#mode;
    return kind in KEYS_OF ? /** @type {keyof typeof KEYS_OF} */ (kind) : "text";
  }

  #fields() {
    return [...(this.form?.querySelectorAll("input[data-keypad]:not(:disabled)") ?? [])];
  }

  // Building

  #build() {
    this.said = element("p", "keypad-said", []);
    this.said.setAttribute("role", "status");
    this.strip = element("div", "keypad-strip", this.#strip());
    const board = element("div", "keypad-board", [this.#numbers(), this.strip]);
    this.container.setAttribute("role", "group");
    this.container.setAttribute("aria-label", this.#words.keypad);
    this.container.replaceChildren(this.said, board);
    this.keys = [...board.querySelectorAll("button")];
    this.strip.hidden = true;
    for (const field of this.#fields()) this.#keepRoom(this.#layout(field));
  }

  /** Room for fractions or units is kept only where some field of the form needs them. @param {string} layout */
  #keepRoom(layout) {
    for (const part of this.strip.querySelectorAll(`.unused[data-layout=${layout}]`)) {
      part.classList.remove("unused");
      this.strip.hidden = false;
    }
  }

  #numbers() {
    const digits = [..."1234567890"].map((digit) => this.#key("digit", digit, digit, digit));
    const marks = [
      this.#key("feet", "′", this.#words.feet, "'"),
      this.#key("inches", "″", this.#words.inches, '"'),
      this.#key("point", ".", this.#words.point, "."),
      this.#key("mm", "mm", this.#words.mm, "mm"),
    ];
    const editing = [
      this.#key("clear", this.#words.clear, this.#words.clear),
      this.#key("back", "⌫", this.#words.back),
      this.#key("next", this.#words.next, this.#words.next),
    ];
    return element("div", "keypad-numbers", [...digits, ...marks, ...editing]);
  }

  /** Sixteenths, thirty-seconds and units lie one upon the other, so that no key moves when they change. */
  #strip() {
    const isFine = this.container.dataset.denominator === "32";
    const sixteenths = this.#fractions(16, [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15]);
    if (!isFine) return [group("imperial", sixteenths), group("mass", this.#units())];
    const odd = this.#fractions(32, [1, 3, 5, 7, 9, 11, 13, 15, 17, 19, 21, 23, 25, 27, 29, 31]);
    sixteenths.push(this.#key("thirtySeconds", this.#words.thirtySeconds, this.#words.thirtySeconds));
    odd.push(this.#key("sixteenths", this.#words.sixteenths, this.#words.sixteenths));
    this.fine = group("imperial", odd);
    this.coarse = group("imperial", sixteenths);
    return [this.coarse, this.fine, group("mass", this.#units())];
  }

  /** @param {number} parts @param {number[]} tops */
  #fractions(parts, tops) {
    return tops.map((top) => {
      const shared = top & -top; // the largest power of two in it
      const fraction = `${top / shared}/${parts / shared}`;
      const key = this.#key("fraction", fraction, this.#words.fraction.replace("{fraction}", fraction), fraction);
      key.dataset.parts = String(parts / shared);
      return key;
    });
  }

  #units() {
    return UNITS[this.#mode].map((unit) => this.#key("unit", unit, this.#words[unit], unit));
  }

  /** @param {string} type @param {string} face @param {string} name @param {string} [text] what it types */
  #key(type, face, name, text = "") {
    const key = document.createElement("button");
    Object.assign(key, { type: "button", textContent: face, className: `key key-${type}`, tabIndex: -1 });
    Object.assign(key.dataset, { type, text });
    if (name !== face) key.setAttribute("aria-label", name);
    key.classList.toggle("long", face.length > 6);
    return key;
  }

  // Listening

  #listen() {
    this.container.addEventListener("pointerdown", (event) => this.#touched(event));
    // A prevented pointerdown does not keep the focus where it is in every browser; this does.
    this.container.addEventListener("mousedown", (event) => event.preventDefault());
    this.container.addEventListener("click", (event) => this.#clicked(event));
    this.form?.addEventListener("focusin", ({ target }) => isField(target) && this.serve(target));
    this.form?.addEventListener("focusout", ({ target }) => target === this.#input && this.#changed());
    this.form?.addEventListener("input", () => this.#refresh());
    this.form?.addEventListener("keydown", (event) => this.#typedByHand(event));
    for (const ending of ["submit", "reset"]) {
      this.form?.addEventListener(ending, () => (this.#cleared = new WeakMap()));
    }
    document.addEventListener("selectionchange", () => this.#refresh());
  }

  /** @param {PointerEvent} event */
  #touched(event) {
    const key = keyOf(event);
    if (!key || event.button !== 0) return;
    event.preventDefault();
    this.#awaitsClick = true;
    const isGhost = key === this.#lastTouch.key && event.timeStamp - this.#lastTouch.time < GHOST_TOUCH;
    this.#lastTouch = { key, time: event.timeStamp };
    if (isGhost) return;
    if (document.activeElement !== this.#input) this.#input?.focus({ preventScroll: true });
    this.#press(key);
  }

  /** Screen readers and voice control click without touching. @param {MouseEvent} event */
  #clicked(event) {
    const key = keyOf(event);
    const isOfTouch = this.#awaitsClick && event.detail > 0;
    this.#awaitsClick = false;
    if (key && !isOfTouch) this.#press(key);
  }

  /** Enter is Next, also the Enter that ends what a scanner or an instrument types. @param {KeyboardEvent} event */
  #typedByHand(event) {
    if (event.key !== "Enter" || event.isComposing || event.target !== this.#input) return;
    event.preventDefault();
    if (!event.repeat) this.#next();
  }

  // Pressing

  /** @param {HTMLElement} key */
  #press(key) {
    this.#flash(key);
    const reason = this.#refusal(key);
    this.#say(reason ? this.#words[reason] : "");
    if (!reason) this.#act(key.dataset.type, key.dataset.text);
    this.#refresh();
  }

  /** @param {string} type @param {string} text */
  #act(type, text) {
    if (type === "next") this.#next();
    else if (type === "back") this.#deleteLast();
    else if (type === "clear") this.#clearOrPutBack();
    else if (type === "thirtySeconds" || type === "sixteenths") this.#showsThirtySeconds = type === "thirtySeconds";
    else this.#type(type, text);
  }

  /** @param {string} type @param {string} text */
  #type(type, text) {
    const { start, end, before } = place(this.#input);
    this.#cleared.delete(this.#input);
    this.#write(spaced(type, before, text), start, end, "insertText");
  }

  #deleteLast() {
    const { start, end, before, after } = place(this.#input);
    // Inside a number or a fraction one character goes; behind it, all that one key typed.
    const piece = /^[\d/.]/.test(after) ? CHARACTER : PIECE;
    const from = start === end ? before.replace(piece, "").length : start;
    this.#write("", from, end, "deleteContentBackward");
  }

  #clearOrPutBack() {
    const { value } = this.#input;
    const text = value ? "" : this.#cleared.get(this.#input);
    if (value) this.#cleared.set(this.#input, value);
    else this.#cleared.delete(this.#input);
    this.#write(text, 0, value.length, value ? "deleteContent" : "insertText");
  }

  /** @param {string} text @param {number} start @param {number} end @param {string} inputType */
  #write(text, start, end, inputType) {
    this.#input.setRangeText(text, start, end, "end");
    this.#hasTyped = true;
    this.#input.dispatchEvent(new InputEvent("input", { bubbles: true, inputType, data: text || null }));
  }

  /** Tells the page; unless the page does otherwise, goes to the next field, and from the last to the form's button. */
  #next() {
    this.#cleared.delete(this.#input);
    this.#changed();
    const event = new CustomEvent("keypad:next", { bubbles: true, cancelable: true });
    if (!this.#input.dispatchEvent(event)) return;
    const fields = this.#fields();
    const field = fields[fields.indexOf(this.#input) + 1];
    if (field) this.serve(field);
    (field ?? this.form?.querySelector("[type=submit], button:not([type])"))?.focus();
  }

  /** A browser reports as changed only what was typed by hand. */
  #changed() {
    if (!this.#hasTyped) return;
    this.#hasTyped = false;
    this.#input.dispatchEvent(new Event("change", { bubbles: true }));
  }

  // Showing

  /** @param {HTMLElement} key */
  #flash(key) {
    clearTimeout(this.#flashes.get(key));
    key.classList.add("pressed");
    this.#flashes.set(key, setTimeout(() => key.classList.remove("pressed"), FLASH));
  }

  /** @param {string} words */
  #say(words) {
    if (this.said.textContent !== words) this.said.textContent = words;
  }

  #refresh() {
    const layout = this.#input ? this.#layout(this.#input) : this.#mode;
    const shown = [...KEYS_OF[layout], ...EDITING];
    for (const key of this.keys) {
      const isAway = !shown.includes(key.dataset.type);
      key.classList.toggle("away", isAway);
      if (!isAway) this.#enable(key);
    }
    this.fine?.classList.toggle("away", !this.#showsThirtySeconds);
    this.coarse?.classList.toggle("away", this.#showsThirtySeconds);
    this.#nameClear();
  }

  /** @param {HTMLElement} key */
  #enable(key) {
    const reason = this.#refusal(key);
    if (key.title === (reason ? this.#words[reason] : "")) return;
    key.title = reason ? this.#words[reason] : "";
    if (reason) key.setAttribute("aria-disabled", "true");
    else key.removeAttribute("aria-disabled");
  }

  #nameClear() {
    const canPutBack = this.#input?.value === "" && this.#cleared.has(this.#input);
    const face = canPutBack ? this.#words.putBack : this.#words.clear;
    const key = this.keys.find(({ dataset }) => dataset.type === "clear");
    if (key.textContent !== face) key.textContent = face;
  }

  /** Why `key` cannot be pressed now, as a name in WORDS. @param {HTMLElement} key @returns {string | undefined} */
  #refusal(key) {
    const { type, text } = key.dataset;
    if (!this.#input) return "chooseField";
    if (type === "next") return undefined;
    if (this.#layout(this.#input) === "text") return "ownKeyboard";
    const where = place(this.#input);
    if (type === "clear") return this.#input.value || this.#cleared.has(this.#input) ? undefined : "nothingToDelete";
    if (type === "back") return where.end > 0 ? undefined : "nothingToDelete";
    return REFUSALS[type]?.(where, text);
  }
}

/**
 * Why a key of each type cannot type at a place.
 * @type {Record<string, (where: Place, text: string) => string | undefined>}
 */
const REFUSALS = {
  digit({ before, after }, text) {
    if (ENDED.test(before)) return "ended";
    return hasTooManyInches(before + text + after) ? "inchesTo11" : undefined;
  },
  feet({ before, after }) {
    if (/'/.test(before + after)) return "feetOnce";
    if (ENDED.test(before)) return "ended";
    if (!/^\d+$/.test(before)) return "numberFirst";
    return hasTooManyInches(`${before}'${after}`) ? "inchesTo11" : undefined;
  },
  inches({ before, after }) {
    if (/"/.test(before + after)) return "inchesOnce";
    return /\d$/.test(before) && !after ? undefined : "numberFirst";
  },
  fraction({ before, after }) {
    if (/\//.test(before + after)) return "fractionOnce";
    if (ENDED.test(before)) return "ended";
    return /^ ?"?$/.test(after) ? undefined : "fractionLast";
  },
  point({ before, after }) {
    if (ENDED.test(before)) return "ended";
    return /[.,]/.test(before + after) ? "pointOnce" : undefined;
  },
  unit({ before, after }) {
    if (/[a-z]/i.test(before + after)) return "unitOnce";
    return /\d$/.test(before) && !after ? undefined : "numberFirst";
  },
};
REFUSALS.mm = REFUSALS.unit;

/** @param {string} entry */
const hasTooManyInches = (entry) => Number(/' ?(\d+)(?![\d/])/.exec(entry)?.[1] ?? 0) > 11;

/**
 * What a key types, with the space that stands before it.
 * @param {string} type
 * @param {string} before
 * @param {string} text
 */
function spaced(type, before, text) {
  const follows = { digit: /'$/, fraction: /[\d']$/, unit: /\d$/, mm: /\d$/ }[type];
  return follows?.test(before) ? ` ${text}` : text;
}

/** @param {HTMLInputElement} input @returns {Place} */
function place({ value, selectionStart, selectionEnd }) {
  // Between the feet mark and its space, the next digit belongs behind the space.
  const step = selectionStart === selectionEnd && value.slice(selectionStart - 1).startsWith("' ") ? 1 : 0;
  const [start, end] = [selectionStart + step, selectionEnd + step];
  return { start, end, before: value.slice(0, start), after: value.slice(end) };
}

/** @param {EventTarget | null} target @returns {target is HTMLInputElement} */
const isField = (target) => target instanceof HTMLInputElement && target.matches("[data-keypad]");

/** @param {Event} event @returns {HTMLElement | null} */
const keyOf = ({ target }) => (target instanceof Element ? target.closest(".key") : null);

/** @param {HTMLInputElement} input */
function withoutSystemKeyboard(input) {
  if (input.dataset.keypad !== "text") input.inputMode = "none";
}

/** A part of the strip, for one layout. @param {string} layout @param {Node[]} keys */
function group(layout, keys) {
  const made = element("div", "keypad-group unused", keys);
  made.dataset.layout = layout;
  return made;
}

/** @param {string} tag @param {string} className @param {Node[]} children */
function element(tag, className, children) {
  const made = Object.assign(document.createElement(tag), { className });
  made.append(...children);
  return made;
}
